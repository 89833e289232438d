"""Sections as they will be cut: at the median ground, the worst rock and water, the steepest bank, over limits."""

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from packpale.earthworks.footing import footing
from packpale.earthworks.model import Profile
from packpale.earthworks.station_section import StationSection, slope_across, station_section
from packpale.enclosure.model import Pack
from packpale.review.drawings import pens
from packpale.review.drawings.below_ground import ROCK, WATER
from packpale.review.drawings.footing_view import CONCRETE, draw_footing, made_ground
from packpale.review.drawings.sheet import (
    FIELD,
    STEPS,
    Box,
    Sheet,
    Styled,
    Title,
    View,
    in_rows,
    scale_for,
    scale_text,
)
from packpale.review.model import PlotResult
from packpale.review.words import Wording
from packpale.settings import Project
from packpale.site import Array

COLUMNS, ROWS = 3, 2
BELOW_M, ABOVE_M = 0.8, 1.2
"""Ground shown below the bottom of the dig, and fence shown above the ground. [m]"""
HEAD_MM, TEXT_MM, FOOT_MM = 10.0, 17.0, 11.5
"""Above all sections; below each, for its figures; and below all, for the scale bar."""
GUESSED = (
    "Rock and water are those of the soil data, a guess between pits. Walls are drawn at one slope in all ground: a "
    "competent person decides how they stand."
)


@dataclass(frozen=True)
class Place:
    """A station of a fence line whose section is drawn."""

    pack: Pack
    profile: Profile
    station: int
    why: str


def places(result: PlotResult) -> list[Place]:
    """Stations worth a section, of all packs together; one that is there for two reasons comes once.

    Raises ValueError if the plot has no trenches.
    """
    works = result.earthworks
    if works is None or not works.profiles:
        raise ValueError(f"plot {result.site.plot_id!r} has no trench to draw")
    pairs = zip(result.enclosure.packs, works.profiles, strict=True)
    of = [(pack, profile, k) for pack, profile in pairs for k in range(pack.alignment.x.size)]
    rock, water = (np.concatenate([getattr(p, name) for p in works.profiles]) for name in ("rock_depth", "water_depth"))
    slope = np.concatenate([slope_across(result.site, pack.alignment) for pack in result.enclosure.packs])
    middling = np.abs(rock - np.median(rock)) + np.abs(water - np.median(water))
    chosen: list[tuple[int, str]] = [
        (int(np.argmin(middling)), "median rock and water"),
        (int(np.argmin(rock)), "shallowest rock"),
        (int(np.argmin(water)), "shallowest water"),
        (int(np.argmax(np.nan_to_num(slope))), "steepest across the line"),
    ]
    over = [(s.length_m, pack, s) for pack in result.enclosure.packs for s in pack.over_limits]
    for kind in dict.fromkeys(s.kind for _, _, s in over):
        _, pack, longest = max((o for o in over if o[2].kind == kind), key=lambda o: o[0])
        middle = (longest.from_m + longest.length_m / 2) % pack.line.perimeter
        first = next(i for i, (p, *_) in enumerate(of) if p is pack)
        chosen.append((first + round(middle / pack.alignment.step) % pack.alignment.x.size, f"over a limit: {kind}"))
    found: dict[int, list[str]] = {}
    for at, why in chosen:
        found.setdefault(at, []).append(why)
    return [Place(*of[at], "; ".join(why)) for at, why in found.items()]


def sections_sheet(result: PlotResult, project: Project, wording: Wording, title: Title) -> Sheet:
    """Sheet with up to six sections at one scale, each with the levels of rock and water at its place."""
    chosen = places(result)[: COLUMNS * ROWS]
    cuts = [station_section(result.site, p.pack, p.profile, p.station, project.trench) for p in chosen]
    left, bottom, right, top = FIELD
    wide = (right - left) / COLUMNS
    high = (top - bottom - HEAD_MM - FOOT_MM) / (ROWS if len(chosen) > COLUMNS else 1)
    size = max((float(np.ptp(c.offset)) for c in cuts if c.known), default=1.0), max(map(_rise, cuts))
    scale = scale_for(size, (wide - 8, high - TEXT_MM), STEPS)
    sheet = Sheet(
        dataclasses.replace(title, scale=scale_text(scale)),
        f"Sections at {scale_text(scale)} across the fence line, with the ground as it falls there, rock and water: "
        + "; ".join(place.why for place in chosen)
        + ".",
    )
    sheet.text(left + 4, top - 6, "Sections along the line, looking the way chainage runs", bold=True, size=pens.SMALL)
    _legend(sheet)
    tall = size[1] * 1000 / scale + 2
    for k, (place, cut) in enumerate(zip(chosen, cuts, strict=True)):
        west, north = left + k % COLUMNS * wide, top - HEAD_MM - k // COLUMNS * high
        box = (west + 2, north - tall, west + wide - 2, north)
        _draw(sheet, place, cut, box, scale=scale, project=project, wording=wording)
    sheet.scale_bar(left + 6, bottom + 4, scale, wording.unit("length"), longest=45)
    said = [(made_ground(footing(project.fence, project.trench.depth_m)), pens.GRAVE), (GUESSED, {"colour": pens.SOFT})]
    sheet.rows(right - 4, bottom + 7.4, said, size=pens.FIGURES, step=3.4, across="right", most=right - left - 70)
    return sheet


def _rise(cut: StationSection) -> float:
    if not cut.known:
        return ABOVE_M + BELOW_M
    return float(np.nanmax(cut.ground) + ABOVE_M - np.nanmin(cut.cut) + BELOW_M)


def _legend(sheet: Sheet) -> None:
    x, y = FIELD[2] - 122, FIELD[3] - 6
    sheet.box(x, y - 0.6, 8, 3, colour=CONCRETE)
    sheet.text(x + 9.5, y, "footing behind", size=pens.SMALL)
    x += 32
    for text, colour, width in (("ground", pens.GRASS, pens.THICK), ("dig", pens.INK, pens.MEDIUM)):
        sheet.line([x, x + 8], [y + 0.9, y + 0.9], width=width, colour=colour)
        sheet.text(x + 9.5, y, text, size=pens.SMALL)
        x += 23
    for kind in (ROCK, WATER):
        kind.sample(sheet, x, y, 8)
        sheet.text(x + 9.5, y, kind.name, size=pens.SMALL)
        x += 23


def _draw(
    sheet: Sheet, place: Place, cut: StationSection, box: Box, *, scale: float, project: Project, wording: Wording
) -> None:
    if not cut.known:
        _figures(sheet, place, cut, box, wording)
        return
    trench = project.trench
    # Seen the way chainage runs, clockwise, the outside lies to the left.
    sign = -1 if trench.side == "outside" else 1
    name = f"{place.pack.number}-{place.station}"
    middle = (cut.offset[0] + cut.offset[-1]) / 2
    base = float(np.nanmin(cut.cut)) - BELOW_M
    view = View(((box[0] + box[2]) / 2, box[1]), (sign * middle, base), scale, scale)

    def at(offset: Array | Sequence[float], level: Array | Sequence[float]) -> tuple[Array, Array]:
        x, y = view.at(sign * np.asarray(offset, float), level)
        # From left to right on paper.
        return (x[::-1], y[::-1]) if sign < 0 else (x, y)

    x, ground = at(cut.offset, cut.ground)
    bottom = at(cut.offset, cut.cut)[1]
    sheet.fill([*x, x[-1], x[0]], [*bottom, box[1], box[1]], colour=pens.EARTH)
    sheet.fill([*x, *x[::-1]], [*ground, *bottom[::-1]], colour=pens.FILL)
    for values, kind in ((cut.rock, ROCK), (cut.water, WATER)):
        kind.draw(sheet, x, at(cut.offset, values)[1], box, name=f"{kind.name}-{name}")
    dug = ground - bottom > 1e-6
    sheet.line(x[dug], bottom[dug], width=pens.MEDIUM, name=f"dig-{name}")
    sheet.line(x, ground, width=pens.THICK, colour=pens.GRASS, name=f"ground-{name}")
    level = float(np.interp(0.0, cut.offset, cut.ground))
    floor = float(np.interp(0.0, cut.offset, cut.cut))
    draw_footing(sheet, view, footing(project.fence, level - floor), level=level, name=f"footing-{name}")
    foot = view.point(0.0, floor)
    on_ground = view.point(0.0, level)
    sheet.line([foot[0]] * 2, [foot[1], on_ground[1]], width=0.8, name=f"skirt-{name}", **pens.MESH)
    sheet.line([foot[0]] * 2, [on_ground[1], view.point(0.0, level + ABOVE_M)[1]], width=0.8)
    over = view.point(0.0, level + ABOVE_M)[1] + 2
    sheet.line([foot[0]] * 2, [box[1], over], width=pens.HAIR, colour=pens.SOFT, dash=pens.CHAIN)
    if trench.apron_reach_m > 0:
        on = np.isfinite(cut.apron)
        sheet.line(*at(cut.offset[on], cut.apron[on]), width=0.8, clip=box, **pens.MESH)
    for end, side, across in ((0, "outside", "left"), (-1, "inside", "right")):
        sheet.text(float(x[end]), float(ground[end]) + 1.2, side, size=pens.FIGURES, colour=pens.SOFT, across=across)
    _figures(sheet, place, cut, box, wording)


def _figures(sheet: Sheet, place: Place, cut: StationSection, box: Box, wording: Wording) -> None:
    """Where and why, in bold, and what is to be known there."""
    wide = box[2] - box[0]
    chainage = wording.dimension(float(place.pack.alignment.chainage[place.station]))
    head = f"Pack {place.pack.number}, {chainage}: {place.why}", {"bold": True}
    rows = in_rows([head, *_said(cut, wording)], pens.FIGURES, wide)
    middle = (box[0] + box[2]) / 2
    sheet.rows(middle, box[1] - 3.6, rows, size=pens.FIGURES, step=2.9, across="center", most=wide)


def _said(cut: StationSection, wording: Wording) -> Iterator[Styled]:
    """What lies how deep, and what to beware of."""
    if not cut.known:
        yield "No section: elevation is missing here.", pens.GRAVE
        return
    show = wording.dimension
    at = {name: float(np.interp(0.0, cut.offset, getattr(cut, name))) for name in ("ground", "cut", "rock", "water")}
    dug = cut.ground - cut.cut > 1e-6
    edge = float(np.nanmax(cut.ground[dug]))
    yield (
        f"rock at {show(at['ground'] - at['rock'])}, water at {show(at['ground'] - at['water'])}, "
        f"skirt {show(at['ground'] - at['cut'])} deep",
        {},
    )
    yield f"from the higher edge to the bottom {show(edge - float(np.nanmin(cut.cut)))}", {}
    if cut.bare_from is not None:
        yield f"The apron comes out of the ground {show(cut.bare_from)} from the fence.", pens.GRAVE
    if cut.cut_short:
        yield "Elevation is missing beyond: the section ends there.", pens.GRAVE
