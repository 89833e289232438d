"""Compiled solver of the smoothed profile: no checks, no defaults, no files."""

import numpy as np
import numpy.typing as npt
from numba import njit

Floats = npt.NDArray[np.float64]


@njit(cache=True)
def solve_closed(  # noqa: C901, PLR0912 - one elimination, written out
    diagonal: Floats, first: Floats, second: Floats, right: Floats
) -> Floats:
    """Solve M x = right for a symmetric positive definite M that couples each unknown to two on either side.

    The unknowns stand in a ring: ``first[i]`` couples i to i + 1, ``second[i]`` i to i + 2, the last to the first
    ones again. The last two unknowns are set apart; what is left is a band, factorised as L D L'. At least 6 unknowns.
    """
    n = diagonal.size
    m = n - 2
    # Right-hand side, and the two columns that couple the band to the unknowns set apart.
    sides = np.zeros((n, 3))
    sides[:, 0] = right
    sides[m - 2, 1], sides[m - 1, 1] = second[m - 2], first[m - 1]
    sides[0, 1] += second[n - 2]
    sides[m - 1, 2] = second[m - 1]
    sides[0, 2] += first[n - 1]
    sides[1, 2] += second[n - 1]
    coupling = sides[:m, 1:].copy()
    d, e, f = np.empty(m), np.zeros(m), np.zeros(m)
    for i in range(m):
        d[i] = diagonal[i]
        if i >= 1:
            d[i] -= e[i - 1] * e[i - 1] * d[i - 1]
        if i >= 2:
            d[i] -= f[i - 2] * f[i - 2] * d[i - 2]
        if i + 1 < m:
            above = first[i]
            if i >= 1:
                above -= e[i - 1] * f[i - 1] * d[i - 1]
            e[i] = above / d[i]
        if i + 2 < m:
            f[i] = second[i] / d[i]
    for i in range(m):
        for k in range(3):
            if i >= 1:
                sides[i, k] -= e[i - 1] * sides[i - 1, k]
            if i >= 2:
                sides[i, k] -= f[i - 2] * sides[i - 2, k]
    for i in range(m - 1, -1, -1):
        for k in range(3):
            sides[i, k] /= d[i]
            if i + 1 < m:
                sides[i, k] -= e[i] * sides[i + 1, k]
            if i + 2 < m:
                sides[i, k] -= f[i] * sides[i + 2, k]
    a, b, c = diagonal[n - 2], first[n - 2], diagonal[n - 1]
    u, v = right[n - 2], right[n - 1]
    for i in range(m):
        a -= coupling[i, 0] * sides[i, 1]
        b -= coupling[i, 0] * sides[i, 2]
        c -= coupling[i, 1] * sides[i, 2]
        u -= coupling[i, 0] * sides[i, 0]
        v -= coupling[i, 1] * sides[i, 0]
    determinant = a * c - b * b
    out = np.empty(n)
    out[n - 2] = (u * c - v * b) / determinant
    out[n - 1] = (v * a - u * b) / determinant
    for i in range(m):
        out[i] = sides[i, 0] - sides[i, 1] * out[n - 2] - sides[i, 2] * out[n - 1]
    return out
