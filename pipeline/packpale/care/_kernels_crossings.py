"""Compiled search up the flow paths: no checks, no defaults, no files.

Directions as in land: counted clockwise from east; the opposite of k is (k + 4) % 8.
"""

import math

import numpy as np
import numpy.typing as npt
from numba import njit

ROW_STEP = (0, 1, 1, 1, 0, -1, -1, -1)
COL_STEP = (1, 1, 0, -1, -1, -1, 0, 1)


@njit(cache=True)
def longest_path(
    direction: npt.NDArray[np.int8], row: int, col: int, cells: npt.NDArray[np.int64], lengths: npt.NDArray[np.float64]
) -> tuple[float, int, int]:
    """Length in cells of the longest flow path that ends in a cell, and the row and column where it begins.

    ``cells`` and ``lengths`` are room to work in, for as many cells as drain through the cell. Of equals the first
    found.
    """
    rows, cols = direction.shape
    cells[0], lengths[0] = row * cols + col, 0.0
    size, best, head_row, head_col = 1, 0.0, row, col
    while size > 0:
        size -= 1
        r, c, length = cells[size] // cols, cells[size] % cols, lengths[size]
        if length > best:
            best, head_row, head_col = length, r, c
        for k in range(8):
            up_r, up_c = r + ROW_STEP[k], c + COL_STEP[k]
            if 0 <= up_r < rows and 0 <= up_c < cols and direction[up_r, up_c] == (k + 4) % 8:
                cells[size] = up_r * cols + up_c
                lengths[size] = length + (math.sqrt(2.0) if k % 2 else 1.0)
                size += 1
    return best, head_row, head_col
