"""Places for dens."""

import math

from packpale.care.dens import DenSite
from packpale.review.subjects.field import BOTH, PACK, PAGE, PLOT, Field, Subject
from packpale.settings import DEN_CRITERIA
from packpale.values.quantity import Quantity

COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def faces(den: DenSite) -> str:
    """Where the entrance faces, in words."""
    if not math.isfinite(den.downhill_deg):
        return "any way, the ground is level"
    return COMPASS[round(den.downhill_deg / 45) % 8]


def _degree(name: str) -> Field:
    return Field(f"degree_{name}", f"How well it meets {name}, 0 to 1", "share", f"degrees.{name}")


def _to(key: str, kind: str, title: str) -> Field:
    return Field(key, f"Distance to {title}", "length", f"distances.{kind}", shown=BOTH)


DENS = Subject(
    "dens",
    "A place for a den",
    "Point",
    (
        PLOT,
        PACK,
        Field("den", "Den site", "number of it", "rank", shown=PAGE),
        Field("score", "Score of 100", "score", "score", lambda den: Quantity(100 * den.score, "score"), shown=BOTH),
        *(_degree(name) for name in DEN_CRITERIA),
        Field("slope_deg", "Slope", "slope", lambda den: math.degrees(math.atan(den.slope)), shown=BOTH),
        Field("faces_deg", "Entrance faces", "bearing", "downhill_deg", faces, shown=BOTH),
        Field("wetness", "Topographic wetness index", "number", "wetness"),
        Field("position_m", "Height above the ground around", "dimension", "position"),
        _to("to_fence_m", "fence", "the fence"),
        _to("to_viewpoints_m", "viewpoints", "the nearest viewing point"),
        _to("to_dwellings_m", "dwellings", "the nearest dwelling"),
        _to("to_other_pack_m", "other pack", "the other pack's fence"),
        Field("build", "Built", "text", "passage.build", shown=BOTH),
        Field("passage_m", "Passage", "dimension", "passage.length", shown=BOTH),
        Field("fall_m", "Fall of its floor to the entrance", "dimension", "passage.fall", shown=BOTH),
        Field("roof_m", "Ground over the chamber", "dimension", "passage.roof", shown=PAGE),
    ),
    "care.dens",
)
