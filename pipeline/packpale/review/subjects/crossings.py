"""Where water crosses the fence."""

import math
from dataclasses import dataclass

from packpale.care.crossings import Crossing
from packpale.care.streams import StreamCrossing
from packpale.review.model import PlotResult
from packpale.review.subjects.field import PLOT, Field, Subject
from packpale.values.notes import Value, phrase
from packpale.values.quantity import Quantity


@dataclass(frozen=True)
class Found:
    """One crossing: of a flow path, which may be mapped, or of mapped water that has none."""

    pack: int
    chainage: float
    x: float
    y: float
    path: Crossing | None
    """None where only the map shows it."""
    mapped: bool
    mapped_width: float = 0.0
    """Of mapped water along the fence; 0 where it is mapped as a line. [m]"""

    @property
    def area(self) -> float:
        """That drains through here; NaN where it is not known. [m2]"""
        return self.path.area if self.path else math.nan

    @property
    def kind(self) -> str:
        return self.path.kind if self.path else "mapped watercourse"

    @property
    def title(self) -> str:
        return f"{'Water' if self.path else 'Mapped water'} crosses the fence of pack {self.pack}"


def crossings(result: PlotResult) -> list[Found]:
    """Flow paths pack by pack along the line, then mapped watercourses that have none."""
    care = result.care
    if care is None:
        return []
    mapped = {(s.pack, s.crossing) for s in care.streams}
    paths = [Found(c.pack, c.chainage, c.x, c.y, c, (c.pack, c.number) in mapped) for c in care.crossings]
    return [*paths, *(_stream(s) for s in care.streams if s.crossing is None)]


def _stream(s: StreamCrossing) -> Found:
    return Found(s.pack, s.chainage, s.x, s.y, None, True, s.width)


def _least(found: Found, quantity: Quantity) -> Value:
    """A figure, and that it is at least that where water comes in from ground that was not read."""
    return phrase("at least {figure}", figure=quantity) if found.path and found.path.is_lower_bound else quantity


def _area(found: Found) -> Value:
    if found.path is None:
        return "not known: the ground model shows no flow path"
    return _least(found, Quantity(found.path.area, "area"))


def _flow(found: Found) -> Value | None:
    if found.path is None:
        return None
    if found.path.opening is None:
        return "not worked out: no rainfall is given"
    return _least(found, Quantity(found.path.opening.flow, "discharge"))


def _width(found: Found) -> Value | None:
    if found.path or not found.mapped:
        return None
    return Quantity(found.mapped_width, "dimension") if found.mapped_width else "mapped as a line"


def _joined(found: Found) -> Value | None:
    paths = found.path.paths if found.path else 1
    return phrase("{paths} flow paths side by side", paths=paths) if paths > 1 else None


def _route(found: Found) -> Value | None:
    if found.path is None or not found.path.arbitrary:
        return None
    return "the ground is so flat that the water may as well cross elsewhere"


def _flows(found: Found) -> Value | None:
    if found.path is None:
        return None
    return "into the enclosure" if found.path.inward else "out of the enclosure"


def _opening(found: Found) -> Value | None:
    opening = found.path.opening if found.path else None
    if opening is None:
        return None
    width, height = (Quantity(v, "dimension") for v in (opening.width, opening.height))
    return phrase("{width} by {height}", width=width, height=height)


CROSSINGS = Subject(
    "crossings",
    "A place where water crosses the fence; figures are empty where only the map shows it",
    "Point",
    (
        PLOT,
        Field("pack", "Pack", "number of it", lambda f: f.pack),
        Field("crossing", "Number along the line", "number of it", lambda f: f.path and f.path.number),
        Field("chainage_m", "Chainage", "length", lambda f: f.chainage, popup=True, page=True),
        Field("kind", "Kind", "text", lambda f: f.kind, popup=True, page=True),
        Field(
            "direction",
            "Water flows",
            "text",
            lambda f: f.path and ("in" if f.path.inward else "out"),
            _flows,
            popup=True,
            page=True,
        ),
        Field(
            "contributing_area_m2",
            "Ground that drains here",
            "area",
            lambda f: f.path and f.path.area,
            _area,
            popup=True,
            page=True,
        ),
        Field(
            "is_lower_bound", "Whether more may drain here", "yes or no", lambda f: not f.path or f.path.is_lower_bound
        ),
        Field(
            "flow_path_m",
            "Longest flow path",
            "length",
            lambda f: f.path and f.path.path_length,
            lambda f: f.path and _least(f, Quantity(f.path.path_length, "length")),
            popup=True,
            page=True,
        ),
        Field("flow_path_slope", "Its fall over its length", "number", lambda f: f.path and f.path.path_slope),
        Field(
            "concentration_min",
            "Time of concentration",
            "duration",
            lambda f: f.path and f.path.concentration_min,
            lambda f: f.path and _least(f, Quantity(60 * f.path.concentration_min, "duration")),
            popup=True,
            page=True,
        ),
        Field("bed_slope", "Slope of the bed", "number", lambda f: f.path and f.path.bed_slope),
        Field("intensity_mm_per_h", "Rainfall intensity", "rain", lambda f: _of(f, "intensity_mm_per_h"), popup=True),
        Field(
            "design_flow_m3_per_s",
            "Design flow",
            "discharge",
            lambda f: _of(f, "flow"),
            _flow,
            popup=True,
            page=True,
        ),
        Field(
            "opening_width_m",
            "Opening, width by height",
            "dimension",
            lambda f: _of(f, "width"),
            _opening,
            popup=True,
            page=True,
        ),
        Field("opening_height_m", "Height of the opening", "dimension", lambda f: _of(f, "height")),
        Field("bars", "Bars in it", "count", lambda f: _of(f, "bars"), popup=True, page=True),
        Field("flow_paths", "Made of", "count", lambda f: f.path and f.path.paths, _joined, popup=True),
        Field("arbitrary", "Place", "yes or no", lambda f: bool(f.path and f.path.arbitrary), _route, popup=True),
        Field("mapped", "Mapped water along the fence", "yes or no", lambda f: f.mapped, _width, popup=True),
    ),
    lambda result, _project: crossings(result),
)


def _of(found: Found, name: str) -> float | int | None:
    """What is known of the opening."""
    opening = found.path.opening if found.path else None
    return None if opening is None else getattr(opening, name)
