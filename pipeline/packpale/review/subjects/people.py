"""Howls, viewing points, and what two packs have to do with each other."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from shapely.geometry import LineString, Polygon

from packpale.care.howl import Heard, Reach
from packpale.care.neighbours import Neighbours
from packpale.review.model import PlotResult
from packpale.review.subjects.field import BOTH, PACK, PAGE, PLOT, POPUP, Field, Subject
from packpale.settings import Project
from packpale.values.notes import Value, phrase
from packpale.values.quantity import Kind, Quantity, given

LEVELS = ("low", "likely", "high")
"""Source levels of a howl, in the order of the settings."""
NOT_SEEN = "not computed: beyond the elevation model"


@dataclass(frozen=True)
class Reached:
    """Ground within which a pack is heard, for one source level."""

    reach: Reach
    level: str
    source_level: float
    """At 1 m. [dB]"""

    @property
    def pack(self) -> int:
        return self.reach.pack

    @property
    def flat_share(self) -> float:
        """Part of the bearings on ground that was taken as flat."""
        return float(1 - self.reach.surveyed[LEVELS.index(self.level)].mean())

    @property
    def radius(self) -> np.ndarray:
        return np.asarray(self.reach.radius[LEVELS.index(self.level)])

    @property
    def outline(self) -> Polygon:
        angle, r = np.radians(self.reach.bearing_deg), np.maximum(self.radius, 1.0)
        return Polygon(np.column_stack([self.reach.x + r * np.sin(angle), self.reach.y + r * np.cos(angle)]))


def reached(result: PlotResult, project: Project) -> Iterator[Reached]:
    """Of each pack, for each source level."""
    howl = result.care.howl if result.care else None
    for reach in howl.reach if howl else ():
        for level, source in zip(LEVELS, project.howl.source_level_db, strict=True):
            yield Reached(reach, level, source)


def _source(item: Reached) -> Value:
    level = given(item.source_level, "level")
    return phrase("{level} at {away} ({name}, assumed)", level=level, away=given(1.0, "dimension"), name=item.level)


def _between(sound: Heard) -> Value:
    return "surveyed" if sound.surveyed else "taken as flat beyond the elevation model"


def _both(name: str, kind: Kind) -> Callable[[Neighbours], Value]:
    """A figure of the first pack towards the second, and back."""
    return lambda n: tuple(Quantity(v, kind) for v in getattr(n, name))


HOWL_REACH = Subject(
    "howl_reach",
    "Ground within which people hear a pack",
    "Polygon",
    (
        PLOT,
        PACK,
        Field("level", "low, likely or high source level", "text", "level"),
        Field("source_level_db", "Source level at 1 m", "level", "source_level", _source, shown=POPUP),
        Field("nearest_m", "Nearest that it ends", "distance", lambda r: float(r.radius.min()), shown=POPUP),
        Field("farthest_m", "Farthest that it reaches", "distance", lambda r: float(r.radius.max()), shown=POPUP),
        Field("flat_share", "Part of the bearings on assumed flat ground", "share", "flat_share", shown=POPUP),
    ),
    reached,
    lambda r: r.outline,
)
HOWL_LEVELS = Subject(
    "howl_levels",
    "A howl as it arrives at a dwelling or another pack",
    "Point",
    (
        PLOT,
        Field("kind", "Heard at", "text", "kind", lambda h: f"{h.kind} {h.number}", shown=PAGE),
        Field("number", "Its number", "number of it", "number"),
        Field("pack", "Howl of pack", "number of it", "pack", shown=PAGE),
        Field("distance_m", "Distance", "distance", "distance", shown=BOTH),
        Field("level_db", "Level", "level", "level", shown=BOTH),
        Field("excess_db", "Above the background", "level", "excess", shown=BOTH),
        Field("screened_db", "Taken by ridges", "level", "screened", shown=BOTH),
        Field("leaves_db", "Taken by leaves", "level", "leaves", shown=BOTH),
        Field("audible", "Heard", "yes or no", lambda h: h.excess >= 0, shown=BOTH),
        Field("surveyed", "Ground in between", "yes or no", "surveyed", _between, shown=BOTH),
    ),
    "care.howl.heard",
)
VIEWPOINTS = Subject(
    "viewpoints",
    "A viewing point",
    "Point",
    (
        PLOT,
        Field("viewpoint", "Viewing point", "number of it", "number", shown=PAGE),
        Field("ground_m", "Ground level", "dimension", "ground"),
        Field("pack", "Nearest pack", "number of it", "pack", shown=BOTH),
        Field("fence_distance_m", "Distance to its fence", "length", "fence_distance", shown=BOTH),
        Field("keeps_off", "Keeps the stand-off", "yes or no", "keeps_off", shown=BOTH),
        Field("seen_share", "Sees of the ground inside", "share", "seen_share", shown=BOTH, unknown=NOT_SEEN),
    ),
    "care.viewing.viewpoints",
)
NEIGHBOURS = Subject(
    "neighbours",
    "The least gap between two packs",
    "LineString",
    (
        PLOT,
        Field(
            "pack",
            "Packs",
            "number of it",
            lambda n: n.packs[0],
            lambda n: f"{n.packs[0]} and {n.packs[1]}",
            shown=PAGE,
        ),
        Field("other_pack", "The other pack", "number of it", lambda n: n.packs[1]),
        Field("gap_m", "Least gap between the fences", "dimension", "gap", shown=BOTH),
        Field("between", "What it is", "text", "between", shown=BOTH),
        Field("keeps_separation", "Keeps the separation set", "yes or no", "keeps_separation", shown=BOTH),
        Field("facing_m", "Fence line that faces the other", "length", "facing", shown=PAGE),
        Field(
            "sees_share",
            "Seen of the second by the first, and back",
            "share",
            lambda n: n.sees[0],
            _both("sees", "share"),
            shown=BOTH,
        ),
        Field("seen_share", "Part of its ground that the other sees", "share", lambda n: n.sees[1]),
        Field(
            "excess_db",
            "Howl of the first at the second, and back, above the background",
            "level",
            lambda n: n.excess[0],
            _both("excess", "level"),
            shown=PAGE,
        ),
        Field(
            "back_excess_db", "Howl of the second at the first, above the background", "level", lambda n: n.excess[1]
        ),
        Field(
            "refuge_share", "Refuge from people", "share", lambda n: n.refuge[0], _both("refuge", "share"), shown=PAGE
        ),
        Field("other_refuge_share", "Refuge from people of the other pack", "share", lambda n: n.refuge[1]),
    ),
    "care.neighbours",
    lambda n: LineString(n.ends),
)
