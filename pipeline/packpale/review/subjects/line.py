"""The fence lines, what holds them, and the lines that could be built instead."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import shapely
from shapely.geometry.base import BaseGeometry

from packpale.enclosure.egg import Egg
from packpale.enclosure.line import Line
from packpale.enclosure.model import Alternative, Fit, Pack, Touch
from packpale.review.model import PlotResult
from packpale.review.subjects.field import PACK, PLOT, Field, Subject
from packpale.review.words import FILES, plain
from packpale.settings import Project, TrenchSettings
from packpale.units import HECTARE_M2
from packpale.values.notes import Phrase, listed, phrase
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

    @property
    def egg(self) -> Egg | None:
        return self.line if isinstance(self.line, Egg) else None

    @property
    def origin(self) -> str:
        return "fitted" if self.fit else "given" if self.egg else "drawn"


@dataclass(frozen=True)
class Held:
    """A place where something holds the line of a pack."""

    pack: int
    touch: Touch

    @property
    def limits(self) -> Phrase:
        return touched(self.touch)


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
    return (FenceLine(pack.number, pack.line, pack.fit) for pack in result.enclosure.packs)


def _aprons(result: PlotResult, project: Project) -> Iterator[dict[str, Any]]:
    trench = project.trench
    for pack in result.enclosure.packs:
        area = apron(pack, trench, CHORD_ERROR_M)
        yield {"pack": pack.number, "reach_m": trench.apron_reach_m, "side": trench.side, "geometry": area}


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


def _egg(name: str, title: str, *, key: str = "", kind: Any = "dimension") -> Field:
    """A figure of an item's egg; empty where it has none."""
    return Field(key or f"{name}_m", title, kind, lambda item: item.egg and getattr(item.egg, name))


EGG = (
    _egg("big_x", "Centre of the big end, x", key="big_x", kind="coordinate"),
    _egg("big_y", "Centre of the big end, y", key="big_y", kind="coordinate"),
    _egg(
        "axis_bearing_deg",
        "Bearing of the axis from the big end to the small end",
        key="axis_bearing_deg",
        kind="bearing",
    ),
    _egg("big_radius", "Radius of the big end"),
    _egg("small_radius", "Radius of the small end"),
    _egg("flank_radius", "Radius of the flanks"),
    _egg("centre_spacing", "Distance between the centres of the two ends"),
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
        Field("area_m2", "Area enclosed", "area", lambda found: found.line.area),
        Field("perimeter_m", "Length in plan", "length", lambda found: found.line.perimeter),
        Field(
            "area_bound_m2",
            "No enclosure that fits is larger than this",
            "area",
            lambda found: found.fit and found.fit.area_bound_m2,
        ),
        Field("fit_s", "Time that the fit took", "duration", lambda found: found.fit and found.fit.fit_s),
        Field("origin", "fitted, given (an egg by its figures) or drawn", "text", lambda found: found.origin),
    ),
    _fence_lines,
    lambda found: found.line.polygon(CHORD_ERROR_M),
)
ALTERNATIVES = Subject(
    "alternatives",
    "A line that could be built instead",
    "Polygon",
    (
        PLOT,
        Field("aim", "What was looked for: size, share or budget", "text", lambda one: one.aim),
        Field("value", "Of it: hectares, part of the line over limits, or currency", "number", lambda one: one.value),
        Field("feasible", "Whether there is such a line", "yes or no", lambda one: one.feasible),
        Field("area_m2", "Area enclosed", "area", lambda one: one.egg and one.egg.area, popup=True),
        Field("fence_length_m", "Length in plan", "length", lambda one: one.egg and one.egg.perimeter, popup=True),
        Field(
            "over_limits_m", "Of it over limits", "length", lambda one: one.over_limits if one.egg else None, popup=True
        ),
        Field(
            "price_likely", "Likely price [currency]", "money", lambda one: one.price if one.egg else None, popup=True
        ),
        Field(
            "price_per_ha",
            "Likely price for each hectare",
            "money",
            lambda one: one.price_per_ha if one.egg else None,
        ),
        Field("area_bound_m2", "No enclosure that fits is larger than this", "area", lambda one: one.area_bound),
        *EGG,
    ),
    lambda result, _project: result.enclosure.alternatives,
    lambda one: one.egg and one.egg.polygon(CHORD_ERROR_M),
)
APRONS = Subject(
    "aprons",
    "Ground under which the apron lies",
    "Polygon",
    (
        PLOT,
        PACK,
        Field("reach_m", "Reach from the fence line", "dimension"),
        Field("side", "outside or inside", "text"),
    ),
    _aprons,
)
TOUCHES = Subject(
    "touches",
    "A place where a limit holds the line",
    "Point",
    (
        PLOT,
        PACK,
        Field("chainage_m", "Chainage", "length", lambda held: held.touch.chainage, popup=True),
        Field("limit", "What holds it", "text", lambda held: plain(FILES.say(held.limits)), lambda held: held.limits),
    ),
    _touches,
    lambda held: shapely.Point(held.touch.limit_x, held.touch.limit_y),
)
