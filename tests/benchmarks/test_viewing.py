"""Lines of sight against an independent library: cell by cell on real ground, and in time on invented ground.

    pytest -s tests/benchmarks/test_viewing.py                       # 1 and 4 million cells
    PACKPALE_BENCH_SIDE=5000 pytest -s -k time tests/benchmarks/test_viewing.py    # 25 million, without the library

xarray-spatial sweeps a ray round the viewing point and interpolates the ground between neighbours on it; ours follows
each line of sight over bilinear ground. They may differ where a line just touches. It compiles for most of a minute in
every process, which is why this stands here and not among the tests.
"""

import os
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import rasterio
from scipy import ndimage

from packpale.care import _kernels_viewing
from packpale.care.sights import peaks

xarray = pytest.importorskip("xarray", reason="pip install packpale[bench]")
xrspatial = pytest.importorskip("xrspatial", reason="pip install packpale[bench]")

EYE_M, TARGET_M = 1.6, 0.6
ROOT = Path(__file__).parents[2]


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(("row", "col"), [(100, 100), (20, 30), (150, 60), (60, 170)])
def test_the_same_cells_are_seen(row, col):
    with rasterio.open(ROOT / "data_samples" / "real" / "lidar_1m_utm15n.tif") as source:
        z = source.read(1).astype(float)[:200, :200]
    n = len(z)
    axes = {"y": np.arange(n)[::-1].astype(float), "x": np.arange(n).astype(float)}
    ground = xarray.DataArray(z, dims=["y", "x"], coords=axes)
    theirs = xrspatial.viewshed(
        ground, x=float(col), y=float(n - 1 - row), observer_elev=EYE_M, target_elev=TARGET_M
    ).values
    seen = np.zeros(z.shape, bool)
    everywhere = np.ones(z.shape, bool)
    at, ready = (float(col), float(row)), (z, *peaks(z))
    _kernels_viewing.sweep(*ready, *ready, 1.0, *at, everywhere, *at, z[row, col] + EYE_M, TARGET_M, 1e9, seen)
    # Neither all nor nothing is seen there, so that agreement says something.
    assert 0.2 < seen.mean() < 0.7
    assert ((theirs > -1) == seen).mean() > 0.998


SIDES = [int(os.environ["PACKPALE_BENCH_SIDE"])] if "PACKPALE_BENCH_SIDE" in os.environ else [1000, 2000]
LIBRARY_CELLS = 4_000_000
"""More than that the library is not asked for: a viewing point takes it minutes."""
PLACES = ((0.5, 0.5), (0.1, 0.3), (0.8, 0.6))
"""Viewing points, as parts of the side from the north-west corner."""


def rolling_ground(side):
    """Hills 800 m, 240 m and 60 m wide and knolls of 12 m, 40 m high to 0.4 m. [m]"""
    rng = np.random.default_rng(3)
    z = np.zeros((side, side))
    for width, height in ((200, 40), (60, 12), (15, 3), (3, 0.4)):
        wave = ndimage.gaussian_filter(rng.normal(size=(side // 4, side // 4)), width / 4, mode="wrap")
        z += ndimage.zoom(height * wave / wave.std(), 4, order=1)
    return z


def timed(run, *what, **more):
    start = time.process_time()
    found = run(*what, **more)
    return time.process_time() - start, found


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("side", SIDES)
def test_time_for_all_cells_from_each_viewing_point(side):
    z = rolling_ground(side)
    everywhere = np.ones(z.shape, bool)
    axes = {"y": np.arange(side)[::-1].astype(float), "x": np.arange(side).astype(float)}
    with_library = z.size <= LIBRARY_CELLS
    # Compiled before the clock runs.
    small = z[:64, :64].copy()
    tiny_ready, cells = (small, *peaks(small)), everywhere[:64, :64].copy()
    _kernels_viewing.sweep(*tiny_ready, *tiny_ready, 1.0, 5.0, 5.0, cells, 5.0, 5.0, 99.0, 0.6, 9.0, small > 0)
    if with_library:
        tiny = {name: axis[-64:] for name, axis in axes.items()}
        xrspatial.viewshed(xarray.DataArray(small, dims=["y", "x"], coords=tiny), x=tiny["x"][5], y=tiny["y"][5])
    prepared, ready = timed(_kernels_viewing.peaks, z)
    sys.stdout.write(f"\n{side} x {side} cells: made ready in {prepared:.2f} s\n")
    ours, theirs = [], []
    for east, south in PLACES:
        col, row = int(east * side), int(south * side)
        seen = np.zeros(z.shape, bool)
        eye = z[row, col] + EYE_M
        at = (float(col), float(row))
        line = (*at, everywhere, *at, eye, TARGET_M, 1e9, seen)
        spent, _ = timed(_kernels_viewing.sweep, z, *ready, z, *ready, 1.0, *line)
        ours.append(spent)
        said = f"  {100 * seen.mean():4.1f} % seen, {spent:.2f} s"
        if with_library:
            ground = xarray.DataArray(z, dims=["y", "x"], coords=axes)
            at = {"x": float(col), "y": float(side - 1 - row), "observer_elev": EYE_M, "target_elev": TARGET_M}
            spent, found = timed(xrspatial.viewshed, ground, **at)
            theirs.append(spent)
            said += f", xarray-spatial {spent:.2f} s ({spent / ours[-1]:.1f} times as long)"
            assert ((found.values > -1) == seen).mean() > 0.99
        sys.stdout.write(said + "\n")
    # Not worse than exact rays that grow with the cube of the side: those took 65 s for the first at 2,000.
    assert sum(ours) < 5e-6 * z.size * len(PLACES)
    assert not theirs or sum(ours) < sum(theirs)
