"""Sections as they will be cut: at the median ground, the worst rock and water, the steepest bank, over limits."""

import dataclasses
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from packpale.earthworks.footing import footing
from packpale.earthworks.work_out import trench_section
from packpale.enclosure.model import Pack
from packpale.review.drawings import pens
from packpale.review.drawings.below_ground import ROCK, WATER
from packpale.review.drawings.footing_view import CONCRETE, draw_footing, made_ground
from packpale.review.drawings.sheet import FIELD, STEPS, Box, Sheet, Title, View, fitting_scale, scale_text
from packpale.review.lettering import wrapped
from packpale.review.model import PlotResult
from packpale.review.words import Wording
from packpale.settings import Project
from packpale.site import Array

COLUMNS, ROWS = 3, 2
STEP_M = 0.02
"""Between offsets at which ground and cut are drawn. [m]"""
BESIDE_M, BELOW_M, ABOVE_M = 1.2, 0.8, 1.2
"""Ground shown beside the dig and below its bottom, and fence shown above the ground. [m]"""
HEAD_MM, TEXT_MM, FOOT_MM = 10.0, 17.0, 11.5
"""Above all sections; below each, for its figures; and below all, for the scale bar."""


@dataclass(frozen=True)
class Place:
    """A station of a fence line whose section is drawn."""

    pack: Pack
    station: int
    why: str


@dataclass(frozen=True)
class CutSection:
    """The ground across a fence line and what is cut out of it; arrays over offsets, elevations in metres."""

    offset: Array
    """From the fence line, positive to the apron's side."""
    ground: Array
    cut: Array
    """Bottom and walls of the dig; the ground where nothing is dug."""
    rock: Array
    water: Array
    apron: Array
    """Level of the apron; NaN beside it."""
    cut_short: bool = False
    """Elevation is missing on part of the section: it ends there."""

    @property
    def known(self) -> bool:
        """Whether there is ground at the fence; without it nothing can be drawn."""
        return bool(self.ground.size) and math.isfinite(np.interp(0.0, self.offset, self.ground))

    @property
    def bare_from(self) -> float | None:
        """Distance from the fence line at which the apron comes out of the ground; None where it stays under it. [m]"""
        bare = self.apron > self.ground
        return float(self.offset[bare].min()) if bare.any() else None

    @property
    def area(self) -> float:
        """Between the ground and the cut. [m2]"""
        return float(np.trapezoid(self.ground - self.cut, self.offset))


def places(result: PlotResult) -> list[Place]:
    """Stations worth a section, of all packs together; one that is there for two reasons comes once.

    Raises ValueError if the plot has no trenches.
    """
    works = result.earthworks
    if works is None or not works.profiles:
        raise ValueError(f"plot {result.site.plot_id!r} has no trench to draw")
    of = [(p, k) for p in result.enclosure.packs for k in range(p.alignment.x.size)]
    rock, water = (np.concatenate([getattr(p, name) for p in works.profiles]) for name in ("rock_depth", "water_depth"))
    slope = np.concatenate([_slope_across(pack, result) for pack in result.enclosure.packs])
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
        first = next(i for i, (p, _) in enumerate(of) if p is pack)
        chosen.append((first + round(middle / pack.alignment.step) % pack.alignment.x.size, f"over a limit: {kind}"))
    found: dict[int, list[str]] = {}
    for at, why in chosen:
        found.setdefault(at, []).append(why)
    return [Place(*of[at], "; ".join(why)) for at, why in found.items()]


def _slope_across(pack: Pack, result: PlotResult) -> Array:
    """Ground slope across the line over two metres to either side. [m/m]"""
    line, site = pack.alignment, result.site
    sides = (
        (line.x + s * 2 * line.outward[:, 0] for s in (-1, 1)),
        (line.y + s * 2 * line.outward[:, 1] for s in (-1, 1)),
    )
    levels = [site.grid.bilinear(site.elevation, x, y) for x, y in zip(*sides, strict=True)]
    return np.asarray(np.abs(levels[1] - levels[0]) / 4)


def cut_section(result: PlotResult, project: Project, place: Place) -> CutSection:
    """The section at a station: bottoms and walls as the volumes take them, by ``trench.formation``."""
    trench, site, works = project.trench, result.site, result.earthworks
    if works is None:
        raise ValueError(f"plot {site.plot_id!r} has no trench to draw")
    profile = next(p for p in works.profiles if p.pack == place.pack.number)
    depth = max(float(profile.depth[place.station]), trench.depth_m)
    left, right = trench_section(trench).edges
    more = trench.side_slope * (depth - trench.depth_m)
    # On a bank a level bottom's upper wall runs on until it meets the ground.
    far = 3.0 * trench.side_slope * depth if trench.formation == "level" else 0.0
    offset = np.arange(math.floor((left - more - far - BESIDE_M) / STEP_M), (right + far + BESIDE_M) / STEP_M) * STEP_M
    line, k = place.pack.alignment, place.station
    out = line.outward[k] * (1 if trench.side == "outside" else -1)
    x, y = line.x[k] + offset * out[0], line.y[k] + offset * out[1]
    ground = site.grid.bilinear(site.elevation, x, y)
    half = trench.bottom_width_m / 2
    below = np.fmax(
        _below(offset, -half, half, depth, trench.side_slope),
        _below(offset, 0.0, trench.apron_reach_m, trench.apron_cover_m, trench.side_slope),
    )
    level = trench.formation == "level"
    cut = np.minimum(ground, line.ground[k] - below) if level else ground - np.maximum(below, 0.0)
    rock, water = (ground - site.grid.nearest(v, x, y) for v in (site.soil.depth_to_rock, site.soil.water_table))
    bench = (line.ground[k] if level else ground) - trench.apron_cover_m
    apron = np.where((offset >= 0) & (offset <= trench.apron_reach_m), bench, np.nan)
    shown = _shown(offset, ground - cut)
    keep = _as_far_as_known(shown, offset, ground)
    offset, ground, cut, rock, water, apron = (np.asarray(v[keep]) for v in (offset, ground, cut, rock, water, apron))
    return CutSection(offset, ground, cut, rock, water, apron, cut_short=keep != shown)


def _below(offset: Array, left: float, right: float, depth: float, side_slope: float) -> Array:
    """Depth of a trench below the level it is dug from; its walls run on above that. [m]"""
    if depth <= 0 or right <= left:
        return np.full(offset.shape, -np.inf)
    beyond = np.maximum(np.maximum(left - offset, offset - right), 0.0)
    if side_slope == 0:
        return np.where(beyond > 0, -np.inf, depth)
    return np.asarray(depth - beyond / side_slope)


def _shown(offset: Array, dug: Array) -> slice:
    """The dig and a little ground beside it."""
    # A comparison with NaN does not hold.
    at = offset[dug > 1e-6]
    if not at.size:
        return slice(0, offset.size)
    return slice(
        int(np.searchsorted(offset, at[0] - BESIDE_M)), int(np.searchsorted(offset, at[-1] + BESIDE_M, side="right"))
    )


def _as_far_as_known(shown: slice, offset: Array, ground: Array) -> slice:
    """What is shown, as far to both sides of the fence as the ground is known; nothing if it is not known there."""
    missing = np.flatnonzero(np.isnan(ground))
    fence = int(np.argmin(np.abs(offset)))
    first = missing[missing <= fence].max(initial=-1) + 1
    end = missing[missing >= fence].min(initial=offset.size)
    return slice(max(shown.start, int(first)), min(shown.stop, int(end)))


def sections_sheet(result: PlotResult, project: Project, wording: Wording, title: Title) -> Sheet:
    """Sheet with up to six sections at one scale, each with the levels of rock and water at its place."""
    chosen = places(result)[: COLUMNS * ROWS]
    cuts = [cut_section(result, project, place) for place in chosen]
    left, bottom, right, top = FIELD
    wide = (right - left) / COLUMNS
    high = (top - bottom - HEAD_MM - FOOT_MM) / (ROWS if len(chosen) > COLUMNS else 1)
    scale = max(
        fitting_scale(max((float(np.ptp(c.offset)) for c in cuts if c.known), default=1.0), wide - 8, STEPS),
        fitting_scale(max(map(_rise, cuts)), high - TEXT_MM, STEPS),
    )
    sheet = Sheet(
        dataclasses.replace(title, scale=scale_text(scale)),
        f"Sections at {scale_text(scale)} across the fence line, with the ground as it falls there, rock and water: "
        + "; ".join(place.why for place in chosen)
        + ".",
    )
    sheet.text(left + 4, top - 6, "Sections along the line, looking the way chainage runs", bold=True, size=pens.SMALL)
    _legend(sheet)
    tall = max(map(_rise, cuts)) * 1000 / scale + 2
    for k, (place, cut) in enumerate(zip(chosen, cuts, strict=True)):
        west, north = left + k % COLUMNS * wide, top - HEAD_MM - k // COLUMNS * high
        box = (west + 2, north - tall, west + wide - 2, north)
        _draw(sheet, place, cut, box, scale=scale, project=project, wording=wording)
    sheet.scale_bar(left + 6, bottom + 4, scale, wording.unit("length"), longest=45)
    sheet.text(
        right - 4,
        bottom + 4,
        "Rock and water are those of the soil data, a guess between pits. Walls are drawn at one slope in all ground: "
        "a competent person decides how they stand.",
        size=pens.FIGURES,
        colour=pens.SOFT,
        across="right",
        most=right - left - 70,
    )
    sheet.text(
        right - 4,
        bottom + 7.4,
        made_ground(footing(project.fence, project.trench.depth_m)),
        size=pens.FIGURES,
        bold=True,
        colour=pens.RED,
        across="right",
        most=right - left - 70,
    )
    return sheet


def _rise(cut: CutSection) -> float:
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
    sheet: Sheet, place: Place, cut: CutSection, box: Box, *, scale: float, project: Project, wording: Wording
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


def _figures(sheet: Sheet, place: Place, cut: CutSection, box: Box, wording: Wording) -> None:
    """Where and why, in bold, and what lies how deep there."""
    y, wide = box[1] - 3.6, box[2] - box[0]
    chainage = wording.dimension(float(place.pack.alignment.chainage[place.station]))
    head = wrapped(f"Pack {place.pack.number}, {chainage}: {place.why}", pens.FIGURES, wide * 0.9)
    said = list(_said(cut, wording)) if cut.known else []
    for k, text in enumerate([*head, *said]):
        bold = k < len(head)
        sheet.text((box[0] + box[2]) / 2, y - 2.9 * k, text, size=pens.FIGURES, bold=bold, across="center", most=wide)
    y -= 2.9 * (len(head) + len(said))
    for text in _warned(cut, wording):
        sheet.text(
            (box[0] + box[2]) / 2, y, text, size=pens.FIGURES, bold=True, colour=pens.RED, across="center", most=wide
        )
        y -= 2.9


def _warned(cut: CutSection, wording: Wording) -> Iterator[str]:
    if not cut.known:
        yield "No section: elevation is missing here."
        return
    if cut.bare_from is not None:
        yield f"The apron comes out of the ground {wording.dimension(cut.bare_from)} from the fence."
    if cut.cut_short:
        yield "Elevation is missing beyond: the section ends there."


def _said(cut: CutSection, wording: Wording) -> Iterator[str]:
    show = wording.dimension
    at = {name: float(np.interp(0.0, cut.offset, getattr(cut, name))) for name in ("ground", "cut", "rock", "water")}
    dug = cut.ground - cut.cut > 1e-6
    edge = float(np.nanmax(cut.ground[dug]))
    yield (
        f"rock at {show(at['ground'] - at['rock'])}, water at {show(at['ground'] - at['water'])}, "
        f"skirt {show(at['ground'] - at['cut'])} deep"
    )
    yield f"from the higher edge to the bottom {show(edge - float(np.nanmin(cut.cut)))}"
