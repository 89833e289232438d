"""Distances and shares, against shapely's own distance and a plain count."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays
from scipy.ndimage import convolve
from shapely import MultiPolygon, area, contains_xy, intersection, points, union_all
from shapely import box as polygon_boxes
from shapely import distance as shapely_distance
from shapely.geometry import GeometryCollection, LineString, MultiLineString, MultiPoint, Point, Polygon, box

from packpale.land import surroundings
from packpale.land.surroundings import (
    cells_reached,
    cells_within,
    counts_within,
    distance_to,
    share_within,
    sums_within,
)
from packpale.site import Grid

GRID = Grid(west=100.0, north=240.0, cell=2.0, rows=45, cols=38)
WITH_HOLE = Polygon(box(110, 160, 150, 200).exterior.coords, [box(120, 170, 140, 190).exterior.coords])
FEATURES = {
    "a point outside the window": (Point(300, 400),),
    "several points": (MultiPoint([(120, 200), (160, 170)]),),
    "a bent line": (LineString([(90, 230), (130, 200), (130, 160), (200, 150)]),),
    "lines and a polygon with a hole": (
        MultiLineString([[(100, 150), (105, 239)], [(170, 150), (171, 151)]]),
        WITH_HOLE,
    ),
    "a collection": (GeometryCollection([Point(101, 239), GeometryCollection([WITH_HOLE])]),),
}


@pytest.mark.parametrize("features", FEATURES.values(), ids=FEATURES)
def test_distance_is_exact(features):
    x, y = np.meshgrid(*GRID.centres())
    expected = shapely_distance(points(x, y), union_all(list(features)))
    assert distance_to(features, GRID) == pytest.approx(expected, abs=1e-9)


def test_many_segments_are_sifted_without_losing_the_nearest():
    rng = np.random.default_rng(11)
    line = LineString(np.column_stack([100 + 76 * rng.random(400), 150 + 90 * rng.random(400)]))
    x, y = np.meshgrid(*GRID.centres())
    assert distance_to((line,), GRID) == pytest.approx(shapely_distance(points(x, y), line), abs=1e-9)


def test_nothing_is_infinitely_far():
    assert np.isinf(distance_to((), GRID)).all()


def test_cells_within_go_by_their_centres_and_respect_holes():
    x, y = np.meshgrid(*GRID.centres())
    inside = (np.abs(x - 130) < 20) & (np.abs(y - 180) < 20) & ~((np.abs(x - 130) < 10) & (np.abs(y - 180) < 10))
    np.testing.assert_array_equal(cells_within((WITH_HOLE, LineString([(100, 150), (176, 240)])), GRID), inside)
    assert not cells_within((Point(120, 200),), GRID).any()


@settings(deadline=None, max_examples=40)
@given(arrays(np.bool_, array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=9)), st.floats(0, 20))
def test_share_matches_a_plain_count(cells, reach):
    found = share_within(cells, reach=reach, cell=2.0)
    for row, col in np.ndindex(cells.shape):
        near = [
            cells[r, c]
            for r, c in np.ndindex(cells.shape)
            # In cells, as the radius is counted: a cell just on the circle belongs to it.
            if (r - row) ** 2 + (c - col) ** 2 <= (reach / 2.0) ** 2
        ]
        assert found[row, col] == pytest.approx(sum(near) / len(near))


def test_sums_and_counts_over_many_rows_are_those_of_another_library(monkeypatch):
    """Worked on in bands of rows, of which no place shows."""
    monkeypatch.setattr(surroundings, "BAND", 7)
    values = np.random.default_rng(5).normal(size=(61, 40))
    steps = np.arange(-9, 10)
    disc = (steps[:, None] ** 2 + steps**2 <= 9.0**2).astype(float)
    within = {"reach": 18.0, "cell": 2.0}
    np.testing.assert_allclose(sums_within(values, **within), convolve(values, disc, mode="constant"), atol=1e-9)
    counted = convolve(np.ones(values.shape), disc, mode="constant")
    np.testing.assert_allclose(counts_within(values.shape, **within), counted, atol=1e-9)


def test_share_of_a_half_plane_is_the_circle_cut_by_a_line():
    """A wood west of a line, seen d metres east of it: share = (arccos(d/r) - (d/r) sqrt(1 - (d/r)^2)) / pi."""
    cells = np.zeros((241, 241), bool)
    cells[:, :100] = True
    d, r = 20.5, 50.0
    expected = (math.acos(d / r) - d / r * math.sqrt(1 - (d / r) ** 2)) / math.pi
    assert share_within(cells, reach=r, cell=1.0)[120, 120] == pytest.approx(expected, abs=0.003)


@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(st.floats(60, 200), st.floats(120, 260)), min_size=3, max_size=6))
def test_no_cell_that_overlaps_a_polygon_is_missed(coordinates):
    """Thin spikes between the centres among them."""
    plot = MultiPoint(coordinates).convex_hull
    if plot.geom_type != "Polygon":
        return
    x, y = np.meshgrid(*GRID.centres())
    overlap = area(intersection(polygon_boxes(x - 1, y - 1, x + 1, y + 1), plot))
    assert cells_reached(plot, GRID)[overlap > 0].all()


def test_cells_within_are_those_whose_centres_lie_in_a_polygon():
    """Against an independent library, on polygons with holes, that overlap, that reach out, and beside lines."""
    rng = np.random.default_rng(5)
    grid = Grid(west=100.0, north=260.0, cell=2.5, rows=60, cols=80)
    x, y = np.meshgrid(*grid.centres())
    for _ in range(20):
        discs = [Point(*p).buffer(r) for p, r in zip(rng.uniform(90, 310, (6, 2)), rng.uniform(1, 70, 6), strict=True)]
        ring = discs[0].difference(discs[1])
        features = [ring, MultiPolygon([box(0, 0, 99, 99), discs[2]]), discs[3], discs[4].boundary]
        expected = np.zeros(grid.shape, bool)
        for feature in features[:3]:
            expected |= contains_xy(feature, x, y)
        np.testing.assert_array_equal(cells_within(features, grid), expected)


def test_a_centre_on_an_edge_belongs_to_one_of_two_neighbours():
    grid = Grid(west=0.0, north=4.0, cell=1.0, rows=4, cols=4)
    west, east = box(-1, -1, 1.5, 5), box(1.5, -1, 5, 5)
    north, south = box(-1, 2.5, 5, 5), box(-1, -1, 5, 2.5)
    for one, other in ((west, east), (north, south)):
        held = [cells_within([part], grid) for part in (one, other)]
        assert (held[0] ^ held[1]).all()
        assert 0 < held[0].sum() < 16
