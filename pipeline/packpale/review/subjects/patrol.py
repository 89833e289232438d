"""The round along the fence, and the places to look at."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from shapely.geometry import LineString

from packpale.care.patrol import Check, Round
from packpale.review.model import PlotResult
from packpale.review.subjects.field import BOTH, PACK, PAGE, PLOT, POPUP, Field, Subject, point_of
from packpale.settings import Project
from packpale.values.notes import Value
from packpale.values.quantity import Kind, Quantity

PATROL = Subject(
    "patrol",
    "The round along a fence",
    "LineString",
    (
        PLOT,
        PACK,
        Field("offset_m", "Distance from the fence line, negative inside", "dimension", "offset"),
        Field("length_m", "Length", "length", "length", shown=POPUP),
        Field("length_on_ground_m", "Length on the ground", "length", "length_on_ground"),
        Field("climb_m", "Climb", "length", "climb", shown=POPUP),
        Field("walking_s", "Walking, without stops", "duration", "walking_s", shown=POPUP),
        Field("total_s", "With stops", "duration", "total_s", shown=POPUP),
    ),
    "care.rounds",
    lambda walk: LineString(walk.path),
)


@dataclass(frozen=True)
class OnRound:
    """A check point and the round that it is on."""

    walk: Round
    check: Check

    @property
    def pack(self) -> int:
        return self.walk.pack


def checks(result: PlotResult, _project: Project) -> Iterator[OnRound]:
    """The check points of all rounds, in walking order."""
    rounds = result.care.rounds if result.care else ()
    return (OnRound(walk, check) for walk in rounds for check in walk.checks)


def _walked(kind: Kind) -> Callable[[OnRound], Value | None]:
    """Nothing is walked to a point at the start of the round."""
    name = "leg" if kind == "length" else "leg_s"
    return lambda p: Quantity(getattr(p.check, name), kind) if p.check.leg else None


PATROL_CHECKS = Subject(
    "patrol_checks",
    "A place to look at on the round",
    "Point",
    (
        PLOT,
        PACK,
        Field("check", "Check", "number of it", "check.number", shown=PAGE),
        Field("kind", "gate, crossing or weak place", "text", "check.mark.kind"),
        Field("what", "Look at", "text", "check.mark.what", shown=BOTH),
        Field("chainage_m", "Chainage", "length", "check.mark.chainage", shown=BOTH),
        Field("along_m", "From the start of the round", "length", "check.along", shown=POPUP),
        Field("leg_m", "Fence to look at on the way here", "length", "check.leg", _walked("length"), shown=BOTH),
        Field("leg_s", "Walking to here", "duration", "check.leg_s", _walked("duration"), shown=PAGE),
    ),
    checks,
    lambda p: point_of(p.check),
)
