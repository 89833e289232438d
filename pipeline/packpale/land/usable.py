"""What limits take from a plot: where the fence line may not run, where no enclosure may lie, and what is left."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, box
from shapely.geometry.base import BaseGeometry

from packpale.land.model import Limit
from packpale.land.slope import slope_of_planes
from packpale.land.surroundings import cells_reached
from packpale.settings import LandSettings
from packpale.site import Cells, Grid, Mask, Site
from packpale.values.notes import Phrase, phrase
from packpale.values.quantity import given

ARC_SEGMENTS = 16
"""Straight pieces to a quarter circle of a buffer."""


@dataclass(frozen=True)
class Parted:
    """A plot parted by its limits."""

    usable: MultiPolygon
    """Without everything that a limit takes. [m]"""
    enclosable: MultiPolygon
    """Without no-go ground. [m]"""
    limits: tuple[Limit, ...]
    """Those that take something away, in the order in which the settings list them."""


def parted(site: Site, land: LandSettings, keep_away: dict[str, float], *, slope: Cells, ponding: Cells) -> Parted:
    """What each limit takes from the plot, and what is left of it.

    ``keep_away`` gives the distance to keep by kind of feature [m]; ``slope`` [m/m] and ``ponding`` [m] are NaN where
    they are not known, and such cells are no-go ground. Patches of what is left smaller than one cell are dropped.
    """
    plot, grid = site.outline, site.grid
    near = cells_reached(plot, grid)
    # Ground by kind of limit, with the limit in words.
    taken: dict[str, tuple[Phrase, BaseGeometry]] = {}
    if land.setback_m > 0:
        setback = plot.difference(inward(plot, land.setback_m))
        taken["setback"] = (
            phrase("plot boundary setback of {distance}", distance=given(land.setback_m, "dimension")),
            setback,
        )
    for kind, (words, held) in cells_over(site, land, slope=slope, ponding=ponding).items():
        taken[kind] = words, cell_outlines(held & near, grid)
    for kind, distance in keep_away.items():
        name = kind.replace("_", "-")
        words = phrase("inside {name}", name=name)
        if distance > 0:
            words = phrase("within {distance} of {name}", distance=given(distance, "length"), name=name)
        taken[kind] = words, outward(site.features.get(kind, ()), distance)
    unknown = cell_outlines((np.isnan(slope) | np.isnan(ponding)) & near, grid)
    beyond = plot.difference(box(*grid.bounds))
    taken["missing"] = phrase("ground level missing here or next to here"), shapely.union(unknown, beyond)

    usable: BaseGeometry = plot
    enclosable: BaseGeometry = plot
    limits = []
    for kind, (words, area) in taken.items():
        soft = kind in land.may_lie_inside
        usable = usable.difference(area)
        enclosable = enclosable if soft else enclosable.difference(area)
        within = polygons(plot.intersection(area))
        if not within.is_empty:
            limits.append(Limit(kind, words, within, within.area / plot.area, soft))
    least = grid.cell**2
    return Parted(polygons(usable, least_area=least), polygons(enclosable, least_area=least), tuple(limits))


def cells_over(site: Site, land: LandSettings, *, slope: Cells, ponding: Cells) -> dict[str, tuple[Phrase, Mask]]:
    """Cells over each limit of the ground itself, by its kind, with the limit in words."""
    # A comparison with NaN does not hold.
    return {
        "slope": (
            phrase("steeper than {angle} degrees", angle=given(land.max_slope_deg, "number")),
            too_steep(site, land, slope),
        ),
        "ponding": (
            phrase(
                "hollows that can stand more than {depth} deep in water", depth=given(land.max_ponding_m, "dimension")
            ),
            ponding > land.max_ponding_m,
        ),
        "rock": (
            phrase("rock nearer to the surface than {depth}", depth=given(land.min_depth_to_rock_m, "dimension")),
            site.soil.depth_to_rock < land.min_depth_to_rock_m,
        ),
    }


def too_steep(site: Site, land: LandSettings, slope: Cells) -> Mask:
    """Cells steeper than the limit under a machine's footprint; ``slope`` is each cell's own [m/m]."""
    steepest = math.tan(math.radians(land.max_slope_deg)) if land.max_slope_deg < 90 else np.finfo(np.float32).max
    under_machine = slope_of_planes(site.elevation, slope, cell=site.grid.cell, footprint=land.footprint_m)
    steep: Mask = under_machine > steepest
    return steep


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

    if not cells.any():
        return MultiPolygon()
    found = shapes(cells.view(np.uint8), mask=cells, connectivity=4, transform=Affine(*grid.transform))
    points, corners, rings_of = [], [], []
    for outline, _ in found:
        rings_of.append(len(outline["coordinates"]))
        for ring in outline["coordinates"]:
            corners.append(len(ring))
            points += ring
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
