"""Elevation on the run's grid: the values at the centres of its cells."""

import itertools
import math

import numpy as np
from pyproj import CRS

from packpale.site import crs as crs_
from packpale.site.grid import Array, Grid
from packpale.site.raster_files import read_lattice
from packpale.site.rasters import MOST_SPANNED, Elevation, is_native, side_at

POINTS_AT_ONCE = 2_000_000
"""Points whose coordinates are held at a time."""


def read_elevation(elevation: Elevation, crs: CRS, grid: Grid) -> Array:
    """Elevation at the cell centres of a grid of the run [m]; NaN is no data.

    The raster's own values where the grid is its lattice. Otherwise bilinear between its cell centres, NaN wherever
    one of the four that bears weight is missing; a cell that spans several of the raster's takes the mean of as many
    points, evenly spread. A cell has the same value in every grid that holds it. Raises Faults if a file cannot be
    read after all.
    """
    out = np.empty(grid.shape)
    native = is_native(elevation, crs, grid.cell)
    points = 1 if native else _points_a_side(elevation, crs, grid.cell)
    # In pieces, so that the coordinates of all points need not be held at once.
    wide = min(grid.cols, max(1, POINTS_AT_ONCE // points**2))
    high = max(1, POINTS_AT_ONCE // (wide * points**2))
    for top, left in itertools.product(range(0, grid.rows, high), range(0, grid.cols, wide)):
        rows, cols = slice(top, min(top + high, grid.rows)), slice(left, min(left + wide, grid.cols))
        piece = grid.part(rows, cols)
        out[rows, cols] = own_cells(elevation, piece) if native else _means(elevation, crs, piece, points)
    return out


def _points_a_side(elevation: Elevation, crs: CRS, cell: float) -> int:
    """Points a side that a cell takes the mean of: as many as it spans of the raster's cells in the raster's middle."""
    # Not in the grid's middle: two grids that share a cell would take different means.
    a, b, c, d, e, f = elevation.transform
    west, top, east, bottom = elevation.extent
    col, row = (west + east) / 2, (top + bottom) / 2
    x, y = crs_.moved(a * col + b * row + c, d * col + e * row + f, elevation.crs, crs)
    own = side_at(elevation, crs, (float(x), float(y)))
    return min(max(1, round(cell / own)), MOST_SPANNED) if math.isfinite(own) else 1


def own_cells(elevation: Elevation, grid: Grid) -> Array:
    """The raster's own values in the cells of a grid on its lattice [m]. Raises Faults as ``read_elevation``."""
    west, north = elevation.transform[2], elevation.transform[5]
    col, row = round((grid.west - west) / grid.cell), round((north - grid.north) / grid.cell)
    return read_lattice(elevation, col, row, grid.cols, grid.rows)


def _means(elevation: Elevation, crs: CRS, grid: Grid, points: int) -> Array:
    """Mean over ``points`` x ``points`` places in each cell of a grid."""
    finer = Grid(grid.west, grid.north, grid.cell / points, grid.rows * points, grid.cols * points)
    values = interpolated(elevation, crs, finer)
    return values.reshape(grid.rows, points, grid.cols, points).mean(axis=(1, 3)) if points > 1 else values


def interpolated(elevation: Elevation, crs: CRS, grid: Grid) -> Array:
    """Bilinear elevation at the cell centres of a grid [m]. Raises Faults as ``read_elevation``."""
    x, y = np.meshgrid(*grid.centres())
    with np.errstate(invalid="ignore"):
        # Places that the raster's CRS does not reach are infinite.
        col, row = elevation.to_lattice(*crs_.moved(x, y, crs, elevation.crs))
    finite = np.isfinite(col) & np.isfinite(row)
    if not finite.any():
        return np.full(grid.shape, np.nan)
    # Only what the tiles hold is read, however far beyond them the grid reaches.
    west, top, east, bottom = elevation.extent
    c0 = max(west, math.floor(col[finite].min()) - 1)
    c1 = min(east, math.ceil(col[finite].max()) + 1)
    r0 = max(top, math.floor(row[finite].min()) - 1)
    r1 = min(bottom, math.ceil(row[finite].max()) + 1)
    if c1 <= c0 or r1 <= r0:
        return np.full(grid.shape, np.nan)
    cells = Grid(c0, -r0, 1.0, r1 - r0, c1 - c0)
    return cells.bilinear(read_lattice(elevation, c0, r0, c1 - c0, r1 - r0), col, -row)
