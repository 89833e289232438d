"""Where water crosses the fence line: every flow path that does, what drains to it, and the opening it needs."""

import math
from dataclasses import dataclass

import numpy as np

from packpale.care.hydraulics import (
    LARGEST_RATIONAL_M2,
    intensity_at,
    open_share,
    opening_width,
    rational_flow,
    time_of_concentration_min,
)
from packpale.enclosure.flow_links import links_across
from packpale.enclosure.model import Pack
from packpale.land.drainage import LEAST_SLOPE
from packpale.land.model import Land
from packpale.settings import CrossingSettings, Project
from packpale.site import Site
from packpale.values.notes import Note
from packpale.values.quantity import given


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


def find_crossings(site: Site, land: Land, pack: Pack, settings: CrossingSettings) -> tuple[Crossing, ...]:
    """Crossings of one pack's fence line by flow paths that drain the least area set or more, along the line."""
    import shapely

    cell, direction = site.grid.cell, land.flow_direction
    # A cell that drains into nowhere or is missing has no link, whatever its area.
    carries = land.upstream_area >= settings.min_area_m2
    links = links_across(pack.line, site.grid, direction, carries)
    ring = pack.line.polygon().exterior
    # The polygon's chords are shorter than the line by less than a millimetre in a metre; chainage is the line's.
    chainage = shapely.line_locate_point(ring, shapely.points(links.x, links.y), normalized=True) * pack.line.perimeter
    found = []
    for number, i in enumerate(np.argsort(chainage, kind="stable"), start=1):
        r, c = links.row[i], links.col[i]
        area = float(land.upstream_area[r, c])
        link = cell * (math.sqrt(2) if direction[r, c] % 2 else 1.0)
        length = float(land.path_length[r, c]) + float(links.share[i]) * link
        slope = max(float(land.path_head[r, c] - land.filled[r, c]) / length, LEAST_SLOPE)
        minutes = time_of_concentration_min(length, slope)
        here = float(land.slope[r, c])
        bed = here if math.isnan(here) else max(here, LEAST_SLOPE)
        found.append(
            Crossing(
                pack=pack.number,
                number=number,
                chainage=float(chainage[i]),
                x=float(links.x[i]),
                y=float(links.y[i]),
                inward=bool(links.inward[i]),
                area=area,
                is_lower_bound=bool(land.upstream_is_lower_bound[r, c]),
                path_length=length,
                path_slope=slope,
                concentration_min=minutes,
                bed_slope=bed,
                opening=_opening(area, minutes, bed, settings),
            )
        )
    return tuple(found)


def shortest_min(settings: CrossingSettings) -> float:
    """Shortest duration for which an intensity is given; 0 where one holds for all or none is given. [min]"""
    return settings.rain_mm_per_h[0][0] if isinstance(settings.rain_mm_per_h, tuple) else 0.0


def crossing_notes(found: tuple[Crossing, ...], project: Project) -> list[Note]:
    """What a reader must know of the crossings of all packs of a plot."""
    if not found:
        return []
    settings, all_of_them = project.crossings, len(found)
    fed = sum(c.is_lower_bound for c in found)
    notes = [
        Note(
            "water crosses",
            f"water from {{area}} or more crosses the fence at {{places}} {'place' if len(found) == 1 else 'places'}"
            f"{' or more' if fed else ''}",
            "They are weak points of fence and apron. Structure and flood design by licensed people, with the consent "
            "of the authority.",
            {"area": given(settings.min_area_m2, "area"), "places": all_of_them},
            size=all_of_them,
        )
    ]
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
