"""Compiled loops of flow over filled ground: no checks, no defaults, no files.

Directions are counted clockwise from east; the opposite of k is (k + 4) % 8.
"""

import numpy as np
from numba import njit

from packpale.land import _kernels_fill
from packpale.land._kernels_fill import (
    COL_STEP,
    ROW_STEP,
    Int8,
    Int32,
    Mask,
    Raster,
    flat_steps,
    padded_row,
)

OUTLET = -1
MISSING = _kernels_fill.MISSING
LEVEL = -3
"""Not yet known: no neighbour is lower."""


@njit(cache=True)
def _descend_row(above: Raster, here: Raster, below: Raster, out: Mask, to: Int8) -> None:
    """As descend, for one row between two others, all padded."""
    diagonal = 0.7071067811865476
    north_west, north, north_east = above[:-2], above[1:-1], above[2:]
    west, mid, east = here[:-2], here[1:-1], here[2:]
    south_west, south, south_east = below[:-2], below[1:-1], below[2:]
    for c in range(to.shape[0]):
        z = np.float64(mid[c])
        # Comparisons with NaN are false. One choice a value, not one for both, lets the loop run vectorised.
        k, drop = np.int64(OUTLET) if out[c] else np.int64(LEVEL), 0.0
        d = z - east[c]
        k, drop = np.int64(0) if d > drop else k, d if d > drop else drop
        d = (z - south_east[c]) * diagonal
        k, drop = np.int64(1) if d > drop else k, d if d > drop else drop
        d = z - south[c]
        k, drop = np.int64(2) if d > drop else k, d if d > drop else drop
        d = (z - south_west[c]) * diagonal
        k, drop = np.int64(3) if d > drop else k, d if d > drop else drop
        d = z - west[c]
        k, drop = np.int64(4) if d > drop else k, d if d > drop else drop
        d = (z - north_west[c]) * diagonal
        k, drop = np.int64(5) if d > drop else k, d if d > drop else drop
        d = z - north[c]
        k, drop = np.int64(6) if d > drop else k, d if d > drop else drop
        d = (z - north_east[c]) * diagonal
        k, drop = np.int64(7) if d > drop else k, d if d > drop else drop
        to[c] = k if mid[c] == mid[c] else MISSING


@njit(cache=True)
def descend(filled: Raster, outlet: Mask, direction: Int8) -> None:
    """Point each cell down the steepest way, the first of equals clockwise from east; else OUTLET, MISSING or LEVEL."""
    rows, cols = filled.shape
    above = np.empty(cols + 2, filled.dtype)
    here, below = np.empty_like(above), np.empty_like(above)
    for r in range(-2, rows):
        above, here, below = here, below, above
        padded_row(filled, r + 1, below)
        if r >= 0:
            _descend_row(above, here, below, outlet[r], direction[r])


@njit(cache=True)
def _is_rim(filled: Raster, direction: Int8, r: int, c: int) -> bool:
    """Whether water gets away from a cell, and a LEVEL cell of its height is beside it."""
    if direction[r, c] < OUTLET:
        return False
    for k in range(8):
        row, col = r + ROW_STEP[k], c + COL_STEP[k]
        if row < 0 or col < 0 or row >= filled.shape[0] or col >= filled.shape[1]:
            continue
        if direction[row, col] == LEVEL and filled[row, col] == filled[r, c]:
            return True
    return False


@njit(cache=True)
def _rims(filled: Raster, direction: Int8) -> Int32:
    """Flat indices of the rims of all flats, in order."""
    rows, cols = filled.shape
    size, queue = 0, np.empty(1024, np.int32)
    near = np.empty(cols, np.bool_)
    for r in range(rows):
        above, here, below = direction[max(r - 1, 0)], direction[r], direction[min(r + 1, rows - 1)]
        # A quick look at the column first: few cells are level.
        for c in range(cols):
            near[c] = (above[c] == LEVEL) | (here[c] == LEVEL) | (below[c] == LEVEL)
        for c in range(cols):
            if near[max(c - 1, 0)] | near[c] | near[min(c + 1, cols - 1)] and _is_rim(filled, direction, r, c):
                if size == queue.shape[0]:
                    queue = np.concatenate((queue, np.empty_like(queue)))
                queue[size] = r * cols + c
                size += 1
    return queue[:size]


@njit(cache=True)
def cross_flats(filled: Raster, direction: Int8) -> None:
    """Point each LEVEL cell back to where a flood from the flat's rims reached it.

    Rims are cells of the flat from which water gets away; the flood starts from them in the order of their indices
    and goes on cell by cell, so that a flat drains to its nearest rim.
    """
    rows, cols = filled.shape
    queue = _rims(filled, direction)
    # Cells of one distance from the rims after the other; each round reads one queue and writes the next.
    while queue.shape[0] > 0:
        size, following = 0, np.empty(8 * queue.shape[0], np.int32)
        for i in range(queue.shape[0]):
            r, c = queue[i] // cols, queue[i] % cols
            for k in range(8):
                row, col = r + ROW_STEP[k], c + COL_STEP[k]
                if row < 0 or col < 0 or row >= rows or col >= cols or direction[row, col] != LEVEL:
                    continue
                if filled[row, col] == filled[r, c]:
                    direction[row, col] = (k + 4) & 7
                    following[size] = row * cols + col
                    size += 1
        queue = following[:size].copy()


@njit(cache=True)
def count_donors(direction: Int8, donors: Int8) -> None:
    """Add to ``donors``, 0 at first, the number of neighbours that drain straight into each cell."""
    way, of = direction.ravel(), donors.ravel()
    step = flat_steps(direction.shape[1])
    for cell in range(way.shape[0]):
        if way[cell] >= 0:
            of[cell + step[way[cell]]] += 1


@njit(cache=True)
def accumulate(direction: Int8, donors: Int8, count: Int32, from_outside: Mask) -> None:
    """Pass ``count`` and ``from_outside`` down the flow; uses ``donors`` up.

    From each cell without donors down to the first that still waits for another.
    """
    way, waits, total, fed = direction.ravel(), donors.ravel(), count.ravel(), from_outside.ravel()
    step = flat_steps(direction.shape[1])
    for cell in range(way.shape[0]):
        at = cell
        while waits[at] == 0:
            waits[at] = -1
            if way[at] < 0:
                break
            below = at + step[way[at]]
            total[below] += total[at]
            fed[below] |= fed[at]
            waits[below] -= 1
            at = below


@njit(cache=True)
def height_above(filled: Raster, direction: Int8, channel: Mask, height: Raster) -> None:
    """Fill ``height`` with the height of each cell above the channel cell it drains to, NaN where there is none."""
    ground, way, wet, level = filled.ravel(), direction.ravel(), channel.ravel(), height.ravel()
    step = flat_steps(direction.shape[1])
    # The level of the channel first, infinite while it is not known.
    for cell in range(way.shape[0]):
        level[cell] = np.inf
        if wet[cell]:
            level[cell] = ground[cell]
        elif way[cell] < 0:
            level[cell] = np.nan
    for cell in range(way.shape[0]):
        at = cell
        while level[at] == np.inf:
            at += step[way[at]]
        found = level[at]
        at = cell
        while level[at] == np.inf:
            level[at] = found
            at += step[way[at]]
    for cell in range(way.shape[0]):
        level[cell] = ground[cell] - level[cell]
