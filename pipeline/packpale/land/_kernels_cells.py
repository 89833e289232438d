"""Compiled loop of cells inside polygons: no checks, no defaults, no files."""

import math

import numpy as np
import numpy.typing as npt
from numba import njit

Array = npt.NDArray[np.float64]
Int64 = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


@njit(cache=True)
def mark_within(edges: Array, first: Int64, change: Mask, out: Mask) -> None:
    """Set ``out`` where a cell's centre lies in a polygon; what is set already stays.

    ``edges`` are all polygons' edges, holes' included: u0, v0, u1, v1 with whole numbers at the centres of columns and
    rows; those of polygon p are ``first[p]`` up to ``first[p + 1]``. Along a row each edge changes outside to inside or
    back; a centre on an edge goes with what lies east of it, on a level edge with what lies south. ``change``, one
    column wider, comes in and goes out as False.
    """
    rows, cols = out.shape
    for p in range(first.shape[0] - 1):
        top, bottom, west, east = rows, -1, cols, 0
        for e in range(first[p], first[p + 1]):
            u0, v0, u1, v1 = edges[e, 0], edges[e, 1], edges[e, 2], edges[e, 3]
            r0, r1 = max(math.ceil(min(v0, v1)), 0), min(math.ceil(max(v0, v1)), rows)
            for r in range(r0, r1):
                c = math.ceil(u0 + (r - v0) * (u1 - u0) / (v1 - v0))
                c = min(max(c, 0), cols)
                change[r, c] = not change[r, c]
                west, east = min(west, c), max(east, c)
            if r1 > r0:
                top, bottom = min(top, r0), max(bottom, r1 - 1)
        for r in range(top, bottom + 1):
            inside = False
            for c in range(west, east + 1):
                inside ^= change[r, c]
                change[r, c] = False
                if inside and c < cols:
                    out[r, c] = True
