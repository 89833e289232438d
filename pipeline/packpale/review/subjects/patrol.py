"""The round along the fence, and the places to look at."""

from collections.abc import Iterator
from dataclasses import dataclass

from shapely.geometry import LineString

from packpale.care.patrol import Check, Round
from packpale.review.model import PlotResult
from packpale.review.subjects.field import PACK, PLOT, Field, Subject, point_of
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
        Field("offset_m", "Distance from the fence line, negative inside", "dimension", lambda w: w.offset),
        Field("length_m", "Length", "length", lambda w: w.length, popup=True),
        Field("length_on_ground_m", "Length on the ground", "length", lambda w: w.length_on_ground),
        Field("climb_m", "Climb", "length", lambda w: w.climb, popup=True),
        Field("walking_s", "Walking, without stops", "duration", lambda w: w.walking_s, popup=True),
        Field("total_s", "With stops", "duration", lambda w: w.total_s, popup=True),
    ),
    lambda result, _project: _rounds(result),
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
    return (OnRound(walk, check) for walk in _rounds(result) for check in walk.checks)


def _walked(check: Check, value: float, kind: Kind) -> Value | None:
    """Nothing is walked to a point at the start of the round."""
    return Quantity(value, kind) if check.leg else None


def _rounds(result: PlotResult) -> tuple[Round, ...]:
    return result.care.rounds if result.care else ()


PATROL_CHECKS = Subject(
    "patrol_checks",
    "A place to look at on the round",
    "Point",
    (
        PLOT,
        PACK,
        Field("check", "Check", "number of it", lambda p: p.check.number, page=True),
        Field("kind", "gate, crossing or weak place", "text", lambda p: p.check.mark.kind),
        Field("what", "Look at", "text", lambda p: p.check.mark.what, popup=True, page=True),
        Field("chainage_m", "Chainage", "length", lambda p: p.check.mark.chainage, popup=True, page=True),
        Field("along_m", "From the start of the round", "length", lambda p: p.check.along, popup=True),
        Field(
            "leg_m",
            "Fence to look at on the way here",
            "length",
            lambda p: p.check.leg,
            lambda p: _walked(p.check, p.check.leg, "length"),
            popup=True,
            page=True,
        ),
        Field(
            "leg_s",
            "Walking to here",
            "duration",
            lambda p: p.check.leg_s,
            lambda p: _walked(p.check, p.check.leg_s, "duration"),
            page=True,
        ),
    ),
    checks,
    lambda p: point_of(p.check),
)
