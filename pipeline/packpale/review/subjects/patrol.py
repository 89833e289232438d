"""The round along the fence, and the places to look at."""

from dataclasses import dataclass

from packpale.care.patrol import Check, Round
from packpale.review.subjects.field import PACK, PLOT, Field, Subject

PATROL = Subject(
    "patrol",
    "The round along a fence",
    "LineString",
    (
        PLOT,
        PACK,
        Field("offset_m", "Distance from the fence line, negative inside", "dimension", lambda w: w.offset),
        Field("length_m", "Length", "length", lambda w: w.length, popup=True, page=True),
        Field("length_on_ground_m", "Length on the ground", "length", lambda w: w.length_on_ground),
        Field("climb_m", "Climb", "length", lambda w: w.climb, popup=True, page=True),
        Field("walking_s", "Walking, without stops", "duration", lambda w: w.walking_s, popup=True, page=True),
        Field("total_s", "With stops", "duration", lambda w: w.total_s, popup=True, page=True),
    ),
)


@dataclass(frozen=True)
class OnRound:
    """A check point and the round that it is on."""

    walk: Round
    check: Check

    @property
    def pack(self) -> int:
        return self.walk.pack


PATROL_CHECKS = Subject(
    "patrol_checks",
    "A place to look at on the round",
    "Point",
    (
        PLOT,
        PACK,
        Field("check", "Number in walking order", "number of it", lambda p: p.check.number, page=True),
        Field("kind", "gate, crossing or weak place", "text", lambda p: p.check.mark.kind),
        Field("what", "Look at", "text", lambda p: p.check.mark.what, popup=True, page=True),
        Field("chainage_m", "Chainage", "length", lambda p: p.check.mark.chainage, popup=True, page=True),
        Field("along_m", "From the start of the round", "length", lambda p: p.check.along, popup=True, page=True),
        Field("leg_m", "Fence since the point before", "length", lambda p: p.check.leg, popup=True, page=True),
        Field("leg_s", "Walk from the point before", "duration", lambda p: p.check.leg_s, page=True),
    ),
)
