"""Compiled loops of filling and flow: no checks, no defaults, no files.

Directions are counted clockwise from east; the opposite of k is (k + 4) % 8.
"""

from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

Raster = npt.NDArray[np.floating[Any]]
Int8 = npt.NDArray[np.int8]
Int32 = npt.NDArray[np.int32]
Mask = npt.NDArray[np.bool_]

ROW_STEP = (0, 1, 1, 1, 0, -1, -1, -1)
COL_STEP = (1, 1, 0, -1, -1, -1, 0, 1)
OUTLET = -1
MISSING = -2
UNSEEN = -3


@njit(cache=True)
def _push(keys: Raster, cells: Int32, size: int, key: float, cell: int) -> None:
    """Put a cell into the heap of ``size`` entries; equal keys stand in the order of their cells."""
    at = size
    while at > 0:
        up = (at - 1) >> 1
        if keys[up] < key or (keys[up] == key and cells[up] < cell):
            break
        keys[at], cells[at] = keys[up], cells[up]
        at = up
    keys[at], cells[at] = key, cell


@njit(cache=True)
def _drop_top(keys: Raster, cells: Int32, size: int) -> None:
    """Take the top off the heap; ``size`` counts what is left, and the last entry stands just behind."""
    key, cell = keys[size], cells[size]
    at = 0
    while True:
        down = 2 * at + 1
        if down >= size:
            break
        right = down + 1
        if right < size and (keys[right] < keys[down] or (keys[right] == keys[down] and cells[right] < cells[down])):
            down = right
        if key < keys[down] or (key == keys[down] and cell < cells[down]):
            break
        keys[at], cells[at] = keys[down], cells[down]
        at = down
    keys[at], cells[at] = key, cell


@njit(cache=True)
def mark_outlets(z: Raster, direction: Int8) -> int:
    """Set OUTLET on the window's edge and beside missing cells, MISSING on these, else UNSEEN; return the outlets."""
    rows, cols = z.shape
    count = 0
    for r in range(rows):
        for c in range(cols):
            if np.isnan(z[r, c]):
                direction[r, c] = MISSING
                continue
            outlet = r == 0 or c == 0 or r == rows - 1 or c == cols - 1
            if not outlet:
                for k in range(8):
                    outlet |= np.isnan(z[r + ROW_STEP[k], c + COL_STEP[k]])
            direction[r, c] = OUTLET if outlet else UNSEEN
            count += outlet
    return count


@njit(cache=True)
def flood(  # noqa: C901 - one loop on purpose: calls with growing arrays would allocate
    z: Raster, outlets: int, direction: Int8, filled: Raster, order: Int32
) -> int:
    """Flood the ground from its outlets upward; return the number of cells in ``order``.

    ``direction`` comes from mark_outlets and then points to the cell from which each cell was flooded; ``order``
    lists the cells as they were flooded, never downward.
    """
    rows, cols = z.shape
    keys, cells = np.empty(2 * outlets + 64, z.dtype), np.empty(2 * outlets + 64, np.int32)
    size = 0
    for r in range(rows):
        for c in range(cols):
            filled[r, c] = z[r, c]
            if direction[r, c] == OUTLET:
                _push(keys, cells, size, z[r, c], r * cols + c)
                size += 1
    # Cells of one level wait in ``order`` itself: between head and tail stands a plain queue.
    head = tail = 0
    while head < tail or size > 0:
        if head == tail:
            level = keys[0]
            # All rims of the level together, so that a flat drains to its nearest rim.
            while size > 0 and keys[0] == level:
                order[tail] = cells[0]
                tail += 1
                size -= 1
                _drop_top(keys, cells, size)
        cell = order[head]
        head += 1
        r, c = cell // cols, cell % cols
        level = filled[r, c]
        for k in range(8):
            row, col = r + ROW_STEP[k], c + COL_STEP[k]
            if row < 0 or col < 0 or row >= rows or col >= cols or direction[row, col] != UNSEEN:
                continue
            direction[row, col] = (k + 4) & 7
            if z[row, col] <= level:
                filled[row, col] = level
                order[tail] = row * cols + col
                tail += 1
            else:
                if size == keys.shape[0]:
                    keys = np.concatenate((keys, np.empty_like(keys)))
                    cells = np.concatenate((cells, np.empty_like(cells)))
                _push(keys, cells, size, z[row, col], row * cols + col)
                size += 1
    return tail


@njit(cache=True)
def descend(filled: Raster, direction: Int8) -> None:
    """Point each cell that has a lower neighbour down the steepest way; the first of equals, clockwise from east."""
    rows, cols = filled.shape
    for r in range(rows):
        for c in range(cols):
            here = np.float64(filled[r, c])
            steepest = 0.0
            for k in range(8):
                row, col = r + ROW_STEP[k], c + COL_STEP[k]
                if row < 0 or col < 0 or row >= rows or col >= cols:
                    continue
                drop = here - filled[row, col]
                if k & 1:
                    drop *= 0.7071067811865476
                if drop > steepest:
                    steepest = drop
                    direction[r, c] = k


@njit(cache=True)
def accumulate(direction: Int8, order: Int32, count: Int32, from_outside: Mask) -> None:
    """Pass ``count`` and ``from_outside`` down the flow, highest cells first."""
    cols = direction.shape[1]
    for i in range(order.shape[0] - 1, -1, -1):
        r, c = order[i] // cols, order[i] % cols
        k = direction[r, c]
        if k >= 0:
            row, col = r + ROW_STEP[k], c + COL_STEP[k]
            count[row, col] += count[r, c]
            from_outside[row, col] |= from_outside[r, c]


@njit(cache=True)
def channel_level(filled: Raster, direction: Int8, order: Int32, channel: Mask, level: Raster) -> None:
    """Fill ``level`` with the height of the channel cell each cell drains to, lowest cells first."""
    cols = direction.shape[1]
    for i in range(order.shape[0]):
        r, c = order[i] // cols, order[i] % cols
        k = direction[r, c]
        if channel[r, c]:
            level[r, c] = filled[r, c]
        elif k >= 0:
            level[r, c] = level[r + ROW_STEP[k], c + COL_STEP[k]]
