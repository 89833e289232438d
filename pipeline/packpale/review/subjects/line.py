"""The fence lines, what holds them, and the lines that could be built instead."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import shapely
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from packpale.enclosure.egg import Egg
from packpale.enclosure.line import Line
from packpale.enclosure.model import Alternative, Fit, Pack, Touch
from packpale.review.model import PlotResult
from packpale.review.subjects.field import PACK, PLOT, POPUP, Field, Subject
from packpale.review.words import FILES, plain
from packpale.settings import Project, TrenchSettings
from packpale.units import HECTARE_M2
from packpale.values.notes import Phrase, Value, listed, phrase
from packpale.values.quantity import Quantity

CHORD_ERROR_M = 0.001
"""Largest distance between an arc and the chord that stands for it in files. [m]"""


@dataclass(frozen=True)
class FenceLine:
    """The line of one pack."""

    pack: int
    line: Line
    fit: Fit | None
    """None for a line that was given."""
    length_3d: float | None = None
    """On the ground; None where that is not looked at. [m]"""

    @property
    def egg(self) -> Egg | None:
        return self.line if isinstance(self.line, Egg) else None

    @property
    def origin(self) -> str:
        return "fitted" if self.fit else "given" if self.egg else "drawn"

    @property
    def corners(self) -> int | None:
        """Of a drawn line, those with a post of their own."""
        return None if self.egg else self.line.bends.size


@dataclass(frozen=True)
class Held:
    """A place where something holds the line of a pack."""

    pack: int
    touch: Touch

    @property
    def limits(self) -> Phrase:
        return touched(self.touch)

    @property
    def way(self) -> LineString:
        """From the fence line to the limit."""
        return LineString([(self.touch.x, self.touch.y), (self.touch.limit_x, self.touch.limit_y)])


def touched(touch: Touch) -> Phrase:
    """What the fence line touches there."""
    if not touch.limits:
        return phrase("edge of the usable land")
    return listed(touch.limits, " and ")


def apron(pack: Pack, trench: TrenchSettings, chord_error: float) -> BaseGeometry:
    """Ground under which the apron lies: between the fence line and its parallel at the apron's reach."""
    reach = trench.apron_reach_m if trench.side == "outside" else -trench.apron_reach_m
    line, edge = pack.line.polygon(chord_error), pack.line.outline_at(reach, chord_error)
    return edge.difference(line) if reach > 0 else line.difference(edge)


def _fence_lines(result: PlotResult, _project: Project) -> Iterator[FenceLine]:
    return (FenceLine(pack.number, pack.line, pack.fit, pack.length_3d) for pack in result.enclosure.packs)


def _aprons(result: PlotResult, project: Project) -> Iterator[dict[str, Any]]:
    trench = project.trench
    for pack in result.enclosure.packs:
        area = apron(pack, trench, CHORD_ERROR_M)
        row = {"reach_m": trench.apron_reach_m, "cover_m": trench.apron_cover_m, "side": trench.side}
        yield {"pack": pack.number, **row, "geometry": area}


def _touches(result: PlotResult, _project: Project) -> Iterator[Held]:
    return (Held(pack.number, touch) for pack in result.enclosure.packs for touch in pack.touches)


def looked_for(one: Alternative) -> Phrase:
    """What a line that could be built instead is the best of."""
    match one.aim:
        case "size":
            return phrase("Cheapest line found for {area}", area=Quantity(one.value * HECTARE_M2, "area"))
        case "share":
            return phrase("Largest with at most {part} of its line over limits", part=Quantity(one.value, "share"))
    return phrase("Largest found within {price}", price=Quantity(one.value, "money"))


def _if_there(name: str) -> Callable[[Alternative], float | None]:
    """A figure of a line that could be built instead; empty where there is no such line."""
    return lambda one: getattr(one, name) if one.egg else None


def _bearing(item: FenceLine | Alternative) -> Value | None:
    return Quantity(item.egg.axis_bearing_deg % 360, "bearing") if item.egg else None


def _origin(found: FenceLine) -> Value | None:
    return None if found.fit else f"{found.origin}, used as it is"


EGG = (
    Field("big_x", "Centre of the big end, x", "coordinate", "egg.big_x"),
    Field("big_y", "Centre of the big end, y", "coordinate", "egg.big_y"),
    Field(
        "axis_bearing_deg",
        "Bearing of the axis from big to small end",
        "bearing",
        "egg.axis_bearing_deg",
        _bearing,
        shown=POPUP,
    ),
    Field("big_radius_m", "Radius of the big end", "dimension", "egg.big_radius", shown=POPUP),
    Field("small_radius_m", "Radius of the small end", "dimension", "egg.small_radius", shown=POPUP),
    Field("flank_radius_m", "Radius of the flanks", "dimension", "egg.flank_radius", shown=POPUP),
    Field("centre_spacing_m", "Distance between the centres of the two ends", "dimension", "egg.centre_spacing"),
)
"""The seven figures of an egg; empty where no egg is."""
CHAINAGE = Field("chainage_m", "Chainage", "length")
FENCE_LINES = Subject(
    "fence_lines",
    "A fence line with the ground that it encloses",
    "Polygon",
    (
        PLOT,
        PACK,
        *EGG,
        Field("area_m2", "Area enclosed", "area", "line.area", shown=POPUP),
        Field("perimeter_m", "Length in plan", "length", "line.perimeter", shown=POPUP),
        Field("area_bound_m2", "No larger one fits than", "area", "fit.area_bound_m2", shown=POPUP),
        Field("fit_s", "Time that the fit took", "duration", "fit.fit_s"),
        Field("origin", "Line: fitted, given (an egg by its figures) or drawn", "text", "origin", _origin, shown=POPUP),
        Field("length_3d_m", "Length on the ground", "length", "length_3d", shown=POPUP),
        Field("corners", "Corners with a post of their own", "count", "corners", shown=POPUP),
    ),
    _fence_lines,
    lambda found: found.line.polygon(CHORD_ERROR_M),
    last=EGG,
)
ALTERNATIVES = Subject(
    "alternatives",
    "A line that could be built instead",
    "Polygon",
    (
        PLOT,
        Field("aim", "What was looked for: size, share or budget", "text", "aim"),
        Field("value", "Of it: hectares, part of the line over limits, or currency", "number", "value"),
        Field("feasible", "Whether there is such a line", "yes or no", "feasible"),
        Field("area_m2", "Area enclosed", "area", "egg.area", shown=POPUP),
        Field("fence_length_m", "Length in plan", "length", "egg.perimeter", shown=POPUP),
        Field("over_limits_m", "Of it over limits", "length", _if_there("over_limits"), shown=POPUP),
        Field("price_likely", "Likely price [currency]", "money", _if_there("price"), shown=POPUP),
        Field("price_per_ha", "Likely price for each hectare", "money", _if_there("price_per_ha")),
        Field("area_bound_m2", "No larger one fits than", "area", "area_bound"),
        *EGG,
    ),
    "enclosure.alternatives",
    lambda one: one.egg and one.egg.polygon(CHORD_ERROR_M),
)
APRONS = Subject(
    "aprons",
    "Ground under which the apron lies",
    "Polygon",
    (
        PLOT,
        PACK,
        Field("reach_m", "Reach from the fence line", "dimension", shown=POPUP),
        Field("side", "Side: outside or inside", "text", shown=POPUP),
        Field("cover_m", "Soil over it", "dimension", shown=POPUP),
    ),
    _aprons,
)
TOUCHES = Subject(
    "touches",
    "A place where a limit holds the line",
    "Point",
    (
        PLOT,
        Field("pack", "Fence line of pack", "number of it", "pack", shown=POPUP),
        Field("chainage_m", "Chainage", "dimension", "touch.chainage", shown=POPUP),
        Field("distance_m", "From the fence line to here", "dimension", "way.length", shown=POPUP),
        Field("limit", "What holds it", "text", lambda held: plain(FILES.say(held.limits)), lambda held: held.limits),
    ),
    _touches,
    lambda held: shapely.Point(held.touch.limit_x, held.touch.limit_y),
)
