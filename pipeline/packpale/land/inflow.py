"""Water that enters a window from the ground round it, where that is known in larger cells."""

from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from packpale.land.culverts import carved, opened
from packpale.land.drainage import (
    COL_STEP,
    ROW_STEP,
    Drainage,
    Flow,
    drainage,
    flow_over,
    longest_paths,
    upstream_cells,
)
from packpale.land.slope import slope as ground_slope
from packpale.site import Around, Array, Cells, Grid, Mask, Site

F = TypeVar("F", np.float32, np.float64)
Single = npt.NDArray[np.float32]
INLAND = 3
"""Water is let in so many of the larger cells behind the window's edge: nearer to it, the window's own cells do not
tell whether water stays or leaves again."""
SHORE_REACH = 3
"""Larger cells from which a hollow is seen at the window's edge: one that makes it count, two that it reaches on."""
DAM_M = 1000.0
"""Height of what keeps water from leaving where it stays: more than any hollow is deep."""


@dataclass(frozen=True)
class Inflow:
    """Places where water from outside joins a window's own; arrays of shape (places,)."""

    cell: npt.NDArray[np.int64]
    """Flat index in the window."""
    cells: npt.NDArray[np.int64]
    """How many of the window's cells drain to there from outside."""
    length: Array
    """Of the longest flow path from outside down to there. [cells of the window]"""
    head: Array
    """Level at which that begins. [m]"""
    is_lower_bound: Mask
    known: Mask
    """In the shape of the window: cells on its edge beyond which the ground is known, so that nothing else comes in."""
    shore: npt.NDArray[np.int64]
    """Flat indices of cells on the window's edge in hollows that go on beyond it, and on their shore."""
    water: Cells
    """Level to which each of these fills; that of the ground on its shore. [m]"""
    stays: Mask
    """Whether what runs off it goes on through the window, so that none leaves there."""

    def dammed(self, elevation: npt.NDArray[F]) -> npt.NDArray[F]:
        """Ground of the window that holds water up on its edge as the ground beyond does. [m]"""
        ground = elevation.copy()
        level = self.water + np.where(self.stays, DAM_M, 0.0)
        ground.reshape(-1)[self.shore] = np.fmax(ground.reshape(-1)[self.shore], level)
        return ground


def site_drainage(
    site: Site, slope: Cells, *, channel_area: float, runoff: float | None = None, widest_bank: float = 0.0
) -> tuple[Drainage, list[float]]:
    """Drainage of a site's window, with what comes from all the ground that was read round it.

    Water passes banks by pipes, and where mapped streams cross them if they are up to ``widest_bank`` wide [m]; the
    heights of these in the window come with it [m].

    ``slope`` is the window's [m/m]; see ``drainage``. Ground round it in cells as small is drained as one with it. All
    of it is worked out in single precision.
    """
    cell, around = site.grid.cell, site.around
    pipes, streams = (site.features.get(kind, ()) for kind in ("culverts", "watercourses"))

    def as_water_finds_it(elevation: Array, grid: Grid) -> tuple[Array, list[float]]:
        return opened(carved(elevation, grid, pipes), grid, streams, widest=widest_bank)

    def drained(elevation: Single, slope: Cells, inflow: Inflow | None = None) -> Drainage:
        steep = slope.astype(np.float32, copy=False)
        return drainage(elevation, steep, cell=cell, channel_area=channel_area, runoff=runoff, inflow=inflow)

    opened_ground, banks = as_water_finds_it(site.elevation, site.grid)
    under = opened_ground < site.elevation if opened_ground is not site.elevation else None
    ground = opened_ground.astype(np.float32)
    del opened_ground
    if around is None:
        found = drained(ground, slope)
    else:
        beyond = as_water_finds_it(around.elevation, around.grid)[0].astype(np.float32)
        if around.grid.cell > 1.5 * cell:
            found = drained(ground, slope, inflow(ground, site.grid, around, beyond))
        else:
            top, left = around.corner(site.grid)
            whole = drained(beyond, ground_slope(beyond, cell_size=(cell, cell)))
            found = whole.part(slice(top, top + site.grid.rows), slice(left, left + site.grid.cols))
    if under is not None:
        # Water in a pipe stands under the ground.
        ponding = found.ponding.copy()
        ponding[under] = 0.0
        found = replace(found, ponding=ponding)
    return found, banks


def inflow(elevation: Single, grid: Grid, around: Around, beyond: Single) -> Inflow:
    """What enters the window ``grid`` with its ``elevation`` [m] from ``beyond``, the ground round it [m]."""
    coarse = flow_over(beyond)
    count, is_lower_bound = upstream_cells(coarse)
    length, head = longest_paths(coarse)
    factor = round(around.grid.cell / grid.cell)
    (top, down), (left, right) = (divmod(cells, factor) for cells in around.corner(grid))
    high, wide = -(-(down + grid.rows) // factor), -(-(right + grid.cols) // factor)
    places: dict[str, list[float]] = {name: [] for name in ("cell", "cells", "length", "head", "bound")}
    for start in _links_into(coarse, slice(top, top + high), slice(left, left + wide)):
        end, way = _inland(coarse, start, (top, left, high, wide))
        if end is None:
            continue
        cell = _lowest(elevation, (end[0] - top) * factor - down, (end[1] - left) * factor - right, factor)
        if cell is None:
            continue
        places["cell"].append(cell)
        places["cells"].append(int(count[start]) * factor**2)
        places["length"].append((float(length[start]) + way) * factor)
        places["head"].append(float(head[start]))
        places["bound"].append(bool(is_lower_bound[start]))
    return Inflow(
        np.array(places["cell"], np.int64),
        np.array(places["cells"], np.int64),
        np.array(places["length"], np.float64),
        np.array(places["head"], np.float64),
        np.array(places["bound"], np.bool_),
        _known_beyond(grid, around.grid, beyond),
        *_shores(elevation, coarse, beyond, (top, left, high, wide), (factor, down, right)),
    )


def _shores(
    elevation: Single,
    flow: Flow[np.float32],
    beyond: Single,
    part: tuple[int, int, int, int],
    of_window: tuple[int, int, int],
) -> tuple[npt.NDArray[np.int64], Array, Mask]:
    """``shore``, ``water`` and ``stays`` of an Inflow; ``part`` as in ``_inland``.

    ``of_window`` has how many of the window's cells make one of the larger side, and behind how many rows and columns
    of the first of these it begins.

    Only hollows that hold a square of nine of the larger cells count: smaller ones may come from taking means. They
    reach two cells beyond the middle of such a square, since means hide where exactly their shore is.
    """
    (top, left, high, wide), (factor, down, right) = part, of_window
    # What lies farther away than the steps below reach is no matter.
    first_row, first_col = max(top - SHORE_REACH, 0), max(left - SHORE_REACH, 0)
    near_by = slice(first_row, top + high + SHORE_REACH), slice(first_col, left + wide + SHORE_REACH)
    filled = flow.filled[near_by]
    deep = np.where(filled > beyond[near_by], filled, np.float32(np.nan))
    highest, lowest = _near(deep, np.maximum), _near(deep, np.minimum)
    level = np.where(highest == lowest, deep, np.float32(-np.inf))  # NaN is not equal to itself
    for _ in range(SHORE_REACH - 1):
        level = _near(level, np.fmax)
    edge = np.zeros(elevation.shape, bool)
    edge[[0, -1], :] = edge[:, [0, -1]] = True
    row, col = np.nonzero(edge)
    r, c = (row + down) // factor + top, (col + right) // factor + left
    water = level[r - first_row, c - first_col]
    near = np.isfinite(water)
    row, col, r, c, water = row[near], col[near], r[near], c[near], water[near]
    ends = {at: _inland(flow, at, part)[0] is not None for at in set(zip(r.tolist(), c.tolist(), strict=True))}
    stays = np.array([ends[at] for at in zip(r.tolist(), c.tolist(), strict=True)], np.bool_)
    return row * elevation.shape[1] + col, np.fmax(water, elevation[row, col]), stays


def _near(values: Single, pick: np.ufunc) -> Single:
    """The largest or smallest of each cell and its eight neighbours; NaN as ``pick`` has it, also beyond the edge."""
    rows, cols = values.shape
    padded = np.pad(values, 1, constant_values=np.nan)
    out = values
    for down in range(3):
        for right in range(3):
            out = pick(out, padded[down : down + rows, right : right + cols])
    return out


def _links_into(flow: Flow[np.float32], rows: slice, cols: slice) -> list[tuple[int, int]]:
    """Cells outside some rows and columns whose water goes into them."""
    # Only neighbours of the part can be such.
    top, left = max(rows.start - 1, 0), max(cols.start - 1, 0)
    direction = flow.direction[top : rows.stop + 1, left : cols.stop + 1]
    inside = np.zeros((direction.shape[0] + 2, direction.shape[1] + 2), bool)
    inside[rows.start - top + 1 : rows.stop - top + 1, cols.start - left + 1 : cols.stop - left + 1] = True
    row, col = np.nonzero((direction >= 0) & ~inside[1:-1, 1:-1])
    k = direction[row, col]
    enters = inside[row + ROW_STEP[k] + 1, col + COL_STEP[k] + 1]
    return list(zip((row[enters] + top).tolist(), (col[enters] + left).tolist(), strict=True))


def _inland(
    flow: Flow[np.float32], start: tuple[int, int], part: tuple[int, int, int, int]
) -> tuple[tuple[int, int] | None, float]:
    """Where the way down from ``start`` is INLAND cells behind the edge of a part of the ground, and its length.

    ``part`` has first row and column, rows and columns; lengths are in cells. None where it leaves that part before.
    """
    (r, c), way = start, 0.0
    top, left, high, wide = part
    while (k := int(flow.direction[r, c])) >= 0:
        r, c = r + int(ROW_STEP[k]), c + int(COL_STEP[k])
        way += 2**0.5 if k % 2 else 1.0
        behind = min(r - top, c - left, top + high - 1 - r, left + wide - 1 - c)
        if behind < 0:
            break
        if behind >= INLAND:
            return (r, c), way
    return None, way


def _lowest(elevation: Single, row: int, col: int, side: int) -> int | None:
    """Flat index of the lowest cell of a square of ``side`` cells; None where no elevation is known in it."""
    square = elevation[row : row + side, col : col + side]
    at = int(np.argmin(np.where(np.isnan(square), np.inf, square)))
    r, c = divmod(at, int(square.shape[1]))
    if np.isnan(square[r, c]):
        return None
    return (row + r) * int(elevation.shape[1]) + col + c


def _known_beyond(grid: Grid, outer: Grid, beyond: Single) -> Mask:
    """Cells on the edge of a window all of whose neighbours outside lie on known ground."""
    wider = Grid(grid.west - grid.cell, grid.north + grid.cell, grid.cell, grid.rows + 2, grid.cols + 2)
    x, y = wider.centres()
    west, south, east, north = outer.bounds
    known = np.ones(wider.shape, bool)
    for part in ((0, slice(None)), (-1, slice(None)), (slice(None), 0), (slice(None), -1)):
        px, py = np.broadcast_to(x, wider.shape)[part], np.broadcast_to(y[:, None], wider.shape)[part]
        within = (px > west) & (px < east) & (py > south) & (py < north)
        known[part] = within & np.isfinite(outer.nearest(beyond, px, py))
    out = np.zeros(grid.shape, bool)
    for r, c in ((0, slice(None)), (-1, slice(None)), (slice(None), 0), (slice(None), -1)):
        out[r, c] = True
    for down in range(3):
        for right in range(3):
            out &= known[down : down + grid.rows, right : right + grid.cols]
    return out
