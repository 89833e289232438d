"""The ground of a plot as the search for a fence line sees it: where the enclosure may lie, and where the line may not.

Ground that a limit takes is of two sorts. No-go ground may lie neither inside the fence nor in the strip outside it.
Soft ground may lie inside; where the cross-section of the line touches it, the line is over a limit (over_limits.py).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from shapely.geometry import MultiPolygon


@dataclass(frozen=True)
class LineGround:
    """What a fence line has to do with on one plot. Lengths in metres, coordinates in the run's CRS.

    Raises ValueError if a strip is negative or not finite.
    """

    enclosable: MultiPolygon
    """The plot less all no-go ground: the enclosure and the strip outside it have to lie in it."""
    soft: Mapping[str, MultiPolygon]
    """By kind of limit, the ground it takes that may lie inside the fence. Kinds may overlap."""
    inside_strip: float
    """How far the cross-section of the line reaches to the inside."""
    outside_strip: float
    """How far it reaches to the outside, and how far the line stays from no-go ground."""

    def __post_init__(self) -> None:
        if not (self.inside_strip >= 0 and self.outside_strip >= 0):
            raise ValueError(f"no such strips: {self.inside_strip} m inside and {self.outside_strip} m outside")
        if not math.isfinite(self.inside_strip + self.outside_strip):
            raise ValueError("the strips of the fence line must be finite")
