"""Each fence line as a ring with all places that decide whether it holds, by letter: on an A4 sheet, and small.

Signs are told by shape and letter, stretches by dashes and letter, all in one ink: a grey print says as much.
"""

import dataclasses
import math
from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt
import shapely

from packpale.enclosure.model import Pack
from packpale.review.drawings import pens
from packpale.review.drawings.sheet import FIELD, Box, Pair, Sheet, Title, View, in_rows
from packpale.review.lettering import wrapped
from packpale.review.model import PlotResult
from packpale.review.report.holds import ring_words, ways_out
from packpale.review.report.source import PlotSource
from packpale.review.subjects.holds import HOLDS, LETTERS, Letter, Place, places
from packpale.review.subjects.setting_out import airlocks_of
from packpale.review.words import MISSING, Wording
from packpale.review.words.quantities import ROUND
from packpale.settings import Project
from packpale.site import Array, Mask

COLUMN_MM = 104.0
"""Width of the column with key and table on the A4 sheet."""
SMALL_SIZE = (180.0, 120.0)
"""Width of the small drawing, and its height for each pack. [mm]"""
ROUND_MM = 24.0
"""Paper kept round a line for its signs, at the least."""
LANES_MM = 1.7
"""From one stretch inside the line to the next."""
LANE_LETTERS: tuple[Letter, ...] = ("L", "B", "S", "P", "D", "R")
DASHES: dict[str, tuple[float, ...]] = {
    "L": (),
    "B": (3.0, 1.5),
    "S": (1.0, 1.0),
    "P": pens.DOTTED,
    "D": (6.0, 1.5, 1.0, 1.5),
    "R": pens.DASHED,
}
"""Dashes of stretches by letter, in line widths."""
LANE_MM = 1.0
"""Width of a stretch."""
CHORD_MM = 0.02
"""Largest distance between the line and what is drawn, on paper."""
NEAR, STEP, FARTHEST = 5.0, 2.5, 40.0
"""Where signs stand outside the line: at the least, how much farther when that place is taken, and at the most. [mm]"""
KEY_ROW_MM = 7.8
"""Rows of its key."""
ASIDE = np.array([0.0, 2.4, -2.4, 4.8, -4.8, 7.2, -7.2])
"""And how far along the line, in half widths of a sign."""
NOT_CHECKED = (
    "Fire, power, locks and ties are not checked. All figures, and what is published beside them: the plot's page. No "
    "licence: the authority and licensed people decide."
)
LARGE_LETTERS = 8.0
"""Letters of the small drawing. [points]"""


def holds_sheet(result: PlotResult, project: Project, wording: Wording, title: Title) -> Sheet:
    """A4 sheet: the rings at the left, the key and the main figure of each way out at the right.

    Raises ValueError if the plot has no fence line.
    """
    source = PlotSource(result, project, wording, "")
    left, bottom, right, top = FIELD
    middle = right - COLUMN_MM
    boxes = _boxes(result, (left, bottom, middle, top))
    scale = max(_scale(pack, box) for pack, box in boxes)
    sheet = Sheet(dataclasses.replace(title, scale="not to scale"), ring_words(result, project, wording))
    for pack, box in boxes:
        _Ring(sheet, box, pack, source, scale=scale, letters=pens.SMALL).draw()
    sheet.line([middle, middle], [bottom, top])
    y = _key(sheet, (middle + 3, top - 5), used=_used(result, project), size=pens.SMALL, row=6.0)
    _table(sheet, source, (middle + 3, bottom + 2, right - 2, y - 3))
    return sheet


def small_holds(result: PlotResult, project: Project, wording: Wording, title: Title) -> Sheet:
    """The rings alone, one below the other, with large letters and a short key.

    Raises ValueError if the plot has no fence line.
    """
    used = _used(result, project)
    half = math.ceil(len(used) / 2)
    foot = KEY_ROW_MM * half + 3
    wide, top = SMALL_SIZE[0], foot + SMALL_SIZE[1] * len(result.enclosure.packs)
    sheet = Sheet(title, ring_words(result, project, wording), size=(wide, top))
    for pack, box in _boxes(result, (0.0, foot, wide, top)):
        source = PlotSource(result, project, wording, "")
        _Ring(sheet, box, pack, source, scale=_scale(pack, box), letters=LARGE_LETTERS).draw()
    for k, part in enumerate((used[:half], used[half:])):
        _key(sheet, (2 + k * wide / 2, foot - 4), used=part, size=LARGE_LETTERS, row=KEY_ROW_MM)
    return sheet


def _used(result: PlotResult, project: Project) -> list[Letter]:
    """Letters that stand on some ring, in their order."""
    there = {p.letter for pack in result.enclosure.packs for p in places(result, project, pack)}
    return [letter for letter in LETTERS if letter in there]


def _boxes(result: PlotResult, box: Box) -> list[tuple[Pack, Box]]:
    """A box cut into equal parts, one for each pack, below one another: side by side their lines lie no better."""
    packs, (left, bottom, right, top) = result.enclosure.packs, box
    if not packs:
        raise ValueError(f"plot {result.site.plot_id!r} has no fence line to draw")
    high = (top - bottom) / len(packs)
    return [(pack, (left, top - (k + 1) * high, right, top - k * high)) for k, pack in enumerate(packs)]


def _scale(pack: Pack, box: Box) -> float:
    """Number after "1:" at which a line and its signs fill the box."""
    west, south, east, north = pack.line.polygon(0.05).bounds
    wide, high = box[2] - box[0], box[3] - box[1]
    round_it = min(ROUND_MM, 0.2 * min(wide, high))
    return 1000 * float(max((east - west) / (wide - 2 * round_it), (north - south) / (high - 2 * round_it)))


class _Ring:
    """One fence line in its box."""

    def __init__(self, sheet: Sheet, box: Box, pack: Pack, source: PlotSource, *, scale: float, letters: float) -> None:
        self.sheet, self.box, self.pack, self.source = sheet, box, pack, source
        self.letters, self.radius = letters, 0.36 * letters
        # No corner of it lies farther from the line than a hundredth of a millimetre on paper.
        outline = pack.line.polygon(max(0.05, scale * 1e-5))
        west, south, east, north = outline.bounds
        middle = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
        self.view = View(middle, ((west + east) / 2, (south + north) / 2), scale, scale)
        self.taken: list[shapely.Polygon] = []
        self.leaders: list[shapely.LineString] = []
        corners = np.asarray(outline.exterior.coords)
        self.ring = shapely.LinearRing(np.column_stack(self.view.at(*corners.T)))
        shapely.prepare(self.ring)

    def draw(self) -> None:
        """Line, airlocks and stretches first, then signs with their leaders, then figures of chainage."""
        project, line = self.source.project, self.pack.line
        found = places(self.source.result, project, self.pack)
        outline = np.asarray(line.polygon(CHORD_MM * self.view.scale / 1000).exterior.coords)
        x, y = self.view.at(*outline.T)
        for airlock in airlocks_of(self.pack, project):
            corners = self.view.at(*np.vstack([airlock.corners, airlock.corners[:1]]).T)
            self.sheet.line(*corners, width=pens.MEDIUM, name=f"airlock-{self.pack.number}-{airlock.gate}")
        self.sheet.line(x, y, width=pens.THICK, name=f"ring-{self.pack.number}")
        lanes = [letter for letter in LANE_LETTERS if any(p.letter == letter for p in found)]
        for place in found:
            if place.length:
                self._stretch(place, 1.5 + LANES_MM * lanes.index(place.letter))
        self._signs(sorted((p for p in found if not p.length), key=lambda p: p.chainage))
        for place in found:
            if place.length:
                self._letter(place, 1.5 + LANES_MM * len(lanes))
        self._chainage(1.5 + LANES_MM * len(lanes))
        self._north()

    def _at(self, chainage: npt.ArrayLike, *out: float) -> list[Array]:
        """Points on paper, for each of ``out`` so many millimetres outside the line: shape (..., 2)."""
        on_line, outward = self.view.on_line(self.pack.line, chainage)
        return [on_line + away * outward for away in out]

    def _stretch(self, place: Place, inside: float) -> None:
        n = max(math.ceil(place.length * 1000 / self.view.scale), 2)
        (points,) = self._at(np.linspace(place.chainage, place.chainage + place.length, n + 1), -inside)
        name = f"stretch-{place.pack}-{place.name}"
        self.sheet.line(*points.T, width=LANE_MM, dash=DASHES[place.letter], colour=pens.INK, name=name)

    def _letter(self, place: Place, inside: float) -> None:
        """Name of a stretch, inside its middle."""
        middle = place.chainage + place.length / 2
        room = self._at(middle, *(-inside - away for away in (2.0, 4.5, 7.0, 9.5)))
        self.sheet.text_where_free(room, place.name, size=self.letters, bold=True, across="center", up="center")

    def _signs(self, found: Sequence[Place]) -> None:
        """Shapes with letter and number outside the line, all leaders below all shapes."""
        starts, outward = self.view.on_line(self.pack.line, [place.chainage for place in found])
        spots = [self._spot(start, out) for start, out in zip(starts, outward, strict=True)]
        for place, start, spot in zip(found, starts, spots, strict=True):
            name = f"place-{place.pack}-{place.name}"
            self.sheet.line(*np.array([start, spot]).T, width=pens.HAIR, name=name)
        for place, (x, y) in zip(found, spots, strict=True):
            _shape(self.sheet, x, y, self.radius, place.letter)
            self.sheet.text(x, y, place.name, size=self.letters * 0.82, bold=True, across="center", up="center")

    def _spot(self, start: Array, out: Array) -> Array:
        """Middle of a sign: the nearest place that is free; if there is none, one whose leader crosses others; if
        the box is full, one over other signs.
        """
        r = self.radius
        far, aside = (v.ravel() for v in np.meshgrid(np.arange(NEAR, FARTHEST, STEP), ASIDE * r, indexing="ij"))
        spots = start + np.outer(far, out) + np.outer(aside, [-out[1], out[0]])
        spots = spots[self._free(spots)]
        if not len(spots):
            return start + NEAR * out
        spot: Array = next((spot for spot in spots if not self._crossed(start, spot)), spots[0])
        self.taken.append(shapely.box(*(spot - r), *(spot + r)))
        self.leaders.append(shapely.LineString([start, spot]))
        return spot

    def _free(self, spots: Array) -> Mask:
        """At which of the places, shape (places, 2), a sign lies within the box, off the line and off other signs."""
        left, bottom, right, top = self.box
        away = 0.5 + self.radius
        within = ((spots >= (left + away, bottom + away)) & (spots <= (right - away, top - away))).all(axis=1)
        signs = shapely.box(*(spots - self.radius).T, *(spots + self.radius).T)
        taken = shapely.MultiPolygon(self.taken)
        free: Mask = within & ~shapely.dwithin(self.ring, signs, 0.8) & ~shapely.dwithin(taken, signs, 0.4)
        return free

    def _crossed(self, start: Array, spot: Array) -> bool:
        leader = shapely.LineString([start, spot])
        return bool(shapely.crosses(leader, self.leaders).any() or shapely.intersects(leader, self.taken).any())

    def _chainage(self, inside: float) -> None:
        """Ticks with figures on the inner side."""
        line, unit = self.pack.line, self.source.show.unit("length").size
        mm = unit * 1000 / self.view.scale
        every = next(s for s in ROUND if s * mm >= 18.0)
        for chainage in np.arange(0.0, line.perimeter / unit, every):
            *tick, near, far = self._at(chainage * unit, -0.9, 0.9, -inside - 3.0, -inside - 5.0)
            self.sheet.line(*np.array(tick).T, width=pens.MEDIUM)
            if (line.perimeter / unit - chainage) * mm > 9.0:
                text = f"{chainage:,g}"
                self.sheet.text_where_free(
                    [near, far], text, size=self.letters * 0.9, colour=pens.SOFT, across="center", up="center"
                )

    def _north(self) -> None:
        x, y = self.box[0] + 8, self.box[3] - 20
        self.sheet.north(x, y, 10, size=self.letters)
        show = self.source.show
        text = f"{self.source.of_pack(self.pack.number)}{show.length(self.pack.line.perimeter)} round"
        middle = self.view.point(*self.pack.line.polygon(1.0).representative_point().coords[0])
        self.sheet.text_where_free([middle], text, size=self.letters, bold=True, across="center", up="center")
        below = (middle[0], middle[1] - 0.6 * self.letters)
        text = f"chainage in {show.unit('length').name}, clockwise from 0"
        self.sheet.text_where_free(
            [below], text, size=self.letters * 0.9, colour=pens.SOFT, across="center", up="center"
        )


def _polygon(x: float, y: float, r: float, corners: int, turn: float) -> Array:
    angle = np.radians(turn) + np.arange(corners + 1) * 2 * np.pi / corners
    return np.column_stack([x + r * np.cos(angle), y + r * np.sin(angle)])


SHAPES: dict[str, Callable[[float, float, float], Array]] = {
    "U": lambda x, y, r: _polygon(x, y, r, 32, 0.0),
    "O": lambda x, y, r: _polygon(x, y - 0.2 * r, 1.45 * r, 3, 90.0),
    "G": lambda x, y, r: _polygon(x, y, 1.3 * r, 4, 45.0),
    "W": lambda x, y, r: _polygon(x, y, 1.35 * r, 4, 0.0),
    "T": lambda x, y, r: _polygon(x, y, 1.1 * r, 6, 0.0),
}
"""Signs by letter: circle, triangle, square, diamond, hexagon; the round shapes are as large as the letters need."""


def _shape(sheet: Sheet, x: float, y: float, r: float, letter: str) -> None:
    corners = SHAPES[letter](x, y, r)
    sheet.fill(*corners.T, colour=pens.PAPER)
    sheet.line(*corners.T, width=pens.MEDIUM)


def _key(sheet: Sheet, corner: Pair, *, used: Sequence[Letter], size: float, row: float) -> float:
    """Signs with what they stand for; returns where it ends."""
    x, y = corner
    for letter in used:
        if letter in SHAPES:
            _shape(sheet, x + 4, y, 0.36 * size, letter)
            sheet.text(x + 4, y, letter, size=0.82 * size, bold=True, across="center", up="center")
        else:
            sheet.line([x, x + 6], [y, y], width=LANE_MM, dash=DASHES[letter])
            sheet.text(x + 6.8, y, letter, size=0.9 * size, bold=True, up="center")
        sheet.text(x + 10.5, y, LETTERS[letter], size=size, up="center", most=76.0)
        y -= row
    return y


def _table(sheet: Sheet, source: PlotSource, box: Box) -> None:
    """The first line of each way out: the figure that decides, and its worst place."""
    show = source.show
    left, bottom, right, top = box
    ends = (left, left + 17, right - 22, right)
    y = top
    heads = ("Way out", "What was looked at", "Figure", "At chainage")
    cells: tuple[str, ...]
    rows: list[tuple[tuple[str, ...], bool]] = [(heads, True)]
    for number in source.numbers():
        if source.several:
            rows.append(((f"Pack {number}", "", "", ""), True))
        first: set[str] = set()
        for way in ways_out(source):
            if way.pack == number and way.way not in first:
                first.add(way.way)
                said = (field.say(way) for field in HOLDS.of("value", "chainage_m"))
                cells = (way.way, way.measure, *(MISSING if value is None else show.say(value) for value in said))
                rows.append((cells, False))
    wide = ends[2] - ends[1] - 19
    # Of several packs there is room for one line each.
    lines = [[cells[1]] if source.several else wrapped(cells[1], pens.SMALL, wide) for cells, _ in rows]
    high = min(4.0, (y - bottom - 6) / sum(0.8 * len(measure) + 0.55 for measure in lines))
    for (cells, bold), measure in zip(rows, lines, strict=True):
        sheet.text(ends[0], y, cells[0], size=pens.SMALL, bold=True, most=16)
        sheet.text(ends[2], y, cells[2], size=pens.SMALL, bold=bold, across="right", most=18)
        sheet.text(ends[3], y, cells[3], size=pens.SMALL, bold=bold, across="right", most=21)
        for k, text in enumerate(measure):
            sheet.text(ends[1], y - 0.8 * high * k, text, size=pens.SMALL, bold=bold, most=wide)
        y -= 0.8 * high * (len(measure) - 1) + 0.35 * high
        sheet.line([left, right], [y, y], width=pens.HAIR, colour=pens.SOFT)
        y -= high
    below = in_rows([(NOT_CHECKED, {"colour": pens.SOFT})], pens.TINY, right - left)
    sheet.rows(left, y, below, size=pens.TINY, step=3.4)
