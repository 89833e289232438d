"""How far each cell is from things on the map, and how much of them lies near."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from packpale.site import Array, Cells, Grid, Mask

BLOCK = 16
"""Cells along the side of a block that shares its candidates; only speed depends on it."""
BAND = 64
"""Rows that are worked on at a time, so that what is made on the way is small and quick to get at."""


def distance_to(features: Sequence[BaseGeometry], grid: Grid) -> Array:
    """Distance from each cell's centre to the nearest of ``features`` [m]; 0 within polygons, infinite without any."""
    from packpale.land import _kernels_distance

    segments = _segments(features)
    if not len(segments):
        return np.broadcast_to(np.inf, grid.shape)
    distance = np.empty(grid.shape)
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
    share = sums_within(cells, reach=reach, cell=cell)
    share /= counts_within(cells.shape, reach=reach, cell=cell)
    return share


def sums_within(values: Cells | Mask, *, reach: float, cell: float) -> Array:
    """Sum of a window's values, none of them NaN, over the cells with centres within ``reach`` [m] of each.

    ``cell`` is the cell size [m]. Ground outside the window adds nothing.
    """
    rows, cols = values.shape
    halves = _halves(values.shape, reach / cell)
    steps, room = len(halves) - 1, int(halves[0])
    total = np.zeros((rows, cols))
    for top in range(0, rows, BAND):
        end = min(top + BAND, rows)
        first, last = max(top - steps, 0), min(end + steps, rows)
        # Sums along each row, with room on both sides in which they stay what they are at the window's edge.
        sums = np.zeros((last - first, cols + 1 + 2 * room))
        np.cumsum(values[first:last], axis=1, out=sums[:, room + 1 : room + 1 + cols])
        sums[:, room + 1 + cols :] = sums[:, room + cols, None]
        for down in range(-steps, steps + 1):
            west, east = room - halves[abs(down)], room + halves[abs(down)] + 1
            to = slice(max(top, -down), min(end, rows - down))
            if to.stop > to.start:
                of = sums[to.start + down - first : to.stop + down - first]
                total[to] += of[:, east : east + cols] - of[:, west : west + cols]
    return total


def counts_within(shape: tuple[int, int], *, reach: float, cell: float) -> Array:
    """How many cells of a window have centres within ``reach`` [m] of each."""
    rows, cols = shape
    halves = _halves(shape, reach / cell)
    steps, c = len(halves) - 1, np.arange(cols)
    wide = np.array([np.minimum(c + h, cols - 1) - np.maximum(c - h, 0) + 1 for h in halves], float)
    offsets, r = np.arange(-steps, steps + 1), np.arange(rows)[:, None]
    there = ((r + offsets >= 0) & (r + offsets < rows)).astype(float)
    counts: Array = there @ wide[abs(offsets)]
    return counts


def _halves(shape: tuple[int, int], radius: float) -> npt.NDArray[np.int64]:
    """Cells on either side that a disc of so many cells' ``radius`` holds in each row down from its middle."""
    down = np.arange(min(int(radius), shape[0] - 1) + 1)
    halves: npt.NDArray[np.int64] = np.minimum(np.sqrt(radius**2 - down**2).astype(np.int64), shape[1])
    return halves


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
