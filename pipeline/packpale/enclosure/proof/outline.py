"""The outline of the land in the form the compiled proof reads."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.polygon import orient

from packpale.enclosure.proof import _kernels
from packpale.site.grid import Array


@dataclass(frozen=True)
class Outline:
    """All rings of all parts about a local origin; the layout of the arrays stands in _kernels.py."""

    edges: Array
    nodes: Array
    extent: tuple[float, float, float, float]
    """West, south, east, north in local coordinates. [m]"""


def outline(area: Polygon | MultiPolygon, *, small: float) -> Outline:
    """Prepare valid land whose egg has a big radius of at least ``small`` [m]."""
    parts = [orient(p, 1.0) for p in getattr(area, "geoms", [area]) if p.area > 0]
    x0, y0, x1, y1 = shapely.total_bounds(parts)
    origin = np.round([(x0 + x1) / 2, (y0 + y1) / 2])
    rings = [_ring(np.asarray(ring.coords)[:, :2] - origin) for p in parts for ring in (p.exterior, *p.interiors)]
    starts = np.concatenate([[0], np.cumsum([len(r) for r in rings])]).astype(np.int64)
    edges = np.concatenate(rings)
    slack = 1e-8 * small
    _kernels.reach_of_lines(starts, edges, 0.5 * small, slack)
    corners = np.ascontiguousarray(edges[:, :2])
    _mark_candidates(edges, corners)
    _kernels.mark_hull(edges, corners, slack)
    leaves = 1 << max(math.ceil(math.log2(-(-len(edges) // _kernels.LEAF))), 0)
    nodes = np.zeros((2 * leaves, 3))
    _kernels.build_nodes(edges, leaves, nodes)
    return Outline(edges, nodes, (x0 - origin[0], y0 - origin[1], x1 - origin[0], y1 - origin[1]))


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


def _mark_candidates(edges: Array, corners: Array) -> None:
    hull = shapely.MultiPoint(corners).convex_hull
    ring: npt.NDArray[np.float64] = np.asarray(hull.exterior.coords)
    on_hull = {(float(x), float(y)) for x, y in ring}
    is_corner = np.array([(float(x), float(y)) in on_hull for x, y in corners])
    # One end on the hull is enough to be looked at: collinear corners may be missing from it.
    edges[:, 10] = is_corner
    ends = edges[:, :2] + edges[:, 2:4] * edges[:, 4:5]
    edges[:, 10] = np.maximum(edges[:, 10], shapely.dwithin(shapely.points(ends), hull.exterior, 1e-9).astype(float))
