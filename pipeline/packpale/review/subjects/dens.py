"""Places for dens."""

import math

from packpale.care.dens import DenSite
from packpale.review.subjects.field import PACK, PLOT, Field, Subject
from packpale.settings import DEN_CRITERIA
from packpale.values.quantity import Quantity

COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def faces(den: DenSite) -> str:
    """Where the entrance faces, in words."""
    if not math.isfinite(den.downhill_deg):
        return "any way, the ground is level"
    return COMPASS[round(den.downhill_deg / 45) % 8]


def _degree(name: str) -> Field:
    return Field(f"degree_{name}", f"How well it meets {name}, 0 to 1", "share", lambda den: den.degrees.get(name))


def _to(key: str, kind: str, title: str) -> Field:
    return Field(key, f"Distance to {title}", "length", lambda den: den.distances.get(kind), popup=True, page=True)


DENS = Subject(
    "dens",
    "A place for a den",
    "Point",
    (
        PLOT,
        PACK,
        Field("den", "Den site", "number of it", lambda den: den.rank, page=True),
        Field(
            "score",
            "Score of 100",
            "score",
            lambda den: den.score,
            lambda den: Quantity(100 * den.score, "score"),
            popup=True,
            page=True,
        ),
        *(_degree(name) for name in DEN_CRITERIA),
        Field("slope_deg", "Slope", "slope", lambda den: math.degrees(math.atan(den.slope)), popup=True, page=True),
        Field(
            "faces_deg",
            "Entrance faces",
            "bearing",
            lambda den: den.downhill_deg if math.isfinite(den.downhill_deg) else None,
            faces,
            popup=True,
            page=True,
        ),
        Field("wetness", "Topographic wetness index", "number", lambda den: den.wetness),
        Field("position_m", "Height above the ground around", "dimension", lambda den: den.position),
        _to("to_fence_m", "fence", "the fence"),
        _to("to_viewpoints_m", "viewpoints", "the nearest viewing point"),
        _to("to_dwellings_m", "dwellings", "the nearest dwelling"),
        _to("to_other_pack_m", "other pack", "the other pack's fence"),
        Field("build", "Built", "text", lambda den: den.passage.build, popup=True, page=True),
        Field("passage_m", "Passage", "dimension", lambda den: den.passage.length, popup=True, page=True),
        Field(
            "fall_m",
            "Fall of its floor to the entrance",
            "dimension",
            lambda den: den.passage.fall,
            popup=True,
            page=True,
        ),
        Field("roof_m", "Ground over the chamber", "dimension", lambda den: den.passage.roof, page=True),
    ),
    lambda result, _project: result.care.dens if result.care else (),
)
