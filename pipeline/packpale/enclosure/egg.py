"""The egg: four tangent circular arcs, symmetric about the axis. Exact geometry only.

In the egg's own frame the centre O of the big-end circle is the origin, u runs along the axis towards the small end and
v to the left of it. With R the big radius, r the small one and d the spacing of their centres, the flank circles

    F = (R^2 + d^2 - r^2) / (2 (R - r)),   centres (0, -(F - R)) and (0, F - R)                 (1)

touch the big-end circle at (0, +-R) and the small-end circle from outside, because the centre of a flank lies at
F - r from the small centre: d^2 + (F - R)^2 = (F - r)^2. The flank turns through phi = atan2(d, F - R), the small end
through pi - 2 phi, the big end through pi: two right angles on either side of the axis, a full circle in all.
"""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple, Self

import numpy as np
import numpy.typing as npt

from packpale.site.grid import Array

if TYPE_CHECKING:
    from shapely.geometry import Polygon


@dataclass(frozen=True)
class Arc:
    """One circular arc of the fence line, walked clockwise seen from above. Lengths in metres."""

    name: str
    """"big end", "flank 1", "small end", "flank 2", "big end"; flank 1 lies to the left of the axis for somebody who
    looks from the big end to the small end."""
    centre_x: float
    centre_y: float
    radius: float
    chainage: float
    """Where the arc starts, from the tip of the big end."""
    length: float
    start_x: float
    start_y: float
    end_x: float
    end_y: float
    start_bearing_deg: float
    """Direction of travel at the start, clockwise from grid north. [deg]"""
    end_bearing_deg: float
    turn_deg: float
    """Angle through which the line turns, always to the right. [deg]"""


class Points(NamedTuple):
    """Points on a fence line; arrays of one shape, ``outward`` with a last axis of two more."""

    x: Array
    y: Array
    bearing_deg: Array
    """Direction of travel, clockwise from grid north, 0 to 360. [deg]"""
    outward: npt.NDArray[np.float64]
    """Unit normal away from the enclosed ground."""
    arc: npt.NDArray[np.integer[Any]]
    """Index into arcs()."""
    radius: Array
    """Radius of that arc; infinite on a straight piece. [m]"""


@dataclass(frozen=True)
class Egg:
    """An egg in plan. Lengths in metres; coordinates in the run's CRS.

    ``big_x, big_y`` is the centre O of the big-end circle; ``axis_bearing_deg`` points from the big end to the small
    end, clockwise from grid north. Raises ValueError unless 0 < small_radius < big_radius and
    centre_spacing > big_radius - small_radius, all finite.
    """

    big_x: float
    big_y: float
    axis_bearing_deg: float
    big_radius: float
    small_radius: float
    centre_spacing: float

    def __post_init__(self) -> None:
        R, r, d = self.big_radius, self.small_radius, self.centre_spacing
        if not all(map(math.isfinite, (self.big_x, self.big_y, self.axis_bearing_deg, R, r, d))):
            raise ValueError(f"no such egg: {self} holds a number that is not finite")
        if not 0 < r < R:
            raise ValueError(f"no such egg: small_radius = {r} m must lie between 0 and big_radius = {R} m")
        if not d > R - r:
            raise ValueError(f"no such egg: centre_spacing = {d} m must exceed big_radius - small_radius = {R - r} m")

    @classmethod
    def from_shape(
        cls,
        taper: float,
        aspect: float,
        *,
        big_x: float = 0.0,
        big_y: float = 0.0,
        axis_bearing_deg: float = 0.0,
        big_radius: float | None = None,
        area: float | None = None,
    ) -> Self:
        """Egg of a given taper (r / R) and aspect (length / width), sized by either its big radius or its area [m2].

        Raises ValueError if both or neither of the two sizes are given, or the shape is none (0 < taper < 1 < aspect).
        """
        if (big_radius is None) == (area is None):
            raise ValueError("give either big_radius or area")
        if not (0 < taper < 1 < aspect):
            raise ValueError(f"no such egg: {taper=} must lie between 0 and 1 and {aspect=} above 1")
        if big_radius is None:
            wanted = float(area or 0.0)
            if not wanted > 0:
                raise ValueError(f"area = {area} m2 must be positive")
            unit = cls(0.0, 0.0, 0.0, 1.0, taper, 2 * aspect - 1 - taper)
            big_radius = math.sqrt(wanted / unit.area)
        spacing = (2 * aspect - 1 - taper) * big_radius
        return cls(big_x, big_y, axis_bearing_deg, big_radius, taper * big_radius, spacing)

    @cached_property
    def flank_radius(self) -> float:
        """F, by (1). [m]"""
        R, r, d = self.big_radius, self.small_radius, self.centre_spacing
        return (d * d + (R - r) * (R + r)) / (2 * (R - r))

    @cached_property
    def flank_turn(self) -> float:
        """Angle phi through which each flank turns. [rad]"""
        R, r, d = self.big_radius, self.small_radius, self.centre_spacing
        # F - R, written so that it stays positive down to the last digit.
        return math.atan2(d, (d - (R - r)) * (d + (R - r)) / (2 * (R - r)))

    @property
    def length(self) -> float:
        """Along the axis, tip to tip. [m]"""
        return self.big_radius + self.centre_spacing + self.small_radius

    @property
    def width(self) -> float:
        """Greatest width across the axis. [m]"""
        return 2 * self.big_radius

    @property
    def taper(self) -> float:
        """Small radius over big radius."""
        return self.small_radius / self.big_radius

    @property
    def aspect(self) -> float:
        """Length over width."""
        return self.length / self.width

    @cached_property
    def area(self) -> float:
        """Enclosed area. [m2]

        Half disc, two flank sectors less the triangles between their centres, and the small sector::

            A = pi R^2 / 2 + phi F^2 - c^2 sin(phi) cos(phi) + (pi / 2 - phi) r^2,   c = F - r

        with phi F^2 - c^2 sin phi cos phi = phi r (2 F - r) + c^2 (2 phi - sin 2 phi) / 2, which keeps its digits when
        the flanks are nearly straight.
        """
        R, r, F, phi = self.big_radius, self.small_radius, self.flank_radius, self.flank_turn
        flanks = phi * r * (2 * F - r) + (F - r) ** 2 * _angle_minus_sine(2 * phi) / 2
        return math.pi * R * R / 2 + flanks + (math.pi / 2 - phi) * r * r

    @cached_property
    def perimeter(self) -> float:
        """Length of the line in plan. [m]"""
        return float(self._joints()[-1])

    @property
    def breaks(self) -> Array:
        """Chainage of the tip of the big end, where the line starts, and of the four changes of arc. [m]"""
        return self._joints()[:5]

    @property
    def bends(self) -> Array:
        """Chainage of the four changes of arc. [m]"""
        return self._joints()[1:5]

    @property
    def corners(self) -> Array:
        """None: the direction never changes at once."""
        return np.empty(0)

    @property
    def start(self) -> str:
        """Where chainage begins, in words."""
        return "the tip of the big end"

    def turning(self, stations: int) -> None:
        """Nothing of its own: the arcs tell how the line turns."""

    def lapped(self, stations: int) -> None:
        """None: an egg has no corners."""

    def arcs(self) -> tuple[Arc, ...]:
        """Five arcs in running order from the tip of the big end.

        Its first half, flank 1, the small end, flank 2, the second half of the big end.
        """
        joints = self._joints()
        ends = self.points_at(np.minimum(joints, self.perimeter))
        radii, turns = self._radii(), self._turns()
        sin, cos = self._axis()
        names = ("big end", "flank 1", "small end", "flank 2", "big end")
        out = []
        bearing = self.axis_bearing_deg - 90
        for i, (u, v) in enumerate(self._centres()):
            turn = math.degrees(turns[i])
            j = (i + 1) % 5
            out.append(
                Arc(
                    name=names[i],
                    centre_x=self.big_x + u * sin - v * cos,
                    centre_y=self.big_y + u * cos + v * sin,
                    radius=float(radii[i]),
                    chainage=float(joints[i]),
                    length=float(joints[i + 1] - joints[i]),
                    start_x=float(ends.x[i]),
                    start_y=float(ends.y[i]),
                    end_x=float(ends.x[j]),
                    end_y=float(ends.y[j]),
                    start_bearing_deg=bearing % 360,
                    end_bearing_deg=(bearing + turn) % 360,
                    turn_deg=turn,
                )
            )
            bearing += turn
        return tuple(out)

    def points_at(self, chainage: npt.ArrayLike) -> Points:
        """Points on the line by chainage from the tip of the big end, clockwise; laps are taken off. [m]"""
        joints, radii, turns = self._joints(), self._radii(), self._turns()
        s = np.mod(np.asarray(chainage, float), self.perimeter)
        arc = np.clip(np.searchsorted(joints, s, side="right") - 1, 0, 4)
        start = np.concatenate([[0.0], np.cumsum(turns)])[:5]
        within = (s - joints[arc]) / radii[arc]
        # Direction of the outward normal in the egg's frame, counter-clockwise from the axis.
        normal = math.pi - start[arc] - within
        nu, nv = np.cos(normal), np.sin(normal)
        centre = np.array(self._centres())
        u = centre[arc, 0] + radii[arc] * nu
        v = centre[arc, 1] + radii[arc] * nv
        # A flank's centre may lie far away: there the angle is taken from the foot beside O instead.
        flank = (arc == 1) | (arc == 3)
        side = np.where(arc == 1, 1.0, -1.0)
        theta = np.where(arc == 1, within, self.flank_turn - within)
        F, R = self.flank_radius, self.big_radius
        u = np.where(flank, F * np.sin(theta), u)
        v = np.where(flank, side * (R - 2 * F * np.sin(theta / 2) ** 2), v)
        sin, cos = self._axis()
        outward = np.stack([nu * sin - nv * cos, nu * cos + nv * sin], axis=-1)
        bearing = np.mod(self.axis_bearing_deg + 90 - np.degrees(normal), 360.0)
        return Points(
            x=self.big_x + u * sin - v * cos,
            y=self.big_y + u * cos + v * sin,
            bearing_deg=bearing,
            outward=outward,
            arc=arc.astype(np.int8),
            radius=radii[arc],
        )

    def parallel(self, offset: float) -> "Egg":
        """The egg at ``offset`` outside this one (negative: inside): all radii plus the offset, the same centres. [m]

        Raises ValueError where the small end would vanish.
        """
        if not self.small_radius + offset > 0:
            raise ValueError(
                f"no parallel curve at {offset} m: the small end has a radius of only {self.small_radius} m"
            )
        return Egg(
            self.big_x,
            self.big_y,
            self.axis_bearing_deg,
            self.big_radius + offset,
            self.small_radius + offset,
            self.centre_spacing,
        )

    def outline_at(self, offset: float, chord_error: float = 0.001) -> "Polygon":
        """The parallel at ``offset`` outside this egg as a polygon; negative: inside. [m]

        Raises ValueError where the small end would vanish.
        """
        return self.parallel(offset).polygon(chord_error)

    def distance(self, x: npt.ArrayLike, y: npt.ArrayLike) -> Array:
        """Distance of points to the line, negative inside. [m]

        The egg is the intersection of its supporting half planes, so the signed distance of p is the largest of
        p n - h(n) over all directions n. On each arc this is stationary where n points from the arc's centre to p; the
        largest among the arcs whose normals include that direction is the answer.
        """
        u, v = self._local(x, y)
        v = np.abs(v)
        R, r, d, F, phi = (
            self.big_radius,
            self.small_radius,
            self.centre_spacing,
            self.flank_radius,
            self.flank_turn,
        )
        sin, cos = math.sin(phi), math.cos(phi)
        to_small_u = u - d
        big = np.where(u <= 0, np.hypot(u, v) - R, -np.inf)
        small_valid = to_small_u * cos >= v * sin
        at_small = (to_small_u == 0) & (v == 0)
        small = np.where(small_valid | at_small, np.hypot(to_small_u, v) - r, -np.inf)
        w = v + (F - R)
        flank_valid = (u >= 0) & (u * cos <= w * sin)
        # The difference of two long radii, without losing the digits.
        flank = (u * u + v * v - R * R + 2 * (v - R) * (F - R)) / (np.hypot(u, w) + F)
        return np.maximum(np.maximum(big, small), np.where(flank_valid, flank, -np.inf))

    def support(self, nx: npt.ArrayLike, ny: npt.ArrayLike) -> Array:
        """Support function about O: how far the egg reaches from O in the unit direction (nx, ny), in x and y. [m]"""
        sin, cos = self._axis()
        nx, ny = np.asarray(nx, float), np.asarray(ny, float)
        nu, nv = nx * sin + ny * cos, np.abs(ny * sin - nx * cos)
        R, F, phi = self.big_radius, self.flank_radius, self.flank_turn
        small = self.small_radius + self.centre_spacing * nu
        # F - (F - R) nv with 1 - nv = nu^2 / (1 + nv), which keeps its digits when the flanks are nearly straight.
        flank = R + (F - R) * nu * nu / (1 + nv)
        return np.where(nu <= 0, R, np.where(nu >= math.sin(phi), small, flank))

    def facing(self, nx: npt.ArrayLike, ny: npt.ArrayLike) -> Array:
        """Chainage of the point whose outward normal is the unit direction (nx, ny), in x and y. [m]"""
        sin, cos = self._axis()
        nx, ny = np.asarray(nx, float), np.asarray(ny, float)
        return self._chainage(nx * sin + ny * cos, ny * sin - nx * cos)

    def nearest(self, x: npt.ArrayLike, y: npt.ArrayLike) -> Array:
        """Chainage of the point of the line that is nearest to points outside it or on it. [m]"""
        u, v = self._local(x, y)
        aside, phi = np.abs(v), self.flank_turn
        small = (u - self.centre_spacing) * math.cos(phi) >= aside * math.sin(phi)
        flank = (u > 0) & ~small
        # The normal at the nearest point comes from the centre of the arc in whose sector the point lies.
        nu = np.where(small, u - self.centre_spacing, u)
        nv = np.where(flank, aside + (self.flank_radius - self.big_radius), aside)
        return self._chainage(nu, np.copysign(nv, v))

    def _chainage(self, nu: Array, nv: Array) -> Array:
        """Chainage by the direction of the outward normal in the egg's own frame, of any length. [m]"""
        (_, a, b, *_), (R, F, r, *_) = self._joints(), self._radii()
        turn = math.pi - np.arctan2(np.abs(nv), nu)
        flank, small = turn - math.pi / 2, turn - math.pi / 2 - self.flank_turn
        half = np.where(flank <= 0, R * turn, np.where(small <= 0, a + F * flank, b + r * small))
        return np.asarray(np.where(nv >= 0, half, np.mod(self.perimeter - half, self.perimeter)))

    def contains(self, x: npt.ArrayLike, y: npt.ArrayLike) -> npt.NDArray[np.bool_]:
        """Whether points lie inside or on the line."""
        return self.distance(x, y) <= 0

    def polygon(self, chord_error: float = 0.001) -> "Polygon":
        """Inscribed polygon, clockwise from the tip of the big end; no chord leaves its arc by more than this. [m]

        Raises ValueError if the chord error is not positive.
        """
        from shapely.geometry import Polygon

        if not chord_error > 0:
            raise ValueError(f"chord_error = {chord_error} m must be positive")
        joints, pieces = self._joints(), []
        for i, (radius, turn) in enumerate(zip(self._radii(), self._turns(), strict=True)):
            # Sagitta of a chord over the angle a: radius (1 - cos(a / 2)).
            widest = 4 * math.asin(math.sqrt(min(chord_error / (2 * radius), 1.0)))
            n = max(math.ceil(turn / widest), 4)
            pieces.append(np.linspace(joints[i], joints[i + 1], n, endpoint=False))
        points = self.points_at(np.concatenate(pieces))
        return Polygon(np.column_stack([points.x, points.y]))

    def _axis(self) -> tuple[float, float]:
        """Sine and cosine of the axis bearing: the axis is (sin, cos), its left is (-cos, sin)."""
        bearing = math.radians(self.axis_bearing_deg)
        return math.sin(bearing), math.cos(bearing)

    def _local(self, x: npt.ArrayLike, y: npt.ArrayLike) -> tuple[Array, Array]:
        sin, cos = self._axis()
        dx, dy = np.asarray(x, float) - self.big_x, np.asarray(y, float) - self.big_y
        return dx * sin + dy * cos, dy * sin - dx * cos

    def _centres(self) -> tuple[tuple[float, float], ...]:
        lift = self.flank_radius - self.big_radius
        return (0.0, 0.0), (0.0, -lift), (self.centre_spacing, 0.0), (0.0, lift), (0.0, 0.0)

    def _radii(self) -> Array:
        R, F, r = self.big_radius, self.flank_radius, self.small_radius
        return np.array([R, F, r, F, R])

    def _turns(self) -> Array:
        phi = self.flank_turn
        return np.array([math.pi / 2, phi, math.pi - 2 * phi, phi, math.pi / 2])

    def _joints(self) -> Array:
        return np.concatenate([[0.0], np.cumsum(self._radii() * self._turns())])


def _angle_minus_sine(angle: float) -> float:
    """Angle less its sine, to full relative precision for small angles too."""
    if angle > 0.5:
        return angle - math.sin(angle)
    square, term, total = angle * angle, angle**3 / 6, 0.0
    for i in range(4, 20, 2):
        total += term
        term *= -square / (i * (i + 1))
    return total
