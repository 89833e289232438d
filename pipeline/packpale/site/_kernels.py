"""Compiled loops of the grid: no checks, no defaults, no files."""

# ruff: noqa: PLR0917 - compiled functions take no keyword-only arguments

import math

import numpy as np
import numpy.typing as npt
from numba import njit

Floats = npt.NDArray[np.float64]


@njit(cache=True)
def bilinear(z: Floats, west: float, north: float, cell: float, x: Floats, y: Floats, out: Floats) -> None:
    """Fill ``out`` with the values between the centres of the cells ``z`` at each point; all three are flat."""
    rows, cols = z.shape
    for i in range(x.size):
        col, row = (x[i] - west) / cell - 0.5, (north - y[i]) / cell - 0.5
        if not (0.0 <= col <= cols - 1 and 0.0 <= row <= rows - 1):
            out[i] = math.nan
            continue
        c0, r0 = min(int(col), max(cols - 2, 0)), min(int(row), max(rows - 2, 0))
        fc, fr = col - c0, row - r0
        total = 0.0
        for r, share in ((r0, 1.0 - fr), (min(r0 + 1, rows - 1), fr)):
            for c, weight in ((c0, share * (1.0 - fc)), (min(c0 + 1, cols - 1), share * fc)):
                # A missing neighbour without weight does no harm: 0 times NaN would.
                if weight > 0.0:
                    total += weight * z[r, c]
        out[i] = total
