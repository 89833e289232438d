"""Water in hollows after a rain: a cone with a known catchment, one hollow above another, real ground."""

import dataclasses
import math

import numpy as np
import pytest

from packpale.land import _kernels_ponds
from packpale.land.assess import assess
from packpale.land.drainage import flow_over
from packpale.land.ponds import depth_after

CELL = 0.5
TENTH_MM = 1e-4
"""What single precision keeps of levels. [m]"""


def crater(x, y, *, rim, steep=0.1):
    """A cone-shaped hollow, its lowest point 0, whose ground falls away from its round rim."""
    away = np.hypot(x, y)
    return steep * np.where(away < rim, away, 2 * rim - away)


def ground(half, cell=CELL):
    at = np.arange(-half + cell / 2, half, cell)
    return np.meshgrid(at, at[::-1])


@pytest.mark.parametrize("rain", [20.0, 100.0, 400.0])
def test_a_cone_holds_what_its_catchment_sends(make_site, make_project, rain):
    z = crater(*ground(60.0), rim=40.0)
    found = assess(make_site(z, cell=CELL), make_project(pond_rain_mm=rain)).ponding
    # A cone of slope 0.1 holds pi h^3 / (3 x 0.1^2), and 0.35 of the rain on its disc of 40 m runs into it.
    volume = 0.35 * rain / 1000 * math.pi * 40**2
    height = (3 * 0.1**2 * volume / math.pi) ** (1 / 3)
    lowest = 0.1 * math.hypot(CELL / 2, CELL / 2)
    assert found.max() == pytest.approx(height - lowest, rel=0.02)
    # Cells on the rim shed half of their rain to the other side: 0.25 m of 40.
    assert found.sum() * CELL**2 == pytest.approx(volume, rel=0.015)
    # Level water, and dry where the ground is above it.
    np.testing.assert_allclose((z + found)[found > 0], lowest + found.max())
    assert (found[z > lowest + found.max() + 1e-9] == 0).all()


def test_without_rain_set_and_with_more_than_it_holds_a_hollow_is_full(make_site, make_project):
    site = make_site(crater(*ground(60.0), rim=40.0), cell=CELL)
    full = assess(site, make_project()).ponding
    assert full.max() == pytest.approx(4.0, rel=0.03)
    np.testing.assert_array_equal(assess(site, make_project(pond_rain_mm=2000)).ponding < full, full > 0)
    np.testing.assert_allclose(depth_after(site.elevation, flow_over(site.elevation), runoff=1e3), full, atol=TENTH_MM)


def test_what_the_upper_hollow_has_no_room_for_stands_in_the_lower():
    """On a slope that falls to the south: a small hollow, and below it a large one; both bounded by walls."""
    rows, cols = 60, 21
    z = np.repeat(10 - 0.05 * np.arange(rows)[:, None], cols, axis=1)
    z[:, [0, -1]] = 50.0
    z[0] = 50.0
    upper, lower = (slice(10, 13), slice(5, 8)), (slice(30, 40), slice(1, 20))
    z[upper] -= 1.0
    z[lower] -= 4.0
    flow = flow_over(z)
    full = flow.filled - z
    found = depth_after(z, flow, runoff=0.5)
    assert full[upper].sum() < 0.5 * 10 * 3 < full[upper].sum() + full[lower].sum()
    np.testing.assert_allclose(found[upper], full[upper])  # its catchment sends more than it holds
    # All that runs off the rows above and the walls beside them, down to the lower one's last row.
    drained = np.zeros(z.shape, bool)
    drained[:40] = True
    drained[0, [0, -1]] = False
    count = (found[lower].sum() + full[upper].sum()) / 0.5
    assert count == pytest.approx(40 * 19, rel=0.12)
    assert 0 < found[lower].sum() < full[lower].sum()


def test_on_real_ground_no_water_is_made_and_more_rain_is_deeper(real_ground):
    flow = flow_over(real_ground)
    full = flow.filled - real_ground
    before = np.zeros(real_ground.shape)
    for runoff in (0.002, 0.02, 0.2):
        depth = depth_after(real_ground, flow, runoff=runoff)
        assert 0 < depth.sum() <= runoff * real_ground.size
        assert (depth <= full + 1e-9).all()
        assert (depth >= before - 1e-9).all()
        before = depth
    assert (before > 0.3).sum() < 0.7 * (full > 0.3).sum()
    np.testing.assert_allclose(depth_after(real_ground, flow, runoff=1e4), full, atol=1e-9)


def test_missing_ground_stays_missing(make_site, make_project):
    site = make_site(crater(*ground(60.0), rim=40.0), cell=CELL)
    holed = site.elevation.copy()
    holed[:5] = np.nan
    found = assess(dataclasses.replace(site, elevation=holed), make_project(pond_rain_mm=50)).ponding
    np.testing.assert_array_equal(np.isnan(found), np.isnan(holed))


def test_the_loops_run_compiled():
    z = crater(*ground(5.0), rim=3.0)
    depth_after(z, flow_over(z), runoff=0.01)
    for name in ("number_ponds", "first_ponds", "next_ponds", "spill", "levels"):
        assert getattr(_kernels_ponds, name).nopython_signatures
