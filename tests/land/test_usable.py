"""What is taken from a plot, how much of it, and that distances are kept everywhere."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays
from shapely import get_coordinates, union_all
from shapely.geometry import LineString, MultiPoint, Point, Polygon, box

from packpale.land.assess import assess
from packpale.land.usable import cell_outlines, inward, outward
from packpale.site import Grid
from told import say

LEVEL = np.zeros((40, 50))


def limit(land, beginning):
    return next(limit for limit in land.limits if say(limit.name).startswith(beginning))


def test_nothing_but_the_setback_is_taken_from_good_ground(make_site, make_project):
    site = make_site(LEVEL, outline=box(1005, 2005, 1045, 2035))
    land = assess(site, make_project(setback_m=3))
    # Straight sides move in by 3 m and the hair that the straight chords of arcs are given: 0.3 %.
    assert land.usable.area == pytest.approx((40 - 6) * (30 - 6), rel=0.002)
    assert land.usable.distance(site.outline.boundary) >= 3
    (only,) = land.limits
    assert say(only.name) == "plot boundary setback of 3 m"
    assert only.area.area + land.usable.area == pytest.approx(site.outline.area)
    assert only.share == pytest.approx(only.area.area / 1200)


def test_without_setback_or_limits_the_whole_plot_is_usable(make_site, make_project):
    site = make_site(LEVEL)
    land = assess(site, make_project(setback_m=0))
    assert land.usable.symmetric_difference(site.outline).area == 0
    assert land.limits == ()


def test_setback_goes_round_holes_too(make_site, make_project):
    plot = Polygon(box(1005, 2005, 1045, 2035).exterior.coords, [box(1020, 2015, 1030, 2025).exterior.coords])
    land = assess(make_site(LEVEL, outline=plot), make_project(setback_m=3))
    hole = box(1020, 2015, 1030, 2025)
    assert land.usable.distance(hole) >= 3
    rounded = 100 + 4 * 10 * 3 + math.pi * 9
    assert land.usable.area == pytest.approx(34 * 24 - rounded, rel=0.01)


def test_cells_over_a_hard_limit_are_cut_out_along_their_edges(make_site, make_project):
    """A rise of one cell in 2 m of width: Horn sees it in the columns on both sides."""
    z = LEVEL.copy()
    z[:, 20:] = 5.0
    land = assess(make_site(z), make_project(setback_m=0, max_slope_deg=45, footprint_m=0))
    taken = limit(land, "steeper than 45 degrees")
    assert taken.area.symmetric_difference(box(1019, 2002, 1021, 2038)).area == 0
    assert taken.share == pytest.approx(2 * 36 / (46 * 36))
    assert len(land.usable.geoms) == 2
    assert land.usable.area == (46 - 2) * 36


def test_a_slope_just_at_the_limit_is_allowed(make_site, make_project):
    z = np.tile(np.arange(50.0), (40, 1))  # 45 degrees everywhere
    site = make_site(z)
    assert assess(site, make_project(setback_m=0, max_slope_deg=45.0001)).usable.area == pytest.approx(46 * 36)
    assert assess(site, make_project(setback_m=0, max_slope_deg=44.9999)).usable.is_empty
    assert assess(site, make_project(setback_m=0, max_slope_deg=90)).usable.area == pytest.approx(46 * 36)


def test_hollows_and_shallow_rock(make_site, make_project):
    z = LEVEL.copy()
    z[10:13, 10:13] = -0.5
    rock = np.full(LEVEL.shape, 5.0)
    rock[30:32, 40:44] = 0.2
    land = assess(make_site(z, depth_to_rock=rock), make_project(setback_m=0))
    assert limit(land, "hollows that can stand more than 0.3 m").area.area == 9
    assert limit(land, "rock nearer to the surface than 0.3 m").area.area == 8
    # The sides of the hollow fall 0.5 m in 2 m, which is not 20 degrees, so that nothing else is taken.
    assert len(land.limits) == 2
    assert land.usable.area == 46 * 36 - 9 - 8


def test_missing_ground_is_not_usable(make_site, make_project):
    z = LEVEL.copy()
    z[20, 20] = np.nan
    land = assess(make_site(z, outline=box(990, 2002, 1048, 2038)), make_project(setback_m=0))
    gone = limit(land, "ground level missing here or next to here")
    # Nine cells round the missing one, the ring that has no whole window, and 10 m beyond the grid.
    assert gone.area.area == pytest.approx(9 + 11 * 36)
    assert land.usable.area == pytest.approx(47 * 36 - 9)


def test_distances_to_keep_are_said_in_words_and_clipped_to_the_plot(make_site, make_project):
    features = {
        "watercourses": (LineString([(990, 2020), (1060, 2020)]),),
        "keep_out": (box(1040, 2030, 1060, 2060),),
        "services": (),
    }
    site = make_site(LEVEL, features=features)
    land = assess(
        site, make_project("watercourses", "keep_out", "services", keep_away_m={"watercourses": 5}, setback_m=0)
    )
    assert [say(x.name) for x in land.limits] == ["within 5 m of watercourses", "inside keep-out"]
    stream, kept_out = land.limits
    assert stream.area.area == pytest.approx(46 * 10, rel=0.004)
    assert stream.area.within(site.outline)
    assert kept_out.area.area == pytest.approx(8 * 8)
    assert land.usable.distance(features["watercourses"][0]) >= 5


def test_ground_that_may_lie_inside_is_taken_from_the_line_alone(make_site, make_project):
    z = LEVEL.copy()
    z[10:13, 10:13] = -0.5
    features = {"watercourses": (LineString([(1030, 1990), (1030, 2060)]),), "keep_out": (box(1040, 2030, 1060, 2060),)}
    keep = {"keep_away_m": {"watercourses": 5}, "setback_m": 2}

    def parts(**settings):
        return assess(make_site(z, features=features), make_project("watercourses", "keep_out", **keep, **settings))

    land = parts()
    assert {x.kind: x.may_lie_inside for x in land.limits} == {
        "setback": False,
        "ponding": True,
        "watercourses": True,
        "keep_out": False,
    }
    no_go = union_all([x.area for x in land.limits if not x.may_lie_inside])
    soft = union_all(list(land.soft.values()))
    assert set(land.soft) == {"ponding", "watercourses"}
    assert land.enclosable.symmetric_difference(land_of(46 * 36).difference(no_go)).area < 1e-6
    assert land.usable.symmetric_difference(land.enclosable.difference(soft)).area < 1e-6
    strict = parts(may_lie_inside=[])
    assert strict.soft == {}
    assert strict.enclosable.equals(strict.usable)
    assert strict.usable.equals(land.usable)
    dry = parts(may_lie_inside=["watercourses"])
    assert set(dry.soft) == {"watercourses"}
    assert dry.enclosable.area == pytest.approx(land.enclosable.area - 9)


def land_of(area):
    plot = box(1002, 2002, 1048, 2038)
    assert plot.area == area
    return plot


def test_one_boulder_does_not_rule_ground_out_but_a_bank_does(make_site, make_project):
    """A block of one cell lifts the plane through 5 x 5 cells by at most 2 h / 50 in its slope; a bank as it is."""
    z = LEVEL.copy()
    z[20, 20] = 2.0
    bank = np.clip(np.arange(50.0) - 30, 0, 6)  # 1:1, 6 m wide
    z += bank
    land = assess(make_site(z), make_project(setback_m=0, max_slope_deg=20))
    steep = limit(land, "steeper than 20 degrees").area
    assert steep.bounds[0] > 1025
    middle = box(1032, 2002, 1035, 2038)
    assert middle.within(steep)
    each_cell = assess(make_site(z), make_project(setback_m=0, max_slope_deg=20, footprint_m=0))
    # Horn's slope beside the block is 2 x 2 / 8, 27 degrees; at its corners it is less than 20.
    assert limit(each_cell, "steeper").area.intersection(box(1015, 2015, 1025, 2025)).area == 4


def test_patches_smaller_than_a_cell_are_dropped(make_site, make_project):
    plot = union_all([box(1005, 2005, 1045, 2035), box(1045, 2010, 1049.5, 2010.2)])
    features = {"keep_out": (box(1044, 2000, 1045, 2040),)}
    land = assess(make_site(LEVEL, outline=plot, features=features), make_project("keep_out", setback_m=0))
    assert [round(part.area) for part in land.usable.geoms] == [39 * 30]


@settings(deadline=None, max_examples=80)
@given(arrays(np.bool_, array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=9)))
def test_outlines_are_the_cells_and_nothing_else(cells):
    grid = Grid(west=429252.31, north=5150885.42, cell=0.7, rows=cells.shape[0], cols=cells.shape[1])
    found = cell_outlines(cells, grid)
    assert found.is_valid
    assert found.area == pytest.approx(cells.sum() * 0.49)
    x, y = grid.centres()
    squares = [box(x[c] - 0.35, y[r] - 0.35, x[c] + 0.35, y[r] + 0.35) for r, c in np.argwhere(cells)]
    assert found.symmetric_difference(union_all(squares)).area < 1e-6
    for part in getattr(found, "geoms", [found]):
        for ring in [part.exterior, *part.interiors]:
            steps = np.diff(get_coordinates(ring), axis=0)
            turns = steps[:, 0] * np.roll(steps[:, 1], -1) - steps[:, 1] * np.roll(steps[:, 0], -1)
            assert (np.abs(turns) > 0.4).all(), "a vertex that turns nothing"


XY = st.tuples(st.floats(0, 100), st.floats(0, 100))


@settings(deadline=None, max_examples=150)
@given(st.lists(XY, min_size=2, max_size=7), st.sampled_from([0.5, 3.0, 10.0, 100.0]), st.sampled_from("plr"))
def test_buffers_keep_at_least_the_distance_and_little_more(coordinates, distance, kind):
    shape = {"p": MultiPoint, "l": LineString, "r": lambda xy: LineString(xy).convex_hull}[kind](coordinates)
    around = outward((shape,), distance)
    assert around.boundary.distance(shape) >= distance * (1 - 1e-9)
    # Of each side alone, whose buffer has no crossing to go wrong at.
    sides = [LineString(pair) for pair in itertools.pairwise(coordinates)] if kind == "l" else [shape]
    little_more = union_all([side.buffer(1.03 * distance, quad_segs=64) for side in sides])
    assert around.within(little_more)


def test_a_line_that_nearly_meets_itself_encloses_what_lies_within():
    """A thin triangle and a way out: seen to be filled whole by a buffer of the line taken as one."""
    way = [(0, 23.7), (9.19, 3.25), (0, 1e-05), (1, 44.59), (87.51, 19.45), (64.06, 0)]
    sides = [LineString(pair).buffer(0.51, quad_segs=64) for pair in itertools.pairwise(way)]
    assert outward((LineString(way),), 0.5).area < union_all(sides).area


def test_a_line_without_length_is_kept_at_its_distance():
    around = outward((LineString([(0, 0), (0, 0)]),), 10.0)
    assert around.area == pytest.approx(math.pi * 100, rel=0.01)


@settings(deadline=None, max_examples=100)
@given(st.lists(XY, min_size=5, max_size=9), st.sampled_from([0.5, 3.0, 10.0]))
def test_inward_keeps_the_distance_on_ragged_plots(coordinates, distance):
    centre = np.mean(coordinates, axis=0)
    ragged = sorted(coordinates, key=lambda xy: math.atan2(xy[1] - centre[1], xy[0] - centre[0]))
    plot = Polygon(ragged)
    if not plot.is_valid or plot.area < 1:
        return
    inner = inward(plot, distance)
    if inner.is_empty:
        return
    assert inner.distance(plot.boundary) >= distance * (1 - 1e-9)
    assert plot.buffer(-1.03 * distance, quad_segs=64).difference(inner).area < 1e-9


def test_a_point_is_kept_at_its_distance_all_round():
    around = outward((Point(0, 0),), 10.0)
    assert around.boundary.distance(Point(0, 0)) >= 10
    assert around.area == pytest.approx(math.pi * 100, rel=0.01)
