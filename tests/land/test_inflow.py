"""Hollows and water that go on beyond a window, where the ground there is known in coarser cells."""

import dataclasses

import numpy as np
import pytest

from packpale.land.assess import assess
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


def sites(make_site, outlet, coarse):
    """All of a square of 240 m, and its part from x = -10 to 110, y = -60 to 60 as a window on it."""
    x, y = np.meshgrid(np.arange(-119.5, 120), np.arange(119.5, -120, -1))
    z = hollow(x, y, outlet=outlet)
    whole = make_site(z)
    rows, cols = slice(60, 180), slice(108, 228)
    n = 240 // coarse
    means = z.reshape(n, coarse, n, coarse).mean(axis=(1, 3))
    around = Around(Grid(whole.grid.west, whole.grid.north, float(coarse), n, n), means)
    window = dataclasses.replace(
        make_site(z[rows, cols]), grid=whole.grid.part(rows, cols), elevation=z[rows, cols].copy(), around=around
    )
    return whole, window, (rows, cols)


@pytest.mark.parametrize("coarse", [1, 2, 3, 4])
@pytest.mark.parametrize("outlet", ["east", "west", "north"])
def test_a_hollow_across_the_edge_fills_to_its_outlet_wherever_that_is(make_site, make_project, outlet, coarse):
    whole, window, part = sites(make_site, outlet, coarse)
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


@pytest.mark.parametrize("coarse", [1, 2, 3, 4])
def test_what_runs_into_it_beyond_the_window_leaves_by_the_outlet_in_it(make_site, make_project, coarse):
    whole, window, (rows, cols) = sites(make_site, "east", coarse)
    found = assess(window, make_project())
    expected = assess(whole, make_project()).upstream_area[rows, cols]
    # The outlet's flat floor, 13 cells wide, some way down from the hollow: all water of the hollow goes through it.
    col = 60 + 12 + 10
    floor = slice(54, 66)
    assert expected[floor, col].sum() > 10_000
    assert found.upstream_area[floor, col].sum() == pytest.approx(expected[floor, col].sum(), rel=0.1)
