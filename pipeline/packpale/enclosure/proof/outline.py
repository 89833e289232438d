"""The outline of the land in the form the compiled proof reads."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.polygon import orient

from packpale.enclosure.circles import circle_tree
from packpale.enclosure.proof import _kernels
from packpale.site.grid import Array

_CORNERS_ALONG = 400
"""Corners looked at along the outline on either side of an edge, at most."""


@dataclass(frozen=True)
class Outline:
    """All rings of all parts about a local origin; the layout of the arrays stands in _kernels.py."""

    origin: tuple[float, float]
    """What was taken off every coordinate. [m]"""
    edges: Array
    nodes: Array
    extent: tuple[float, float, float, float]
    """West, south, east, north in local coordinates. [m]"""


def outline(area: Polygon | MultiPolygon, *, small: float) -> Outline:
    """Prepare valid land whose egg has a big radius of at least ``small`` [m]."""
    parts = [orient(p, 1.0) for p in getattr(area, "geoms", [area]) if p.area > 0]
    x0, y0, x1, y1 = shapely.total_bounds(parts)
    origin = float(np.round((x0 + x1) / 2)), float(np.round((y0 + y1) / 2))
    rings = [_ring(np.asarray(ring.coords)[:, :2] - origin) for p in parts for ring in (p.exterior, *p.interiors)]
    starts = np.concatenate([[0], np.cumsum([len(r) for r in rings])]).astype(np.int64)
    edges = np.concatenate(rings)
    slack = 1e-8 * small
    _reach_of_lines(edges, starts, cap=0.5 * small, slack=slack)
    _mark_hull(edges, most=slack)
    nodes = circle_tree(edges, _kernels.LEAF)
    return Outline(origin, edges, nodes, (x0 - origin[0], y0 - origin[1], x1 - origin[0], y1 - origin[1]))


def _ring(ring: Array) -> Array:
    """Rows of edges of one closed ring, without those of no length."""
    keep = np.concatenate([[True], (np.diff(ring, axis=0) != 0).any(axis=1)])
    start = ring[keep][:-1]
    along = np.roll(start, -1, axis=0) - start
    length = np.hypot(along[:, 0], along[:, 1])
    tangent = along / length[:, None]
    before = np.roll(tangent, 1, axis=0)
    left_turn = before[:, 0] * tangent[:, 1] - before[:, 1] * tangent[:, 0]
    # Corners that are hardly convex count too: any boundary point is a valid obstacle.
    reflex = (left_turn < 1e-3) | ((before * tangent).sum(axis=1) < -0.999)
    rows = np.zeros((len(start), 11))
    rows[:, 0:2], rows[:, 2:4], rows[:, 4], rows[:, 9] = start, tangent, length, reflex
    return rows


def _reach_of_lines(edges: Array, rings: npt.NDArray[np.int64], *, cap: float, slack: float) -> None:
    """Fill columns 5 to 8 of ``edges``: along the outline from either end while it goes on and keeps above the line.

    ``rings`` holds the first edge of each ring and the number of edges. Above means on the land's side of the line
    moved outward by ``slack``, and by no more than ``cap``.
    """
    counts = np.diff(rings)
    first, count = np.repeat(rings[:-1], counts), np.repeat(counts, counts)
    highest = np.full(len(edges), slack)
    for way, column, begin in ((-1, 5, np.zeros(len(edges))), (1, 6, edges[:, 4])):
        along = begin.copy()
        going = np.arange(len(edges))
        for step in range(1, _CORNERS_ALONG):
            going = going[step < count[going]]
            # Corner j is the start of edge j: forward from the end of an edge, backward from its start.
            j = first[going] + (going - first[going] + (1 + step if way > 0 else -step)) % count[going]
            edge = edges[going]
            x, y = edges[j, 0] - edge[:, 0], edges[j, 1] - edge[:, 1]
            new, height = x * edge[:, 2] + y * edge[:, 3], y * edge[:, 2] - x * edge[:, 3]
            goes_on = ((new - along[going]) * way >= 0) & (height >= -slack) & (height <= cap)
            going = going[goes_on]
            if not len(going):
                break
            along[going] = new[goes_on]
            highest[going] = np.maximum(highest[going], height[goes_on] + slack)
        edges[:, column] = (along - begin) * way
    edges[:, 7], edges[:, 8] = highest, slack


def _mark_hull(edges: Array, *, most: float) -> None:
    """Set column 10 where no corner lies farther than ``most`` beyond an edge's line, and move the line out there."""
    corners = edges[:, :2]
    hull = shapely.MultiPoint(corners).convex_hull
    ring: npt.NDArray[np.float64] = np.asarray(hull.exterior.coords)
    on_hull = {(float(x), float(y)) for x, y in ring}
    # One end on the hull is enough to be looked at: collinear corners may be missing from it.
    ends = corners + edges[:, 2:4] * edges[:, 4:5]
    looked_at = np.array([(float(x), float(y)) in on_hull for x, y in corners])
    looked_at |= shapely.dwithin(shapely.points(ends), hull.exterior, 1e-9)
    for i in np.flatnonzero(looked_at):
        edge = edges[i]
        # The corner farthest beyond a line is one of the hull's.
        beyond = float(((ring[:, 0] - edge[0]) * edge[3] - (ring[:, 1] - edge[1]) * edge[2]).max())
        if beyond <= most:
            edge[8], edge[10] = max(edge[8], beyond), 1.0
