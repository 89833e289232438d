"""Sites and settings made in memory."""

from pathlib import Path

import numpy as np
import pytest
from shapely import contains_xy
from shapely.geometry import MultiPolygon, box

from made_soil import soil_of
from packpale.settings import Project
from packpale.site import Grid, Site


@pytest.fixture
def make_site():
    """Return a function that makes a site from an elevation array, its south-west corner at (1000, 2000)."""

    def make(elevation, *, cell=1.0, outline=None, features=None, **soil):
        z = np.asarray(elevation, float)
        grid = Grid(west=1000.0, north=2000.0 + z.shape[0] * cell, cell=cell, rows=z.shape[0], cols=z.shape[1])
        plot = box(*grid.bounds).buffer(-2 * cell, join_style="mitre") if outline is None else outline
        plot = plot if isinstance(plot, MultiPolygon) else MultiPolygon([plot])
        x, y = np.meshgrid(*grid.centres())
        return Site(
            plot_id="field",
            crs="EPSG:25832",
            outline=plot,
            grid=grid,
            elevation=z,
            inside=contains_xy(plot, x, y),
            soil=soil_of(z.shape, **soil),
            features=features or {},
        )

    return make


@pytest.fixture
def make_project():
    """Return a function that makes settings with [land] as named and an input file for each kind of feature."""

    def make(*kinds, **land):
        inputs = {
            "elevation": "z.tif",
            "plots": "plots.gpkg",
            "plot_id": "id",
            **{kind: f"{kind}.gpkg" for kind in kinds},
        }
        return Project.model_validate({"inputs": inputs, "land": land})

    return make


@pytest.fixture(scope="session")
def real_ground():
    """Laser-scanned ground of data_samples/real: 400 x 400 cells of 1 m, no missing cell. [m]"""
    import rasterio

    path = Path(__file__).parents[2] / "data_samples" / "real" / "lidar_1m_utm15n.tif"
    with rasterio.open(path) as source:
        return source.read(1).astype(np.float64)
