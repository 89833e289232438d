"""Where water crosses the fence."""

import math
from dataclasses import dataclass

from packpale.care.crossings import Crossing, Opening
from packpale.care.streams import StreamCrossing
from packpale.review.model import PlotResult
from packpale.review.subjects.field import BOTH, PACK, PLOT, POPUP, Field, Subject
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
    def opening(self) -> Opening | None:
        return self.path.opening if self.path else None

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


def _length(found: Found) -> Value | None:
    return _least(found, Quantity(found.path.path_length, "length")) if found.path else None


def _time(found: Found) -> Value | None:
    return _least(found, Quantity(60 * found.path.concentration_min, "duration")) if found.path else None


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


def _direction(found: Found) -> str | None:
    return None if found.path is None else "in" if found.path.inward else "out"


def _flows(found: Found) -> Value | None:
    return {"in": "into the enclosure", "out": "out of the enclosure"}.get(_direction(found) or "")


def _opening(found: Found) -> Value | None:
    if found.opening is None:
        return None
    width, height = (Quantity(v, "dimension") for v in (found.opening.width, found.opening.height))
    return phrase("{width} by {height}", width=width, height=height)


CROSSINGS = Subject(
    "crossings",
    "A place where water crosses the fence; figures are empty where only the map shows it",
    "Point",
    (
        PLOT,
        PACK,
        Field("crossing", "Number along the line", "number of it", "path.number"),
        Field("chainage_m", "Chainage", "length", "chainage", shown=BOTH),
        Field("kind", "Kind", "text", "kind", shown=BOTH),
        Field("direction", "Water flows", "text", _direction, _flows, shown=BOTH),
        Field("contributing_area_m2", "Ground that drains here", "area", "path.area", _area, shown=BOTH),
        Field(
            "is_lower_bound", "Whether more may drain here", "yes or no", lambda f: not f.path or f.path.is_lower_bound
        ),
        Field("flow_path_m", "Longest flow path", "length", "path.path_length", _length, shown=BOTH),
        Field("flow_path_slope", "Its fall over its length", "number", "path.path_slope"),
        Field("concentration_min", "Time of concentration", "duration", "path.concentration_min", _time, shown=BOTH),
        Field("bed_slope", "Slope of the bed", "number", "path.bed_slope"),
        Field("intensity_mm_per_h", "Rainfall intensity", "rain", "opening.intensity_mm_per_h", shown=POPUP),
        Field("design_flow_m3_per_s", "Design flow", "discharge", "opening.flow", _flow, shown=BOTH),
        Field("opening_width_m", "Opening, width by height", "dimension", "opening.width", _opening, shown=BOTH),
        Field("opening_height_m", "Height of the opening", "dimension", "opening.height"),
        Field("bars", "Bars in it", "count", "opening.bars", shown=BOTH),
        Field("flow_paths", "Made of", "count", "path.paths", _joined, shown=POPUP),
        Field("arbitrary", "Place", "yes or no", lambda f: bool(f.path and f.path.arbitrary), _route, shown=POPUP),
        Field("mapped", "Mapped water along the fence", "yes or no", "mapped", _width, shown=POPUP),
    ),
    lambda result, _project: crossings(result),
)
