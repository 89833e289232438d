"""Filling and flow on ground with known answers, and against plain twins on small random ground."""

import heapq
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from packpale.land.drainage import (
    LEAST_SLOPE,
    drainage,
    flow_over,
    height_above_drainage,
    upstream_cells,
    wetness_index,
)
from packpale.land.slope import slope

STEPS = ((0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1), (-1, 0), (-1, 1))  # clockwise from east, row by column
# Few levels make flats and ties; missing cells make outlets inside.
GROUND = arrays(
    np.float64,
    array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=9),
    elements=st.one_of(st.integers(0, 4).map(float), st.integers(0, 4).map(float), st.just(math.nan)),
)


def neighbours(z, row, col):
    for k, (down, right) in enumerate(STEPS):
        if 0 <= row + down < z.shape[0] and 0 <= col + right < z.shape[1]:
            yield k, row + down, col + right


def is_outlet(z, row, col):
    around = [z[r, c] for _, r, c in neighbours(z, row, col)]
    return len(around) < 8 or bool(np.isnan(around).any())


def plain_fill(z):
    """Least surface above the ground from which water can leave, by lowering a flood until nothing changes."""
    cells = [(r, c) for r in range(z.shape[0]) for c in range(z.shape[1]) if not np.isnan(z[r, c])]
    level = {cell: z[cell] if is_outlet(z, *cell) else math.inf for cell in cells}
    changed = True
    while changed:
        changed = False
        for cell in cells:
            least = min((level[r, c] for _, r, c in neighbours(z, *cell) if (r, c) in level), default=math.inf)
            if max(z[cell], least) < level[cell]:
                level[cell], changed = max(z[cell], least), True
    filled = np.full(z.shape, np.nan)
    for cell in cells:
        filled[cell] = level[cell]
    return filled


def path(flow, row, col):
    """Cells that water runs through, from the cell itself to the outlet."""
    way = [(row, col)]
    while flow.direction[row, col] >= 0:
        down, right = STEPS[flow.direction[row, col]]
        row, col = row + down, col + right
        way.append((row, col))
        assert len(way) <= flow.direction.size, "flow runs in a circle"
    return way


@settings(deadline=None, max_examples=150)
@given(GROUND)
def test_filled_ground_matches_its_plain_twin(z):
    np.testing.assert_array_equal(flow_over(z).filled, plain_fill(z))


@settings(deadline=None, max_examples=150)
@given(GROUND)
def test_flow_takes_the_steepest_way_and_always_leaves(z):
    flow = flow_over(z)
    for row, col in np.argwhere(~np.isnan(z)):
        here = flow.filled[row, col]
        drops = {k: (here - flow.filled[r, c]) / (math.sqrt(2) if k % 2 else 1) for k, r, c in neighbours(z, row, col)}
        best = max((drop for drop in drops.values() if not math.isnan(drop)), default=0.0)
        taken = flow.direction[row, col]
        if best > 0:
            assert taken == next(k for k, drop in drops.items() if drop >= best * (1 - 1e-12))
        elif taken >= 0:
            assert drops[taken] == 0
        else:
            assert is_outlet(z, row, col)
        way = path(flow, row, col)
        assert is_outlet(z, *way[-1])
        assert (np.diff([flow.filled[cell] for cell in way]) <= 0).all()
    assert (flow.direction[np.isnan(z)] == -2).all()


@settings(deadline=None, max_examples=150)
@given(GROUND)
def test_accumulation_inflow_and_height_match_their_plain_twins(z):
    flow = flow_over(z)
    count, from_outside = upstream_cells(flow)
    channel = (count >= 3) & ~np.isnan(z)
    height = height_above_drainage(flow, channel)
    expected, open_to_outside = np.zeros(z.shape, int), np.zeros(z.shape, bool)
    for row, col in np.argwhere(~np.isnan(z)):
        way = path(flow, row, col)
        for cell in way:
            expected[cell] += 1
            open_to_outside[cell] |= is_outlet(z, row, col)
        reached = next((flow.filled[cell] for cell in way if channel[cell]), math.nan)
        np.testing.assert_equal(height[row, col], flow.filled[row, col] - reached)
    np.testing.assert_array_equal(count, expected)
    np.testing.assert_array_equal(from_outside, open_to_outside)
    assert np.isnan(height[np.isnan(z)]).all()
    # Nothing is lost: what leaves at the outlets is what there is.
    assert count[flow.direction == -1].sum() == (~np.isnan(z)).sum()


def plain_flood(z):
    """Directions by a flood that takes the lowest cell next, of equals the first found; its ties define flats."""
    rows, cols = z.shape
    direction, level = np.full(z.shape, -2), z.copy()
    heap = [
        (z[r, c], r * cols + c) for r in range(rows) for c in range(cols) if is_outlet(z, r, c) and z[r, c] == z[r, c]
    ]
    heapq.heapify(heap)
    seen = {cell for _, cell in heap}
    for _, cell in heap:
        direction.flat[cell] = -1
    while heap:
        height = heap[0][0]
        queue = []
        while heap and heap[0][0] == height:
            queue.append(heapq.heappop(heap)[1])
        for cell in queue:
            for k, r, c in neighbours(z, *divmod(cell, cols)):
                other = r * cols + c
                if other in seen or np.isnan(z[r, c]):
                    continue
                seen.add(other)
                direction[r, c] = (k + 4) % 8
                level[r, c] = max(z[r, c], height)
                if z[r, c] <= height:
                    queue.append(other)
                else:
                    heapq.heappush(heap, (z[r, c], other))
    return level, direction


@settings(deadline=None, max_examples=30)
@given(GROUND)
def test_flats_drain_as_a_flood_from_their_rims_reaches_them(z):
    # Wide flats beside small ground full of gaps: only there can two ways meet.
    hollows = np.random.default_rng(int(np.nansum(z))).integers(0, 3, (14, 14)).astype(float)
    for ground in (z, hollows):
        flow = flow_over(ground)
        level, flooded = plain_flood(ground)
        np.testing.assert_array_equal(flow.filled, level)
        lower = np.zeros(ground.shape, bool)
        for row, col in np.argwhere(~np.isnan(ground)):
            lower[row, col] = any(level[r, c] < level[row, col] for _, r, c in neighbours(ground, row, col))
        np.testing.assert_array_equal(flow.direction[~lower], flooded[~lower])


def test_table_of_passes_grows_on_ground_full_of_hollows():
    """Some 1,500 bottoms in one block need more passes than the table starts with room for."""
    z = np.random.default_rng(7).permutation(120 * 120).reshape(120, 120).astype(float)
    flow = flow_over(z)
    level, _ = plain_flood(z)
    np.testing.assert_array_equal(flow.filled, level)
    count, _ = upstream_cells(flow)
    assert count[flow.direction == -1].sum() == z.size


def test_flat_ground_drains_to_its_nearest_edge():
    flow = flow_over(np.zeros((9, 9)))
    for row in range(9):
        for col in range(9):
            assert len(path(flow, row, col)) - 1 == min(row, col, 8 - row, 8 - col)


def v_valley(*, rows=30, half=12, side=1.0, along=0.1):
    """Two planes that meet in a line falling south: z = side |x| + along y, cells of 2 m."""
    x = np.abs(np.arange(-half, half + 1)) * 2.0
    y = np.arange(rows)[::-1] * 2.0
    return side * x[None, :] + along * y[:, None]


def test_v_valley_has_its_closed_form():
    """Sides fall faster across (1.0) than slantwise (1.1 / sqrt 2), so every row drains straight into the valley line.

    A cell j columns from the line collects the half - j + 1 cells behind it; the line collects all rows above. Its
    height above the line is 2 j side metres; the wetness index follows from the cells and the plane's slope.
    """
    rows, half, cell = 30, 12, 2.0
    z = v_valley(rows=rows, half=half)
    ground_slope = slope(z, cell_size=(cell, cell))
    found = drainage(z, ground_slope, cell=cell, channel_area=(2 * half + 1) * cell**2)
    j = np.abs(np.arange(-half, half + 1))
    cells = np.tile(half - j + 1, (rows, 1))
    cells[:, half] = (2 * half + 1) * np.arange(1, rows + 1)
    np.testing.assert_array_equal(found.upstream_area, cells * cell**2)
    np.testing.assert_array_equal(found.channel, np.tile(j == 0, (rows, 1)))
    assert found.height_above_drainage == pytest.approx(np.tile(2.0 * j, (rows, 1)))
    np.testing.assert_array_equal(found.ponding, np.zeros(z.shape))
    side = cells[5, 4] * cell / math.hypot(1.0, 0.1)
    assert found.wetness[5, 4] == pytest.approx(math.log(side))
    # On the line itself the sides cancel out and the fall along it is left.
    assert found.wetness[20, half] == pytest.approx(math.log(21 * 25 * cell / 0.1))
    assert found.upstream_is_lower_bound.all()  # every row starts at an edge


def test_cone_sheds_water_and_takes_none_in():
    """Whatever falls on a cone leaves by its edge; no cell but those on the edge can be fed from outside."""
    y, x = np.mgrid[-30:31, -30:31]
    z = 100 - 0.5 * np.hypot(x, y)
    ground_slope = slope(z, cell_size=(1, 1))
    found = drainage(z, ground_slope, cell=1.0, channel_area=1e9)
    edge = np.ones(z.shape, bool)
    edge[1:-1, 1:-1] = False
    np.testing.assert_array_equal(found.upstream_is_lower_bound, edge)
    np.testing.assert_array_equal(found.filled, z)
    flow = flow_over(z)
    assert set(zip(*np.nonzero(flow.direction == -1), strict=True)) <= set(zip(*np.nonzero(edge), strict=True))
    assert np.isnan(found.height_above_drainage).all()  # no channel anywhere
    away = np.hypot(x, y) > 10
    assert ground_slope[away & ~edge] == pytest.approx(0.5, rel=0.005)


def test_closed_bowl_fills_to_its_lowest_rim():
    """A paraboloid z = r^2 / 100 in a square window spills in the middle of its sides, at h = half^2 / 100.

    The water stands h - z deep; its volume is that of a paraboloid, pi 100 h^2 / 2.
    """
    half = 60
    y, x = np.mgrid[-half : half + 1, -half : half + 1]
    z = (x**2 + y**2) / 100
    found = drainage(z, slope(z, cell_size=(1, 1)), cell=1.0, channel_area=1e9)
    h = half**2 / 100
    assert found.ponding == pytest.approx(np.maximum(h - z, 0), abs=1e-12)
    assert found.ponding.sum() == pytest.approx(math.pi * 100 * h**2 / 2, rel=1e-3)


def test_a_missing_cell_lets_the_bowl_run_out():
    """Missing cells are outlets: the bowl drains into a hole at its bottom, and what drains there may come from it."""
    y, x = np.mgrid[-10:11, -10:11]
    z = (x**2 + y**2).astype(float)
    z[10, 10] = np.nan
    flow = flow_over(z)
    assert np.nanmax(flow.filled - z) == 0
    count, from_outside = upstream_cells(flow)
    beside = np.hypot(x, y) < 1.5
    assert count[beside & (flow.direction == -1)].sum() == z.size - 1
    assert from_outside[beside & ~np.isnan(z)].all()
    assert not from_outside[10, 10]
    assert count[10, 10] == 0


def test_wetness_index():
    """A catchment of 1,000 m2 to each metre of contour on a slope of 1 in 10: ln(1000 / 0.1) = 9.21034."""
    found = wetness_index(np.array([1000.0, 1000.0, math.nan, 50.0]), np.array([0.1, 0.0, 0.1, math.nan]))
    assert found[0] == pytest.approx(9.21034, abs=5e-6)
    assert found[1] == pytest.approx(math.log(1000.0 / LEAST_SLOPE))
    assert LEAST_SLOPE == 0.001
    assert np.isnan(found[2:]).all()


def test_turning_the_ground_turns_the_filling():
    z = np.random.default_rng(3).normal(size=(40, 30)).cumsum(axis=0)
    for turn in (np.flipud, np.fliplr, np.rot90, np.transpose):
        np.testing.assert_array_equal(flow_over(np.ascontiguousarray(turn(z))).filled, turn(flow_over(z).filled))
