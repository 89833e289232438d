"""Lines of sight on real ground against an independent library, cell by cell.

xarray-spatial sweeps a ray round the viewing point and interpolates the ground between neighbours on it; ours follows
each line of sight over bilinear ground. They may differ where a line just touches. It compiles for most of a minute in
every process, which is why this stands here and not among the tests.
"""

from pathlib import Path

import numpy as np
import pytest
import rasterio

from packpale.care import _kernels_viewing

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
    _kernels_viewing.sweep(
        z, *_kernels_viewing.peaks(z), everywhere, float(col), float(row), z[row, col] + EYE_M, TARGET_M, 1e9, seen
    )
    # Neither all nor nothing is seen there, so that agreement says something.
    assert 0.2 < seen.mean() < 0.7
    assert ((theirs > -1) == seen).mean() > 0.998
