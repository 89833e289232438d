"""The long profile along each fence line: ground, bottom of the trench, rock and water, on an A4 sheet."""

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from packpale.enclosure.model import Pack
from packpale.review.drawings import pens
from packpale.review.drawings.below_ground import ROCK, WATER, BelowGround
from packpale.review.drawings.marks import WORDS, Mark, marks
from packpale.review.drawings.sheet import FIELD, Sheet, Title, View, fitting_scale, scale_text
from packpale.review.lettering import text_width
from packpale.review.model import PlotResult
from packpale.review.words import Wording, begun
from packpale.review.words.quantities import ROUND, Unit
from packpale.settings import Project
from packpale.site import Array

HEAD_MM, RIGHT_MM = 29.0, 9.0
"""Paper left of the profile, for levels and the heads of the rows, and right of it."""
TOP_MM, GAP_MM = 13.0, 4.0
"""Paper above the strips, for the legend; and between two of them."""
ROW_MM = 3.6
LANE_MM, BAND_TOP_MM, MOST_LANES = 2.7, 0.9, 3
"""Height of one lane of the band of marks below the axis, what lies free above, and most lanes."""
ROWS = ("Chainage", "Ground level", "Trench bottom", "Depth of trench", "Arc, radius")
END_MM = 4.5
"""A figure nearer to an end of the table than this is set inward."""
LABEL_MM = 15.0
"""Least distance between two figures in a row."""
GATE_MM = 9.0
"""Kept free above the ground, for the marks of the gates and the name of the strip."""
BELOW_MM = 8.0
"""Where paper is free: as far below the bottom of the trench rock and the water table are kept in sight."""
MOST_EXAGGERATED = 25.0
"""Heights are drawn at most this many times larger than lengths."""
MANY_STRIPS = 3
"""From so many strips on the band of marks has one lane."""
EARTH = "#e9dfc8"
OVER, OVER_MM = "#5b2a86", 1.4
"""Colour and width of the bar where the line runs over a limit."""


@dataclass(frozen=True)
class ProfileLine:
    """One fence line, opened at its start: the first station comes again at the end. [m]"""

    pack: Pack
    chainage: Array
    ground: Array
    invert: Array
    rock: Array
    """Level of the rock's surface."""
    water: Array
    """Level of the water table."""


@dataclass(frozen=True)
class _Strip:
    """A piece of a fence line between two chainages."""

    line: ProfileLine
    start: float
    end: float

    def levels(self, values: Array) -> Array:
        """The values within the piece, its ends included."""
        inside = (self.line.chainage > self.start) & (self.line.chainage < self.end)
        return np.asarray(
            np.interp(np.array([self.start, *self.line.chainage[inside], self.end]), self.line.chainage, values)
        )

    def has(self, chainage: float) -> bool:
        """Whether a place lies in the piece."""
        return self.start <= chainage < self.end

    @property
    def name(self) -> str:
        """Pack and start, for names of lines."""
        return f"{self.line.pack.number}-{self.start:.0f}"

    @property
    def range(self) -> tuple[float, float]:
        return float(self.levels(self.line.invert).min()), float(self.levels(self.line.ground).max())


def profile_sheet(result: PlotResult, project: Project, wording: Wording, title: Title) -> Sheet:
    """Sheet with one profile for each pack; a single fence line is cut in two where that gives a larger scale.

    Raises ValueError if the plot has no trenches.
    """
    lines = profile_lines(result)
    left, bottom, right, top = FIELD
    room = right - left - HEAD_MM - RIGHT_MM
    strips, scale = _strips(lines, room)
    height = (top - bottom - TOP_MM - GAP_MM * len(strips)) / len(strips)
    most = MOST_LANES if len(strips) < MANY_STRIPS else 1
    placed = [_in_lanes(strip, marks(result, project, strip.line.pack), scale, most) for strip in strips]
    lanes = 1 + max((lane for labels in placed for _, _, lane in labels if lane is not None), default=0)
    drawn = height - len(ROWS) * ROW_MM - _band_mm(lanes) - GATE_MM - 3.0
    relief = max(high - low for low, high in (s.range for s in strips))
    scale_up = max(fitting_scale(relief, drawn), fitting_scale(scale / MOST_EXAGGERATED, 1000.0))
    exaggeration = scale / scale_up
    sheet = Sheet(
        dataclasses.replace(title, scale=f"{scale_text(scale)}, heights {scale_text(scale_up)}"),
        f"Ground and bottom of the trench along the fence line, lengths at {scale_text(scale)}, heights at "
        f"{scale_text(scale_up)}. {_enlarged(exaggeration)} Rock, water table, joints of the "
        "arcs, gates, crossings of water and services, trees and the weakest places are marked.",
    )
    _legend(sheet, exaggeration, wording)
    for k, (strip, labels) in enumerate(zip(strips, placed, strict=True)):
        base = top - TOP_MM - (k + 1) * height - k * GAP_MM
        corner, scales = (left + HEAD_MM, base), (scale, scale_up)
        view = _draw(sheet, strip, corner, scales=scales, drawn=drawn, wording=wording, lanes=lanes)
        _name(sheet, strip, view, wording, several=len(lines) > 1)
        _band(sheet, strip, view, labels)
    return sheet


def _enlarged(times: float) -> str:
    if math.isclose(times, 1.0):
        return "Heights and lengths at one scale."
    return f"Heights drawn {times:.3g} times larger than lengths."


def profile_lines(result: PlotResult) -> list[ProfileLine]:
    works = result.earthworks
    if works is None or not works.profiles:
        raise ValueError(f"plot {result.site.plot_id!r} has no trench to draw")
    lines = []
    for pack, profile in zip(result.enclosure.packs, works.profiles, strict=True):
        along = pack.alignment
        levels = (along.ground - depth for depth in (profile.depth, profile.rock_depth, profile.water_depth))
        closed = [np.append(v, v[0]) for v in (along.ground, *levels)]
        chainage = np.append(along.chainage, along.step * along.chainage.size)
        lines.append(ProfileLine(pack, chainage, *closed))
    return lines


def _strips(lines: Sequence[ProfileLine], room: float) -> tuple[list[_Strip], float]:
    """Pieces to draw, and the scale along."""
    longest = max(float(line.chainage[-1]) for line in lines)
    scale = fitting_scale(longest, room)
    if len(lines) == 1 and fitting_scale(longest / 2, room) < scale:
        (line,) = lines
        scale = fitting_scale(longest / 2, room)
        # Cut at a round chainage if both pieces still fit.
        step = _label_step(scale, 1.0)
        cut = np.ceil(longest / 2 / step) * step
        cut = cut if cut * 1000 / scale <= room else longest / 2
        return [_Strip(line, 0.0, float(cut)), _Strip(line, float(cut), longest)], scale
    return [_Strip(line, 0.0, float(line.chainage[-1])) for line in lines], scale


def _label_step(scale: float, unit_m: float) -> float:
    """Round distance between two figures in a row, in the unit shown."""
    return next(s for s in ROUND if s * unit_m * 1000 / scale >= LABEL_MM)


def _legend(sheet: Sheet, exaggeration: float, wording: Wording) -> None:
    left, _, right, top = FIELD
    y, x = top - 6.0, left + 4.0
    entries: tuple[tuple[str, dict[str, Any] | BelowGround], ...] = (
        ("ground", {"width": pens.THICK, "colour": pens.GRASS}),
        ("bottom of the trench", {"width": pens.MEDIUM}),
        ("rock (a guess between pits)", ROCK),
        ("highest water table", WATER),
        ("gate", {"width": pens.MEDIUM, "colour": pens.RED}),
        ("over a limit", {"width": OVER_MM, "colour": OVER}),
    )
    for text, style in entries:
        if isinstance(style, BelowGround):
            style.sample(sheet, x, y, 9)
        else:
            sheet.line([x, x + 9], [y + 0.9, y + 0.9], **style)
        sheet.text(x + 10.5, y, text, size=pens.SMALL)
        x += 10.5 + text_width(text, pens.SMALL) + 6
    sheet.text(
        right - 4,
        y,
        _enlarged(exaggeration),
        size=pens.SMALL,
        bold=True,
        across="right",
    )
    x = left + 4.0
    for letter, text in WORDS.items():
        sheet.text(x, y - 4, letter, size=pens.TINY, bold=True)
        x += text_width(letter, pens.TINY, bold=True) + 0.8
        sheet.text(x, y - 4, text, size=pens.TINY)
        x += text_width(text, pens.TINY) + 4
    sheet.text(
        right - 4,
        y - 4,
        f"Chainage and levels in {wording.unit('length').name}; chainage from the start, clockwise.",
        size=pens.TINY,
        colour=pens.SOFT,
        across="right",
    )


def _draw(
    sheet: Sheet,
    strip: _Strip,
    corner: tuple[float, float],
    *,
    scales: tuple[float, float],
    drawn: float,
    wording: Wording,
    lanes: int,
) -> View:
    """One strip, its rows of figures at the bottom; ``corner`` is the lower left end of the rows."""
    scale, scale_up = scales
    unit = wording.unit("length").size
    x0, base = corner[0], corner[1] + len(ROWS) * ROW_MM + _band_mm(lanes)
    low, high = strip.range
    step = next(s for s in ROUND if s * unit * 1000 / scale_up >= 5.0) * unit
    # Rock and water just below the trench stay in sight where there is paper for it; then a round level, below that.
    free = high - drawn * scale_up / 1000
    layers = np.concatenate([strip.levels(strip.line.rock), strip.levels(strip.line.water)])
    low = min(low, max(float(layers.min()), low - BELOW_MM * scale_up / 1000, free))
    datum = np.floor((low - 1.5 * scale_up / 1000) / step) * step
    if (high - datum) * 1000 / scale_up > drawn + 3:
        datum = low - 1.0 * scale_up / 1000
    view = View((x0, base), (strip.start, float(datum)), scale, scale_up)
    east = view.point(strip.end, 0)[0]
    top = view.point(0, high)[1]
    _levels(sheet, view, east=east, top=top, step=step, unit=unit)
    _curves(sheet, strip, view, (x0, base, east, top + 1))
    _over_limits(sheet, strip, view)
    _rows(sheet, strip, view, wording, east=east, below=_band_mm(lanes))
    return view


def _levels(sheet: Sheet, view: View, *, east: float, top: float, step: float, unit: float) -> None:
    """Level lines with their figures at the left."""
    x0, base = view.origin
    level = np.ceil(view.zero[1] / step - 1e-9) * step
    digits = max(0, -int(np.floor(np.log10(step / unit) + 1e-9)))
    while (y := view.point(0, level)[1]) <= top + 0.01:
        sheet.line([x0 - 1.5, east], [y, y], width=0.1, colour="#b9b5a8")
        sheet.text(x0 - 2.2, y, f"{level / unit:,.{digits}f}", size=pens.SMALL, across="right", up="center")
        level += step
    sheet.line([x0, x0], [base, top + 1], width=pens.THIN)


def _curves(sheet: Sheet, strip: _Strip, view: View, box: tuple[float, float, float, float]) -> None:
    line = strip.line
    chainage = strip.levels(line.chainage)
    ground, invert = strip.levels(line.ground), strip.levels(line.invert)
    x, upper = view.at(chainage, ground)
    lower = view.at(chainage, invert)[1]
    sheet.fill(np.concatenate([x, x[::-1]]), np.concatenate([upper, lower[::-1]]), colour=EARTH)
    for values, kind, up in ((line.rock, ROCK, 0.8), (line.water, WATER, 3.4)):
        y = view.at(chainage, strip.levels(values))[1]
        if not kind.draw(sheet, x, y, box, name=f"{kind.name}-{strip.name}"):
            text = f"{kind.name}: lower than shown"
            sheet.text(box[2] - 1, box[1] + up, text, size=pens.TINY, colour=kind.colour, across="right", paper=True)
    sheet.line(x, upper, width=pens.THICK, colour=pens.GRASS, name=f"ground-{strip.name}")
    sheet.line(x, lower, width=pens.MEDIUM, name=f"bottom-{strip.name}")


def _name(sheet: Sheet, strip: _Strip, view: View, wording: Wording, *, several: bool) -> None:
    """The gates above the ground, and the name of the strip."""
    line, top = strip.line, view.point(0, strip.range[1])[1]
    for k, gate in enumerate(line.pack.gates.chainage):
        if strip.has(float(gate)):
            y = view.point(0, float(np.interp(gate, line.chainage, line.ground)))[1]
            x = view.point(float(gate), 0)[0]
            sheet.line([x, x], [y, top + 1.5], width=pens.MEDIUM, colour=pens.RED, name=f"gate-{k + 1}-{strip.name}")
            places = [(x + aside, top + 2.2) for aside in (0, 12, -12, 24, -24)]
            text = f"gate {k + 1}, {wording.length(float(gate))}"
            sheet.text_where_free(places, text, size=pens.SMALL, colour=pens.RED, across="center")
    name = f"Pack {line.pack.number}, " if several else ""
    text = f"{name}chainage {wording.length(strip.start)} to {wording.length(strip.end)}"
    sheet.text(FIELD[0] + 4, top + 6.0, begun(text), size=pens.SMALL, bold=True)


def _band_mm(lanes: int) -> float:
    """Height of the band of marks, under the bar where the line runs over a limit."""
    return BAND_TOP_MM + lanes * LANE_MM


def _in_lanes(strip: _Strip, found: Sequence[Mark], scale: float, lanes: int) -> list[tuple[Mark, float, int | None]]:
    """Marks in the piece, with the left end of their labels from the axis [mm] and their lane if one is free."""
    end = (strip.end - strip.start) * 1000 / scale
    ends, placed = [-1.0] * lanes, []
    for mark in sorted((m for m in found if strip.has(m.chainage)), key=lambda m: m.chainage):
        wide = text_width(mark.label, pens.TINY, bold=True)
        left = min(max((mark.chainage - strip.start) * 1000 / scale - wide / 2, 0.4), end - wide)
        lane = next((k for k in range(lanes) if ends[k] + 0.8 < left), None)
        if lane is not None:
            ends[lane] = left + wide
        placed.append((mark, left, lane))
    return placed


def _band(sheet: Sheet, strip: _Strip, view: View, found: Sequence[tuple[Mark, float, int | None]]) -> None:
    """Marks below the axis; one that has no room in any lane keeps its stroke alone."""
    x0, base = view.origin
    sheet.text(FIELD[0] + 4, base - BAND_TOP_MM - LANE_MM + 0.8, "Along the line", size=pens.FIGURES)
    for mark, left, lane in found:
        x = view.point(mark.chainage, 0)[0]
        sheet.line([x, x], [base + 1.0, base - 1.0], width=pens.MEDIUM, name=f"mark-{mark.label}-{strip.name}")
        if lane is not None:
            y = base - BAND_TOP_MM - (lane + 1) * LANE_MM + 0.8
            sheet.text(x0 + left, y, mark.label, size=pens.TINY, bold=True)


def _over_limits(sheet: Sheet, strip: _Strip, view: View) -> None:
    """A bar on the axis where the line runs over a limit."""
    pack, base = strip.line.pack, view.origin[1]
    for over in pack.over_limits:
        for start, end in over.within(strip.start, strip.end, pack.line.perimeter):
            a, b = view.point(start, 0)[0], view.point(end, 0)[0]
            sheet.line([a, b], [base, base], width=OVER_MM, colour=OVER, name=f"over-{over.kind}-{start:.1f}")


def _rows(sheet: Sheet, strip: _Strip, view: View, wording: Wording, *, east: float, below: float) -> None:
    """Rows of figures below the profile: chainage, ground, bottom, depth, and the arc between its joints."""
    line, (x0, axis), unit = strip.line, view.origin, wording.unit("length").size
    base = axis - below
    heads = ROWS if line.pack.egg else (*ROWS[:-1], "Corners")
    sheet.line([x0, east], [axis, axis], width=pens.THIN)
    for k in range(len(ROWS) + 1):
        # The first line stops at the axis: the lowest level stands there.
        sheet.line([FIELD[0] + 4 if k else x0, east], [base - k * ROW_MM] * 2, width=pens.THIN)
    for k, head in enumerate(heads):
        sheet.text(FIELD[0] + 4, base - (k + 1) * ROW_MM + 1.0, head, size=pens.FIGURES)
    sheet.line([x0, x0], [base, base - len(ROWS) * ROW_MM], width=pens.THIN)
    step = _label_step(view.scale, unit) * unit
    at = np.arange(np.ceil(strip.start / step - 1e-9), np.floor(strip.end / step + 1e-9) + 1) * step + 0.0
    if strip.end - at[-1] > LABEL_MM * view.scale / 1000:
        at = np.append(at, strip.end)
    for chainage in at:
        x = view.point(float(chainage), 0)[0]
        ground, invert = (float(np.interp(chainage, line.chainage, v)) for v in (line.ground, line.invert))
        sheet.line([x, x], [axis, view.point(0, ground)[1]], width=0.1, colour="#b9b5a8")
        sheet.line([x, x], [axis - 0.6, axis + 0.6], width=pens.THIN)
        decimals = 0 if abs(chainage / step - round(chainage / step)) < 1e-9 and step / unit >= 1 else 2
        texts = (
            f"{chainage / unit:,.{decimals}f}",
            f"{ground / unit:.2f}",
            f"{invert / unit:.2f}",
            f"{(ground - invert) / unit:.2f}",
        )
        # At both ends figures stand within the table.
        across = "left" if x - x0 < END_MM else "right" if east - x < END_MM else "center"
        aside = {"left": 0.8, "right": -0.8, "center": 0.0}[across]
        for k, text in enumerate(texts):
            sheet.text(x + aside, base - (k + 1) * ROW_MM + 1.0, text, size=pens.FIGURES, across=across)
    _arcs(sheet, strip, view, base - 4 * ROW_MM, wording.unit("length"))


def _arcs(sheet: Sheet, strip: _Strip, view: View, y: float, unit: Unit) -> None:
    pack = strip.line.pack
    for bend in [] if pack.egg else pack.line.bends.tolist():
        if strip.start < bend < strip.end:
            a = view.point(bend, 0)[0]
            sheet.line([a, a], [y, y - ROW_MM], width=pens.MEDIUM)
    for arc in pack.line.arcs() if pack.egg else ():
        start, end = max(arc.chainage, strip.start), min(arc.chainage + arc.length, strip.end)
        if end <= start:
            continue
        a, b = view.point(start, 0)[0], view.point(end, 0)[0]
        if arc.chainage > strip.start:
            sheet.line([a, a], [y, y - ROW_MM], width=pens.MEDIUM)
            ground = view.point(0, float(np.interp(arc.chainage, strip.line.chainage, strip.line.ground)))[1]
            sheet.line([a, a], [view.origin[1], ground], width=pens.HAIR, colour=pens.SOFT, dash=pens.DASHED)
        texts = (f"{arc.name}, R {arc.radius / unit.size:.2f} {unit.name}", arc.name)
        shown = next((text for text in texts if text_width(text, pens.FIGURES) < b - a - 1), "")
        sheet.text((a + b) / 2, y - ROW_MM + 1.0, shown, size=pens.FIGURES, across="center")
