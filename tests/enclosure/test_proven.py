"""Fits with the proven bound: as near as asked for, never below what was found, and a note where the clock decides."""

import dataclasses

import pytest
from shapely.geometry import MultiPolygon

from packpale.enclosure import proven
from packpale.enclosure.fit import fit_largest
from packpale.enclosure.packs import fit_packs
from packpale.enclosure.proven import with_proof
from polygons import lands
from told import told

LANDS = lands()


@pytest.mark.parametrize("gap", [0.05, 0.01])
@pytest.mark.parametrize("name", ["L", "ponds", "steps 60"])
def test_one_pack_has_a_bound_within_the_gap(name, gap, ranges):
    (found,) = fit_packs(LANDS[name], 1, 10.0, **ranges(clearance=2.0))
    (fit,), notes = with_proof([found], LANDS[name], gap=gap, separation=10.0, **ranges(clearance=2.0))
    assert fit.egg == found.egg
    assert fit.egg.area <= fit.area_bound_m2 <= (1 + gap) * fit.egg.area
    assert fit.area_bound_m2 < found.area_bound_m2
    assert notes == ()


def test_several_packs_share_the_bound_of_the_best_single_egg(ranges):
    found = fit_packs(LANDS["blob 40"], 2, 10.0, **ranges())
    single = fit_largest(LANDS["blob 40"], **ranges()).egg.area
    fits, _ = with_proof(found, LANDS["blob 40"], gap=0.01, separation=10.0, **ranges())
    assert [f.egg for f in fits] == [f.egg for f in found]
    assert single <= fits[0].area_bound_m2 <= 1.01 * single
    # The smallest has one of its own where that is lower.
    assert fits[1].egg.area <= fits[1].area_bound_m2 < min(found[1].area_bound_m2, fits[0].area_bound_m2)


def test_the_lower_of_two_bounds_is_taken(ranges):
    (found,) = fit_packs(LANDS["square"], 1, 10.0, **ranges())
    lower = dataclasses.replace(found, area_bound_m2=found.egg.area * 1.001)
    (fit,), _ = with_proof([lower], LANDS["square"], gap=0.01, separation=10.0, **ranges())
    assert fit.area_bound_m2 == lower.area_bound_m2


def test_nothing_to_prove(ranges):
    assert with_proof((), MultiPolygon(), gap=0.01, separation=10.0, **ranges()) == ((), ())


def test_a_search_ended_by_the_clock_is_said(ranges, monkeypatch):
    def hurried(*arguments, **keywords):
        return search(*arguments, **keywords, seconds=1e-9)

    search = proven.area_bound
    monkeypatch.setattr(proven, "area_bound", hurried)
    (found,) = fit_packs(LANDS["blob 300"], 1, 10.0, **ranges())
    (fit,), (note,) = with_proof([found], LANDS["blob 300"], gap=0.01, separation=10.0, **ranges())
    assert fit.egg.area <= fit.area_bound_m2 <= found.area_bound_m2
    assert told([note])[0].startswith("The search for a bound on the enclosed area was stopped after 0 s")
