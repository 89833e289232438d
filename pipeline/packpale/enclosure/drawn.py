"""A fence line that somebody drew or that stands already: straight pieces between its corners, nothing fitted.

Its curvature sits in its corners. A strip along the line that reaches from offset 0 to w on the outer side of a corner
of turning t sweeps a sector w^2 t / 2 round it; on the inner side the strips of both pieces overlap in a kite
w^2 tan(t / 2). The sum over all corners of the turning is one full circle, whatever the shape, so that a strip on the
outer side of a convex line has the area L w + pi w^2 exactly (Steiner), and one on the inner side
L w - w^2 sum tan(t / 2).
"""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Self

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon, Polygon

from packpale.enclosure.egg import Arc, Points
from packpale.site.grid import Array, Mask

LEAST_PIECE_M = 0.001
"""Corners nearer to each other than this are one. [m]"""
LAPPED_M = 3.0
"""Width of a strip, on one side of the line, up to which the strips of neighbouring corners are kept apart. [m]"""


@dataclass(frozen=True, eq=False)
class DrawnLine:
    """A closed line through given points. Lengths in metres; coordinates in the run's CRS.

    ``points`` is of shape (points, 2), clockwise seen from above, the first not repeated at the end; chainage begins
    at the first. A point at which the line turns by more than ``corner_deg`` [deg] is a corner and gets a post of its
    own; a curve drawn through many points has none. Raises ValueError if the points are fewer than three, run
    counter-clockwise, or make a line that crosses itself.
    """

    points: npt.NDArray[np.float64]
    corner_deg: float

    def __post_init__(self) -> None:
        shape = Polygon(self.points) if len(self.points) >= 3 else None
        if shape is None or not shape.is_valid or shape.exterior.is_ccw:
            raise ValueError(f"no such line: {len(self.points)} points do not make one simple ring, clockwise")

    @classmethod
    def from_polygon(cls, polygon: Polygon, *, corner_deg: float) -> Self:
        """The outer ring of a valid polygon, from its first corner on, clockwise.

        Points at the same place are one. Raises ValueError if fewer than three are left.
        """
        ring = np.asarray(polygon.exterior.coords, float)[:-1, :2]
        if polygon.exterior.is_ccw:
            # The other way round, the first corner still first.
            ring = np.roll(ring[::-1], 1, axis=0)
        apart = np.hypot(*(ring - np.roll(ring, 1, axis=0)).T) > LEAST_PIECE_M
        apart[0] = True
        if len(ring) > 1 and math.dist(ring[0], ring[apart][-1]) <= LEAST_PIECE_M:
            apart[np.flatnonzero(apart)[-1]] = False
        return cls(ring[apart], corner_deg)

    @cached_property
    def _pieces(self) -> npt.NDArray[np.float64]:
        """From each point to the next, shape (points, 2)."""
        return np.roll(self.points, -1, axis=0) - self.points

    @cached_property
    def _lengths(self) -> Array:
        return np.asarray(np.hypot(*self._pieces.T))

    @cached_property
    def _joints(self) -> Array:
        """Chainage of each point, and the perimeter at the end."""
        return np.concatenate([[0.0], np.cumsum(self._lengths)])

    @cached_property
    def turns(self) -> Array:
        """Angle through which the line turns at each point, positive to the right; they add up to 2 pi. [rad]"""
        dx, dy = self._pieces.T
        bx, by = np.roll(dx, 1), np.roll(dy, 1)
        return np.asarray(np.arctan2(by * dx - bx * dy, bx * dx + by * dy))

    @cached_property
    def area(self) -> float:
        """Enclosed area. [m2]"""
        return float(self.polygon().area)

    @property
    def perimeter(self) -> float:
        """Length of the line in plan. [m]"""
        return float(self._joints[-1])

    @cached_property
    def corners(self) -> Array:
        """Chainage of the points that turn by more than ``corner_deg``. [m]"""
        return self._joints[:-1][np.abs(self.turns) > math.radians(self.corner_deg)]

    @property
    def bends(self) -> Array:
        """The corners: nothing else of the line bends. [m]"""
        return self.corners

    @property
    def breaks(self) -> Array:
        """Chainage of the start and of the corners. [m]"""
        return np.union1d([0.0], self.bends)

    @property
    def start(self) -> str:
        """Where chainage begins, in words."""
        return "the first point of the line as drawn"

    def arcs(self) -> tuple[Arc, ...]:
        """The straight pieces from point to point; radius infinite, no centre (NaN), no turning within."""
        following = np.roll(self.points, -1, axis=0)
        bearing = np.degrees(np.arctan2(self._pieces[:, 0], self._pieces[:, 1])) % 360
        return tuple(
            Arc(
                name=f"straight {i + 1}",
                centre_x=math.nan,
                centre_y=math.nan,
                radius=math.inf,
                chainage=float(self._joints[i]),
                length=float(self._lengths[i]),
                start_x=float(self.points[i, 0]),
                start_y=float(self.points[i, 1]),
                end_x=float(following[i, 0]),
                end_y=float(following[i, 1]),
                start_bearing_deg=float(bearing[i]),
                end_bearing_deg=float(bearing[i]),
                turn_deg=0.0,
            )
            for i in range(len(self.points))
        )

    def points_at(self, chainage: npt.ArrayLike) -> Points:
        """Points on the line by chainage; at a corner, direction and normal are those of the piece that begins. [m]"""
        s = np.mod(np.asarray(chainage, float), self.perimeter)
        piece = np.clip(np.searchsorted(self._joints, s, side="right") - 1, 0, len(self.points) - 1)
        along = self._pieces[piece] / self._lengths[piece][..., None]
        point = self.points[piece] + along * (s - self._joints[piece])[..., None]
        return Points(
            x=point[..., 0],
            y=point[..., 1],
            bearing_deg=np.mod(np.degrees(np.arctan2(along[..., 0], along[..., 1])), 360.0),
            # Clockwise: the enclosed ground lies to the right.
            outward=np.stack([-along[..., 1], along[..., 0]], axis=-1),
            arc=piece.astype(np.int32),
            radius=np.full(s.shape, math.inf),
        )

    def turning(self, stations: int) -> Array:
        """Turning of the points within the stretch centred on each of so many equal stations, in all 2 pi. [rad]"""
        return np.bincount(self._station(stations), weights=self.turns, minlength=stations).astype(float)

    def _station(self, stations: int) -> npt.NDArray[np.int64]:
        """Which of so many equal stations each point belongs to."""
        step = self.perimeter / stations
        return np.asarray(np.floor(self._joints[:-1] / step + 0.5).astype(np.int64) % stations)

    def lapped(self, stations: int) -> Array:
        """What strips on the inner side of the points lose beyond the turning, shape (stations, 2). [rad]

        2 tan(t / 2) - t of turns t to the right, and of those to the left. It grows no further once the kite of a
        strip LAPPED_M wide would reach the middle of a piece, where that of the next point may begin: beyond, volumes
        are too large rather than too small.
        """
        shorter = np.minimum(self._lengths, np.roll(self._lengths, 1))
        t = np.minimum(np.abs(self.turns), 2 * np.arctan(shorter / 2 / LAPPED_M))
        lost = np.sign(self.turns) * (2 * np.tan(t / 2) - t)
        both = [
            np.bincount(self._station(stations), weights=np.where(of, lost, 0.0), minlength=stations)
            for of in (self.turns > 0, self.turns < 0)
        ]
        return np.column_stack(both)

    def contains(self, x: npt.ArrayLike, y: npt.ArrayLike) -> Mask:
        """Whether points lie inside or on the line."""
        return np.asarray(shapely.intersects_xy(self.polygon(), x, y), bool)

    def polygon(self, chord_error: float = 0.001) -> Polygon:
        """The line itself, clockwise from its first point."""
        return Polygon(self.points)

    def outline_at(self, offset: float, chord_error: float = 0.001) -> Polygon | MultiPolygon:
        """All ground within ``offset`` of the enclosed ground; negative: enclosed and farther than that inside. [m]

        Outside, corners are rounded with chords that leave their arc by at most ``chord_error`` [m]; inside it may
        fall into several parts, or vanish.
        """
        # Sagitta of a chord over the angle a: radius (1 - cos(a / 2)).
        widest = 4 * math.asin(math.sqrt(min(chord_error / (2 * abs(offset)), 0.5))) if offset else math.pi
        return self.polygon().buffer(offset, quad_segs=max(math.ceil(math.pi / 2 / widest), 4))
