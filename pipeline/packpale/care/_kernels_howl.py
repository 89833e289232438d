"""Compiled search for the shortest way of a sound over the ground: no checks, no defaults, no files."""

# ruff: noqa: PLR0917 - compiled functions take no keyword-only arguments

import math

import numpy as np
import numpy.typing as npt
from numba import njit

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]


@njit(cache=True)
def _touched(x: Floats, z: Floats, n: int, to_x: float, to_z: float) -> int:
    """How many of the first n points a line pulled tight from the first still touches when it goes on to a new one."""
    # A point on or under the line from the one before it to the new one is not touched.
    while n > 1 and (z[n - 1] - z[n - 2]) * (to_x - x[n - 2]) <= (to_z - z[n - 2]) * (x[n - 1] - x[n - 2]):
        n -= 1
    return n


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
    length: Floats,
) -> None:
    """Length of a line pulled tight over the ground from (0, source) to every (at[i], height[i]).

    ``distance`` and ``at`` ascend and are positive; the first count[i] points of the profile lie before receiver i.
    ``before`` and ``behind`` get the lengths to the first and from the last point touched, half the way each where none
    is. ``x``, ``z`` and ``length``, one longer than the profile, are work space: the points touched on the way to the
    last point of the profile so far, and the length of the line to each.
    """
    x[0], z[0], length[0] = 0.0, source, 0.0
    n, done = 1, 0
    for i in range(at.size):
        for j in range(done, count[i]):
            n = _touched(x, z, n, distance[j], ground[j])
            x[n], z[n] = distance[j], ground[j]
            length[n] = length[n - 1] + math.hypot(x[n] - x[n - 1], z[n] - z[n - 1])
            n += 1
        done = count[i]
        m = _touched(x, z, n, at[i], height[i])
        last = math.hypot(at[i] - x[m - 1], height[i] - z[m - 1])
        over[i] = length[m - 1] + last
        before[i] = length[1] if m > 1 else 0.5 * over[i]
        behind[i] = last if m > 1 else 0.5 * over[i]
