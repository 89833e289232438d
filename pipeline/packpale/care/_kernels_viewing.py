"""Compiled lines of sight over a grid: no checks, no defaults, no files in them."""

# ruff: noqa: PLR0917 - compiled functions take no keyword-only arguments

import math

import numpy as np
import numpy.typing as npt
from numba import njit

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

# Ground that rises above a line of sight by less than this does not block it: rounding. [m]
TOUCH = 1e-9


@njit(cache=True)
def _ground(z: Floats, col: float, row: float) -> float:
    """Bilinear between centres; the last row and column are reached from inside."""
    c = min(max(math.floor(col), 0), z.shape[1] - 2)
    r = min(max(math.floor(row), 0), z.shape[0] - 2)
    fc, fr = col - c, row - r
    above = z[r, c] + fc * (z[r, c + 1] - z[r, c])
    below = z[r + 1, c] + fc * (z[r + 1, c + 1] - z[r + 1, c])
    return float(above + fr * (below - above))


@njit(cache=True)
def sees(z: Floats, col: float, row: float, eye: float, to_col: float, to_row: float, top: float) -> bool:
    """No ground stands above the straight line from (col, row, eye) to (to_col, to_row, top); NaN ground hides nothing.

    Between two crossings of grid lines bilinear ground is a parabola along the line, which its two ends and its
    middle tell: so this is exact for bilinear ground.
    """
    dc, dr = to_col - col, to_row - row
    t = 0.0
    rise = _ground(z, col, row) - eye
    c_step, r_step = (1 if dc > 0 else -1), (1 if dr > 0 else -1)
    c_line = math.floor(col) + 1 if dc > 0 else math.ceil(col) - 1
    r_line = math.floor(row) + 1 if dr > 0 else math.ceil(row) - 1
    while t < 1.0:
        tc = (c_line - col) / dc if dc != 0.0 else 2.0
        tr = (r_line - row) / dr if dr != 0.0 else 2.0
        end = min(tc, tr, 1.0)
        if tc <= end:
            c_line += c_step
        if tr <= end:
            r_line += r_step
        # Height of the ground above the line of sight at the end and in the middle of this piece.
        last = _ground(z, col + end * dc, row + end * dr) - eye - end * (top - eye)
        mid = 0.5 * (t + end)
        half = _ground(z, col + mid * dc, row + mid * dr) - eye - mid * (top - eye)
        if max(rise, last) > TOUCH and end < 1.0:
            return False
        bend = 2.0 * (rise + last) - 4.0 * half
        slope = 4.0 * half - 3.0 * rise - last
        if bend < 0.0 and 0.0 < slope < -2.0 * bend and rise - 0.25 * slope * slope / bend > TOUCH:
            return False
        rise = last
        t = end
    return True


@njit(cache=True)
def sweep(z: Floats, targets: Mask, col: float, row: float, eye: float, over: float, most: float, seen: Mask) -> None:
    """Set ``seen`` at the targets within ``most`` cells whose ground plus ``over`` the eye sees."""
    for r in range(z.shape[0]):
        for c in range(z.shape[1]):
            if targets[r, c] and math.hypot(c - col, r - row) <= most and sees(z, col, row, eye, c, r, z[r, c] + over):
                seen[r, c] = True
