"""Compiled search for the shortest way of a sound over the ground: no checks, no defaults, no files."""

# ruff: noqa: PLR0917 - compiled functions take no keyword-only arguments

import math

import numpy as np
import numpy.typing as npt
from numba import njit

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]


@njit(cache=True)
def tight_ways(
    distance: Floats,
    ground: Floats,
    source: float,
    count: Places,
    at: Floats,
    height: Floats,
    over: Floats,
    before: Floats,
    behind: Floats,
    x: Floats,
    z: Floats,
) -> None:
    """Length of a line pulled tight over the ground from (0, source) to every (at[i], height[i]).

    ``distance`` ascends and is positive; the first count[i] points of the profile lie before receiver i. ``before``
    and ``behind`` get the lengths to the first and from the last point touched, half the way each where none is.
    ``x`` and ``z``, two longer than the profile, are work space.
    """
    for i in range(at.size):
        x[0], z[0] = 0.0, source
        n = 1
        for j in range(count[i] + 1):
            px = at[i] if j == count[i] else distance[j]
            pz = height[i] if j == count[i] else ground[j]
            # A point on or under the line from the one before it to the new one is not touched.
            while n > 1 and (z[n - 1] - z[n - 2]) * (px - x[n - 2]) <= (pz - z[n - 2]) * (x[n - 1] - x[n - 2]):
                n -= 1
            x[n], z[n] = px, pz
            n += 1
        total = 0.0
        for k in range(1, n):
            total += math.hypot(x[k] - x[k - 1], z[k] - z[k - 1])
        over[i] = total
        before[i] = math.hypot(x[1] - x[0], z[1] - z[0]) if n > 2 else 0.5 * total
        behind[i] = math.hypot(x[n - 1] - x[n - 2], z[n - 1] - z[n - 2]) if n > 2 else 0.5 * total
