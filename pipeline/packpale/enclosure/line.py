"""What every fence line can say of itself, be it an egg that was fitted or a line that somebody drew."""

from typing import Protocol

import numpy.typing as npt
from shapely.geometry import MultiPolygon, Polygon

from packpale.enclosure.egg import Arc, Points
from packpale.site.grid import Array, Mask


class Line(Protocol):
    """A closed fence line that does not cross itself, walked clockwise seen from above. Lengths in metres."""

    @property
    def area(self) -> float:
        """Enclosed area. [m2]"""

    @property
    def perimeter(self) -> float:
        """Length in plan. [m]"""

    @property
    def breaks(self) -> Array:
        """Chainages at which a post must stand: the start, changes of arc, corners. [m]"""

    @property
    def bends(self) -> Array:
        """Those of them at which the line bends or its bend changes. [m]"""

    @property
    def corners(self) -> Array:
        """Chainages at which the direction changes at once; an egg has none. [m]"""

    @property
    def start(self) -> str:
        """Where chainage begins, in words."""

    def arcs(self) -> tuple[Arc, ...]:
        """The pieces that make up the line, in running order; a straight piece has an infinite radius."""

    def points_at(self, chainage: npt.ArrayLike) -> Points:
        """Points on the line; laps are taken off. [m]"""

    def turning(self, stations: int) -> Array | None:
        """Angle through which the line turns over the stretch of each of so many equal stations. [rad]

        Positive to the right, shape (stations,). None where the arcs tell it.
        """

    def lapped(self, stations: int) -> Array | None:
        """What strips on the inner side of its corners lose beyond the turning, by which side that is. [rad]

        Shape (stations, 2): 2 tan(t / 2) - t, added up over the turns t to the right, which have the enclosed ground
        on their inner side, and over those to the left, negative. None where no strips lie over each other.
        """

    def contains(self, x: npt.ArrayLike, y: npt.ArrayLike) -> Mask:
        """Whether points lie inside or on the line."""

    def polygon(self, chord_error: float = 0.001) -> Polygon:
        """The line as a polygon, clockwise from its start; no chord leaves the line by more than this. [m]"""

    def outline_at(self, offset: float, chord_error: float = 0.001) -> Polygon | MultiPolygon:
        """Ground within the parallel line at ``offset`` outside this one (negative: inside). [m]"""
