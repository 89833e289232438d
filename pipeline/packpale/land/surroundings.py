"""How far each cell is from things on the map, and how much of them lies near."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from packpale.site import Array, Grid, Mask

BLOCK = 16
"""Cells along the side of a block that shares its candidates; only speed depends on it."""


def distance_to(features: Sequence[BaseGeometry], grid: Grid) -> Array:
    """Distance from each cell's centre to the nearest of ``features`` [m]; 0 within polygons, infinite without any."""
    from packpale.land import _kernels_distance

    segments = _segments(features)
    distance = np.full(grid.shape, np.inf)
    if len(segments):
        work = np.empty(len(segments), np.int64), np.empty(len(segments))
        _kernels_distance.nearest_segment(*grid.centres(), segments, BLOCK, *work, distance)
        distance[cells_within(features, grid)] = 0.0
    return distance


def cells_within(features: Sequence[BaseGeometry], grid: Grid) -> Mask:
    """Cells whose centre lies in a polygon among ``features``; points and lines hold no cell."""
    from packpale.land import _kernels_cells

    within = np.zeros(grid.shape, np.bool_)
    polygons = [part for part in _parts(features) if part.geom_type == "Polygon" and part.area > 0]
    if polygons:
        rings, polygon = shapely.get_rings(polygons, return_index=True)
        xy, ring = shapely.get_coordinates(rings, return_index=True)
        west, _, _, north = grid.bounds
        at = np.column_stack([(xy[:, 0] - west) / grid.cell - 0.5, (north - xy[:, 1]) / grid.cell - 0.5])
        joined = ring[1:] == ring[:-1]
        edges = np.hstack([at[:-1], at[1:]])[joined]
        first = np.searchsorted(polygon[ring[:-1][joined]], np.arange(len(polygons) + 1))
        change = np.zeros((grid.rows, grid.cols + 1), np.bool_)
        _kernels_cells.mark_within(edges, first, change, within)
    return within


def cells_reached(area: BaseGeometry, grid: Grid) -> Mask:
    """All cells that a polygon touches, and some round it: outside them nothing can overlap it."""
    return with_neighbours(_touched(area, grid))


def with_neighbours(cells: Mask) -> Mask:
    """The cells and their eight neighbours."""
    tall = cells.copy()
    tall[1:] |= cells[:-1]
    tall[:-1] |= cells[1:]
    wide = tall.copy()
    wide[:, 1:] |= tall[:, :-1]
    wide[:, :-1] |= tall[:, 1:]
    return wide


def share_within(cells: Mask, *, reach: float, cell: float) -> Array:
    """Share of the window's cells with centres within ``reach`` [m] that belong to ``cells``, 0 to 1.

    ``cell`` is the cell size [m]. Ground outside the window counts neither way.
    """
    everywhere = np.ones(cells.shape, bool)
    return sums_within(cells, reach=reach, cell=cell) / sums_within(everywhere, reach=reach, cell=cell)


def sums_within(values: Array | Mask, *, reach: float, cell: float) -> Array:
    """Sum of a window's values, none of them NaN, over the cells with centres within ``reach`` [m] of each.

    ``cell`` is the cell size [m]. Ground outside the window adds nothing.
    """
    rows, cols = values.shape
    steps = int(reach / cell)
    # Sums along each row, with room on both sides in which they stay what they are at the window's edge.
    room = min(steps, cols)
    sums = np.zeros((rows, cols + 1 + 2 * room))
    np.cumsum(values, axis=1, out=sums[:, room + 1 : room + 1 + cols])
    sums[:, room + 1 + cols :] = sums[:, room + cols, None]
    total = np.zeros((rows, cols))
    for down in range(-min(steps, rows - 1), min(steps, rows - 1) + 1):
        half = min(int(np.sqrt((reach / cell) ** 2 - down**2)), cols)
        first, last = room - half, room + half + 1
        to = slice(max(-down, 0), rows - max(down, 0))
        of = slice(max(down, 0), rows + min(down, 0))
        total[to] += sums[of, last : last + cols] - sums[of, first : first + cols]
    return total


def _touched(area: BaseGeometry, grid: Grid) -> Mask:
    from rasterio import Affine
    from rasterio.features import rasterize

    polygons = [part for part in _parts([area]) if part.geom_type == "Polygon" and part.area > 0]
    if not polygons:
        return np.zeros(grid.shape, np.bool_)
    burnt: npt.NDArray[np.uint8] = rasterize(
        polygons, out_shape=grid.shape, transform=Affine(*grid.transform), all_touched=True, dtype="uint8"
    )
    return burnt.astype(np.bool_)


def _parts(features: Sequence[BaseGeometry]) -> npt.NDArray[np.object_]:
    """Single geometries, collections opened."""
    parts = shapely.get_parts(np.array(features, dtype=object))
    # A collection may hold a multi-part geometry: open it a second time.
    return np.asarray(shapely.get_parts(parts), dtype=object)


def _segments(features: Sequence[BaseGeometry]) -> Array:
    """Every straight piece of every outline, shape (n, 4): x0, y0, x1, y1; a point is a piece without length."""
    pieces = [np.empty((0, 4))]
    for part in _parts(features):
        rings = [part.exterior, *part.interiors] if part.geom_type == "Polygon" else [part]
        for ring in rings:
            xy = shapely.get_coordinates(ring)
            pieces.append(np.hstack([xy, xy]) if len(xy) == 1 else np.hstack([xy[:-1], xy[1:]]))
    return np.ascontiguousarray(np.vstack(pieces))
