"""Elevation on the run's grid: its cells, the windows of plots, and the values at their centres."""

import math
from collections.abc import Iterator

import numpy as np
from pyproj import CRS

from packpale.site import _kernels
from packpale.site import crs as crs_
from packpale.site.grid import Array, Grid
from packpale.site.lattice import Elevation
from packpale.site.raster_files import read_lattice
from packpale.site.storage import IN_MEMORY, STRIP_CELLS, Storage, let_go

KNOT_STEP = 16
"""Every so many cells the change of CRS is computed; between these knots coordinates are interpolated."""
KNOT_TOLERANCE = 1e-4
"""Largest error allowed for that, in cells of the raster; beyond it every cell is computed."""


def cell_size(
    elevation: Elevation, crs: CRS, wanted: float | None, middle: tuple[float, float], notes: list[str]
) -> float:
    """Cell size of the run [m]: the one wanted, else the raster's own at ``middle`` (x, y in ``crs``).

    Cells of a raster in another CRS have no one size in the run's: theirs at ``middle`` is taken, the side of a square
    of the same area, to two significant digits.
    """
    native = elevation.native_cell(crs)
    own = native if native is not None else _cell_at(elevation, crs, middle)
    if wanted is None:
        if native is not None:
            return native
        cell = float(f"{own:.2g}")
        notes.append(
            f"Elevations of {elevation.name} ({crs_.shown(elevation.crs)}) were interpolated to cells of {cell:g} m in "
            f"{crs_.shown(crs)}; its own cells measure about {own:.3g} m."
        )
        return cell
    if native is None or abs(wanted - native) > 1e-9 * native:
        notes.append(
            f"Elevations of {elevation.name} were interpolated to cells of {wanted:g} m; "
            f"its own cells measure about {own:.3g} m."
        )
    if wanted < 0.5 * own:
        notes.append(f"Cells of {wanted:g} m show no more detail than the {own:.3g} m of {elevation.name}.")
    return wanted


def _cell_at(elevation: Elevation, crs: CRS, middle: tuple[float, float]) -> float:
    """Side of a square in ``crs`` with the area of one of the raster's cells at ``middle``. [m]"""
    x, y = crs_.moved(middle[0], middle[1], crs, elevation.crs)
    a, b, _, d, e, _ = elevation.transform
    xs, ys = crs_.moved([x, x + a, x + b], [y, y + d, y + e], elevation.crs, crs)
    # Cells that reach beyond the world have an infinite corner.
    with np.errstate(invalid="ignore"):
        area = abs((xs[1] - xs[0]) * (ys[2] - ys[0]) - (xs[2] - xs[0]) * (ys[1] - ys[0]))
    return math.sqrt(area) if math.isfinite(area) and area > 0 else math.sqrt(abs(a * e - b * d))


def window(
    elevation: Elevation, crs: CRS, cell: float, bounds: tuple[float, float, float, float], margin: float
) -> Grid:
    """The grid of the run over ``bounds`` and ``margin`` [m], never less.

    The raster's own cells where they can serve as they are, else cells at whole multiples of their size from the
    origin of the CRS: either way neighbouring plots share cells.
    """
    own = is_native(elevation, crs, cell)
    ox, oy = (elevation.transform[2], elevation.transform[5]) if own else (0.0, 0.0)
    west, south, east, north = bounds
    c0, c1 = math.floor((west - margin - ox) / cell), math.ceil((east + margin - ox) / cell)
    r0, r1 = math.floor((oy - north - margin) / cell), math.ceil((oy - south + margin) / cell)
    return Grid(ox + c0 * cell, oy - r0 * cell, cell, r1 - r0, c1 - c0)


def is_native(elevation: Elevation, crs: CRS, cell: float) -> bool:
    """Whether the run reads the raster's own cells."""
    native = elevation.native_cell(crs)
    return native is not None and abs(cell - native) <= 1e-9 * native


def blocks(grid: Grid, most_cells: int = STRIP_CELLS) -> Iterator[tuple[slice, Grid]]:
    """The grid in strips of whole rows of at most about ``most_cells`` cells: rows, and the strip's own grid."""
    step = max(1, most_cells // grid.cols)
    for top in range(0, grid.rows, step):
        rows = min(step, grid.rows - top)
        yield slice(top, top + rows), Grid(grid.west, grid.north - top * grid.cell, grid.cell, rows, grid.cols)


def read_elevation(elevation: Elevation, crs: CRS, grid: Grid, storage: Storage = IN_MEMORY) -> Array:
    """Elevation at the cell centres of a grid of the run [m]; NaN is no data.

    The raster's own values where the grid is its lattice. Otherwise bilinear between its cell centres, NaN wherever
    one of the four that bears weight is missing; a cell that spans several of the raster's takes the mean of as many
    points, evenly spread. Raises Faults if a file cannot be read after all.
    """
    out = storage.empty(grid.shape)
    if is_native(elevation, crs, grid.cell):
        col = round((grid.west - elevation.transform[2]) / grid.cell)
        row = round((elevation.transform[5] - grid.north) / grid.cell)
        for rows, strip in blocks(grid):
            out[rows] = read_lattice(elevation, col, row + rows.start, strip.cols, strip.rows)
            let_go()
        return out
    middle = (grid.west + grid.cols * grid.cell / 2, grid.north - grid.rows * grid.cell / 2)
    split = max(1, round(grid.cell / _cell_at(elevation, crs, middle)))
    for rows, strip in blocks(grid, max(1, STRIP_CELLS // split**2)):
        fine = Grid(strip.west, strip.north, strip.cell / split, strip.rows * split, strip.cols * split)
        values = _interpolated(elevation, crs, fine)
        out[rows] = values.reshape(strip.rows, split, strip.cols, split).mean(axis=(1, 3)) if split > 1 else values
        let_go()
    return out


def _interpolated(elevation: Elevation, crs: CRS, grid: Grid) -> Array:
    """Bilinear elevation at the cell centres of ``grid``."""
    if crs_.same(elevation.crs, crs):
        x, y = grid.centres()
        col, row = elevation.to_lattice(*(v.astype(float) for v in np.broadcast_arrays(x[None, :], y[:, None])))
    else:
        col, row = _lattice_of_centres(elevation, crs, grid)
    finite = np.isfinite(col) & np.isfinite(row)
    out = np.full(grid.shape, np.nan)
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


def _lattice_of_centres(elevation: Elevation, crs: CRS, grid: Grid) -> tuple[Array, Array]:
    """(col, row) on the raster's lattice of every cell centre of ``grid``, through the change of CRS.

    Computed at knots and interpolated between them, because the change is nearly linear over a few cells; where the
    middle between knots is off by more than KNOT_TOLERANCE, computed for every centre.
    """

    def change(x: Array, y: Array) -> tuple[Array, Array]:
        grid_x, grid_y = (np.ascontiguousarray(v) for v in np.broadcast_arrays(x[None, :], y[:, None]))
        return elevation.to_lattice(*crs_.moved(grid_x, grid_y, crs, elevation.crs))

    x, y = grid.centres()
    # Knots lie at the same places for every grid, so that neighbouring plots see the same values.
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
        return change(x, y)
    col, row = np.empty(grid.shape), np.empty(grid.shape)
    _kernels.between_knots(knots[0], KNOT_STEP, skip_r, skip_c, col)
    _kernels.between_knots(knots[1], KNOT_STEP, skip_r, skip_c, row)
    return col, row
