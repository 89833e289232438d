"""An A4 sheet drawn in millimetres of paper: frame, title block, views to scale, dimensions.

Coordinates are millimetres from the lower left corner of the page, so that a length in the file is the length on
paper. ``paper`` writes sheets out.
"""

import functools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from packpale.enclosure.line import Line as FenceLine
from packpale.review.drawings import pens
from packpale.review.lettering import CAP_HEIGHT, DESCENT, MM_PER_POINT, fitted, printable, text_width, wrapped
from packpale.review.words.quantities import Unit, longest_round
from packpale.site import Array
from packpale.values.cautions import cautions_for

WIDTH_MM, HEIGHT_MM = 297.0, 210.0
"""A4 lying, ISO 216."""
FRAME = (20.0, 10.0, 287.0, 200.0)
"""Left, bottom, right, top of the frame: 20 mm for filing at the left, 10 mm elsewhere, as on sheets by ISO 5457
(from memory)."""
TITLE_MM, CAUTIONS_MM = 18.0, 13.4
"""Height of the title block, along the bottom of the frame, and of the cautions above it. [mm]"""
FIELD = (FRAME[0], FRAME[1] + TITLE_MM + CAUTIONS_MM, FRAME[2], FRAME[3])
"""What is left for the drawing."""
STEPS, RULER = (1.0, 2.0, 5.0), (1.0, 1.25, 2.0, 2.5, 3.0, 4.0, 5.0)
"""Round scales: 1:10, 1:20, 1:50, 1:100 and so on (ISO 5455, from memory); rulers have 1:25 and the like."""

ACROSS = {"left": 0.0, "center": 0.5, "right": 1.0}
UP = {"baseline": 0.0, "center": 0.5, "top": 1.0}
"""Where a text's place lies along it and above its line of writing, as parts of its width and of the capitals."""
CAUTION_ROW_MM = 2.45
"""From one line of a caution to the next."""
NOT_STATED = "not stated"

Numbers = npt.ArrayLike
Pair = tuple[float, float]
Place = Pair | Array
"""On paper, from the lower left corner of the sheet. [mm]"""
Box = tuple[float, float, float, float]
"""Left, bottom, right, top. [mm]"""
Styled = tuple[str, dict[str, Any]]
"""A text, and its style as ``Sheet.text`` takes it."""


@dataclass(frozen=True)
class View:
    """Where model coordinates come to lie on paper.

    ``origin`` is the point on paper of the model's ``zero``; the scales are the numbers after "1:", across and up.
    """

    origin: Pair
    zero: Pair
    scale: float
    scale_up: float

    def at(self, x: Numbers, y: Numbers) -> tuple[Array, Array]:
        """Paper coordinates of model coordinates in metres. [mm]"""
        across = self.origin[0] + (np.asarray(x, float) - self.zero[0]) * 1000 / self.scale
        return across, self.origin[1] + (np.asarray(y, float) - self.zero[1]) * 1000 / self.scale_up

    def point(self, x: float, y: float) -> Pair:
        """The same for one point."""
        across, up = self.at(x, y)
        return float(across), float(up)

    def bounds(self, box: Box) -> Box:
        """West, south, east and north edge of what lies in a box on paper. [m]"""
        corners = np.reshape(box, (2, 2)) - self.origin
        west, south, east, north = (corners * (self.scale / 1000, self.scale_up / 1000) + self.zero).ravel().tolist()
        return west, south, east, north

    def on_line(self, line: FenceLine, chainage: Numbers) -> tuple[Array, Array]:
        """Places on paper at chainages of a fence line, and the way outward there: shape (..., 2) each."""
        at = line.points_at(np.asarray(chainage) % line.perimeter)
        return np.stack(self.at(at.x, at.y), axis=-1), at.outward


@dataclass(frozen=True)
class Title:
    """What the title block of a sheet says."""

    project: str
    plot: str
    drawing: str
    number: int
    sheets: int
    scale: str
    crs: str
    units: str = "Metres unless noted."
    heights: str = NOT_STATED
    """What heights count from."""
    data_date: str = NOT_STATED
    """When the ground was measured."""
    date: str = NOT_STATED
    """Of the settings."""
    revision: str = NOT_STATED

    @property
    def drawing_number(self) -> str:
        return f"{self.plot}-{self.number}"


@dataclass(frozen=True)
class Line:
    """Line through points, shape (points, 2)."""

    points: Array
    width: float
    """[mm]"""
    colour: str
    dash: tuple[float, ...]
    """Lengths drawn and left out in turn. [mm]"""
    name: str
    clip: Box | None


@dataclass(frozen=True)
class Text:
    """One line of text."""

    x: float
    y: float
    """Left end of the line of writing."""
    text: str
    size: float
    """[points]"""
    colour: str
    turn: float
    """Counterclockwise. [deg]"""
    bold: bool
    width: float
    """[mm]"""

    @functools.cached_property
    def corners(self) -> Array:
        """The four corners of the box round its signs, counterclockwise from the lower left. [mm]"""
        high, low = CAP_HEIGHT * self.size * MM_PER_POINT, -DESCENT * self.size * MM_PER_POINT
        c, s = math.cos(math.radians(self.turn)), math.sin(math.radians(self.turn))
        box = np.array([[0, low], [self.width, low], [self.width, high], [0, high]])
        return np.asarray(box @ np.array([[c, s], [-s, c]]) + (self.x, self.y))

    @functools.cached_property
    def bounds(self) -> Box:
        """The upright box round its corners."""
        return _bounds(self.corners)


@dataclass(frozen=True)
class Areas:
    """Filled areas without an edge: outlines, shape (points, 2) each; those within others are holes in them."""

    rings: Sequence[Array]
    colour: str
    opacity: float
    clip: Box | None


@dataclass(frozen=True)
class Picture:
    """A picture that fills a box."""

    box: Box
    png: bytes


Mark = Line | Areas | Picture | Text


class Sheet:
    """One page. Coordinates in millimetres from the lower left corner; widths of lines in millimetres too.

    One of another size than A4 is a picture in a page, without frame and title block.
    """

    def __init__(self, title: Title, description: str, *, size: Pair = (WIDTH_MM, HEIGHT_MM)) -> None:
        self.title, self.description, self.size = title, printable(description), size
        self.marks: list[Mark] = []
        """What is drawn, the lowest first."""
        self.texts: list[Text] = []
        """The texts of it."""
        if size == (WIDTH_MM, HEIGHT_MM):
            self._frame()

    @property
    def name(self) -> str:
        """Drawing and plot, in one line."""
        return printable(f"{self.title.drawing}, plot {self.title.plot}")

    def line(
        self,
        x: Numbers,
        y: Numbers,
        *,
        width: float = pens.THIN,
        colour: str = pens.INK,
        dash: Sequence[float] = (),
        name: str = "",
        clip: Box | None = None,
    ) -> None:
        """Line through points; ``name`` becomes its id in the SVG, ``clip`` is a box it does not leave."""
        points = np.array([x, y], float).T
        self.marks.append(Line(points, width, colour, tuple(width * d for d in dash), name, clip))

    def fill(self, x: Numbers, y: Numbers, *, colour: str, clip: Box | None = None) -> None:
        """Filled outline without an edge."""
        self.areas([np.array([x, y], float).T], colour=colour, clip=clip)

    def areas(self, rings: Sequence[Array], *, colour: str, opacity: float = 1.0, clip: Box | None = None) -> None:
        """Filled outlines, shape (points, 2) each, without edges; those within others are holes in them."""
        self.marks.append(Areas(rings, colour, opacity, clip))

    def picture(self, box: Box, png: bytes) -> None:
        """A PNG, its edges on those of a box."""
        self.marks.append(Picture(box, png))

    def text(self, x: float, y: float, text: str, *, paper: bool = False, **style: Any) -> None:
        """One line of text at a point.

        Style: ``size`` in points; ``colour``; ``across``, which of its left end, center or right is at the point;
        ``up``, which of its baseline, center or top is; ``turn`` counterclockwise in degrees; ``bold``; ``most``, the
        width it may take [mm]: it is set smaller and then cut short. ``paper`` lays it on a piece of blank paper.
        """
        one = self._text(x, y, text, **style)
        if paper:
            self.fill(*one.corners.T, colour=pens.PAPER)
        self._written(one)

    def _written(self, text: Text) -> None:
        self.marks.append(text)
        self.texts.append(text)

    @staticmethod
    def _text(
        x: float,
        y: float,
        text: str,
        *,
        size: float = pens.NORMAL,
        colour: str = pens.INK,
        across: str = "left",
        up: str = "baseline",
        turn: float = 0.0,
        bold: bool = False,
        most: float | None = None,
    ) -> Text:
        shown = printable(text)
        if most is not None:
            size, shown = fitted(shown, size, most, bold=bold)
        width = text_width(shown, size, bold=bold)
        back, down = ACROSS[across] * width, UP[up] * CAP_HEIGHT * size * MM_PER_POINT
        c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        return Text(x - back * c + down * s, y - back * s - down * c, shown, size, colour, turn, bold, width)

    def is_free(self, corners: Array, *, of_lines: bool = False) -> bool:
        """Whether no text, and if asked no line, lies within a box given by its corners."""
        import shapely

        place, around = shapely.Polygon(corners), _bounds(corners)
        if of_lines and any(shapely.LineString(m.points).intersects(place) for m in self.marks if isinstance(m, Line)):
            return False
        # Of hundreds of texts a few lie near; only turned ones leave corners of their upright box free.
        near = [m for m in self.texts if m.text and _meet(m.bounds, around)]
        return not any(shapely.Polygon(m.corners).intersects(place) for m in near)

    def text_where_free(self, places: Iterable[Place], text: str, **style: Any) -> bool:
        """Text, on a piece of blank paper, at the first of the places where it covers no other; none if all are taken.

        ``style`` as in ``text``. Says whether there was a place.
        """
        for x, y in places:
            one = self._text(x, y, text, **style)
            if self.is_free(one.corners):
                self.fill(*one.corners.T, colour=pens.PAPER)
                self._written(one)
                return True
        return False

    def measure(
        self,
        start: Pair,
        end: Pair,
        text: str,
        *,
        shift: float = 0.0,
        beside: bool | None = None,
        paper: bool = False,
        name: str = "",
    ) -> None:
        """Dimension between two points on paper, level or upright, drawn ``shift`` millimetres aside.

        A positive shift goes up for a level dimension and to the right for an upright one. The text stands above the
        line, or to its left turned by a quarter; ``beside`` puts it past the end, which is done by itself where it is
        too wide; ``paper`` lays it on a piece of blank paper.
        """
        level = start[1] == end[1] or abs(end[0] - start[0]) > abs(end[1] - start[1])
        if level:
            y = (max if shift > 0 else min)(start[1], end[1]) + shift
            a, b = (min(start[0], end[0]), y), (max(start[0], end[0]), y)
            feet = [(p, (p[0], y)) for p in (start, end)]
        else:
            x = (max if shift > 0 else min)(start[0], end[0]) + shift
            a, b = (x, min(start[1], end[1])), (x, max(start[1], end[1]))
            feet = [(p, (x, p[1])) for p in (start, end)]
        for (px, py), (qx, qy) in feet:
            length = abs(qx - px) + abs(qy - py)
            if length > 1.5:
                # A little air at the object, a little beyond the line.
                ux, uy = (qx - px) / length, (qy - py) / length
                self.line([px + ux, qx + 1.2 * ux], [py + uy, qy + 1.2 * uy], colour=pens.SOFT, width=pens.HAIR)
        self.line([a[0], b[0]], [a[1], b[1]], name=name)
        for x, y in (a, b):
            self.line([x - 0.8, x + 0.8], [y - 0.8, y + 0.8], width=pens.MEDIUM)
        room = (b[0] - a[0]) if level else (b[1] - a[1])
        if beside is None:
            beside = text_width(printable(text), pens.NORMAL) + 1.5 > room
        if beside:
            self.text(b[0] + 1.6, (a[1] + b[1]) / 2, text, up="center", paper=paper)
        elif level:
            self.text((a[0] + b[0]) / 2, a[1] + 1.3, text, across="center", paper=paper)
        else:
            self.text(a[0] - 0.8, (a[1] + b[1]) / 2, text, across="center", turn=90, paper=paper)

    def arrow(
        self, start: Place, end: Place, *, colour: str = pens.INK, width: float = pens.THIN, head: float = 2.0
    ) -> None:
        """Line with a filled head at its end."""
        self.line([start[0], end[0]], [start[1], end[1]], width=width, colour=colour)
        along = np.subtract(end, start) / max(math.dist(start, end), 1e-9)
        side = np.array([-along[1], along[0]])
        corners = np.array([end, end - head * along + 0.3 * head * side, end - head * along - 0.3 * head * side])
        self.fill(*corners.T, colour=colour)

    def box(self, x: float, y: float, wide: float, high: float, *, colour: str) -> None:
        """Filled rectangle with its lower left corner at a point."""
        self.fill([x, x + wide, x + wide, x], [y, y, y + high, y + high], colour=colour)

    def circle(self, x: float, y: float, radius: float, *, inside: str = pens.PAPER) -> None:
        """Small round mark."""
        angle = np.linspace(0, 2 * np.pi, 33)
        across, up = x + radius * np.cos(angle), y + radius * np.sin(angle)
        self.fill(across, up, colour=inside)
        self.line(across, up, width=pens.MEDIUM)

    def north(self, x: float, y: float, length: float, *, size: float = pens.NORMAL) -> None:
        """Arrow up from a point, with its letter above."""
        self.arrow((x, y), (x, y + length), width=pens.MEDIUM, head=length // 3)
        self.text(x, y + length + 1.2, "N", size=size, bold=True, across="center")

    def scale_bar(
        self, x: float, y: float, scale: float, unit: Unit, *, longest: float, size: float = pens.SMALL
    ) -> None:
        """Bar of four parts, as long as a round length in the unit comes out below ``longest`` millimetres.

        The figure at its middle is left out where it would run into the last one.
        """
        mm = unit.size * 1000 / scale
        length = longest_round(longest / mm)
        part = length * mm / 4
        for k in range(4):
            self.box(x + k * part, y, part, 1.6, colour=pens.INK if k % 2 == 0 else pens.PAPER)
        end = x + 4 * part
        self.line([x, end, end, x, x], [y, y, y + 1.6, y + 1.6, y], name="scale-bar")
        figures = {k: f"{k * length / 4:,g}" for k in (0, 2, 4)}
        if text_width(figures[2] + figures[4], size) / 2 + 1 > 2 * part:
            del figures[2]
        for k, figure in figures.items():
            self.text(x + k * part, y + 2.6, figure, size=size, across="center")
        self.text(end + 1.5, y, unit.name, size=size)

    def _frame(self) -> None:
        left, bottom, right, top = FRAME
        self.line([left, right, right, left, left], [bottom, bottom, top, top, bottom], width=pens.THICK, name="frame")
        line = bottom + TITLE_MM
        self.line([left, right], [line, line], width=pens.MEDIUM)
        half = bottom + TITLE_MM / 2
        stops = (left, *(left + x for x in (64, 106, 144, 192, 226)), right)
        for x in stops[1:-1]:
            self.line([x, x], [bottom, line])
        self.line([left, stops[5]], [half, half])
        title = self.title
        cells = (
            ("Project", title.project, "Plot", title.plot),
            ("Drawing", title.drawing, "Scale on A4", title.scale),
            ("Drawing number", title.drawing_number, "Sheet", f"{title.number} of {title.sheets}"),
            ("Coordinate system", title.crs, "Heights count from", title.heights),
            ("Ground measured", title.data_date, "Date and revision", self._issue()),
        )
        for k, (upper, first, lower, second) in enumerate(cells):
            width = stops[k + 1] - stops[k] - 3
            for y, label, text in ((half, upper, first), (bottom, lower, second)):
                self.text(stops[k] + 1.5, y + TITLE_MM / 2 - 2.9, label, size=pens.TINY, colour=pens.SOFT)
                self.text(stops[k] + 1.5, y + 2.0, text, size=pens.TITLE_SIZE, most=width, bold=k == 0)
        middle, room = (stops[5] + right) / 2, right - stops[5] - 2
        for y, text, size in (
            (13.4, "For review,", pens.TITLE_SIZE),
            (9.4, "not for construction", pens.TITLE_SIZE),
            (5.2, "Print at 100 %, not fitted.", pens.TINY),
            (2.2, title.units, pens.TINY),
        ):
            large = size == pens.TITLE_SIZE
            colour = pens.RED if large else pens.SOFT
            self.text(middle, bottom + y, text, size=size, colour=colour, bold=large, across="center", most=room)
        self._cautions(left, line, right)

    def _issue(self) -> str:
        title = self.title
        known = [] if title.date == NOT_STATED else [title.date]
        known += [] if title.revision == NOT_STATED else [f"revision {title.revision}"]
        return ", ".join(known) or NOT_STATED

    def _cautions(self, left: float, bottom: float, right: float) -> None:
        """What nobody may overlook, on every sheet, in two columns, the gravest first."""
        top = bottom + CAUTIONS_MM
        self.line([left, right], [top, top], width=pens.MEDIUM)
        middle = (left + right) / 2
        said = [wrapped(text, pens.CAUTION_SIZE, middle - left - 8) for text in cautions_for("judges")]
        first = min(range(len(said) + 1), key=lambda n: max(sum(map(len, said[:n])), sum(map(len, said[n:]))))
        x, y = left + 2, top - CAUTION_ROW_MM - 0.3
        for number, rows in enumerate(said, 1):
            if number == first + 1:
                x, y = middle + 2, top - CAUTION_ROW_MM - 0.3
            self.text(x, y, f"{number}", size=pens.CAUTION_SIZE, bold=True, colour=pens.RED)
            for row in rows:
                self.text(x + 3, y, row, size=pens.CAUTION_SIZE)
                y -= CAUTION_ROW_MM

    def rows(self, x: float, y: float, rows: Iterable[Styled], *, size: float, step: float, **style: Any) -> float:
        """Rows of text ``step`` millimetres apart, the first at ``y``; returns where the next would stand."""
        for text, own in rows:
            self.text(x, y, text, size=size, **style, **own)
            y -= step
        return y


def fitting_scale(length_m: float, room_mm: float, steps: Sequence[float] = RULER) -> float:
    """Number after "1:" of the largest round scale, 1:10 or smaller, at which a length fits.

    Raises ValueError if there is no room, or the length is longer than anything on land.
    """
    if room_mm > 0:
        for power in range(1, 8):
            for step in steps:
                if length_m * 1000 / (step * 10**power) <= room_mm:
                    return float(step * 10**power)
    raise ValueError(f"{length_m} m do not fit into {room_mm} mm at any scale")


def scale_text(scale: float) -> str:
    """A scale as it is written."""
    return f"1:{scale:,g}"


def _bounds(corners: Array) -> Box:
    across, up = corners.T.tolist()
    return min(across), min(up), max(across), max(up)


def _meet(one: Box, other: Box) -> bool:
    """Whether two upright boxes touch or lie over one another."""
    return one[0] <= other[2] and other[0] <= one[2] and one[1] <= other[3] and other[1] <= one[3]


def outward(out: Array) -> str:
    """Which end of a text stands at a place beside a line, so that it runs away from the line along ``out``."""
    return "left" if out[0] > 0.3 else "right" if out[0] < -0.3 else "center"


def in_rows(texts: Iterable[Styled], size: float, most: float) -> list[Styled]:
    """Texts broken at blanks into rows of at most ``most`` millimetres, each with the style of its text."""
    return [(row, style) for text, style in texts for row in wrapped(text, size, most, bold=style.get("bold", False))]


def scale_for(size_m: Pair, room_mm: Pair, steps: Sequence[float] = RULER) -> float:
    """Number after "1:" of the largest round scale at which a width and a height fit; raises as ``fitting_scale``."""
    return max(fitting_scale(length, room, steps) for length, room in zip(size_m, room_mm, strict=True))
