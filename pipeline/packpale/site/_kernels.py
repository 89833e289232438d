"""Compiled loops over cells: no checks, no defaults, no files in them."""

# ruff: noqa: PLR0917 - compiled functions take no keyword-only arguments

import math

import numpy as np
import numpy.typing as npt
from numba import njit

from packpale.site.grid import Array

Codes = npt.NDArray[np.int8]


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


@njit(cache=True)
def pull(
    x: Array, y: Array, pit_x: Array, pit_y: Array, residual: Array, reach: float, most: float, out: Array
) -> None:
    """Pull ``out`` by each pit's residual with weights 1 / d^2, against 1 / reach^2 for none; from 0 to ``most``."""
    for i in range(out.shape[0]):
        for j in range(out.shape[1]):
            weight, moment = 1.0 / reach**2, 0.0
            for k in range(pit_x.size):
                squared = (x[j] - pit_x[k]) ** 2 + (y[i] - pit_y[k]) ** 2
                # A micrometre keeps the weight finite at the pit itself, where it then outweighs all others.
                w = 1.0 / max(squared, 1e-12)
                weight += w
                moment += w * residual[k]
            out[i, j] = min(max(out[i, j] + moment / weight, 0.0), most)


@njit(cache=True)
def override(x: Array, y: Array, pit_x: Array, pit_y: Array, code: Codes, reach: float, out: Codes) -> None:
    """Set ``out`` to the code of the nearest pit wherever one lies within ``reach``; of two equally near, the later."""
    for i in range(out.shape[0]):
        for j in range(out.shape[1]):
            nearest = reach**2
            for k in range(pit_x.size):
                squared = (x[j] - pit_x[k]) ** 2 + (y[i] - pit_y[k]) ** 2
                if squared <= nearest:
                    nearest = squared
                    out[i, j] = code[k]


@njit(cache=True)
def distance(x: Array, y: Array, pit_x: Array, pit_y: Array, out: Array) -> None:
    """Fill ``out`` with the distance to the nearest pit."""
    for i in range(out.shape[0]):
        for j in range(out.shape[1]):
            nearest = np.inf
            for k in range(pit_x.size):
                nearest = min(nearest, (x[j] - pit_x[k]) ** 2 + (y[i] - pit_y[k]) ** 2)
            out[i, j] = math.sqrt(nearest)
