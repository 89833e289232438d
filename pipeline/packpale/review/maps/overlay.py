"""Rasters as pictures that lie on a web map: warped to the map's projection, one colour for each class."""

import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from packpale.review.projecting import between
from packpale.site import Array, Cells, Grid

MAP_CRS = "EPSG:3857"
"""The projection the maps are drawn in; pictures in it need no further bending."""

Classes = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class Frame:
    """Where a plot's pictures lie on the map: square pixels in MAP_CRS.

    ``west`` and ``north`` are the outer edges of the first pixel and ``pixel`` its size, in the units of MAP_CRS.
    """

    west: float
    north: float
    pixel: float
    width: int
    height: int

    @property
    def bounds(self) -> list[list[float]]:
        """[[south, west], [north, east]] as latitude and longitude, as the map takes them. [deg]"""
        to_degrees = between(MAP_CRS, "EPSG:4326")
        west, north = to_degrees.transform(self.west, self.north)
        east, south = to_degrees.transform(self.west + self.width * self.pixel, self.north - self.height * self.pixel)
        return [[south, west], [north, east]]


def frame(grid: Grid, crs: str, *, largest_side: int) -> Frame:
    """Frame that holds the whole grid.

    Its pixels are about the size of a cell, or larger so that no side is over ``largest_side`` pixels.
    """
    to_map = between(crs, MAP_CRS)
    west, south, east, north = to_map.transform_bounds(*grid.bounds, densify_pts=21)
    pixel = max(
        min((east - west) / grid.cols, (north - south) / grid.rows), max(east - west, north - south) / largest_side
    )
    return Frame(west, north, pixel, math.ceil((east - west) / pixel - 1e-6), math.ceil((north - south) / pixel - 1e-6))


def warp(values: Cells, grid: Grid, crs: str, onto: Frame, *, mean: bool) -> Array:
    """A grid's values on the frame's pixels, NaN outside the grid.

    ``mean`` averages where pixels are larger than cells; otherwise each pixel takes the cell under its centre, as
    classes need it.
    """
    from affine import Affine
    from rasterio.enums import Resampling
    from rasterio.warp import reproject

    shrinks = max(grid.cols / onto.width, grid.rows / onto.height) > 1.2
    out = np.full((onto.height, onto.width), np.nan, np.float32)
    reproject(
        values.astype(np.float32),
        out,
        src_transform=Affine(*grid.transform),
        src_crs=crs,
        src_nodata=np.nan,
        dst_transform=Affine(onto.pixel, 0, onto.west, 0, -onto.pixel, onto.north),
        dst_crs=MAP_CRS,
        dst_nodata=np.nan,
        resampling=Resampling.average if mean and shrinks else Resampling.nearest,
    )
    return out.astype(np.float64)


def png(classes: Classes, colours: Sequence[str]) -> bytes:
    """Picture with one colour for each class.

    ``classes`` is 0 where nothing is shown and k for the k-th of ``colours`` ("#rrggbb", or "" for nothing).
    """
    import rasterio
    from rasterio.errors import NotGeoreferencedWarning
    from rasterio.io import MemoryFile

    colormap = {0: (0, 0, 0, 0)}
    for k, colour in enumerate(colours, start=1):
        colormap[k] = (*_rgb(colour), 255) if colour else (0, 0, 0, 0)
    rows, cols = classes.shape
    with MemoryFile() as memory:
        with rasterio.Env(GDAL_PAM_ENABLED="NO"), warnings.catch_warnings():
            # A PNG carries no place on earth, so that the hint about a missing one does not apply.
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            with memory.open(driver="PNG", height=rows, width=cols, count=1, dtype="uint8", zlevel=6) as file:
                file.write_colormap(1, colormap)
                file.write(classes, 1)
        return bytes(memory.read())


def ramp(anchors: Sequence[str], steps: int) -> list[str]:
    """``steps`` colours evenly along the line through the anchor colours."""
    points = np.array([_rgb(a) for a in anchors], float)
    at = np.linspace(0, len(anchors) - 1, steps)
    mixed = [np.interp(at, np.arange(len(anchors)), points[:, band]) for band in range(3)]
    return ["#" + "".join(f"{round(band[k]):02x}" for band in mixed) for k in range(steps)]


def _rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)
