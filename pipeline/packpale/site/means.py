"""Means of elevation over squares of the run's cells, kept in tiles: plots side by side look at the same ground."""

import functools
from collections import OrderedDict

import numpy as np
import numpy.typing as npt
from pyproj import CRS

from packpale.site.elevations import interpolated, own_cells
from packpale.site.grid import Array, Grid
from packpale.site.raster_files import Unreadable
from packpale.site.rasters import Elevation, is_native, origin

SIDE = 128
"""Means along the side of a tile: of four or eight cells each they end where blocks of most rasters do."""
MOST_KEPT = 256
"""Tiles that a process keeps, those used last: 34 MB."""
READ_AT_ONCE = 1 << 22
"""Cells of the raster that are held at a time: those of four tiles of means of eight cells a side."""


def read_mean(elevation: Elevation, crs: CRS, grid: Grid, factor: int) -> Array:
    """Mean elevation of cells that are ``factor`` times as wide as the run's [m]; NaN is no data.

    Of those of the run's cells that have one, where they are the raster's own; otherwise the elevation at the middle.
    The cells of ``grid`` are counted from ``rasters.origin``, and one has the same value in every grid that holds it.
    Raises Faults if a file cannot be read.
    """
    try:
        return _tiles_of(elevation, crs, grid.cell / factor).read(grid, factor)
    except Unreadable:
        # Tiles reach beyond the grid: what cannot be read may lie there.
        return _read(elevation, crs, grid, factor)


@functools.lru_cache(maxsize=1)
def _tiles_of(elevation: Elevation, crs: CRS, cell: float) -> "_Tiles":
    # A file that was written anew has another state, so that this is another elevation.
    return _Tiles(elevation, crs, cell)


class _Tiles:
    """Tiles of means, read when they are first asked for; those used last are kept."""

    def __init__(self, elevation: Elevation, crs: CRS, cell: float) -> None:
        self._elevation, self._crs = elevation, crs
        self._west, self._north = origin(elevation, crs, cell)
        self._native = is_native(elevation, crs, cell)
        self._kept: OrderedDict[tuple[int, int, int], Array] = OrderedDict()
        """By factor, row and column; the one used last at the end."""

    def read(self, grid: Grid, factor: int) -> Array:
        """As ``read_mean``."""
        top, left = round((self._north - grid.north) / grid.cell), round((grid.west - self._west) / grid.cell)
        cols = range(left // SIDE, -(-(left + grid.cols) // SIDE))
        out = np.empty(grid.shape)
        for row in range(top // SIDE, -(-(top + grid.rows) // SIDE)):
            self._keep(grid.cell, factor, row, [col for col in cols if (factor, row, col) not in self._kept])
            for col in cols:
                self._kept.move_to_end((factor, row, col))
                down, right = row * SIDE - top, col * SIDE - left
                part = out[max(down, 0) : down + SIDE, max(right, 0) : right + SIDE]
                tile = self._kept[factor, row, col][max(-down, 0) :, max(-right, 0) :]
                part[...] = tile[: part.shape[0], : part.shape[1]]
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
        return out

    def _keep(self, size: float, factor: int, row: int, cols: list[int]) -> None:
        """Read and keep tiles of one row, of means that are ``size`` wide [m]."""
        # Side by side in one go, since many files hold whole rows. Coordinates that have to be moved would depend in
        # their last digits on where that begins.
        at_once = max(1, READ_AT_ONCE // (SIDE * factor) ** 2) if self._native else 1
        for start in range(0, len(cols), at_once):
            part = cols[start : start + at_once]
            first, wide = part[0], part[-1] + 1 - part[0]
            west, north = self._west + first * SIDE * size, self._north - row * SIDE * size
            means = _read(self._elevation, self._crs, Grid(west, north, size, SIDE, wide * SIDE), factor)
            for col in part:
                self._kept[factor, row, col] = means[:, (col - first) * SIDE : (col - first + 1) * SIDE].copy()


def _read(elevation: Elevation, crs: CRS, grid: Grid, factor: int) -> Array:
    """As ``read_mean``, from the files."""
    cell = grid.cell / factor
    if not is_native(elevation, crs, cell):
        return interpolated(elevation, crs, grid)
    out = np.empty(grid.shape)
    high = max(1, READ_AT_ONCE // (grid.cols * factor**2))
    for top in range(0, grid.rows, high):
        part = grid.part(slice(top, min(top + high, grid.rows)), slice(0, grid.cols))
        values = own_cells(elevation, Grid(part.west, part.north, cell, part.rows * factor, part.cols * factor))
        known = np.isfinite(values)
        values[~known] = 0.0
        count, total = _sums(known, factor), _sums(values, factor)
        out[top : top + part.rows] = np.where(count > 0, total / np.maximum(count, 1.0), np.nan)
    return out


def _sums(values: npt.NDArray[np.float64] | npt.NDArray[np.bool_], factor: int) -> Array:
    """Sums over squares of ``factor`` x ``factor`` values, added up in the same order wherever a square lies."""
    rows, cols = values.shape
    tall, out = np.zeros((rows // factor, cols)), np.zeros((rows // factor, cols // factor))
    for k in range(factor):
        tall += values[k::factor]
    for k in range(factor):
        out += tall[:, k::factor]
    return out
