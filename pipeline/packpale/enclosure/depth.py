"""Where the land is deep: squares that cover it, level by level, less those that no deep enough point can lie in.

The depth of a point is its distance to the boundary, negative outside. It changes by no more than the point is moved,
so nothing in a square is deeper than its centre by more than half the square's diagonal.
"""

import math

import numpy as np

from packpale.enclosure.boundary import Boundary
from packpale.site.grid import Array

_QUARTERS = np.array([[-0.5, -0.5], [-0.5, 0.5], [0.5, -0.5], [0.5, 0.5]])


def deepest_point(
    land: Boundary, seeds: Array, *, tolerance: float = 0.005, most: int = 40_000
) -> tuple[float, float, float, float]:
    """Deepest point of the land and an upper bound on its depth: x, y, depth, bound, in local coordinates. [m]

    ``seeds`` (n, 2) are points to try first. Squares are dropped that reach no deeper than the best point by the
    factor 1 + ``tolerance``, and the others quartered, until none is left or more than ``most`` would be. The largest
    reach of all squares dropped or left is the bound. Depth 0 at no number if no point tried lies in the land.
    """
    at, best = np.full(2, math.nan), 0.0
    depth = land.depths(seeds)
    if depth.max(initial=0.0) > best:
        at, best = seeds[depth.argmax()], depth.max()
    bound = best
    cells, half = land.cover()
    while True:
        depth = land.depths(cells)
        if depth.max() > best:
            at, best = cells[depth.argmax()], depth.max()
        reach, enough = depth + half * math.sqrt(2), best * (1 + tolerance)
        left = reach > enough
        if 4 * left.sum() > most or half < 1e-9:
            bound = max(bound, reach.max())
            break
        bound = max(bound, min(reach[~left].max(initial=0.0), enough))
        if not left.any():
            break
        cells = _quartered(cells[left], half)
        half /= 2
    return float(at[0]), float(at[1]), float(best), float(bound)


def deep_cells(land: Boundary, *, need: float, finest: float, most: int) -> Array:
    """Centres (x, y, depth) of the squares of half width ``finest`` or less that may hold a point of depth ``need``.

    If more than ``most`` squares would be left, they stay coarser. Squares whose centre lies outside the land are left
    out. Local coordinates. [m]
    """
    cells, half = land.cover()
    while True:
        depth = land.depths(cells)
        kept = depth + half * math.sqrt(2) >= need
        if half <= finest or 4 * kept.sum() > most:
            inside = kept & (depth > 0)
            return np.column_stack([cells[inside], depth[inside]])
        cells = _quartered(cells[kept], half)
        half /= 2


def _quartered(cells: Array, half: float) -> Array:
    return np.reshape(cells[:, None, :] + _QUARTERS * half, (-1, 2))
