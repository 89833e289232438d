"""Rasters of one plot as cloud-optimised GeoTIFF."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from packpale.review.model import PlotResult
from packpale.site import Cells, Grid

NODATA = -9999.0
BLOCK = 256
"""Side of a tile. [cells]"""
MOST_WITHOUT_OVERVIEWS = 512
"""Longer side up to which a cloud-optimised GeoTIFF is held to need no overviews, by GDAL's own check. [cells]"""


class Raster(NamedTuple):
    """What one file holds."""

    cells: Cells
    unit: str
    read: Callable[[Cells], Cells] = lambda cells: cells
    """From the cells to values in that unit."""


def rasters(result: PlotResult) -> dict[str, Raster]:
    """The rasters a plot's folder holds, by file name."""
    land, viewing = result.land, result.care.viewing if result.care else None
    return {
        "slope_deg.tif": Raster(land.slope, "degree", lambda slope: np.degrees(np.arctan(slope))),
        "wetness.tif": Raster(land.wetness, "ln(m)"),
        "ponding_m.tif": Raster(land.ponding, "metre"),
        "diggability.tif": Raster(land.limitation, "1", lambda limitation: 1 - limitation),
        "suitability.tif": Raster(land.suitability, "1"),
        **({"seen_from.tif": Raster(viewing.seen_from, "1")} if viewing else {}),
    }


def write_rasters(result: PlotResult, folder: Path) -> None:
    """Write every raster of a plot into ``folder``."""
    site = result.site
    for name, raster in rasters(result).items():
        write_cog(folder / name, raster, site.grid, crs=site.crs)


def write_cog(path: Path, raster: Raster, grid: Grid, *, crs: str) -> None:
    """Write one band of float32 as a cloud-optimised GeoTIFF; NaN becomes nodata."""
    import rasterio
    from affine import Affine

    profile: dict[str, Any] = {
        "height": grid.rows,
        "width": grid.cols,
        "count": 1,
        "dtype": "float32",
        "nodata": NODATA,
        "crs": crs,
        "transform": Affine(*grid.transform),
    }
    # Capitals: where a file is opened some versions of the library write words so, and the file says what it was told.
    layout: dict[str, Any] = {
        "driver": "COG",
        "blocksize": BLOCK,
        "compress": "DEFLATE",
        # A hundredth larger than by the usual level, in two thirds of the time.
        "level": 1,
        "predictor": "YES",
        "overviews": "AUTO" if max(grid.shape) > MOST_WITHOUT_OVERVIEWS else "NONE",
        "overview_resampling": "AVERAGE",
        "num_threads": 1,
    }
    band: npt.NDArray[np.float32] = raster.read(raster.cells).astype(np.float32)
    band[np.isnan(band)] = NODATA
    with rasterio.Env(GDAL_NUM_THREADS="1"), rasterio.open(path, "w", **profile, **layout) as file:
        file.write(band, 1)
        file.units = (raster.unit,)
        file.set_band_description(1, path.stem)
