"""Compiled loops over hollows: no checks, no defaults, no files.

Directions as in ``_kernels_drainage``: counted clockwise from east, negative where water leaves or ground is missing.
"""

from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

Raster = npt.NDArray[np.floating[Any]]
Int8 = npt.NDArray[np.int8]
Int32 = npt.NDArray[np.int32]
Int64 = npt.NDArray[np.int64]
Float64 = npt.NDArray[np.float64]

ROW_STEP = (0, 1, 1, 1, 0, -1, -1, -1)
COL_STEP = (1, 1, 0, -1, -1, -1, 0, 1)


@njit(cache=True)
def number_ponds(ground: Raster, filled: Raster, pond: Int32, queue: Int64) -> int:
    """Number the ponds in ``pond``, 0 at first, from 1; return how many there are.

    A pond is ground below one filled level whose cells touch each other. ``queue`` has room for every cell.
    """
    rows, cols = ground.shape
    ponds = 0
    for r0 in range(rows):
        for c0 in range(cols):
            if pond[r0, c0] != 0 or not filled[r0, c0] > ground[r0, c0]:
                continue
            ponds += 1
            pond[r0, c0] = ponds
            queue[0], first, last = r0 * cols + c0, 0, 1
            while first < last:
                r, c = queue[first] // cols, queue[first] % cols
                first += 1
                for k in range(8):
                    row, col = r + ROW_STEP[k], c + COL_STEP[k]
                    if row < 0 or col < 0 or row >= rows or col >= cols or pond[row, col] != 0:
                        continue
                    if filled[row, col] == filled[r, c] and filled[row, col] > ground[row, col]:
                        pond[row, col] = ponds
                        queue[last] = row * cols + col
                        last += 1
    return ponds


@njit(cache=True)
def first_ponds(way: Int8, step: Int64, pond: Int32, meets: Int32) -> None:
    """Fill ``meets``, -1 at first, with the first pond on the way down from each cell, its own counted; 0 for none."""
    for cell in range(way.shape[0]):
        at = cell
        while meets[at] < 0 and pond[at] == 0 and way[at] >= 0:
            at += step[way[at]]
        found = meets[at] if meets[at] >= 0 else pond[at]
        meets[at] = found
        at = cell
        while meets[at] < 0:
            meets[at] = found
            at += step[way[at]]


@njit(cache=True)
def next_ponds(way: Int8, step: Int64, pond: Int32, meets: Int32, below: Int32) -> None:
    """Fill ``below``, 0 at first, with the pond that each one spills into, by number; 0 for none."""
    for cell in range(way.shape[0]):
        own = pond[cell]
        if own > 0 and way[cell] >= 0:
            to = cell + step[way[cell]]
            if pond[to] != own and meets[to] != own:
                below[own] = meets[to]


@njit(cache=True)
def spill(below: Int32, room: Float64, water: Float64, waits: Int32, ready: Int32) -> None:
    """Pass on what a pond has no room for, from the highest down; ``waits`` and ``ready`` are 0 at first."""
    for pond in range(1, below.shape[0]):
        waits[below[pond]] += 1
    last = 0
    for pond in range(1, below.shape[0]):
        if waits[pond] == 0:
            ready[last] = pond
            last += 1
    first = 0
    while first < last:
        pond = ready[first]
        first += 1
        to = below[pond]
        if to > 0:
            water[to] += max(water[pond] - room[pond], 0.0)
            waits[to] -= 1
            if waits[to] == 0:
                ready[last] = to
                last += 1


@njit(cache=True)
def levels(heights: Float64, starts: Int64, water: Float64, level: Float64) -> None:
    """Level at which each pond holds its water, in cells times height; at most the ``level`` given, that of a full one.

    ``heights`` has the ground of all ponds, one after the other, each from the lowest cell up; pond p + 1 has those
    from starts[p] to starts[p + 1].
    """
    for p in range(starts.shape[0] - 1):
        below = 0.0
        for i in range(starts[p], starts[p + 1]):
            below += heights[i]
            wet = i - starts[p] + 1
            reached = (water[p + 1] + below) / wet
            if i + 1 == starts[p + 1] or reached <= heights[i + 1]:
                level[p + 1] = min(level[p + 1], reached)
                break
