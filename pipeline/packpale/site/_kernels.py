"""Compiled loops over cells: no checks, no defaults, no files in them."""

import math

import numpy as np
from numba import njit

from packpale.site.grid import Array


@njit(cache=True)
def bilinear(values: Array, col: Array, row: Array, out: Array) -> None:
    """Fill ``out`` with values at (col, row), where whole numbers are cell centres; NaN as in Grid.bilinear."""
    rows, cols = values.shape
    for i in range(out.shape[0]):
        for j in range(out.shape[1]):
            c, r = col[i, j], row[i, j]
            out[i, j] = np.nan
            # Written so that NaN fails it.
            if not (0.0 <= c <= cols - 1 and 0.0 <= r <= rows - 1):
                continue
            c0, r0 = math.floor(c), math.floor(r)
            fc, fr = c - c0, r - r0
            total = 0.0
            # A missing neighbour without weight does no harm: 0 times NaN would.
            total += (1.0 - fr) * (1.0 - fc) * values[r0, c0]
            if fc > 0.0:
                total += (1.0 - fr) * fc * values[r0, c0 + 1]
            if fr > 0.0:
                total += fr * (1.0 - fc) * values[r0 + 1, c0]
                if fc > 0.0:
                    total += fr * fc * values[r0 + 1, c0 + 1]
            out[i, j] = total


@njit(cache=True)
def between_knots(knots: Array, step: int, skip_rows: int, skip_cols: int, out: Array) -> None:
    """Fill ``out`` linearly between knots every ``step`` cells; the first lies ``skip`` cells before the first cell."""
    for i in range(out.shape[0]):
        r = (i + skip_rows) // step
        fr = (i + skip_rows) / step - r
        for j in range(out.shape[1]):
            c = (j + skip_cols) // step
            fc = (j + skip_cols) / step - c
            above = knots[r, c] * (1.0 - fc) + knots[r, c + 1] * fc
            below = knots[r + 1, c] * (1.0 - fc) + knots[r + 1, c + 1] * fc
            out[i, j] = above * (1.0 - fr) + below * fr
