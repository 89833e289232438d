"""Compiled lines of sight over a grid: no checks, no defaults, no files in them."""

# ruff: noqa: PLR0917 - compiled functions take no keyword-only arguments

import math

import numpy as np
import numpy.typing as npt
from numba import njit

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Places = npt.NDArray[np.int64]

# Ground that rises above a line of sight by less than this does not block it: rounding. [m]
TOUCH = 1e-9
# Side of the smallest blocks whose highest ground is kept. [cells]
BLOCK = 4


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
def _hides(first: float, half: float, last: float) -> bool:
    """A parabola through three heights, evenly spaced, comes above 0 between the first and the last."""
    bend = 2.0 * (first + last) - 4.0 * half
    slope = 4.0 * half - 3.0 * first - last
    return bend < 0.0 and 0.0 < slope < -2.0 * bend and first - 0.25 * slope * slope / bend > TOUCH


@njit(cache=True)
def peaks_of_smallest(z: Floats, out: Floats, table: Places) -> None:
    """Raise the smallest blocks to the ground in them."""
    rows, cols = table[0, 1], table[0, 2]
    for r in range(z.shape[0]):
        for c in range(z.shape[1]):
            for br in range(max(r - 1, 0) // BLOCK, min(r // BLOCK, rows - 1) + 1):
                for bc in range(max(c - 1, 0) // BLOCK, min(c // BLOCK, cols - 1) + 1):
                    # A missing height compares as false.
                    if z[r, c] > out[br * cols + bc]:  # noqa: PLR1730 - max() may hand on a NaN
                        out[br * cols + bc] = z[r, c]


@njit(cache=True)
def peaks_of_larger(out: Floats, table: Places) -> None:
    """Give each larger block the highest of those within it."""
    for k in range(1, table.shape[0]):
        below, width = table[k - 1, 0], table[k - 1, 2]
        for i in range(table[k - 1, 1] * width):
            at = table[k, 0] + i // width // 2 * table[k, 2] + i % width // 2
            out[at] = max(out[at], out[below + i])


@njit(cache=True)
def _next_line(start: float, along: float, t: float) -> tuple[int, float]:
    """The first grid line that a way from ``start``, ``along`` long, meets past ``t`` of it, and where; 2 for never."""
    if along == 0.0:
        return 0, 2.0
    line = math.floor(start + t * along) + 1 if along > 0.0 else math.ceil(start + t * along) - 1
    # The line at t itself, missed by rounding.
    if (line - start) / along <= t:
        line += 1 if along > 0.0 else -1
    return line, (line - start) / along


@njit(cache=True)
def _within(start: float, along: float, block: int, near: float, far: float) -> tuple[float, float]:
    """The part of a way, from ``near`` to ``far`` of its length, that lies in a block's rows or columns."""
    a, b = block * BLOCK - start, (block + 1) * BLOCK - start
    if along == 0.0:
        return (near, far) if a <= 0.0 <= b else (1.0, 0.0)
    return max(near, min(a / along, b / along)), min(far, max(a / along, b / along))


@njit(cache=True)
def what_hides(
    z: Floats,
    high: Floats,
    levels: Places,
    col: float,
    row: float,
    eye: float,
    to_col: float,
    to_row: float,
    top: float,
    first: int,
) -> int:
    """Block that hides (to_col, to_row, top) from (col, row, eye): ground there stands above the straight line.

    -1 where there is none: then it is seen. NaN ground hides nothing. The block ``first`` is looked at before others.

    Between two crossings of grid lines bilinear ground is a parabola along the line, which its two ends and its
    middle tell: so this is exact for bilinear ground. Blocks whose ``peaks``, in ``high`` and ``levels``, stay under
    the line are passed over whole.
    """
    dc, dr, fall = to_col - col, to_row - row, top - eye
    ahead_c, ahead_r = (1 if dc > 0 else 0), (1 if dr > 0 else 0)
    width = levels[0, 2]
    if first >= 0:
        near, far = _within(col, dc, first % width, 0.0, 1.0)
        near, far = _within(row, dr, first // width, near, far)
        if near < far and _hidden(z, col, row, eye, dc, dr, fall, near, far):
            return first
    level, t = 0, 0.0
    while t < 1.0:
        # The first crossing of a grid line from here on; the middle of the piece up to there says which cell it is in.
        end = min(_next_line(col, dc, t)[1], _next_line(row, dr, t)[1], 1.0)
        mid = 0.5 * (t + end)
        c = min(max(math.floor(col + mid * dc), 0), z.shape[1] - 2)
        r = min(max(math.floor(row + mid * dr), 0), z.shape[0] - 2)
        while True:
            side = BLOCK << level
            bc, br = c // side, r // side
            out_c = ((bc + ahead_c) * side - col) / dc if dc != 0.0 else 2.0
            out_r = ((br + ahead_r) * side - row) / dr if dr != 0.0 else 2.0
            leaves = max(min(out_c, out_r, 1.0), end)
            low = eye + (leaves if fall < 0.0 else t) * fall
            clear = high[levels[level, 0] + br * levels[level, 2] + bc] - low <= TOUCH
            if clear or level == 0:
                break
            level -= 1
        if not clear and _hidden(z, col, row, eye, dc, dr, fall, t, leaves):
            return int(br * width + bc)
        if level < levels.shape[0] - 1:
            level += 1
        t = leaves
    return -1


@njit(cache=True)
def _hidden(
    z: Floats, col: float, row: float, eye: float, dc: float, dr: float, fall: float, t: float, until: float
) -> bool:
    """Ground stands above a part of a line of sight, from ``t`` to ``until`` of its length."""
    rise = _ground(z, col + t * dc, row + t * dr) - eye - t * fall
    c_step, r_step = (1 if dc > 0 else -1), (1 if dr > 0 else -1)
    c_line, r_line = _next_line(col, dc, t)[0], _next_line(row, dr, t)[0]
    while t < until:
        tc = (c_line - col) / dc if dc != 0.0 else 2.0
        tr = (r_line - row) / dr if dr != 0.0 else 2.0
        end = min(tc, tr, until)
        if tc <= end:
            c_line += c_step
        if tr <= end:
            r_line += r_step
        # Height of the ground above the line of sight at the end and in the middle of this piece.
        last = _ground(z, col + end * dc, row + end * dr) - eye - end * fall
        mid = 0.5 * (t + end)
        half = _ground(z, col + mid * dc, row + mid * dr) - eye - mid * fall
        if (max(rise, last) > TOUCH and end < 1.0) or _hides(rise, half, last):
            return True
        rise = last
        t = end
    return False


@njit(cache=True)
def enters(start: float, along: float, last: float, t: float) -> float:
    """Part of a way, ``t`` or more, at which it comes between 0 and ``last``; the way ends there."""
    if start < 0.0:
        return max(t, -start / along)
    if start > last:
        return max(t, (last - start) / along)
    return t


@njit(cache=True)
def sweep(
    z: Floats,
    high: Floats,
    levels: Places,
    far_z: Floats,
    far_high: Floats,
    far_levels: Places,
    scale: float,
    far_col: float,
    far_row: float,
    targets: Mask,
    col: float,
    row: float,
    eye: float,
    over: float,
    most: float,
    seen: Mask,
) -> None:
    """Set ``seen`` at the targets within ``most`` cells whose ground plus ``over`` the eye sees.

    From an eye beyond ``z`` the way up to where it comes onto it leads over ``far_z``, on which the eye stands at
    (``far_col``, ``far_row``) and a cell of ``z`` is ``scale`` wide.
    """
    last_c, last_r = z.shape[1] - 1.0, z.shape[0] - 1.0
    # What hides a cell mostly hides the next one too.
    before = far_before = int(-1.0)  # no literal: numba would compile what takes it once more for that very number
    for r in range(math.ceil(max(row - most, 0.0)), math.floor(min(row + most, last_r)) + 1):
        for c in range(math.ceil(max(col - most, 0.0)), math.floor(min(col + most, last_c)) + 1):
            if targets[r, c] and math.hypot(c - col, r - row) <= most:
                dc, dr, top = c - col, r - row, z[r, c] + over
                t = enters(row, dr, last_r, enters(col, dc, last_c, 0.0))
                at_c, at_r, height = col + t * dc, row + t * dr, eye + t * (top - eye)
                if t > 0.0:
                    to_col, to_row = far_col + t * dc * scale, far_row + t * dr * scale
                    found = what_hides(
                        far_z, far_high, far_levels, far_col, far_row, eye, to_col, to_row, height, far_before
                    )
                    if found >= 0:
                        far_before = found
                        continue
                found = what_hides(z, high, levels, at_c, at_r, height, float(c), float(r), top, before)
                seen[r, c] = found < 0
                before = found if found >= 0 else before
