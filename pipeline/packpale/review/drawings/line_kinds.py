"""How each kind of line is drawn on a plan: told apart by dash pattern and letter, also in a grey print."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from packpale.review.drawings import pens
from packpale.review.drawings.sheet import Box, Pair, Sheet, View

EVERY_MM, FIRST_MM = 60.0, 9.0
"""From one letter to the next along a line, and from its start to the first."""


@dataclass(frozen=True)
class LineKind:
    """One kind of line."""

    letter: str
    """Small, so that no stake has it."""
    text: str
    colour: str
    width: float
    dash: tuple[float, ...] = ()
    """In line widths."""


FENCE = LineKind("f", "fence line", pens.RED, pens.THICK)
APRON = LineKind("a", "edge of the apron", "#8a5a12", pens.THIN, (9.0, 5.0))
BOUNDARY = LineKind("b", "plot boundary", pens.INK, pens.MEDIUM, (14.0, 4.0, 3.0, 4.0))
SERVICE = LineKind("s", "service: locate before digging", "#6f2b8e", 0.5, (5.0, 2.0, 1.0, 2.0, 1.0, 2.0))
WATERCOURSE = LineKind("w", "watercourse", "#0b5f8a", 0.5, (8.0, 1.5))
WOODLAND = LineKind("t", "edge of woodland", "#2e6b2e", pens.MEDIUM, (1.0, 2.5))
KINDS = (FENCE, APRON, BOUNDARY, SERVICE, WATERCOURSE, WOODLAND)


def draw_lines(sheet: Sheet, view: View, box: Box, shape: BaseGeometry, kind: LineKind) -> list[Pair]:
    """Lines, or the edges of areas, within a box; returns the places of their letters. [mm]"""
    lines = shape.boundary if "Polygon" in shape.geom_type else shape
    letters = []
    for part in shapely.get_parts(lines):
        if part.geom_type not in ("LineString", "LinearRing"):
            continue
        on_paper = shapely.LineString(np.column_stack(view.at(*np.asarray(part.coords).T[:2])))
        for seen in shapely.get_parts(on_paper.intersection(shapely.box(*box))):
            if seen.geom_type == "LineString" and seen.length > 0:
                points = np.asarray(seen.coords)
                sheet.line(*points.T, width=kind.width, colour=kind.colour, dash=kind.dash)
                at = np.arange(min(FIRST_MM, seen.length / 2), seen.length, EVERY_MM)
                letters += [(p.x, p.y) for p in shapely.line_interpolate_point(seen, at)]
    return letters


def letter_lines(sheet: Sheet, letters: Iterable[tuple[Pair, LineKind]]) -> None:
    """Letters on lines, where no other text stands."""
    style = {"size": pens.TINY, "bold": True, "across": "center", "up": "center"}
    for place, kind in letters:
        sheet.text_where_free([place], kind.letter, colour=kind.colour, **style)
