"""Where water crosses the fence line: every flow path that does, what drains to it, and the opening it needs."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from packpale.care.hydraulics import (
    LARGEST_RATIONAL_M2,
    intensity_at,
    open_share,
    opening_width,
    rational_flow,
    time_of_concentration_min,
)
from packpale.enclosure.flow_links import COL_STEP, ROW_STEP, Links, links_across
from packpale.enclosure.model import Pack
from packpale.land.drainage import LEAST_SLOPE
from packpale.land.model import Land
from packpale.settings import CrossingSettings, Project
from packpale.site import Array, Mask, Site
from packpale.units import HECTARE_M2
from packpale.values.notes import Note, Value
from packpale.values.quantity import Quantity, given

Kind = Literal["mapped watercourse", "valley line", "sheet flow"]
SIDE_M = 10.0
"""A valley line has higher ground within this on both sides. [m] Assumption."""
RISE_M = 0.2
"""By at least this much. [m] Assumption: less, and water spreads out, or the ground model cannot tell."""
ROUTE_M = 20.0
"""Way of the water, from the line down, along which its fall is looked at. [m]"""
ROUTE_FALL = 0.005
"""Fall of that way below which it is arbitrary where it runs. [m/m] Assumption: 0.1 m in 20 m is what a scanned ground
model tells apart."""
FLAT_TOLD_M = 10.0
"""Fence line on such ground from which that is told. [m]"""


@dataclass(frozen=True)
class Opening:
    """What lets a storm's water through: a rectangle, full to its height, with upright bars."""

    intensity_mm_per_h: float
    flow: float
    """[m3/s]"""
    width: float
    height: float
    bars: int


@dataclass(frozen=True)
class Crossing:
    """One place where a flow path crosses a fence line. Lengths in metres."""

    pack: int
    number: int
    """From 1, along the line."""
    chainage: float
    x: float
    y: float
    inward: bool
    """Water flows into the enclosure here."""
    area: float
    """Horizontal area that drains through here. [m2]"""
    is_lower_bound: bool
    """Water may come in from beyond the elevation, so that area, path and time are at least what they say."""
    path_length: float
    """Of the longest flow path down to here."""
    path_slope: float
    """Its fall over its length, at least LEAST_SLOPE. [m/m]"""
    concentration_min: float
    """[min]"""
    bed_slope: float
    """Of the ground here, at least LEAST_SLOPE; NaN where elevation is missing beside it. [m/m]"""
    opening: Opening | None
    """None where no rainfall is given or the slope of the bed is not known."""
    gathered: bool = True
    """From as much ground as a channel has, or ground rises to both sides; otherwise it runs over an open slope."""
    mapped: bool = False
    """A mapped watercourse crosses here."""
    arbitrary: bool = False
    """The ground is so flat that the water may as well cross elsewhere."""
    paths: int = 1
    """Flow paths that cross within a post spacing of each other and count as this one."""

    @property
    def kind(self) -> Kind:
        if self.mapped:
            return "mapped watercourse"
        return "valley line" if self.gathered else "sheet flow"


def find_crossings(site: Site, land: Land, pack: Pack, project: Project) -> tuple[Crossing, ...]:
    """Crossings of one pack's fence line by flow paths that drain the least area set or more, along the line.

    Flow paths that cross within a post spacing of the next are one crossing. It stands where most drains. Through it
    runs what its largest path drains, or what enters by all of them less what leaves again, whichever is more.
    """
    import shapely

    # A cell that drains into nowhere or is missing has no link, whatever its area.
    carries = land.upstream_area >= project.crossings.min_area_m2
    links = links_across(pack.line, site.grid, land.flow_direction, carries)
    ring = pack.line.polygon().exterior
    # The polygon's chords are shorter than the line by less than a millimetre in a metre; chainage is the line's.
    chainage = shapely.line_locate_point(ring, shapely.points(links.x, links.y), normalized=True) * pack.line.perimeter
    groups = _near(chainage, pack.line.perimeter, project.fence.post_spacing_m)
    found = [_crossing(site, land, links, chainage, members, project=project) for members in groups]
    found.sort(key=lambda c: c.chainage)
    return tuple(replace(c, pack=pack.number, number=n) for n, c in enumerate(found, start=1))


def _near(chainage: Array, perimeter: float, apart: float) -> list[npt.NDArray[np.int64]]:
    """Places along a closed line in groups: each no farther than ``apart`` from the next of its group. [m]"""
    order = np.argsort(chainage, kind="stable")
    if order.size == 0:
        return []
    gaps = np.diff(chainage[order], append=chainage[order[0]] + perimeter)
    ends = np.flatnonzero(gaps > apart)
    if ends.size == 0:
        return [order]
    # From behind a gap on, so that no group runs over the line's start.
    order = np.roll(order, -(ends[0] + 1))
    return np.split(order, np.sort((ends - ends[0] - 1) % order.size + 1)[:-1])


def _crossing(
    site: Site,
    land: Land,
    links: Links,
    chainage: Array,
    members: npt.NDArray[np.int64],
    *,
    project: Project,
) -> Crossing:
    """One crossing made of the ``members`` of all links."""
    channel_area = project.land.channel_area_ha * HECTARE_M2
    row, col = links.row[members], links.col[members]
    areas, inward = land.upstream_area[row, col], links.inward[members]
    largest = int(areas.argmax())
    enters = float(areas[inward].sum() - areas[~inward].sum())
    area = max(float(areas[largest]), abs(enters))
    i, r, c = members[largest], row[largest], col[largest]
    k = int(land.flow_direction[r, c])
    link = site.grid.cell * (math.sqrt(2) if k % 2 else 1.0)
    length = float(land.path_length[r, c]) + float(links.share[i]) * link
    slope = max(float(land.path_head[r, c] - land.filled[r, c]) / length, LEAST_SLOPE)
    minutes = time_of_concentration_min(length, slope)
    here = float(land.slope[r, c])
    bed = here if math.isnan(here) else max(here, LEAST_SLOPE)
    x, y = float(links.x[i]), float(links.y[i])
    return Crossing(
        pack=0,
        number=0,
        chainage=float(chainage[i]),
        x=x,
        y=y,
        inward=bool(links.inward[i]) if members.size == 1 or enters == 0 else enters > 0,
        area=area,
        is_lower_bound=bool(land.upstream_is_lower_bound[row, col].any()),
        path_length=length,
        path_slope=slope,
        concentration_min=minutes,
        bed_slope=bed,
        opening=_opening(area, minutes, bed, project.crossings),
        gathered=area >= channel_area or _in_valley(site, x, y, k),
        arbitrary=bool(_arbitrary(land, row[[largest]], col[[largest]], site.grid.cell)[0]),
        paths=int(members.size),
    )


def _in_valley(site: Site, x: float, y: float, direction: int) -> bool:
    """Whether ground rises on both sides of water that runs in a direction, within SIDE_M and by RISE_M."""
    east, north = float(COL_STEP[direction]), -float(ROW_STEP[direction])
    along = np.linspace(0, max(SIDE_M, 3 * site.grid.cell), 21)
    across = np.array([[1.0], [-1.0]]) * along / math.hypot(east, north)
    ground = site.grid.bilinear(site.elevation, x + north * across, y - east * across)
    rise = ground.max(axis=1) - ground[:, 0]
    return bool((np.isnan(rise) | (rise >= RISE_M)).all())


def _arbitrary(land: Land, row: npt.NDArray[np.int64], col: npt.NDArray[np.int64], cell: float) -> Mask:
    """Whether water from each of these cells falls by less than ROUTE_FALL over the next ROUTE_M of its way."""
    r, c, way = row.copy(), col.copy(), np.zeros(row.size)
    direction = land.flow_direction
    for _ in range(math.ceil(ROUTE_M / cell)):
        k = direction[r, c]
        goes = (k >= 0) & (way < ROUTE_M)
        step = np.where(goes, k, 0)
        r, c = r + np.where(goes, ROW_STEP[step], 0), c + np.where(goes, COL_STEP[step], 0)
        way += np.where(goes, cell * np.where(step % 2, math.sqrt(2), 1.0), 0.0)
    return np.asarray((way > 0) & (land.filled[row, col] - land.filled[r, c] < ROUTE_FALL * way))


def flat_length(site: Site, land: Land, pack: Pack) -> float:
    """Length of a pack's fence line on ground so flat that where water crosses it is arbitrary. [m]"""
    line, grid = pack.alignment, site.grid
    col = np.clip(((line.x - grid.west) / grid.cell).astype(np.int64), 0, grid.cols - 1)
    row = np.clip(((grid.north - line.y) / grid.cell).astype(np.int64), 0, grid.rows - 1)
    return float(line.step * _arbitrary(land, row, col, grid.cell).sum())


def with_streams(found: Sequence[Crossing], mapped: Sequence[tuple[int, int | None]]) -> tuple[Crossing, ...]:
    """The same, those that mapped watercourses have told: ``mapped`` are numbers of pack and crossing."""
    return tuple(replace(c, mapped=(c.pack, c.number) in mapped) for c in found)


def shortest_min(settings: CrossingSettings) -> float:
    """Shortest duration for which an intensity is given; 0 where one holds for all or none is given. [min]"""
    return settings.rain_mm_per_h[0][0] if isinstance(settings.rain_mm_per_h, tuple) else 0.0


def crossing_notes(found: tuple[Crossing, ...], project: Project, *, flat: float = 0.0) -> list[Note]:
    """What a reader must know of the crossings of all packs of a plot.

    ``flat`` is the length of fence line on which it is arbitrary where water crosses. [m]
    """
    notes = _flat_notes(found, flat)
    if not found:
        return notes
    settings, all_of_them = project.crossings, len(found)
    fed = sum(c.is_lower_bound for c in found)
    gathered = [c for c in found if c.kind != "sheet flow"]
    area = given(settings.min_area_m2, "area")
    if gathered:
        streams = sum(c.mapped for c in gathered)
        notes.append(
            Note(
                "water crosses",
                f"streams or valleys that drain {{area}} or more cross the fence at {{places}} "
                f"{'place' if len(gathered) == 1 else 'places'}{' or more' if fed else ''}",
                "Mapped watercourses: {streams}; valley lines: {valleys}. They are weak points of fence and apron. "
                "Structure and flood design by licensed people, with the consent of the authority.",
                {"area": area, "places": len(gathered), "streams": streams, "valleys": len(gathered) - streams},
                size=len(gathered),
            )
        )
    if sheets := all_of_them - len(gathered):
        notes.append(
            Note(
                "sheet flow crosses",
                f"sheet flow from {{area}} or more crosses the fence at {{places}} "
                f"{'place' if sheets == 1 else 'places'}",
                "It comes down an open slope from less than {setting:land.channel_area_ha}: what it carries hangs in "
                "the mesh, and it washes soil off the apron.",
                {"area": area, "places": sheets},
                size=sheets,
            )
        )
    if settings.rain_mm_per_h is None:
        notes.append(
            Note(
                "no design flow",
                "no design flow and no opening were worked out where water crosses the fence",
                "{setting:crossings.rain_mm_per_h} and {setting:crossings.rain_source} are not set. Ask the weather "
                "service for the intensity of a storm of your return period that lasts as long as the time of "
                "concentration.",
            )
        )
    blind = sum(math.isnan(c.bed_slope) for c in found)
    if blind and settings.rain_mm_per_h is not None:
        notes.append(
            Note(
                "slope at crossing",
                "at {few} of the {all} crossings elevation is missing beside the fence line",
                "The slope is not known there and no opening was worked out.",
                {"few": blind, "all": all_of_them},
                size=blind,
            )
        )
    shortest = shortest_min(settings)
    quick = sum(c.concentration_min < shortest for c in found)
    if quick:
        notes.append(
            Note(
                "rain too short",
                "at {few} of the {all} crossings the water comes together in less than {shortest}",
                "That is the shortest duration of {setting:crossings.rain_mm_per_h}, whose intensity was taken. Rain "
                "falls harder over a shorter time, so that flow and opening are too small there; add shorter "
                "durations.",
                {"few": quick, "all": all_of_them, "shortest": given(60 * shortest, "duration")},
                size=quick,
            )
        )
    if fed:
        notes.append(
            Note(
                "catchment beyond the ground",
                "at {few} of the {all} crossings water may come from beyond the elevation",
                "More may arrive there than is shown, and at more places. Supply elevation from farther out to see all "
                "of the catchment.",
                {"few": fed, "all": all_of_them},
                size=fed,
            )
        )
    large = sum(c.area > LARGEST_RATIONAL_M2 for c in found)
    if large and settings.rain_mm_per_h is not None:
        notes.append(
            Note(
                "catchment too large",
                "at {few} of the {all} crossings the catchment is larger than the {area} of the rational method",
                "Have the flow worked out by a hydrologist.",
                {"few": large, "all": all_of_them, "area": given(LARGEST_RATIONAL_M2, "area")},
                size=large,
            )
        )
    return notes


def _flat_notes(found: Sequence[Crossing], flat: float) -> list[Note]:
    arbitrary = sum(c.arbitrary for c in found)
    if not arbitrary and flat < FLAT_TOLD_M:
        return []
    lead = "over {length} of fence line the ground is too flat to tell where water crosses"
    rest = "It falls by less than {fall} in {way}; look at it when it is wet."
    if arbitrary:
        rest = f"The places of {{few}} of the {{all}} crossings are arbitrary. {rest}"
    values: dict[str, Value] = {
        "length": Quantity(flat, "length"),
        "fall": given(ROUTE_FALL * ROUTE_M, "dimension"),
        "way": given(ROUTE_M, "length"),
    }
    if arbitrary:
        values |= {"few": arbitrary, "all": len(found)}
    return [Note("route of water", lead, rest, values, size=flat)]


def _opening(area: float, minutes: float, bed_slope: float, settings: CrossingSettings) -> Opening | None:
    if settings.rain_mm_per_h is None or math.isnan(bed_slope):
        return None
    intensity = intensity_at(settings.rain_mm_per_h, minutes)
    flow = rational_flow(
        coefficient=settings.runoff_coefficient * settings.frequency_factor,
        intensity_mm_per_h=intensity,
        area=area,
    )
    width = opening_width(
        flow,
        height=settings.opening_height_m,
        slope=bed_slope,
        roughness=settings.roughness,
        share=open_share(
            bar_gap=settings.bar_gap_m,
            bar_thickness=settings.bar_thickness_m,
            blocked_share=settings.blocked_share,
        ),
    )
    pitch = settings.bar_gap_m + settings.bar_thickness_m
    return Opening(intensity, flow, width, settings.opening_height_m, math.ceil(width / pitch))
