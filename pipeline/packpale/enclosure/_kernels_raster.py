"""Compiled loops that make the rasters of line_raster.py: no checks, no defaults, no files."""

import numpy as np
import numpy.typing as npt
from numba import njit

from packpale.site.grid import Array

Words = npt.NDArray[np.uint64]
Bytes = npt.NDArray[np.uint8]
Indices = npt.NDArray[np.int64]


@njit(cache=True)
def squared_distances(free: Bytes, out: Array) -> None:
    """Squared distance of each cell to the nearest cell that is 0 in ``free``, in cells (lower envelope of parabolas).

    P. F. Felzenszwalb and D. P. Huttenlocher, "Distance transforms of sampled functions", Theory of Computing 8, 2012.
    """
    rows, cols = free.shape
    far = 1e12
    for c in range(cols):
        near = far
        for r in range(rows):
            near = 0.0 if free[r, c] == 0 else near + 1.0
            out[r, c] = near
        near = far
        for r in range(rows - 1, -1, -1):
            near = 0.0 if free[r, c] == 0 else near + 1.0
            out[r, c] = min(near, out[r, c])
            out[r, c] = min(out[r, c], 1e6) ** 2
    line = np.empty(cols)
    at = np.empty(cols, np.int64)
    begin = np.empty(cols + 1)
    for r in range(rows):
        for c in range(cols):
            line[c] = out[r, c]
        k = 0
        at[0], begin[0], begin[1] = 0, -np.inf, np.inf
        for c in range(1, cols):
            cut = ((line[c] + c * c) - (line[at[k]] + at[k] * at[k])) / (2.0 * c - 2.0 * at[k])
            while cut <= begin[k]:
                k -= 1
                cut = ((line[c] + c * c) - (line[at[k]] + at[k] * at[k])) / (2.0 * c - 2.0 * at[k])
            k += 1
            at[k], begin[k], begin[k + 1] = c, cut, np.inf
        k = 0
        for c in range(cols):
            while begin[k + 1] < c:
                k += 1
            out[r, c] = (c - at[k]) ** 2 + line[at[k]]


@njit(cache=True)
def stamp(soft: Bytes, offsets: Indices, marks: Words, words: Words) -> None:
    """Fill ``words`` from the soft cells: ``marks`` are the directions in which a section meets a cell at an offset."""
    rows, cols = soft.shape
    full = ~np.uint64(0)
    for r in range(rows):
        for c in range(cols):
            if soft[r, c] == 0:
                continue
            words[r, c] = full
            # A section that enters soft ground meets a cell of its edge.
            if 0 < r < rows - 1 and 0 < c < cols - 1:
                around = soft[r - 1, c] + soft[r + 1, c] + soft[r, c - 1] + soft[r, c + 1]
                if around == 4:
                    continue
            for i in range(offsets.shape[0]):
                y, x = r - offsets[i, 0], c - offsets[i, 1]
                if 0 <= y < rows and 0 <= x < cols:
                    words[y, x] |= marks[i]
