"""Rasters of one plot as cloud-optimised GeoTIFF."""

from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from packpale.result import PlotResult
from packpale.site import Array

NODATA = -9999.0
BLOCK = 256
"""Side of a tile. [cells]"""


def rasters(result: PlotResult) -> dict[str, tuple[Array, str]]:
    """The rasters a plot's folder holds, by file name, each with its unit."""
    land, viewing = result.land, result.care.viewing if result.care else None
    return {
        "slope_deg.tif": (np.degrees(np.arctan(land.slope)), "degree"),
        "wetness.tif": (land.wetness, "ln(m)"),
        "ponding_m.tif": (land.ponding, "metre"),
        "diggability.tif": (land.diggability, "1"),
        "suitability.tif": (land.suitability, "1"),
        **({"seen_from.tif": (viewing.seen_from, "1")} if viewing else {}),
    }


def write_rasters(result: PlotResult, folder: Path) -> None:
    """Write every raster of a plot into ``folder``."""
    for name, (values, unit) in rasters(result).items():
        write_cog(folder / name, values, transform=result.site.grid.transform, crs=result.site.crs, unit=unit)


def write_cog(path: Path, values: Array, *, transform: tuple[float, ...], crs: str, unit: str) -> None:
    """Write one band of float32 as a cloud-optimised GeoTIFF; NaN becomes nodata."""
    import rasterio
    from affine import Affine

    band: npt.NDArray[np.float32] = np.where(np.isnan(values), NODATA, values).astype(np.float32)
    rows, cols = band.shape
    profile: dict[str, Any] = {
        "driver": "COG",
        "height": rows,
        "width": cols,
        "count": 1,
        "dtype": "float32",
        "nodata": NODATA,
        "crs": crs,
        "transform": Affine(*transform),
        "blocksize": BLOCK,
        "compress": "deflate",
        "predictor": "yes",
        "overview_resampling": "average",
        "num_threads": 1,
    }
    with rasterio.Env(GDAL_NUM_THREADS="1"), rasterio.open(path, "w", **profile) as file:
        file.write(band, 1)
        file.units = (unit,)
        file.set_band_description(1, path.stem)
