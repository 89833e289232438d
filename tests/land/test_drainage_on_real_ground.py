"""Filling, flow, upstream area and height above drainage on laser-scanned ground, against independent libraries.

pyflwdir routes to the lowest neighbour, not down the steepest way, so its accumulation and height above drainage are
asked for on our own directions; topotoolbox takes the steepest of eight as we do.
"""

import numpy as np
import pytest

from packpale.land.drainage import flow_over, height_above_drainage, upstream_cells


@pytest.fixture(scope="module")
def flow(real_ground):
    return flow_over(real_ground)


@pytest.fixture(scope="module")
def theirs(flow):
    """Our directions in pyflwdir's code: powers of two clockwise from east, 0 where water leaves."""
    import pyflwdir

    code = np.where(flow.direction >= 0, 1 << np.maximum(flow.direction, 0).astype(np.int64), 0).astype(np.uint8)
    return pyflwdir.from_array(code, ftype="d8", latlon=False)


def test_filled_ground_agrees_with_two_libraries_to_the_last_bit(real_ground, flow):
    import topotoolbox
    from pyflwdir import dem

    filled, _ = dem.fill_depressions(real_ground, nodata=-9999.0, outlets="edge")
    np.testing.assert_array_equal(flow.filled, filled)
    grid = topotoolbox.GridObject()
    grid.z, grid.cellsize = real_ground.astype(np.float32), 1.0
    np.testing.assert_array_equal(flow_over(real_ground.astype(np.float32)).filled, grid.fillsinks().z)
    assert (flow.filled > real_ground).mean() > 0.1  # there was something to fill


def test_steepest_descent_agrees_with_topotoolbox(real_ground):
    """On every inner cell of the filled ground with one steepest way: 100 %."""
    import topotoolbox

    ours = flow_over(real_ground.astype(np.float32))
    grid = topotoolbox.GridObject()
    grid.z, grid.cellsize = real_ground.astype(np.float32), 1.0
    flow = topotoolbox.FlowObject(grid)
    from_row, from_col = np.unravel_index(flow.source, grid.z.shape, order=flow.order)
    to_row, to_col = np.unravel_index(flow.target, grid.z.shape, order=flow.order)
    z = ours.filled.astype(np.float64)
    drops, theirs = np.full((8, *z.shape), -np.inf), np.full(z.shape, -1)
    steps = ((0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1), (-1, 0), (-1, 1))
    for k, (down, right) in enumerate(steps):
        drops[k] = (z - np.roll(z, (-down, -right), axis=(0, 1))) / (np.sqrt(2) if k % 2 else 1)
        hit = (to_row - from_row == down) & (to_col - from_col == right)
        theirs[from_row[hit], from_col[hit]] = k
    best, second = np.sort(drops, axis=0)[[-1, -2]]
    clear = (best > 0) & (best - second > 1e-5)
    clear[[0, -1], :] = clear[:, [0, -1]] = False
    assert clear.sum() > 50_000
    np.testing.assert_array_equal(ours.direction[clear], theirs[clear])


def test_upstream_cells_agree_with_pyflwdir_and_nothing_is_lost(flow, theirs):
    count, _ = upstream_cells(flow)
    np.testing.assert_array_equal(count, theirs.upstream_area(unit="cell"))
    assert count[flow.direction == -1].sum() == count.size


def test_height_above_drainage_agrees_with_pyflwdir(flow, theirs):
    """Where water leaves the window before it meets a channel pyflwdir measures to the outlet; we say nothing."""
    count, _ = upstream_cells(flow)
    channel = count >= 10_000
    ours = height_above_drainage(flow, channel)
    known = ~np.isnan(ours)
    np.testing.assert_array_equal(ours[known], theirs.hand(drain=channel, elevtn=flow.filled)[known])
    assert 0.5 < known.mean() < 1
    assert np.nanmin(ours) == 0
