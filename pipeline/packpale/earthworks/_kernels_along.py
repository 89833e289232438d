"""Compiled loop over the ground along lines of any direction: no checks, no defaults, no files."""

# ruff: noqa: PLR0917 - compiled functions take no keyword-only arguments

import math

import numpy as np
import numpy.typing as npt
from numba import njit

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]


@njit(cache=True)
def _between(z: Floats, row: float, col: float) -> float:
    """Value between cell centres, NaN beyond the outermost ones or beside a missing one."""
    rows, cols = z.shape
    if not (0.0 <= col <= cols - 1 and 0.0 <= row <= rows - 1):
        return math.nan
    c0, r0 = int(col), int(row)
    c1, r1 = min(c0 + 1, cols - 1), min(r0 + 1, rows - 1)
    fc, fr = col - c0, row - r0
    upper = (1.0 - fc) * z[r0, c0] + fc * z[r0, c1]
    lower = (1.0 - fc) * z[r1, c0] + fc * z[r1, c1]
    value: float = (1.0 - fr) * upper + fr * lower
    return value


@njit(cache=True)
def along_ways(
    z: Floats,
    rows: Places,
    cols: Places,
    cell: float,
    panel: float,
    steep: float,
    ways: int,
    length: Floats,
    share: Floats,
) -> None:
    """Fill ``length`` and ``share`` with means over directions spread round half a circle, at some rows and columns.

    Metres on the ground for each metre in plan, and the share of posts beside a panel of ``panel`` [m] at least as
    steep as ``steep``. Where the ground is missing it counts as level.
    """
    along, down = np.empty(ways), np.empty(ways)
    for k in range(ways):
        angle = (k + 0.5) * math.pi / ways
        along[k], down[k] = math.cos(angle) / cell, -math.sin(angle) / cell
    for i in range(rows.shape[0]):
        for j in range(cols.shape[0]):
            r, c = rows[i], cols[j]
            here, long, struts = z[r, c], 0.0, 0.0
            for k in range(ways):
                u, v = along[k], down[k]
                rise = (_between(z, r + v * cell, c + u * cell) - here) / cell
                long += 1.0 if math.isnan(rise) else math.hypot(1.0, rise)
                ahead = abs(_between(z, r + v * panel, c + u * panel) - here) / panel
                behind = abs(_between(z, r - v * panel, c - u * panel) - here) / panel
                # A comparison with NaN is false.
                struts += 1.0 if ahead >= steep or behind >= steep else 0.0
            length[i, j], share[i, j] = long / ways, struts / ways
