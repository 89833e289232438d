"""What people see of the enclosures from the viewing points, and what ground stays unseen."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from packpale.care.dens import DenSite
from packpale.care.sights import Sights
from packpale.enclosure.model import Pack
from packpale.land.surroundings import cells_within
from packpale.settings import ViewingSettings
from packpale.site import Array, Mask, Site
from packpale.values.notes import Note, phrase
from packpale.values.quantity import Quantity, given

CHORD_ERROR_M = 0.01
"""Largest distance between a fence line and the polygon whose cells count as inside. [m]"""


@dataclass(frozen=True)
class Viewpoint:
    """One place that people look from."""

    number: int
    """In the order of the input, from 1."""
    x: float
    y: float
    ground: float
    """NaN beyond the elevation model. [m]"""
    pack: int
    """The pack whose fence is nearest."""
    fence_distance: float
    """To that fence; 0 inside. [m]"""
    keeps_off: bool
    """Whether that is at least the stand-off."""
    seen_share: float
    """Of the ground inside all fences, 0 to 1; NaN beyond the elevation model, unless too far away to see anything."""


@dataclass(frozen=True)
class Seen:
    """How much of one pack's ground people see."""

    pack: int
    seen_share: float
    """Of the cells inside the fence, from anywhere, 0 to 1; NaN where that is not known of any point within sight."""
    refuge_share: float
    """The rest: never seen."""
    is_bound: bool = False
    """A viewing point within sight lies beyond the elevation: at least so much is seen, and at most so much never."""


@dataclass(frozen=True)
class Viewing:
    """Views over all enclosures of one plot."""

    viewpoints: tuple[Viewpoint, ...]
    packs: tuple[Seen, ...]
    seen_from: Array
    """Number of viewing points that see each cell inside a fence, NaN elsewhere, in the shape of the grid."""
    notes: tuple[Note, ...] = ()


def viewing(sights: Sights, packs: Sequence[Pack], settings: ViewingSettings) -> Viewing | None:
    """Lines of sight from every viewing point over the ground inside the fences; None where no points are given.

    A cell is seen where something ``target_height_m`` high at its centre is; only bare ground hides, so that the seen
    share is an upper bound and the refuge a lower one.
    """
    site = sights.site
    if "viewpoints" not in site.features or not packs:
        return None
    inside = {pack.number: ground_inside(pack, site) for pack in packs}
    anywhere = np.logical_or.reduce(list(inside.values()))
    count = np.where(anywhere, 0.0, np.nan)
    points, notes = [], []
    for number, place in enumerate(map(_place, site.features["viewpoints"]), 1):
        ground = sights.ground(place.x, place.y)
        seen = seen_cells(sights, place, anywhere, settings)
        count += seen
        distance, pack = min((p.line.polygon(CHORD_ERROR_M).distance(place), p.number) for p in packs)
        beyond = bool(np.isnan(ground)) and distance <= settings.sight_m
        share = np.nan if beyond else seen.sum() / max(anywhere.sum(), 1)
        off = distance >= settings.stand_off_m
        points.append(Viewpoint(number, place.x, place.y, ground, pack, distance, off, float(share)))
        if not off:
            notes.append(
                Note(
                    "viewer too near",
                    "viewing point {number} stands nearer to the fence than the stand-off, {distance} away",
                    "The stand-off is {stand_off}: keep people back with a rail there, or move it.",
                    {
                        "number": number,
                        "distance": Quantity(distance, "dimension"),
                        "stand_off": given(settings.stand_off_m, "dimension"),
                    },
                    (pack,),
                    size=settings.stand_off_m - distance,
                )
            )
        if beyond:
            notes.append(
                Note(
                    "view not known",
                    "viewing point {number} lies beyond the elevation model",
                    "What it sees is not known: more may be seen, and less be refuge, than is shown. Supply files of "
                    "elevation that reach it.",
                    {"number": number},
                )
            )
    found = [_seen(pack, inside[pack.number], count, points, settings) for pack in packs]
    return Viewing(tuple(points), tuple(found), count, (*notes, *_against_limits(found, settings)))


def _seen(pack: Pack, cells: Mask, count: Array, points: Iterable[Viewpoint], settings: ViewingSettings) -> Seen:
    line = pack.line.polygon(CHORD_ERROR_M)
    known = [not np.isnan(p.ground) for p in points if line.distance(Point(p.x, p.y)) <= settings.sight_m]
    if known and not any(known):
        return Seen(pack.number, np.nan, np.nan, is_bound=True)
    share = int((count[cells] > 0).sum()) / int(cells.sum()) if cells.any() else 0.0
    return Seen(pack.number, share, 1.0 - share, is_bound=not all(known))


def _against_limits(packs: Iterable[Seen], settings: ViewingSettings) -> list[Note]:
    said = []
    for pack in packs:
        # Of a bound only what holds all the same.
        if pack.seen_share < settings.least_seen_share and not pack.is_bound:
            said.append(
                Note(
                    "little to see",
                    "the viewing points see {seen} of the ground inside the fence, less than {least}",
                    values={
                        "seen": Quantity(pack.seen_share, "share"),
                        "least": given(settings.least_seen_share, "share"),
                    },
                    packs=(pack.pack,),
                )
            )
        if pack.refuge_share < settings.least_refuge_share:
            said.append(
                Note(
                    "little refuge",
                    "only {refuge} of the ground inside is out of sight of all viewing points, not {least}",
                    "Leave out a viewing point, or plant a screen.",
                    {
                        "refuge": Quantity(pack.refuge_share, "share"),
                        "least": given(settings.least_refuge_share, "share"),
                    },
                    (pack.pack,),
                    size=1 - pack.refuge_share,
                )
            )
    return said


def ground_inside(pack: Pack, site: Site) -> Mask:
    """Cells with their centre inside a pack's fence and a known elevation."""
    return cells_within([pack.line.polygon(CHORD_ERROR_M)], site.grid) & ~np.isnan(site.elevation)


def seen_cells(sights: Sights, place: Point, targets: Mask, settings: ViewingSettings) -> Mask:
    """Target cells that a person at a place sees; none from a place without elevation."""
    eye, over = settings.eye_height_m, settings.target_height_m
    return sights.cells(place.x, place.y, targets, eye=eye, over=over, sight=settings.sight_m)


def in_view(
    sights: Sights, viewing: Viewing, x: float, y: float, *, height: float, settings: ViewingSettings
) -> list[int]:
    """Numbers of the viewing points from which something ``height`` metres high at (x, y) is seen."""
    top = sights.ground(x, y) + height
    return [
        point.number
        for point in viewing.viewpoints
        if not np.isnan(point.ground + top)
        and np.hypot(point.x - x, point.y - y) <= settings.sight_m
        and sights.clear((point.x, point.y, point.ground + settings.eye_height_m), (x, y, top))
    ]


@dataclass(frozen=True)
class Screen:
    """Where on the fence a sheet or planting breaks one line of sight, and how high it has to be."""

    viewpoint: int
    x: float
    y: float
    height: float
    """Above the ground at the fence. [m]"""


def screens(
    sights: Sights, viewing: Viewing, pack: Pack, x: float, y: float, *, height: float, settings: ViewingSettings
) -> list[Screen]:
    """For every viewing point that sees something at (x, y) inside a fence: where its line of sight meets the fence.

    A sheet up to ``height`` there hides that point and all below it from that eye.
    """
    fence = pack.line.polygon(CHORD_ERROR_M).exterior
    top = sights.ground(x, y) + height
    found = []
    for number in in_view(sights, viewing, x, y, height=height, settings=settings):
        point = viewing.viewpoints[number - 1]
        sight = LineString([(point.x, point.y), (x, y)])
        met = shapely.intersection(sight, fence)
        if met.is_empty:
            continue
        # Nearest to what is to be hidden, where the line meets the fence more than once.
        at = shapely.get_parts(met)[np.argmin(shapely.distance(shapely.get_parts(met), Point(x, y)))].centroid
        part = Point(point.x, point.y).distance(at) / sight.length
        eye = point.ground + settings.eye_height_m
        ground = sights.ground(at.x, at.y)
        found.append(Screen(number, at.x, at.y, eye + part * (top - eye) - ground))
    return found


def den_notes(
    sights: Sights, viewing: Viewing, packs: Sequence[Pack], dens: Sequence[DenSite], settings: ViewingSettings
) -> list[Note]:
    """Which den sites people see into, and how high a sheet or planting on the fence hides an animal before them."""
    said = []
    fences = {pack.number: pack for pack in packs}
    for den in dens:
        height = settings.target_height_m
        found = screens(sights, viewing, fences[den.pack], den.x, den.y, height=height, settings=settings)
        if found:
            sheets = tuple(
                phrase("{height} for viewing point {n}", height=Quantity(s.height, "dimension"), n=s.viewpoint)
                for s in found
            )
            said.append(
                Note(
                    "den in view",
                    "den site {number} is in view over bare ground",
                    "A sheet or planting on the fence, across the line of sight, hides an animal there if it "
                    "rises that far above the ground: {sheets}.",
                    {"number": den.rank, "sheets": sheets},
                    (den.pack,),
                    size=len(found),
                )
            )
    return said


def _place(geometry: BaseGeometry) -> Point:
    """Where people stand: the point itself, the middle of a line, a point inside an area."""
    if isinstance(geometry, LineString):
        return geometry.interpolate(0.5, normalized=True)
    return shapely.Point(geometry.representative_point())
