"""Life of buried mesh by hand from the published rates, and what is said of wire."""

import math

import pytest

from packpale.earthworks.mesh_life import ZINC_AFTER, ZINC_FIRST, mesh_life, mesh_notes, steel_years, zinc_years
from packpale.earthworks.model import Item
from packpale.settings import MeshSettings
from told import told

BURIED = Item("buried_mesh_per_m2", "mesh", "m2", 1000.0, (9.0, 13.0, 20.0))


def test_zinc_of_two_ounces_lasts_sixteen_years():
    # AASHTO (2017): 2.0 oz/ft2, 610 g/m2, is gone after 16 years: 2 x 0.35 oz/ft2, then 1.30 at 0.09 a year.
    assert zinc_years(0.610) == pytest.approx(2 + 1.30 / 0.09, abs=0.03)
    assert int(zinc_years(0.610)) == 16
    # As thicknesses 15 and 4 um a year, at 7.14 t/m3.
    assert pytest.approx(15e-6, abs=0.5e-6) == ZINC_FIRST / 7140
    assert pytest.approx(4e-6, abs=0.5e-6) == ZINC_AFTER / 7140
    assert zinc_years(0.010) == pytest.approx(0.010 / (0.35 * 0.30515), rel=1e-4)
    assert zinc_years(0.0) == 0


def test_steel_thins_to_half_its_section():
    years = steel_years(0.00376)
    left = 0.00376 - 2 * 12e-6 * years
    assert left**2 / 0.00376**2 == pytest.approx(0.5)


def test_life_and_its_price_run_from_the_zinc_to_half_the_wire():
    assert mesh_life(MeshSettings(), BURIED) is None
    assert mesh_life(MeshSettings(wire_mm=4.0), BURIED) is None
    life = mesh_life(MeshSettings(wire_mm=4.0, zinc_g_per_m2=370.0), BURIED)
    zinc = 2 + (370 / 305.15 - 0.7) / 0.09
    steel = 4.0e-3 * (1 - math.sqrt(0.5)) / 2 / 12e-6
    assert (life.zinc_years, life.wire_years) == pytest.approx((zinc, zinc + steel), rel=1e-4)
    assert life.per_year == pytest.approx((13_000 / (zinc + steel), 13_000 / zinc), rel=1e-4)


def said(**mesh):
    settings = MeshSettings(**mesh)
    return told(mesh_notes(settings, mesh_life(settings, BURIED)))


def test_mesh_that_is_not_described_is_the_gravest_kind():
    settings = MeshSettings(opening_mm=40.0)
    (note,) = mesh_notes(settings, None)
    assert note.severity == "an animal gets out"
    assert note.settings == ("mesh.wire_mm", "mesh.zinc_g_per_m2")
    (text,) = told([note])
    assert "3.8 mm" in text
    assert "610 g of zinc" in text


@pytest.mark.parametrize(("wire", "bitten"), [(3.0, True), (3.8, True), (3.9, False)])
def test_wire_no_thicker_than_what_was_bitten_through_is_said(wire, bitten):
    notes = said(wire_mm=wire, opening_mm=50.0, zinc_g_per_m2=370.0)
    assert any("wolves have bitten through" in n for n in notes) is bitten
    assert any("zinc of the buried mesh is gone after 7 years" in n for n in notes)


@pytest.mark.parametrize(("opening", "wide"), [(50.0, False), (50.8, True), (75.0, True)])
def test_openings_that_killed_pups_are_said(opening, wide):
    assert any("have killed fox pups" in n for n in said(wire_mm=5.0, opening_mm=opening, zinc_g_per_m2=370.0)) is wide
