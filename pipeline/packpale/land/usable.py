"""The land that may carry the fence: the plot without everything that rules ground out, and why it is ruled out."""

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, box
from shapely.geometry.base import BaseGeometry

from packpale.land.model import Limit
from packpale.land.surroundings import cells_reached
from packpale.settings import LandSettings
from packpale.site import Array, Grid, Mask, Site

ARC_SEGMENTS = 16
"""Straight pieces to a quarter circle of a buffer."""


def usable_land(
    site: Site, land: LandSettings, keep_away: dict[str, float], *, slope: Array, ponding: Array
) -> tuple[MultiPolygon, tuple[Limit, ...]]:
    """Usable land of the plot and all limits that take something away from it.

    ``keep_away`` gives the distance to keep by kind of feature [m]; ``slope`` [m/m] and ``ponding`` [m] are NaN where
    they are not known, and such cells are not usable. Patches smaller than one cell are dropped.
    """
    plot, grid = site.outline, site.grid
    near = cells_reached(plot, grid)
    steepest = math.tan(math.radians(land.max_slope_deg)) if land.max_slope_deg < 90 else np.finfo(float).max
    # A comparison with NaN does not hold.
    cells = {
        f"steeper than {land.max_slope_deg:g} degrees": slope > steepest,
        f"hollows that can stand more than {land.max_ponding_m:g} m deep in water": ponding > land.max_ponding_m,
        f"rock nearer to the surface than {land.min_depth_to_rock_m:g} m": (
            site.soil.depth_to_rock < land.min_depth_to_rock_m
        ),
    }
    taken: dict[str, BaseGeometry] = {}
    if land.setback_m > 0:
        taken[f"plot boundary setback of {land.setback_m:g} m"] = plot.difference(inward(plot, land.setback_m))
    taken |= {name: cell_outlines(held & near, grid) for name, held in cells.items()}
    for kind, distance in keep_away.items():
        name = kind.replace("_", "-")
        words = f"within {distance:g} m of {name}" if distance > 0 else f"inside {name}"
        taken[words] = outward(site.features.get(kind, ()), distance)
    unknown = cell_outlines((np.isnan(slope) | np.isnan(ponding)) & near, grid)
    beyond = plot.difference(box(*grid.bounds))
    taken["ground level missing here or next to here"] = shapely.union(unknown, beyond)

    free: BaseGeometry = plot
    for area in taken.values():
        free = free.difference(area)
    usable = polygons(free, least_area=grid.cell**2)
    limits = []
    for name, area in taken.items():
        within = polygons(plot.intersection(area))
        if not within.is_empty:
            limits.append(Limit(name, within, within.area / plot.area))
    return usable, tuple(limits)


def inward(area: BaseGeometry, distance: float) -> BaseGeometry:
    """The part of an area at least ``distance`` from its boundary, holes included. [m]"""
    return area.difference(outward([area.boundary], distance))


def outward(features: Sequence[BaseGeometry], distance: float) -> BaseGeometry:
    """All points within ``distance`` of any feature, and a little more where arcs are drawn straight. [m]"""
    parts = shapely.get_parts(shapely.get_parts(list(features)))
    dimension = shapely.get_dimensions(parts)
    points, areas = parts[dimension == 0], parts[dimension == 2]
    lines = shapely.get_parts([*parts[dimension == 1], *shapely.boundary(areas)])
    xy, line = shapely.get_coordinates(lines, return_index=True)
    edges = shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1)[line[1:] == line[:-1]])
    # Of each edge alone: the library's buffer of a whole line or area can lose or gain a part where its edges cross or
    # nearly do (seen with GEOS 3.14), that of a straight piece cannot.
    around = shapely.buffer(np.concatenate([points, edges]), _widened(distance), quad_segs=ARC_SEGMENTS)
    return shapely.union_all([*areas, *around])


def cell_outlines(cells: Mask, grid: Grid) -> MultiPolygon:
    """The cells as polygons exactly along their edges, with vertices at corners only. [m]"""
    from rasterio import Affine
    from rasterio.features import shapes

    found = shapes(cells.view(np.uint8), mask=cells, connectivity=4, transform=Affine(*grid.transform))
    points, corners, rings_of = [], [], []
    for outline, _ in found:
        rings_of.append(len(outline["coordinates"]))
        for ring in outline["coordinates"]:
            corners.append(len(ring))
            points += ring
    if not points:
        return MultiPolygon()
    # All at once: one by one takes ten times as long.
    rings = shapely.linearrings(points, indices=np.repeat(np.arange(len(corners)), corners))
    shells = np.cumsum([0, *rings_of[:-1]])
    outlines = shapely.polygons(rings[shells])
    for i in np.flatnonzero(np.array(rings_of) > 1):
        outlines[i] = shapely.polygons(rings[shells[i]], holes=rings[shells[i] + 1 : shells[i] + rings_of[i]])
    # Cells joined by a corner alone stay separate polygons, which may touch in points: valid without a union.
    return MultiPolygon(list(outlines))


def polygons(area: BaseGeometry, *, least_area: float = 0.0) -> MultiPolygon:
    """The polygons of a geometry larger than ``least_area`` [m2]; points and lines left by an overlay are dropped."""
    parts = shapely.get_parts(shapely.get_parts(area))
    return MultiPolygon([p for p in parts if p.geom_type == "Polygon" and p.area > least_area])


def _widened(distance: float) -> float:
    """Radius that keeps the chords of a buffer's arcs outside the distance itself. [m]

    GEOS rounds the number of chords to an arc, so that one chord may span one and a half times the nominal angle.
    """
    return distance / math.cos(1.5 * math.pi / (4 * ARC_SEGMENTS))
