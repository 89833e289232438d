"""Rasters as pictures that lie on a web map: warped to the map's projection, one colour for each class."""

import functools
import math
from typing import Any

import numpy as np
import numpy.typing as npt

from packpale.review.projecting import between
from packpale.site import Array, Cells, Grid

MAP_CRS = "EPSG:3857"
"""The projection the maps are drawn in; pictures in it need no further bending."""

MUCH_LARGER = 1.2
"""Pixels that are larger than cells by this factor show the mean of those under them."""


def frame(grid: Grid, crs: str, *, largest_side: int) -> Grid:
    """Where pictures of a grid lie on the map: a grid of pixels in MAP_CRS, in its units, that holds the whole of it.

    Its pixels are about the size of a cell, or larger so that no side is over ``largest_side`` pixels.
    """
    to_map = between(crs, MAP_CRS)
    west, south, east, north = to_map.transform_bounds(*grid.bounds, densify_pts=21)
    pixel = max(
        min((east - west) / grid.cols, (north - south) / grid.rows), max(east - west, north - south) / largest_side
    )
    return Grid(west, north, pixel, math.ceil((north - south) / pixel - 1e-6), math.ceil((east - west) / pixel - 1e-6))


def bounds_of(onto: Grid) -> list[list[float]]:
    """[[south, west], [north, east]] of a frame as latitude and longitude, as the map takes them. [deg]"""
    west, south, east, north = onto.bounds
    (west, east), (south, north) = between(MAP_CRS, "EPSG:4326").transform([west, east], [south, north])
    return [[south, west], [north, east]]


def warp(values: Cells, grid: Grid, crs: str, onto: Grid, *, mean: bool) -> Array:
    """A grid's values on the frame's pixels, NaN outside the grid.

    ``mean`` averages where pixels are larger than cells; otherwise each pixel takes the cell under its centre, as
    classes need it.
    """
    if mean and max(grid.cols / onto.cols, grid.rows / onto.rows) > MUCH_LARGER:
        out = np.full(onto.shape, np.nan, np.float32)
        _reproject(values.astype(np.float32), out, grid, crs, onto, nothing=np.nan, how="average")
        return out.astype(np.float64)
    # The last, number -1, is for pixels outside the grid.
    return np.asarray(np.append(values, np.nan)[_cells_under(grid, crs, onto)])


@functools.lru_cache(maxsize=1)
def _cells_under(grid: Grid, crs: str, onto: Grid) -> npt.NDArray[np.int32]:
    """Number of the cell under each pixel's centre, row by row, -1 outside the grid: one for all pictures of a plot."""
    out = np.full(onto.shape, -1, np.int32)
    numbers = np.arange(grid.rows * grid.cols, dtype=np.int32).reshape(grid.shape)
    _reproject(numbers, out, grid, crs, onto, nothing=-1, how="nearest")
    return out


def _reproject(
    values: npt.NDArray[Any], out: npt.NDArray[Any], grid: Grid, crs: str, onto: Grid, *, nothing: float, how: str
) -> None:
    from affine import Affine
    from rasterio.enums import Resampling
    from rasterio.warp import reproject

    reproject(
        values,
        out,
        src_transform=Affine(*grid.transform),
        src_crs=crs,
        src_nodata=nothing,
        dst_transform=Affine(*onto.transform),
        dst_crs=MAP_CRS,
        dst_nodata=nothing,
        resampling=Resampling[how],
    )
