"""Ground that the tests of this room share."""

from pathlib import Path

import numpy as np
import pytest


@pytest.fixture(scope="session")
def real_ground():
    """Laser-scanned ground of data_samples/real: 400 x 400 cells of 1 m, no missing cell. [m]"""
    import rasterio

    path = Path(__file__).parents[2] / "data_samples" / "real" / "lidar_1m_utm15n.tif"
    with rasterio.open(path) as source:
        return source.read(1).astype(np.float64)
