"""Two packs on one plot with viewing points and a dwelling: pages, map and layers against what other code finds."""

import dataclasses
import math

import numpy as np
import pytest
import shapely
from shapely.geometry import Point

from packpale.enclosure.egg import Egg
from packpale.review.layers.rasters import rasters
from packpale.review.maps.holding_layers import aid_layer
from packpale.review.maps.people_layers import people_layers, seen_themes
from packpale.review.pages.plot import write_plot_page
from packpale.review.report.plot import plot_report
from packpale.review.subjects.climbing import CLIMBING_AIDS
from packpale.review.subjects.people import HOWL_LEVELS, NEIGHBOURS
from packpale.review.subjects.stations import STATIONS
from packpale.site import Standing
from review import factory, html_pages
from review.factory import SAID

WEST, NORTH = 500_000.0, 5_500_000.0
ORIGIN = np.array([[WEST], [NORTH]])
EGGS = (
    Egg(WEST + 110.0, NORTH - 90.0, 95.0, 40.0, 26.0, 60.0),
    Egg(WEST + 200.0, NORTH - 200.0, 300.0, 40.0, 25.0, 70.0),
)

OUTSIDE_PACK_1 = Point(WEST + 110.0 - 42.0, NORTH - 90.0)
"""2 m beyond the first egg's big end."""
THINGS = (
    Standing(Point(WEST + 150, NORTH - 150), 9.0),  # far from both
    Standing(OUTSIDE_PACK_1, 1.5),
    Standing(Point(WEST + 110, NORTH - 90.0), math.nan),  # in the middle of the first
    Standing(Point(WEST + 110.0 - 37.0, NORTH - 90.0), math.nan),  # 3 m inside it
)


@pytest.fixture(scope="module")
def settings():
    rate = {"dig_rate_m_per_h": 0.4, "dig_rate_source": "invented trial"}
    return factory.project(
        checks=rate,
        enclosure={"packs": 2, "separation_m": 12.0},
        trench={"end_on_rock": True},
        run={"draws": 100},
    )


@pytest.fixture(scope="module")
def two(settings):
    views = {"viewpoints": (Point(WEST + 258, NORTH - 62), Point(WEST + 285, NORTH - 100))}
    return factory.result(settings=settings, lines=EGGS, more=views, standing=THINGS)


@pytest.fixture(scope="module")
def text(two, settings, tmp_path_factory):
    """The plot's own page."""
    folder = tmp_path_factory.mktemp("two-packs")
    source = factory.source(two, settings)
    write_plot_page(source, plot_report(source), folder)
    return html_pages.read(folder / "index.html").text


def rings():
    """The eggs as polygons of many points, by their own positions along the line."""
    found = []
    for egg in EGGS:
        points = egg.points_at(np.linspace(0, egg.perimeter, 4_000, endpoint=False))
        found.append(shapely.Polygon(np.column_stack([points.x, points.y])))
    return found


def test_gap_and_what_lies_between(two, settings, text):
    first, second = rings()
    gap = first.distance(second)
    (row,) = NEIGHBOURS.rows(two, settings)
    assert row["gap_m"] == pytest.approx(gap, abs=0.02)
    assert row["geometry"].length == pytest.approx(row["gap_m"])
    assert (row["between"], row["keeps_separation"]) == ("lane", gap >= 12)
    (n,) = two.care.neighbours
    told = f"1 and 2 {SAID.dimension(n.gap)} lane {'yes' if gap >= 12 else 'no'} {SAID.length(n.facing)} "
    told += f"{SAID.percent(n.sees[0])}, {SAID.percent(n.sees[1])} "
    assert told + f"{n.excess[0]:.0f} dB, {n.excess[1]:.0f} dB {SAID.percent(n.refuge[0])}" in text


def test_refuge_of_each_pack_is_counted_within_its_own_line(two, text):
    seen = two.care.viewing.seen_from
    x, y = np.meshgrid(*two.site.grid.centres())
    for ring, told in zip(rings(), two.care.viewing.packs, strict=True):
        inside = shapely.contains_xy(ring, x, y)
        assert told.refuge_share == pytest.approx((seen[inside] == 0).mean(), abs=0.01)
        assert f"Pack {told.pack}: {SAID.percent(told.seen_share)} of the ground inside the fence is seen" in text
    shares = [p.refuge_share for p in two.care.viewing.packs]
    assert min(shares) > 0
    assert abs(shares[0] - shares[1]) > 0.02
    (n,) = two.care.neighbours
    assert list(n.refuge) == shares
    (theme,) = seen_themes(two)
    assert theme.values is seen
    assert rasters(two)["seen_from.tif"][0] is seen


def test_each_pack_is_heard_at_the_other_and_at_the_dwelling(two, settings, text):
    rows = list(HOWL_LEVELS.rows(two, settings))
    assert [(r["pack"], r["kind"], r["number"]) for r in rows] == [
        (1, "dwelling", 1),
        (1, "pack", 2),
        (2, "dwelling", 1),
        (2, "pack", 1),
    ]
    for r in rows:
        heard = f"{SAID.length(r['distance_m'])} {r['level_db']:.0f} dB {r['excess_db']:.0f} dB"
        assert f"{r['kind']} {r['number']} {r['pack']} {heard}" in text
    assert "on a still night of \u221210 °C against a background of 10 dB" in text


def test_dens_keep_away_from_the_other_pack(two):
    dens = two.care.dens
    assert {d.pack for d in dens} == {1, 2}
    for den in dens:
        own, other = (rings()[k] for k in ((0, 1) if den.pack == 1 else (1, 0)))
        assert own.contains(Point(den.x, den.y))
        # Distances are taken between middles of cells.
        assert den.distances["other pack"] == pytest.approx(other.distance(Point(den.x, den.y)), abs=2.0)


def test_every_pack_has_its_round_its_margin_and_its_rock(two, text):
    assert [walk.pack for walk in two.care.rounds] == [1, 2]
    for walk, egg in zip(two.care.rounds, EGGS, strict=True):
        # A parallel of the egg: longer by the full turn times its distance.
        assert walk.length == pytest.approx(egg.perimeter + 2 * np.pi * walk.offset, abs=0.01)
        assert f"Pack {walk.pack}: A round is {SAID.length(walk.length)} long" in text
    for found in two.care.holdings:
        assert f"Pack {found.pack}: At 0.40 m per hour (invented trial) the mesh is dug under over" in text
    assert "before the next round. Over" in text
    assert "the skirt ends on rock" in text


def test_stations_tell_what_holds_there(two, settings):
    rows = list(STATIONS.rows(two, settings))
    for pack, dug, climbed in zip(two.enclosure.packs, two.care.dig_out, two.care.climbs, strict=True):
        mine = [row for row in rows if row["pack"] == pack.number]
        assert [row["chainage_m"] for row in mine] == pack.alignment.chainage.tolist()
        weakest = min(mine, key=lambda row: row["tunnel_m"])
        assert (weakest["chainage_m"], weakest["tunnel_m"]) == (dug.weakest_chainage, dug.shortest)
        for row in mine:
            assert row["dig_rate_m_per_h"] == pytest.approx(row["tunnel_m"] / 13)
            assert row["margin_h"] == pytest.approx(row["tunnel_m"] / 0.4 - 13)
        assert min(row["height_inside_m"] for row in mine) == pytest.approx(climbed.least)
        assert max(row["height_outside_m"] for row in mine) <= settings.fence.height_m


def test_trees_and_boulders_near_a_fence_are_listed(two, settings, text):
    rows = sorted(CLIMBING_AIDS.rows(two, settings), key=lambda row: row["number"])
    assert [(r["pack"], r["number"], r["side"]) for r in rows] == [(1, 2, "outside"), (1, 4, "inside")]
    assert [r["distance_m"] for r in rows] == pytest.approx([2, 3], abs=0.05)
    ground = two.site.grid.bilinear(two.site.elevation, *np.array([[68.0, 70.0], [90.0, 90.0]]) * [[1], [-1]] + ORIGIN)
    assert rows[0]["left_m"] == pytest.approx(ground[1] + settings.fence.height_m - ground[0] - 1.5, abs=0.02)
    assert "2 trees, boulders or other things stand within 5.00 m of a fence." in text
    chainages = [SAID.length(r["chainage_m"]) for r in rows]
    assert f"2, pack 1 {chainages[0]} 2.00 m outside 1.50 m {SAID.dimension(rows[0]['left_m'])} yes" in text
    assert f"4, pack 1 {chainages[1]} 3.00 m inside not given not known perhaps" in text
    layer = aid_layer(factory.map_source(two, settings))
    assert len(layer.shapes) == 2


def test_the_map_has_a_layer_for_each(two, settings):
    shown = {layer.title: len(layer.shapes) for layer in people_layers(factory.map_source(two, settings))}
    assert shown == {
        "How far people hear the pack": 6,
        "Howls at dwellings": 2,
        "What viewing points see": 2,
        "Least gap between two packs": 1,
    }
    alone = dataclasses.replace(two, care=dataclasses.replace(two.care, neighbours=(), viewing=None))
    (gap,) = [v for v in people_layers(factory.map_source(alone, settings)) if "gap" in v.title]
    assert gap.shapes == []
