"""Stretches along a fence line, and places where a pit would help."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import shapely
from shapely.geometry import LineString, Point

from packpale.care.holding import Holding
from packpale.earthworks.model import Stretch
from packpale.earthworks.stretches import stretches
from packpale.enclosure.model import Pack
from packpale.enclosure.over_limits import Stretch as Over
from packpale.review.model import PlotResult
from packpale.review.subjects.field import PACK, PLOT, POPUP, Field, Subject
from packpale.settings import Project
from packpale.site import Array
from packpale.values.notes import Phrase, Value, phrase
from packpale.values.quantity import Quantity, hours, metres_per_hour

POINT_STEP_M = 1.0
"""Largest distance between the points of a stretch's line. [m]"""


@dataclass(frozen=True)
class StretchKind:
    """One reason for which a stretch of the line is shown."""

    key: str
    """As in the layer."""
    title: str
    worst: str
    """What the worst value along it is."""
    unit: Literal["m", "h", "m/h"] = "m"
    """Of that value."""

    def told(self, worst: float) -> Quantity:
        """The worst value as a quantity."""
        match self.unit:
            case "h":
                return hours(worst)
            case "m/h":
                return metres_per_hour(worst)
        return Quantity(worst, "dimension")


PROTECTION = StretchKind("walls protected", "As deep as walls must be protected", "greatest depth")
EGRESS = StretchKind("way out", "As deep as a way out is asked for", "greatest depth")
PROTECTION_OVER_DIG = StretchKind("walls protected if over-dug", "Trench walls to be secured", "depth as drawn")
EGRESS_OVER_DIG = StretchKind("way out if over-dug", "Trench so deep that a way out is asked for", "depth as drawn")
IN_WATER = StretchKind("in water", "Trench stands in water", "water over the bottom")
TOO_DEEP = StretchKind("bottom too deep", "Bottom deeper than the mesh is drawn", "greatest depth")
TOO_SHALLOW = StretchKind("bottom too shallow", "Bottom less deep than the mesh is drawn", "least depth")
BANK_INSIDE = StretchKind("bank inside", "Ground inside stands high against the fence", "least height")
BANK_OUTSIDE = StretchKind("bank outside", "Ground outside stands high against the fence", "least height from outside")
TREES = StretchKind("woodland near", "Woodland stands near the fence", "least distance")
RATE = StretchKind("digging rate", "Digging rate that gets out in time", "least", "m/h")
MARGIN = StretchKind("margin", "Hours to spare before the mesh is dug under", "least", "h")
ON_ROCK = StretchKind("mesh ends on rock", "Mesh ends on rock", "least depth")
TOO_SHORT = StretchKind("dug through in time", "Mesh dug under before the next round", "least time to spare", "h")
ABOVE_WEAKEST = (1.02, 1.1, 1.25)
"""Limits between the classes of rates, as multiples of the plot's lowest."""
MARGINS_H = (0.0, 2.0, 6.0)
"""Limits between the classes of margins. [h]"""


@dataclass(frozen=True)
class Along:
    """A stretch of one pack's fence line, and why it is told."""

    of: Pack
    kind: StretchKind
    stretch: Stretch
    line: LineString
    """It on the ground, with the corners of the line that lie within it."""

    @property
    def pack(self) -> int:
        return self.of.number

    @property
    def worst(self) -> Phrase:
        return phrase("{figure}, {what}", figure=self.kind.told(self.stretch.worst), what=self.kind.worst)


@dataclass(frozen=True)
class OverLimit:
    """A stretch of one pack's fence line over a limit."""

    of: Pack
    over: Over
    limit: Value
    """The limit in words."""

    @property
    def pack(self) -> int:
        return self.of.number

    @property
    def line(self) -> LineString:
        """It on the ground."""
        return line_between(self.of, self.over.from_m, self.over.length_m)


def line_between(pack: Pack, start: float, length: float) -> LineString:
    """A stretch of the line on the ground, with the corners of the line that lie within it."""
    return _lines_between(pack, [(start, length)])[0]


def along(pack: Pack, found: Iterable[tuple[StretchKind, Stretch]]) -> list[Along]:
    """Stretches of a pack's line, each with the reason for which it is shown."""
    found = list(found)
    lines = _lines_between(pack, [(stretch.start, stretch.length) for _, stretch in found])
    return [Along(pack, kind, stretch, line) for (kind, stretch), line in zip(found, lines, strict=True)]


def _lines_between(pack: Pack, parts: Sequence[tuple[float, float]]) -> list[LineString]:
    """Parts of the line on the ground, each by its start and length, all asked of the line at once."""
    breaks = pack.line.breaks
    corners = np.concatenate([breaks, breaks + pack.line.perimeter])
    chainages = [_chainages(corners, start, length) for start, length in parts]
    if not chainages:
        return []
    points = pack.line.points_at(np.concatenate(chainages))
    of = np.repeat(np.arange(len(parts)), [c.size for c in chainages])
    return list(shapely.linestrings(points.x, points.y, indices=of))


def _chainages(corners: Array, start: float, length: float) -> Array:
    end = start + length
    steps = np.linspace(start, end, max(2, int(np.ceil(length / POINT_STEP_M)) + 1))
    within = corners[(corners > start) & (corners < end)]
    return np.union1d(steps, within) if within.size else steps


def packs_of(result: PlotResult) -> Mapping[int, Pack]:
    """The packs by their numbers."""
    return {pack.number: pack for pack in result.enclosure.packs}


def trench_stretches(result: PlotResult, _project: Project) -> Iterator[Along]:
    """What has to be looked after while the trench is dug, pack by pack."""
    works, packs = result.earthworks, packs_of(result)
    if works is None:
        return
    wet = dict(works.plant.wet) if works.plant else {}
    for safety, profile in zip(works.safety, works.profiles, strict=True):
        yield from _all(
            packs[safety.pack],
            (PROTECTION, safety.protection),
            (PROTECTION_OVER_DIG, safety.protection_with_over_dig),
            (EGRESS, safety.egress),
            (EGRESS_OVER_DIG, safety.egress_with_over_dig),
            (IN_WATER, wet.get(safety.pack, ())),
            (TOO_DEEP, profile.deeper),
            (TOO_SHALLOW, profile.shallower),
        )


def climb_stretches(result: PlotResult, _project: Project) -> Iterator[Along]:
    """Where ground or trees lower the fence, pack by pack."""
    packs = packs_of(result)
    for c in result.care.climbs if result.care else ():
        yield from _all(
            packs[c.pack], (BANK_INSIDE, c.banks_inside), (BANK_OUTSIDE, c.banks_outside), (TREES, c.near_trees)
        )


def dig_stretches(result: PlotResult, _project: Project) -> Iterator[Along]:
    """The line by how long its mesh holds, where that ends on rock, and where it is dug under too soon."""
    packs = packs_of(result)
    for found in _holdings(result):
        pack = packs[found.pack]
        yield from _by_class(pack, RATE, found.rate, rate_limits(result))
        yield from _all(pack, (ON_ROCK, found.on_rock), (TOO_SHORT, found.too_short))
        if found.margin_h is not None:
            yield from _by_class(pack, MARGIN, found.margin_h, MARGINS_H)


def _by_class(pack: Pack, kind: StretchKind, values: Array, limits: tuple[float, ...]) -> list[Along]:
    """The line cut by classes of a value at its stations."""
    line = pack.alignment
    of, first = np.digitize(values, limits), float(line.chainage[0])
    classes = (of == k for k in range(len(limits) + 1))
    cut = (s for c in classes for s in stretches(c, values, step=line.step, largest=False, first=first))
    return along(pack, ((kind, s) for s in cut))


def rate_limits(result: PlotResult) -> tuple[float, ...]:
    """Limits between the classes of digging rates. [m/h]"""
    lowest = min((float(found.rate.min()) for found in _holdings(result)), default=0.0)
    return tuple(factor * lowest for factor in ABOVE_WEAKEST) if lowest > 0 else ()


def over_limits(result: PlotResult, _project: Project) -> Iterator[OverLimit]:
    """Where the line runs over a limit, pack by pack."""
    names = {limit.kind: limit.name for limit in result.land.limits}
    for pack in result.enclosure.packs:
        for over in pack.over_limits:
            yield OverLimit(pack, over, names[over.kind])


def _all(pack: Pack, *kinds: tuple[StretchKind, Iterable[Stretch]]) -> list[Along]:
    return along(pack, ((kind, stretch) for kind, found in kinds for stretch in found))


def _holdings(result: PlotResult) -> tuple[Holding, ...]:
    return result.care.holdings if result.care else ()


def _pits(result: PlotResult, _project: Project) -> Iterator[dict[str, Any]]:
    found = result.earthworks.uncertainty if result.earthworks else None
    for number, pit in enumerate(found.pits if found else (), start=1):
        row = {"pack": pit.pack, "pit": number, "flank": pit.flank, "chainage_m": pit.chainage}
        yield {**row, "geometry": Point(pit.x, pit.y)}


STRETCH = (
    PLOT,
    PACK,
    Field("kind", "What holds along it", "text", "kind.key"),
    Field("start_chainage_m", "From chainage", "length", "stretch.start", shown=POPUP),
    Field("end_chainage_m", "To chainage", "length", "stretch.end", shown=POPUP),
    Field("length_m", "Length", "length", "stretch.length", shown=POPUP),
)
WORST = Field("worst_m", "At the worst place", "dimension", "stretch.worst", lambda s: s.worst, shown=POPUP)
TRENCH_STRETCHES = Subject(
    "trench_stretches",
    "A stretch of trench that needs looking after",
    "LineString",
    (*STRETCH, WORST),
    trench_stretches,
    lambda s: s.line,
)
CLIMB_STRETCHES = Subject(
    "climb_stretches",
    "A stretch where ground or trees lower the fence",
    "LineString",
    (*STRETCH, WORST),
    climb_stretches,
    lambda s: s.line,
)
DIG_STRETCHES = Subject(
    "dig_stretches",
    "A stretch by how long the mesh holds",
    "LineString",
    (
        *STRETCH,
        Field("worst", WORST.title, "number", WORST.of, WORST.told, shown=POPUP),
        Field("unit", "Unit of that: m/h, h or m", "text", "kind.unit"),
    ),
    dig_stretches,
    lambda s: s.line,
)
OVER_LIMITS = Subject(
    "over_limits",
    "A stretch of line over a limit that may lie inside; past the line's start to_m goes on beyond the perimeter",
    "LineString",
    (
        PLOT,
        PACK,
        Field("kind", "Kind of the limit", "text", "over.kind", lambda s: s.limit, shown=POPUP),
        Field("from_m", "From chainage", "length", "over.from_m", shown=POPUP),
        Field(
            "to_m",
            "To chainage",
            "length",
            "over.to_m",
            lambda s: Quantity(s.over.to_m % s.of.line.perimeter, "length"),
            shown=POPUP,
        ),
        Field("length_m", "Length", "length", "over.length_m", shown=POPUP),
    ),
    over_limits,
    lambda s: s.line,
)
ADVISED_PITS = Subject(
    "advised_pits",
    "A place where a trial pit would narrow the price most",
    "Point",
    (
        PLOT,
        PACK,
        Field("pit", "Number of the pit", "number of it"),
        Field("flank", "Flank of the line", "text", shown=POPUP),
        Field("chainage_m", "Chainage", "length", shown=POPUP),
    ),
    _pits,
)
