"""Section and profile as they stand on a plot's page of the report: small, with few words, and those large enough.

The A4 sheets carry every dimension and are drawn to a round scale; shrunk to half a page nobody could read them.
"""

import dataclasses
from collections.abc import Sequence

import numpy as np

from packpale.review.drawings import pens
from packpale.review.drawings.below_ground import ROCK, WATER
from packpale.review.drawings.profile_sheet import EARTH, MOST_EXAGGERATED, ProfileLine, profile_lines
from packpale.review.drawings.section_sheet import SectionShape, draw_earth, draw_fence, draw_trench, section_shape
from packpale.review.drawings.sheet import Box, Sheet, Title, View
from packpale.review.lettering import text_width
from packpale.review.model import PlotResult
from packpale.review.words import Wording
from packpale.settings import Project

SIZE = (84.0, 58.0)
"""Width and height on paper. [mm]"""
LETTERS = 8.0
"""Size of every text on paper. [points]"""
LINE_MM = 4.3
"""From one line of text to the next."""
SECTION_MM = 40.0
"""Width of the drawn part of the section; the words stand to its right."""
LEFT_MM = 11.0
"""Least width inside of the fence line, for the word that says which side it is."""
POINTS = 400
"""Stations at which a line is drawn: five in a millimetre."""
BELOW = 0.25
"""Part of the profile's height below the trench, where rock and water come into sight."""


def small_section(result: PlotResult, project: Project, wording: Wording, title: Title) -> Sheet:
    """Trench, buried mesh and fence on level ground, with the dimensions that keep the animals in."""
    whole = section_shape(result, project)
    left, right = whole.section.edges
    # Neither the strip kept free nor the heap: they take ten times the room of the rest.
    shape = dataclasses.replace(whole, strip=(min(left, whole.tip[0]) - 0.3, right + 0.3), heap=(right, right, 0.0))
    west, east = shape.reach
    tall = shape.tip[1] + shape.section.depth
    margin = 6.0
    scale = 1000 * max((east - west) / SECTION_MM, tall / (SIZE[1] - 2 * margin))
    west = min(west, -LEFT_MM * scale / 1000)
    shape = dataclasses.replace(shape, strip=(west, max(east, LEFT_MM * scale / 1000)))
    view = View((1.0, margin), (west, -shape.section.depth), scale, scale)
    show, trench, fence = wording.dimension, project.trench, project.fence
    sheet = Sheet(
        title,
        f"Fence {show(fence.height_m)} high, skirt {show(trench.depth_m)} deep, apron {show(trench.apron_reach_m)} "
        f"wide on the {trench.side}.",
        size=SIZE,
    )
    draw_earth(sheet, view, shape)
    draw_trench(sheet, view, shape)
    draw_fence(sheet, view, shape, project)
    inner, outer = ("inside", "outside") if shape.inward < 0 else ("outside", "inside")
    ends = [view.point(end, 0.0) for end in shape.reach]
    sheet.text(ends[0][0] + 0.5, ends[0][1] + 1.2, inner, size=LETTERS)
    sheet.text(ends[1][0], ends[1][1] + 1.2, outer, size=LETTERS, across="right")
    _words(sheet, view, shape, project, wording)
    return sheet


def _words(sheet: Sheet, view: View, shape: SectionShape, project: Project, wording: Wording) -> None:
    """What each part is, right of the drawing, with a line to it."""
    trench, fence, show = project.trench, project.fence, wording.dimension
    section = shape.section
    parts = [(0.0, 0.6 * fence.height_m, f"fence {show(fence.height_m)} high", pens.INK)]
    if fence.overhang_m > 0:
        words = f"overhang {show(fence.overhang_m)} at {fence.overhang_deg:g}°"
        parts.insert(0, (shape.tip[0] / 2, (fence.height_m + shape.tip[1]) / 2, words, pens.INK))
    if section.apron_reach > 0:
        reach, cover = section.apron_reach, section.apron_cover
        parts.append((0.8 * reach, -0.5 * cover, f"{show(trench.apron_cover_m)} of soil", pens.INK))
        parts.append((reach, -cover, f"apron {show(trench.apron_reach_m)} wide", pens.RED))
    parts.append((0.0, -0.9 * section.depth, f"skirt {show(trench.depth_m)} deep", pens.RED))
    x = view.point(shape.reach[1], 0.0)[0] + 3.5
    wanted = [view.point(0.0, height)[1] for _, height, _, _ in parts]
    for (offset, height, words, colour), y in zip(parts, _apart(wanted), strict=True):
        start = view.point(offset, height)
        sheet.line([start[0], x - 2.2, x - 0.6], [start[1], start[1], y], width=pens.HAIR, colour=pens.SOFT)
        sheet.text(x, y, words, size=LETTERS, colour=colour, up="center", most=SIZE[0] - x)


def _apart(heights: Sequence[float]) -> list[float]:
    """Descending heights moved as little as needed to stand a line apart, within the picture. [mm]"""
    placed = list(heights)
    placed[0] = min(placed[0], SIZE[1] - 2.5)
    for k in range(1, len(placed)):
        placed[k] = min(placed[k], placed[k - 1] - LINE_MM)
    placed[-1] = max(placed[-1], 2.5)
    for k in range(len(placed) - 2, -1, -1):
        placed[k] = max(placed[k], placed[k + 1] + LINE_MM)
    return placed


def small_profile(result: PlotResult, _project: Project, wording: Wording, title: Title) -> Sheet:
    """Ground, bottom of the trench, rock and water along every fence line, one below the other.

    Raises ValueError if the plot has no trenches.
    """
    lines = [_thinned(line) for line in profile_lines(result)]
    name = wording.unit("length").name
    # The number alone: the unit is said once, below.
    levels = [[wording.length(v).removesuffix(f" {name}") for v in _range(line)] for line in lines]
    left = max(text_width(text, LETTERS) for pair in levels for text in pair) + 2.0
    top, bottom, gap = SIZE[1] - LINE_MM - 1.0, 2 * LINE_MM + 0.5, 1.5
    high = (top - bottom - gap * (len(lines) - 1)) / len(lines)
    head = LINE_MM if len(lines) > 1 else 0.5
    longest = max(float(line.chainage[-1]) for line in lines)
    scale = longest * 1000 / (SIZE[0] - left - 1.0)
    relief = max(above - below for below, above in map(_range, lines))
    drawn = (high - head) * (1 - BELOW)
    scale_up = max(relief * 1000 / drawn, scale / MOST_EXAGGERATED)
    times = scale / scale_up
    sheet = Sheet(title, f"Heights are drawn {times:.2g} times larger than lengths.", size=SIZE)
    _legend(sheet)
    for k, (line, (lowest, highest)) in enumerate(zip(lines, levels, strict=True)):
        base = top - (k + 1) * high - k * gap
        below, above = _range(line)
        zero = below - (high - head - (above - below) * 1000 / scale_up) * scale_up / 1000
        view = View((left, base), (0.0, zero), scale, scale_up)
        east = view.point(float(line.chainage[-1]), 0.0)[0]
        _draw(sheet, line, view, (left, base, east, base + high))
        for level, text in ((above, highest), (below, lowest)):
            y = view.point(0.0, level)[1]
            sheet.line([left - 1.0, left], [y, y])
            sheet.text(left - 1.4, y, text, size=LETTERS, across="right", up="center")
        if len(lines) > 1:
            sheet.text(left + 1.0, base + high - 3.2, f"Pack {line.pack.number}", size=LETTERS)
    for share, across in ((0.0, "left"), (0.5, "center"), (1.0, "right")):
        x = left + share * (SIZE[0] - left - 1.0)
        sheet.line([x, x], [bottom - 0.8, bottom])
        text = wording.length(share * longest).removesuffix(f" {name}")
        sheet.text(x, LINE_MM + 1.0, text, size=LETTERS, across=across)
    sheet.text(
        SIZE[0] / 2,
        1.0,
        f"Chainage and levels in {name}; heights {times:.2g} times enlarged.",
        size=LETTERS,
        across="center",
        most=SIZE[0] - 1.0,
    )
    return sheet


def _thinned(line: ProfileLine) -> ProfileLine:
    """The line at as many stations as the picture can show, its ends among them."""
    few = np.unique(np.linspace(0, line.chainage.size - 1, POINTS).round().astype(int))
    values = {name: getattr(line, name)[few] for name in ("chainage", "ground", "invert", "rock", "water")}
    return dataclasses.replace(line, **values)


def _range(line: ProfileLine) -> tuple[float, float]:
    """Lowest bottom of the trench and highest ground. [m]"""
    return float(line.invert.min()), float(line.ground.max())


def _draw(sheet: Sheet, line: ProfileLine, view: View, box: Box) -> None:
    x, upper = view.at(line.chainage, line.ground)
    lower = view.at(line.chainage, line.invert)[1]
    sheet.line([box[0], box[0], box[2]], [box[3], box[1], box[1]], colour=pens.SOFT)
    sheet.fill(np.concatenate([x, x[::-1]]), np.concatenate([upper, lower[::-1]]), colour=EARTH)
    for values, kind in ((line.rock, ROCK), (line.water, WATER)):
        kind.draw(sheet, x, view.at(line.chainage, values)[1], box)
    sheet.line(x, upper, width=0.5, colour=pens.GRASS)
    sheet.line(x, lower, width=0.25)
    for gate in line.pack.gates.chainage:
        at, foot = view.point(float(gate), float(np.interp(gate, line.chainage, line.ground)))
        sheet.line([at, at], [foot - 1.0, foot + 2.5], width=0.6, colour=pens.RED)


def _legend(sheet: Sheet) -> None:
    """What each line is, spread over the width."""
    entries = (
        ("ground", pens.GRASS, ()),
        ("bottom", pens.INK, ()),
        *((kind.name, kind.colour, kind.dash) for kind in (ROCK, WATER)),
        ("gate", pens.RED, ()),
    )
    mark, gap, y = 5.0, 1.2, SIZE[1] - 3.6
    widths = [mark + gap + text_width(text, LETTERS) for text, _, _ in entries]
    spare = (SIZE[0] - 2.0 - sum(widths)) / (len(entries) - 1)
    starts = np.cumsum([1.0, *(wide + spare for wide in widths[:-1])])
    for (text, colour, dash), x in zip(entries, starts.tolist(), strict=True):
        sheet.line([x, x + mark], [y + 1.0, y + 1.0], width=0.5, colour=colour, dash=dash)
        sheet.text(x + mark + gap, y, text, size=LETTERS)
