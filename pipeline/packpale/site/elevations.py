"""Elevation on the run's grid: the values at the centres of its cells."""

import itertools
import math

import numpy as np
from pyproj import CRS

from packpale.site import _kernels
from packpale.site import crs as crs_
from packpale.site.grid import Array, Grid
from packpale.site.lattice import Elevation
from packpale.site.raster_files import read_lattice
from packpale.site.rasters import MOST_SPANNED, is_native, origin, side_at
from packpale.site.squares import SIDE, KeptCells, Part, parts

KNOT_STEP = 16
"""Every so many cells the change of CRS is computed; between these knots coordinates are interpolated."""
KNOT_TOLERANCE = 1e-4
"""Largest error allowed for that, in cells of the raster; beyond it every cell is computed."""


def read_elevation(elevation: Elevation, crs: CRS, grid: Grid, kept: KeptCells | None = None) -> Array:
    """Elevation at the cell centres of a grid of the run [m]; NaN is no data.

    The raster's own values where the grid is its lattice. Otherwise bilinear between its cell centres, NaN wherever
    one of the four that bears weight is missing; a cell that spans several of the raster's takes the mean of as many
    points, evenly spread. A cell has the same value in every grid that holds it, and in ``kept``, from which it is
    taken where it is there. Raises Faults if a file cannot be read after all.
    """
    out = np.empty(grid.shape)
    for part, (rows, cols) in parts(grid, origin(elevation, crs, grid.cell)):
        found = kept.find(part) if kept else None
        out[rows, cols] = read_part(elevation, crs, grid.cell, part) if found is None else found
    return out


def read_part(elevation: Elevation, crs: CRS, cell: float, part: Part) -> Array:
    """Elevations of some cells of a square, as in ``read_elevation``, from the files."""
    if is_native(elevation, crs, cell):
        row, col = part.square[0] * SIDE + part.top, part.square[1] * SIDE + part.left
        return read_lattice(elevation, col, row, part.shape[1], part.shape[0])
    square = part.whole(origin(elevation, crs, cell), cell)
    own = side_at(elevation, crs, (square.west + SIDE * cell / 2, square.north - SIDE * cell / 2))
    split = min(max(1, round(cell / own)), MOST_SPANNED) if math.isfinite(own) else 1
    out = np.empty(part.shape)
    # In pieces of the square, at the same places for every part of it, with about as many points as it has cells.
    step = max(1, SIDE // split)
    for top, left in itertools.product(_starts(part.top, part.bottom, step), _starts(part.left, part.right, step)):
        piece = Grid(square.west + left * cell, square.north - top * cell, cell / split, step * split, step * split)
        wanted = part.common(Part(part.square, top, top + step, left, left + step))
        rows = slice((wanted.top - top) * split, (wanted.bottom - top) * split)
        cols = slice((wanted.left - left) * split, (wanted.right - left) * split)
        values = _interpolated(elevation, crs, piece, rows, cols)
        if split > 1:
            values = values.reshape(wanted.shape[0], split, wanted.shape[1], split).mean(axis=(1, 3))
        out[wanted.within(part)] = values
    return out


def _starts(first: int, end: int, step: int) -> range:
    """Where the pieces of a square begin that some of its rows or columns lie in."""
    return range(first // step * step, end, step)


def _interpolated(elevation: Elevation, crs: CRS, grid: Grid, rows: slice, cols: slice) -> Array:
    """Bilinear elevation at the cell centres of some rows and columns of ``grid``."""
    if crs_.same(elevation.crs, crs):
        x, y = grid.centres()
        places = np.broadcast_arrays(x[None, cols], y[rows, None])
        col, row = elevation.to_lattice(*(v.astype(float) for v in places))
    else:
        col, row = _lattice_of_centres(elevation, crs, grid, rows, cols)
    finite = np.isfinite(col) & np.isfinite(row)
    out = np.full(col.shape, np.nan)
    if not finite.any():
        return out
    # Only what the tiles hold is read, however far beyond them the grid reaches.
    west, east = min(t.col for t in elevation.tiles), max(t.col + t.cols for t in elevation.tiles)
    top, bottom = min(t.row for t in elevation.tiles), max(t.row + t.rows for t in elevation.tiles)
    c0 = max(west, math.floor(col[finite].min()) - 1)
    c1 = min(east, math.ceil(col[finite].max()) + 1)
    r0 = max(top, math.floor(row[finite].min()) - 1)
    r1 = min(bottom, math.ceil(row[finite].max()) + 1)
    if c1 > c0 and r1 > r0:
        values = read_lattice(elevation, c0, r0, c1 - c0, r1 - r0)
        _kernels.bilinear(values, col - (c0 + 0.5), row - (r0 + 0.5), out)
    return out


def _lattice_of_centres(elevation: Elevation, crs: CRS, grid: Grid, rows: slice, cols: slice) -> tuple[Array, Array]:
    """(col, row) on the raster's lattice of the cell centres of some rows and columns of ``grid``, through the change.

    Computed at knots and interpolated between them, because the change of CRS is nearly linear over a few cells; where
    the middle between knots is off by more than KNOT_TOLERANCE anywhere in the whole grid, computed for every centre.
    """

    def change(x: Array, y: Array) -> tuple[Array, Array]:
        grid_x, grid_y = (np.ascontiguousarray(v) for v in np.broadcast_arrays(x[None, :], y[:, None]))
        return elevation.to_lattice(*crs_.moved(grid_x, grid_y, crs, elevation.crs))

    x, y = grid.centres()
    # Knots lie at the same places for every grid, so that neighbouring squares see the same values.
    skip_c, skip_r = round(grid.west / grid.cell) % KNOT_STEP, round(-grid.north / grid.cell) % KNOT_STEP
    knots_c, knots_r = (grid.cols - 1 + skip_c) // KNOT_STEP + 2, (grid.rows - 1 + skip_r) // KNOT_STEP + 2
    knot_x = x[0] + (np.arange(knots_c) * KNOT_STEP - skip_c) * grid.cell
    knot_y = y[0] - (np.arange(knots_r) * KNOT_STEP - skip_r) * grid.cell
    knots = change(knot_x, knot_y)
    exact = change((knot_x[1:] + knot_x[:-1]) / 2, (knot_y[1:] + knot_y[:-1]) / 2)
    with np.errstate(invalid="ignore"):
        error = max(
            float(np.abs((k[1:, 1:] + k[1:, :-1] + k[:-1, 1:] + k[:-1, :-1]) / 4 - e).max())
            for k, e in zip(knots, exact, strict=True)
        )
    if not error <= KNOT_TOLERANCE:
        return change(x[cols], y[rows])
    shape = rows.stop - rows.start, cols.stop - cols.start
    col, row = np.empty(shape), np.empty(shape)
    _kernels.between_knots(knots[0], KNOT_STEP, skip_r + rows.start, skip_c + cols.start, col)
    _kernels.between_knots(knots[1], KNOT_STEP, skip_r + rows.start, skip_c + cols.start, row)
    return col, row
