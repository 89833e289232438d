"""Hollows and water that go on beyond a window, where the ground there is known in coarser cells."""

import dataclasses

import numpy as np
import pytest

from packpale.land.assess import assess
from packpale.land.drainage import flow_over
from packpale.land.inflow import inflow
from packpale.site import Around, Grid

LEVEL = 100.0
TENTH_MM = 1e-4
"""What single precision keeps of levels. [m]"""


def hollow(x, y, *, outlet):
    """A round hollow 60 m across the middle, 6 m deep, in a plateau of 103 m, with a flat-bottomed outlet at LEVEL."""
    ground = np.minimum(LEVEL - 6 + 0.1 * np.hypot(x, y), LEVEL + 3)
    way = np.abs(y) <= 6 if outlet in ("east", "west") else np.abs(x) <= 6
    along = {"east": x, "west": -x, "north": y}[outlet]
    return np.where(way & (along > 60), LEVEL - 0.01 * (along - 60.5), ground)


def sites(make_site, outlet, coarse, shift=0, left=108):
    """All of a square of 240 m, and its part from x = -10 to 110, y = -60 to 60 as a window on it.

    The window may be shifted by some cells, so that it begins within a coarser one, and begin at another column.
    """
    x, y = np.meshgrid(np.arange(-119.5, 120), np.arange(119.5, -120, -1))
    z = hollow(x, y, outlet=outlet)
    whole = make_site(z)
    rows, cols = slice(60 + shift, 180 + shift), slice(left + shift, 228 + shift)
    n = 240 // coarse
    means = z.reshape(n, coarse, n, coarse).mean(axis=(1, 3))
    around = Around(Grid(whole.grid.west, whole.grid.north, float(coarse), n, n), means)
    window = dataclasses.replace(
        make_site(z[rows, cols]), grid=whole.grid.part(rows, cols), elevation=z[rows, cols].copy(), around=around
    )
    return whole, window, (rows, cols)


@pytest.mark.parametrize(("coarse", "shift"), [(1, 0), (2, 0), (3, 0), (4, 0), (2, 1), (3, 1), (3, 2), (4, 3)])
@pytest.mark.parametrize("outlet", ["east", "west", "north"])
def test_a_hollow_across_the_edge_fills_to_its_outlet_wherever_that_is(make_site, make_project, outlet, coarse, shift):
    whole, window, part = sites(make_site, outlet, coarse, shift)
    found = assess(window, make_project()).ponding
    # Closed form: up to the level of the outlet, or not at all.
    expected = np.maximum(LEVEL - window.elevation, 0)
    x = window.grid.centres()[0]
    under = np.broadcast_to(x < window.grid.west + 65, expected.shape)  # west of where the outlet begins
    inside = under & (window.elevation < LEVEL - 0.1)
    np.testing.assert_allclose(found[inside], expected[inside], atol=TENTH_MM if coarse == 1 else 0.15)
    whole_ponding = assess(whole, make_project()).ponding
    np.testing.assert_allclose(whole_ponding[part][inside], expected[inside], atol=TENTH_MM)
    cut = assess(dataclasses.replace(window, around=None), make_project()).ponding
    assert cut[inside].mean() < 0.5 * expected[inside].mean()


@pytest.mark.parametrize(("coarse", "shift"), [(1, 0), (2, 0), (3, 0), (4, 0), (2, 1), (3, 1), (3, 2), (4, 3)])
def test_what_runs_into_it_beyond_the_window_leaves_by_the_outlet_in_it(make_site, make_project, coarse, shift):
    whole, window, (rows, cols) = sites(make_site, "east", coarse, shift)
    found = assess(window, make_project())
    expected = assess(whole, make_project()).upstream_area[rows, cols]
    # The outlet's flat floor, 13 cells wide, some way down from the hollow: all water of the hollow goes through it.
    col = 60 + 12 + 10 - shift
    floor = slice(54 - shift, 66 - shift)
    assert expected[floor, col].sum() > 10_000
    assert found.upstream_area[floor, col].sum() == pytest.approx(expected[floor, col].sum(), rel=0.1)


@pytest.mark.parametrize("outlet", ["east", "north"])
def test_water_let_in_joins_where_the_ground_round_it_says(make_site, outlet):
    """Places where water enters lie in the larger cell that it flows to, wherever the window begins."""
    _, aligned, _ = sites(make_site, outlet, 4)
    _, shifted, _ = sites(make_site, outlet, 4, shift=3)
    found = []
    for site in (aligned, shifted):
        ground = site.elevation.astype(np.float32)
        entering = inflow(ground, site.grid, site.around, site.around.elevation.astype(np.float32))
        row, col = np.divmod(entering.cell, site.grid.cols)
        x, y = site.grid.centres()[0][col], site.grid.centres()[1][row]
        # On the sides where both windows begin in the same larger cells; on the others one reaches farther.
        both = (x < 1168) & (y > 2120)
        found.append(set(zip(x[both].tolist(), y[both].tolist(), strict=True)))
    assert len(found[0]) > 10
    assert found[0] == found[1]


@pytest.mark.parametrize(("shift", "left"), [(0, 108), (1, 108), (3, 108), (0, 172), (1, 172), (0, 176)])
def test_the_shore_lies_within_two_larger_cells_of_a_square_under_water(make_site, shift, left):
    _, site, _ = sites(make_site, "east", 4, shift, left)
    ground, coarse = site.elevation.astype(np.float32), site.around.elevation.astype(np.float32)
    found = inflow(ground, site.grid, site.around, coarse)
    filled = flow_over(coarse).filled
    squares = [
        (r, c)
        for r in range(1, coarse.shape[0] - 1)
        for c in range(1, coarse.shape[1] - 1)
        if (filled > coarse)[r - 1 : r + 2, c - 1 : c + 2].all() and np.ptp(filled[r - 1 : r + 2, c - 1 : c + 2]) == 0
    ]
    expected = set()
    rows, cols = site.grid.shape
    for row in range(rows):
        for col in range(cols):
            if row in {0, rows - 1} or col in {0, cols - 1}:
                r, c = (row + 60 + shift) // 4, (col + left + shift) // 4
                if any(abs(r - i) <= 2 and abs(c - j) <= 2 for i, j in squares):
                    expected.add(row * cols + col)
    assert expected
    assert set(found.shore.tolist()) == expected
