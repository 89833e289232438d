"""Compiled loops of drainage over windows that are worked through strip by strip: no checks, no defaults, no files.

Directions are counted clockwise from east, as in _kernels_drainage.
"""

from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

Raster = npt.NDArray[np.floating[Any]]
Int8 = npt.NDArray[np.int8]
Int32 = npt.NDArray[np.int32]
Int64 = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

ROW_STEP = (0, 1, 1, 1, 0, -1, -1, -1)
COL_STEP = (1, 1, 0, -1, -1, -1, 0, 1)
OUTLET = -1
LEVEL = -3


@njit(cache=True)
def ends(direction: Int8, stop: Mask, end: Int32) -> None:
    """Fill ``end`` with the flat index of the cell where the way down from each cell ends within the strip.

    It ends at cells of ``stop`` and where the direction is negative. Where it leaves the strip, ``end`` is -1 - c for
    column c of the row to the north and -1 - cols - c for column c of the row to the south.
    """
    rows, cols = direction.shape
    way, stops, at_end = direction.ravel(), stop.ravel(), end.ravel()
    step = np.empty(8, np.int64)
    for k in range(8):
        step[k] = ROW_STEP[k] * cols + COL_STEP[k]
    cells, unknown = rows * cols, np.int32(-1 - 2 * cols)
    for cell in range(cells):
        at_end[cell] = unknown
    for cell in range(cells):
        at = cell
        while True:
            found = at_end[at]
            if found != unknown:
                break
            if way[at] < 0 or stops[at]:
                found = np.int32(at)
                break
            below = at + step[way[at]]
            if below < 0:
                found = np.int32(-1 - (below + cols))
                break
            if below >= cells:
                found = np.int32(-1 - cols - (below - cells))
                break
            at = below
        last, at = at, cell
        while at != last:
            at_end[at] = found
            at += step[way[at]]
        at_end[last] = found


@njit(cache=True)
def resolve(target: Int64, value: Raster) -> None:
    """Give each node the value of the node its chain of targets ends at; uses ``target`` (-1 for none) up."""
    for node in range(target.shape[0]):
        at = node
        while target[at] >= 0:
            at = target[at]
        found, at = value[at], node
        while target[at] >= 0:
            following = target[at]
            value[at], target[at] = found, -1
            at = following


@njit(cache=True)
def pass_on(target: Int64, amount: Int64, fed: Mask) -> None:
    """Add what each node has to its target, and so on down the chains of targets (-1 for none)."""
    waits = np.zeros(target.shape[0], np.int32)
    for node in range(target.shape[0]):
        if target[node] >= 0:
            waits[target[node]] += 1
    for node in range(target.shape[0]):
        at = node
        while at >= 0 and waits[at] == 0:
            waits[at] = -1
            below = target[at]
            if below >= 0:
                amount[below] += amount[at]
                fed[below] |= fed[at]
                waits[below] -= 1
            at = below


@njit(cache=True)
def flat_cells(filled: Raster, direction: Int8, first: int, last: int) -> tuple[Int32, Int32, Raster, Int8]:
    """Rows, columns, heights and directions of flats, in order: LEVEL cells, and their rims from which water gets away.

    Of rows ``first`` up to ``last``; others are only looked at.
    """
    size, room = 0, 1024
    row, col = np.empty(room, np.int32), np.empty(room, np.int32)
    height, way = np.empty(room, filled.dtype), np.empty(room, np.int8)
    for r in range(first, last):
        for c in range(direction.shape[1]):
            here = direction[r, c]
            flat = here == LEVEL
            if here >= OUTLET:
                for k in range(8):
                    r1, c1 = r + ROW_STEP[k], c + COL_STEP[k]
                    if 0 <= r1 < direction.shape[0] and 0 <= c1 < direction.shape[1]:
                        flat |= direction[r1, c1] == LEVEL and filled[r1, c1] == filled[r, c]
            if flat:
                if size == room:
                    row, col = np.concatenate((row, np.empty_like(row))), np.concatenate((col, np.empty_like(col)))
                    height = np.concatenate((height, np.empty_like(height)))
                    way = np.concatenate((way, np.empty_like(way)))
                    room *= 2
                row[size], col[size], height[size], way[size] = r - first, c, filled[r, c], here
                size += 1
    return row[:size], col[:size], height[:size], way[:size]


@njit(cache=True)
def _place(col: Int32, start: int, end: int, wanted: int) -> int:
    """Where a column stands, or would, among ascending ones from ``start`` up to ``end``."""
    while start < end:
        middle = (start + end) // 2
        if col[middle] < wanted:
            start = middle + 1
        else:
            end = middle
    return start


@njit(cache=True)
def cross_listed_flats(row_start: Int64, row: Int32, col: Int32, height: Raster, way: Int8) -> None:
    """As cross_flats of _kernels_drainage, with the cells of flats alone; those of row r from ``row_start[r]`` on."""
    queue = np.flatnonzero(way >= OUTLET)
    while queue.shape[0] > 0:
        size, following = 0, np.empty(8 * queue.shape[0], np.int64)
        for i in range(queue.shape[0]):
            cell = queue[i]
            for k in range(8):
                r, c = row[cell] + ROW_STEP[k], col[cell] + COL_STEP[k]
                if r < 0 or r >= row_start.shape[0] - 1:
                    continue
                at = _place(col, row_start[r], row_start[r + 1], c)
                if at < row_start[r + 1] and col[at] == c and way[at] == LEVEL and height[at] == height[cell]:
                    way[at] = (k + 4) & 7
                    following[size] = at
                    size += 1
        queue = following[:size].copy()
