"""Trees, boulders and other things that stand near a fence."""

import math

from packpale.care.aids import ClimbingAid
from packpale.review.subjects.field import BOTH, PACK, PAGE, PLOT, Field, Subject
from packpale.values.notes import Value, phrase
from packpale.values.quantity import Quantity


def _away(aid: ClimbingAid) -> Value:
    if aid.side == "on the line":
        return aid.side
    return phrase("{distance} {side}", distance=Quantity(aid.distance, "dimension"), side=aid.side)


def _left(aid: ClimbingAid) -> Value:
    if math.isnan(aid.left):
        return "not known"
    return Quantity(aid.left, "dimension") if aid.left > 0 else "none"


CLIMBING_AIDS = Subject(
    "climbing_aids",
    "A thing within a leap of the fence",
    "Point",
    (
        PLOT,
        PACK,
        Field("number", "Thing", "number of it", "number", shown=PAGE),
        Field("side", "outside, inside or on the line", "text", "side"),
        Field("chainage_m", "Chainage", "length", "chainage", shown=BOTH),
        Field("distance_m", "Distance to the fence", "dimension", "distance", _away, shown=BOTH),
        Field("height_m", "Height", "dimension", "height", shown=BOTH, unknown="not given"),
        Field("left_m", "Left of the fence's height", "dimension", "left", _left, shown=BOTH),
    ),
    "care.aids",
)
