"""What lies round a fence line on its plan: contours, services, water, wood, trees, crossings and main pegs."""

from typing import Any

import numpy as np

from packpale.enclosure.main_pegs import main_pegs
from packpale.enclosure.model import Pack
from packpale.review.contours import contours
from packpale.review.drawings import pens
from packpale.review.drawings.line_kinds import BOUNDARY, SERVICE, WATERCOURSE, WOODLAND, LineKind, draw_lines
from packpale.review.drawings.marks import marks
from packpale.review.drawings.sheet import Box, Pair, Sheet, View, outward
from packpale.review.model import PlotResult
from packpale.review.subjects.setting_out import pegs_of
from packpale.settings import Project

CONTOUR, LEVEL_MM = "#b9b5a8", 40.0
"""Colour of contour lines, and the length from which one has its level written on it. [mm]"""


def draw_contours(sheet: Sheet, view: View, box: Box, result: PlotResult) -> list[tuple[Pair, str, str]]:
    """Lines of equal ground level; returns places for their levels and
    how each is set, in metres whatever the unit shown.
    """
    levels = []
    for level, points in contours(result.site, view.bounds(box)):
        x, y = view.at(*points.T)
        sheet.line(x, y, width=pens.HAIR, colour=CONTOUR, clip=box)
        far = np.hypot(np.diff(x), np.diff(y)).sum()
        middle = len(x) // 2
        if far > LEVEL_MM and box[0] + 8 < x[middle] < box[2] - 8 and box[1] + 6 < y[middle] < box[3] - 6:
            levels.append(((float(x[middle]), float(y[middle])), f"{level:g}", "center"))
    return levels


def draw_surroundings(sheet: Sheet, view: View, box: Box, result: PlotResult) -> list[tuple[Pair, LineKind]]:
    """Plot boundary, services, watercourses, woodland and what stands on the ground; returns places for letters."""
    site = result.site
    found = [(BOUNDARY, site.outline)]
    for name, kind in (("services", SERVICE), ("watercourses", WATERCOURSE), ("woodland", WOODLAND)):
        found += [(kind, shape) for shape in site.features.get(name, ())]
    letters = [(place, kind) for kind, shape in found for place in draw_lines(sheet, view, box, shape, kind)]
    for thing in site.standing:
        at = thing.geometry.representative_point()
        x, y = view.point(at.x, at.y)
        if box[0] + 1 < x < box[2] - 1 and box[1] + 1 < y < box[3] - 1:
            draw_tree(sheet, x, y)
    return letters


def draw_marks(sheet: Sheet, view: View, result: PlotResult, project: Project, pack: Pack) -> None:
    """Where water and services cross, and the weakest places; gates have their own marks."""
    for mark in marks(result, project, pack):
        if mark.letter == "G":
            continue
        at, out = view.on_line(pack.line, mark.chainage)
        draw_mark(sheet, mark.letter, *at)
        places = [at + far * out for far in (2.6, 4.6, 6.6, 8.6, -4.6, -7.0)]
        sheet.text_where_free(places, mark.label, size=pens.FIGURES, across=outward(out), up="center")


def draw_gate(sheet: Sheet, x: float, y: float) -> None:
    sheet.box(x - 1.1, y - 1.1, 2.2, 2.2, colour=pens.INK)


def draw_cross(sheet: Sheet, x: float, y: float, arm: float, **style: Any) -> None:
    """An upright cross: the centre of an arc, a crossing of the grid."""
    sheet.line([x - arm, x + arm], [y, y], **style)
    sheet.line([x, x], [y - arm, y + arm], **style)


def draw_tree(sheet: Sheet, x: float, y: float) -> None:
    for dx, dy in ((0.9, 0.0), (0.45, 0.78), (0.45, -0.78)):
        sheet.line([x - dx, x + dx], [y - dy, y + dy], colour=WOODLAND.colour, width=0.25)


def draw_mark(sheet: Sheet, letter: str, x: float, y: float) -> None:
    """Sign of a kind of mark: triangle for water, cross for a service, diamond for a weak place."""
    match letter:
        case "W":
            sheet.fill([x - 1.1, x + 1.1, x], [y - 0.8, y - 0.8, y + 1.3], colour=WATERCOURSE.colour)
        case "X":
            for up in (1, -1):
                sheet.line([x - 0.9, x + 0.9], [y - 0.9 * up, y + 0.9 * up], width=0.5, colour=SERVICE.colour)
        case _:
            sheet.fill([x - 0.8, x, x + 0.8, x], [y, y + 1.4, y, y - 1.4], colour=pens.INK)


def draw_main_pegs(sheet: Sheet, view: View, pack: Pack, result: PlotResult, project: Project) -> None:
    """Main pegs as dots on the line, with their numbers outside of it where there is room."""
    found = pegs_of(pack, result, project)
    main = main_pegs(found, pack.line).at
    for peg, at, out in zip(main.tolist(), *view.on_line(pack.line, found.chainage[main]), strict=True):
        sheet.line(*np.array([at + 0.5 * out, at + 1.5 * out]).T, width=pens.MEDIUM)
        along = np.array([-out[1], out[0]])
        places = [at + far * out + aside * along for far in (2.2, 3.8, 5.4, -2.6, -4.2) for aside in (0.0, 2.0, -2.0)]
        sheet.text_where_free(places, f"{peg + 1}", size=pens.TINY, colour=pens.SOFT, across=outward(out), up="center")
