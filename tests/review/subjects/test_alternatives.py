"""The lines that could be built instead: their table, their layer and their place on the map."""

import csv
import math

import geopandas
import pytest

from packpale.review.maps.enclosure_layers import OTHER_LINES, alternatives_layer
from packpale.review.maps.plot_map import plot_map
from packpale.review.subjects.line import ALTERNATIVES
from packpale.review.words import Wording
from review import factory, menus

METRIC, IMPERIAL = (
    factory.Plainly(Wording(imperial=False, currency="EUR")),
    factory.Plainly(Wording(imperial=True, currency="EUR")),
)


@pytest.fixture(scope="module")
def plots(fitting, barren):
    return [
        menus.with_menu(fitting, budget=90_000.0),
        menus.with_menu(factory.renamed(fitting, factory.HOSTILE), dearer=1.2, largest=15_000.0),
        barren,
    ]


@pytest.fixture(scope="module")
def folder(plots, tmp_path_factory):
    out = tmp_path_factory.mktemp("menus")
    factory.run_folder(out, plots)
    return out


def rows_of(folder):
    with (folder / "alternatives.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def test_the_table_has_the_columns_that_others_rely_on(folder):
    assert list(rows_of(folder)[0]) == list(ALTERNATIVES.columns) == [
        "plot_id", "aim", "value", "feasible", "area_m2", "fence_length_m", "over_limits_m", "price_likely",
        "price_per_ha", "area_bound_m2", "big_x", "big_y", "axis_bearing_deg", "big_radius_m", "small_radius_m",
        "flank_radius_m", "centre_spacing_m",
    ]  # fmt: skip


def test_every_line_of_every_plot_is_a_row(folder, plots):
    rows = rows_of(folder)
    assert len(rows) == sum(len(p.enclosure.alternatives) for p in plots)
    mine = [r for r in rows if r["plot_id"] == plots[0].site.plot_id]
    for row, one in zip(mine, plots[0].enclosure.alternatives, strict=True):
        assert (row["aim"], float(row["value"])) == (one.aim, one.value)
        assert row["feasible"] == ("true" if one.egg else "false")
        if one.egg is None:
            assert row["price_likely"] == row["area_m2"] == row["big_x"] == ""
        else:
            assert float(row["area_m2"]) == pytest.approx(one.egg.area, abs=0.05)
            assert float(row["price_per_ha"]) == pytest.approx(one.price / one.egg.area * 1e4, abs=0.01)
            assert float(row["over_limits_m"]) == one.over_limits
        assert float(row["area_bound_m2"]) == menus.BOUND_M2


def test_a_row_is_enough_to_draw_its_egg_again(folder):
    row = next(r for r in rows_of(folder) if r["aim"] == "size" and r["feasible"] == "true")
    R, r, d, F = (float(row[f"{n}_m"]) for n in ("big_radius", "small_radius", "centre_spacing", "flank_radius"))
    assert pytest.approx((R**2 + d**2 - r**2) / (2 * (R - r)), abs=0.1) == F
    # Half disc, flank sectors without the triangles between their centres, small sector: EGG's closed form.
    phi = math.atan2(d, F - R)
    area = math.pi * R**2 / 2 + phi * F**2 - d * (F - R) + (math.pi / 2 - phi) * r**2
    assert area == pytest.approx(float(row["area_m2"]), rel=1e-4)


def test_the_layer_holds_the_same_with_its_outlines(folder, plots):
    layer = geopandas.read_file(folder / "packpale.gpkg", layer="alternatives")
    assert len(layer) == len(rows_of(folder))
    for _, row in layer.iterrows():
        if row["feasible"]:
            assert row.geometry.area == pytest.approx(row["area_m2"], rel=1e-4)
        else:
            assert row.geometry is None
    assert layer.crs.to_string() == factory.CRS


def test_the_map_has_them_as_a_layer_that_is_off_at_first(plots):
    layers = [v for v in plot_map(plots[0], factory.project(), METRIC).vectors if v.title == OTHER_LINES]
    assert len(layers) == 1
    assert not layers[0].show
    assert len(layers[0].shapes) == sum(a.feasible for a in plots[0].enclosure.alternatives)
    # Told apart by their dashes too.
    assert len({style.dash for style, _ in layers[0].legend}) == 3


def test_popups_say_what_the_line_was_looked_for_in_the_readers_units(plots):
    shapes = alternatives_layer(factory.map_source(plots[0], wording=METRIC)).shapes
    assert [s.title for s in shapes][:2] == ["Cheapest line found for 0.50 ha", "Cheapest line found for 1.00 ha"]
    assert dict(shapes[1].rows)["For each unit of area"] == "EUR 82,000 for each hectare"
    shapes = alternatives_layer(factory.map_source(plots[0], wording=IMPERIAL)).shapes
    assert shapes[1].title == "Cheapest line found for 2.47 acres"
    # 82,000 for 10,000 m2 is 33,185 for 4,046.856 m2.
    assert dict(shapes[1].rows)["For each unit of area"] == "EUR 33,200 for each acre"
    assert shapes[-1].title == "Largest found within EUR 90,000"


def test_a_plot_without_a_menu_has_no_such_layer(fitting):
    assert OTHER_LINES not in [v.title for v in plot_map(fitting, factory.project(), METRIC).vectors]
