"""Compiled loops of distances: no checks, no defaults, no files."""

# ruff: noqa: PLR0917 - compiled functions take no keyword-only arguments

import numpy as np
import numpy.typing as npt
from numba import njit

Array = npt.NDArray[np.float64]


@njit(cache=True)
def _squared(x: float, y: float, segment: Array) -> float:
    """Squared distance from a point to a segment x0, y0, x1, y1."""
    dx, dy = segment[2] - segment[0], segment[3] - segment[1]
    length2 = dx * dx + dy * dy
    t = 0.0
    if length2 > 0:
        t = min(max(((x - segment[0]) * dx + (y - segment[1]) * dy) / length2, 0.0), 1.0)
    east, north = segment[0] + t * dx - x, segment[1] + t * dy - y
    return float(east * east + north * north)


@njit(cache=True)
def nearest_segment(
    x: Array, y: Array, segments: Array, block: int, near: npt.NDArray[np.int64], to_centre: Array, out: Array
) -> None:
    """Fill ``out`` (rows of y, columns of x) with the distance to the nearest segment.

    Within a block of cells only segments can be nearest that lie within the least distance from its centre plus
    its diameter. ``near`` and ``to_centre`` (segments,) are work space.
    """
    for r0 in range(0, y.shape[0], block):
        r1 = min(r0 + block, y.shape[0])
        for c0 in range(0, x.shape[0], block):
            c1 = min(c0 + block, x.shape[0])
            mid_x, mid_y = (x[c0] + x[c1 - 1]) / 2, (y[r0] + y[r1 - 1]) / 2
            diameter = np.hypot(x[c1 - 1] - x[c0], y[r1 - 1] - y[r0])
            least = np.inf
            for i in range(segments.shape[0]):
                to_centre[i] = np.sqrt(_squared(mid_x, mid_y, segments[i]))
                least = min(least, to_centre[i])
            count = 0
            for i in range(segments.shape[0]):
                # A hair wider, so that rounding excludes none.
                if to_centre[i] <= (least + diameter) * (1 + 1e-12):
                    near[count] = i
                    count += 1
            for r in range(r0, r1):
                for c in range(c0, c1):
                    best = np.inf
                    for i in range(count):
                        best = min(best, _squared(x[c], y[r], segments[near[i]]))
                    out[r, c] = np.sqrt(best)
