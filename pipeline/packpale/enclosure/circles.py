"""A tree of circles over the edges of an outline: what a search of edges near a place leaves out at once."""

import math

import numpy as np

from packpale.site.grid import Array

_ROUNDING = 1 + 1e-12


def circle_tree(edges: Array, per_leaf: int) -> Array:
    """Heap of circles (x, y, radius), each of which holds the edges below it.

    Parameters
    ----------
    edges
        Rows begin with start x, start y, unit tangent x, unit tangent y, length. [m]
    per_leaf
        Edges that follow each other in one leaf.

    Returns
    -------
    Array
        ``nodes`` (2 L, 3): node 1 is the root, below node i are 2 i and 2 i + 1, and node L + i is leaf i, which holds
        the edges from i * per_leaf on. A radius of -1 marks nothing; row 0 means nothing.
    """
    used = -(-len(edges) // per_leaf)
    leaves = 1 << max(math.ceil(math.log2(used)), 0)
    ends = np.stack([edges[:, :2], edges[:, :2] + edges[:, 2:4] * edges[:, 4:5]], axis=1)
    # The last leaf is filled up with the last edge over again.
    points = ends[np.minimum(np.arange(used * per_leaf), len(edges) - 1)].reshape(used, 2 * per_leaf, 2)
    centre = 0.5 * (points.min(axis=1) + points.max(axis=1))
    nodes = np.zeros((2 * leaves, 3))
    nodes[leaves : leaves + used, :2] = centre
    nodes[leaves : leaves + used, 2] = np.sqrt(((points - centre[:, None]) ** 2).sum(axis=2).max(axis=1)) * _ROUNDING
    nodes[leaves + used :, 2] = -1.0
    while leaves > 1:
        nodes[leaves // 2 : leaves] = _around(nodes[leaves : 2 * leaves : 2], nodes[leaves + 1 : 2 * leaves : 2])
        leaves //= 2
    return nodes


def _around(a: Array, b: Array) -> Array:
    """Smallest circle round each two circles."""
    way = b[:, :2] - a[:, :2]
    gap = np.hypot(way[:, 0], way[:, 1])
    radius = 0.5 * (gap + a[:, 2] + b[:, 2])
    share = np.divide(radius - a[:, 2], gap, out=np.zeros(len(gap)), where=gap > 0)
    both = np.column_stack([a[:, :2] + share[:, None] * way, radius * _ROUNDING])
    a_alone = (b[:, 2] < 0) | (gap + b[:, 2] <= a[:, 2])
    b_alone = gap + a[:, 2] <= b[:, 2]
    return np.where(a_alone[:, None], a, np.where(b_alone[:, None], b, both))
