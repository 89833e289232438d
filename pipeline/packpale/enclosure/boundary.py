"""The boundary of a piece of land in the form the compiled search reads: edges, a tree over them, horizontal bands."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.polygon import orient

from packpale.enclosure import _kernels
from packpale.enclosure.circles import circle_tree
from packpale.site.grid import Array

Indices = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Boundary:
    """All rings of all parts, moved to a local origin. The layout of the arrays stands in _kernels.py."""

    origin: tuple[float, float]
    """What was taken off every coordinate. [m]"""
    size: tuple[float, float, float, float]
    """West, south, east, north in local coordinates. [m]"""
    rings: tuple[Array, ...]
    """Closed rings in local coordinates, the land to their left. [m]"""
    edges: Array
    nodes: Array
    band_start: Indices
    band_edge: Indices
    band_frame: Array

    @property
    def tree(self) -> tuple[Array, Array, Indices]:
        """What the evaluator reads, and a stack for its way through the nodes."""
        return self.edges, self.nodes, np.empty(_kernels.STACK, np.int64)

    def depths(self, points: Array) -> Array:
        """Distances (n,) from points (n, 2) in local coordinates to the boundary, negative outside the land. [m]"""
        out = np.empty(len(points))
        bands = (self.band_start, self.band_edge, self.band_frame)
        _kernels.signed_depths(np.ascontiguousarray(points), *self.tree, *bands, out)
        return out

    def cover(self) -> tuple[Array, float]:
        """Squares that cover the land: centres (n, 2) and half their width. [m]"""
        west, south, east, north = self.size
        width, height = east - west, north - south
        # Never more than 64 in a row, however narrow the land.
        side = max(min(width, height), max(width, height) / 64)
        nx, ny = max(math.ceil(width / side), 1), max(math.ceil(height / side), 1)
        x, y = np.meshgrid(west + (np.arange(nx) + 0.5) * side, south + (np.arange(ny) + 0.5) * side)
        return np.column_stack([x.ravel(), y.ravel()]), side / 2


def valid_parts(area: Polygon | MultiPolygon) -> tuple[Polygon, ...]:
    """Parts with an area, largest first; rings that cross themselves are made valid.

    Raises ValueError if a coordinate is not finite.
    """
    if not np.isfinite(shapely.get_coordinates(area)).all():
        raise ValueError("a corner of the land has a coordinate that is not finite")
    if not area.is_valid:
        area = shapely.make_valid(area)
    return tuple(sorted((p for p in _polygons(area) if p.area > 0), key=lambda p: -p.area))


def boundary(parts: tuple[Polygon, ...], origin: tuple[float, float] | None = None) -> Boundary | None:
    """Prepare valid parts for the search, about their middle where no origin is given; None if there are none."""
    if not parts:
        return None
    x0, y0, x1, y1 = shapely.total_bounds(parts)
    # Whole metres, so that taking them off costs no digit.
    origin = origin or (float(np.round((x0 + x1) / 2)), float(np.round((y0 + y1) / 2)))
    rings = [np.asarray(ring.coords)[:, :2] - origin for p in parts for ring in _rings(orient(p, 1.0))]
    return _from_rings(origin, tuple(rings))


def behind(land: Boundary, angle: float, offset: float) -> Boundary | None:
    """The land on the side of a straight line that its normal points away from; None if nothing of it lies there.

    The normal points in the direction ``angle``, counter-clockwise from east [rad]; ``offset`` is the distance of the
    line from the local origin along it [m]. Where a ring leaves and comes back, the line itself closes the gap: such
    pieces may run through places outside the land or over one another, which changes nothing for an egg on the near
    side of the line.
    """
    normal = np.array([math.cos(angle), math.sin(angle)])
    rings = tuple(piece for ring in land.rings if len(piece := _clipped(ring, normal, offset)) > 3)
    return _from_rings(land.origin, rings) if rings else None


def _clipped(ring: Array, normal: Array, offset: float) -> Array:
    """A closed ring with everything beyond the line replaced by a walk along it."""
    over = ring @ normal - offset
    if (over <= 0).all():
        return ring
    start, end, before, after = ring[:-1], ring[1:], over[:-1], over[1:]
    crosses = (before <= 0) != (after <= 0)
    share = np.divide(before, before - after, out=np.zeros(len(before)), where=crosses)
    points = np.stack([start, start + share[:, None] * (end - start)], axis=1)
    kept = points[np.stack([before <= 0, crosses], axis=1)]
    return np.concatenate([kept, kept[:1]]) if len(kept) else kept


def _from_rings(origin: tuple[float, float], rings: tuple[Array, ...]) -> Boundary | None:
    corners = np.concatenate(rings)
    (x0, y0), (x1, y1) = corners.min(axis=0), corners.max(axis=0)
    if not (x1 > x0 and y1 > y0):
        return None
    edges = _spatial_order(np.concatenate([_edges(ring) for ring in rings]))
    nodes = circle_tree(edges, _kernels.LEAF)
    size = (float(x0), float(y0), float(x1), float(y1))
    return Boundary(origin, size, rings, edges, nodes, *_bands(edges, size[1], size[3]))


def _polygons(area: shapely.Geometry) -> list[Polygon]:
    if isinstance(area, Polygon):
        return [] if area.is_empty else [area]
    return [p for part in getattr(area, "geoms", ()) for p in _polygons(part)]


def _rings(polygon: Polygon) -> list[shapely.LinearRing]:
    return [polygon.exterior, *polygon.interiors]


def _edges(ring: Array) -> Array:
    """Rows of edges for one closed ring; edges of no length are left out."""
    keep = np.concatenate([[True], (np.diff(ring, axis=0) != 0).any(axis=1)])
    start = ring[keep][:-1]
    along = np.roll(start, -1, axis=0) - start
    length = np.hypot(along[:, 0], along[:, 1])
    tangent = along / length[:, None]
    before = np.roll(tangent, 1, axis=0)
    left_turn = before[:, 0] * tangent[:, 1] - before[:, 1] * tangent[:, 0]
    # At a corner that bulges out of the land a smooth egg meets one of the two edges first; nearly straight corners
    # count as reflex so that rounding opens no gap between two edges.
    reflex = left_turn < 1e-9
    # A needle turned back on itself has no turn at all but is reflex or not by its direction: count it.
    reflex |= (before * tangent).sum(axis=1) < -0.999
    return np.column_stack([start, tangent, length, reflex.astype(float)])


def _spatial_order(edges: Array) -> Array:
    """Edges along a space-filling curve through their middles, so that neighbours in the array lie close together."""
    middle = edges[:, :2] + 0.5 * edges[:, 2:4] * edges[:, 4:5]
    low, extent = middle.min(axis=0), max(float(np.ptp(middle, axis=0).max()), 1e-9)
    cell = ((middle - low) / extent * 65535).astype(np.uint64)
    code = np.zeros(len(edges), np.uint64)
    for bit in range(16):
        for axis in (0, 1):
            code |= ((cell[:, axis] >> np.uint64(bit)) & np.uint64(1)) << np.uint64(2 * bit + axis)
    return np.ascontiguousarray(edges[np.argsort(code, kind="stable")])


def _bands(edges: Array, south: float, north: float) -> tuple[Indices, Indices, Array]:
    """Edges by the horizontal bands they cross; about as many bands as keep the lists 16 times the edges in all."""
    y0 = edges[:, 1]
    y1 = y0 + edges[:, 3] * edges[:, 4]
    low, high = np.minimum(y0, y1), np.maximum(y0, y1)
    height = north - south
    count = int(np.clip(15 * len(edges) * height / max((high - low).sum(), 1e-300), 1, len(edges)))
    band = height / count
    first = np.clip(np.floor((low - south) / band - 1e-6), 0, count - 1).astype(np.int64)
    last = np.clip(np.floor((high - south) / band + 1e-6), 0, count - 1).astype(np.int64)
    spans = last - first + 1
    which = np.repeat(np.arange(len(edges)), spans)
    steps = np.arange(spans.sum()) - np.repeat(np.cumsum(spans) - spans, spans)
    bands = first[which] + steps
    order = np.argsort(bands, kind="stable")
    start = np.concatenate([[0], np.cumsum(np.bincount(bands, minlength=count))]).astype(np.int64)
    return start, which[order].astype(np.int64), np.array([south, band])
