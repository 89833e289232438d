"""The trench section: a deep trench for the skirt and a shallow bench for the apron, united."""

import functools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from packpale.site import Array


@dataclass(frozen=True)
class Wall:
    """A wall of the dig: it starts at the end of a flat bottom and rises away from the fence line."""

    offset: float
    """Where it starts. [m]"""
    depth: float
    """Depth of the bottom it starts from. [m]"""
    direction: int
    """+1 rises to the apron side, -1 to the other."""


@dataclass(frozen=True)
class TrenchSection:
    """Section across the fence line; offset o is positive to the apron side and the fence stands at o = 0.

    The skirt trench has its flat bottom from ``-bottom_width / 2`` to ``bottom_width / 2`` at ``depth``, the apron
    bench from 0 to ``apron_reach`` at ``apron_cover``. Walls rise from both ends of each bottom with ``side_slope``,
    the horizontal run per unit of rise, 0 for vertical. Lengths in metres.

    Raises ValueError if a length is negative, the depth or bottom width is not positive, or the apron lies deeper
    than the skirt.

    Notes
    -----
    All walls are parallel, so the bench's inner wall always stands inside the skirt trench, and of the two outer
    walls one hides the other. What is left is one outline, given by ``pieces``.
    """

    depth: float
    bottom_width: float
    apron_reach: float
    apron_cover: float
    side_slope: float
    rock_side_slope: float | None = None
    """The same in hard rock, where that is known; None for that of soil. The section by itself stands in soil."""

    def __post_init__(self) -> None:
        if not (self.depth > 0 and self.bottom_width > 0 and self.apron_reach >= 0 and self.side_slope >= 0):
            raise ValueError(f"no such trench: {self}")
        if not 0 <= self.in_rock <= self.side_slope:
            raise ValueError(f"walls in rock stand as steep as in soil or steeper, got {self}")
        if not 0 <= self.apron_cover <= self.depth:
            raise ValueError(f"the apron lies between the ground and the bottom of the skirt, got {self}")

    @property
    def in_rock(self) -> float:
        """Side slope in hard rock."""
        return self.side_slope if self.rock_side_slope is None else self.rock_side_slope

    def run(self, depth: Array, rock: Array) -> Array:
        """Horizontal run of a wall from a depth up to level ground with hard rock below ``rock``. [m]"""
        return self.side_slope * np.minimum(depth, rock) + self.in_rock * np.maximum(depth - rock, 0.0)

    @functools.cached_property
    def bottoms(self) -> Array:
        """The outline between the two outer walls: rows of inner offset, outer offset and the depth at each. [m]"""
        half, d, h = self.bottom_width / 2, self.depth, self.apron_cover
        rows = [(-half, half, d, d)]
        # Here the skirt trench's outer wall meets the floor of the bench.
        meeting = half + self.side_slope * (d - h)
        if h > 0 and self.apron_reach > meeting:
            rows += [(half, meeting, d, h), (meeting, self.apron_reach, h, h)]
        return np.array([r for r in rows if r[1] > r[0]], float)

    @functools.cached_property
    def walls(self) -> tuple[Wall, Wall]:
        """The two outer walls, first the one away from the apron."""
        first, last = self.bottoms[0], self.bottoms[-1]
        return Wall(float(first[0]), float(first[2]), -1), Wall(float(last[1]), float(last[3]), 1)

    @functools.cached_property
    def pieces(self) -> Array:
        """The whole outline below level ground: rows as in ``bottoms``, contiguous, from left to right. [m]

        The depth is linear within a piece; the offsets are its exact breakpoints. A vertical wall is a jump between
        two pieces and takes no row.
        """
        if self.side_slope == 0:
            return self.bottoms
        left, right = self.walls
        rows = np.vstack(
            [
                [left.offset - self.side_slope * left.depth, left.offset, 0.0, left.depth],
                self.bottoms,
                [right.offset, right.offset + self.side_slope * right.depth, right.depth, 0.0],
            ]
        )
        return rows[rows[:, 1] > rows[:, 0]]

    @property
    def edges(self) -> tuple[float, float]:
        """Offsets of the two top edges on level ground. [m]"""
        return float(self.pieces[0, 0]), float(self.pieces[-1, 1])

    @property
    def area(self) -> float:
        """Area of the united section. [m2]"""
        inner, outer, a, b = self.pieces.T
        return float(np.sum((outer - inner) * (a + b) / 2))

    @property
    def moment(self) -> float:
        """First moment of the area about the fence line, positive to the apron side. [m3]"""
        inner, outer, a, b = self.pieces.T
        # The integral of o c(o) over a piece in which c is linear.
        return float(np.sum((outer - inner) * (inner * (2 * a + b) + outer * (a + 2 * b)) / 6))

    @property
    def centroid_offset(self) -> float:
        """Offset of the section's centroid. [m]"""
        return self.moment / self.area

    def depth_at(self, offset: npt.ArrayLike) -> Array:
        """Cut depth c(o): the larger of the two trapezoids; 0 beyond them. Any shape. [m]"""
        return np.maximum(self.below(offset), 0.0)

    def below(self, offset: npt.ArrayLike) -> Array:
        """Depth of the outline below the level it is dug from, negative where its walls run on above that. Any shape.

        Minus infinity beside vertical walls. [m]
        """
        o, half = np.asarray(offset, float), self.bottom_width / 2
        skirt = _trapezoid(o, -half, half, self.depth, self.side_slope)
        if self.apron_reach == 0 or self.apron_cover == 0:
            return skirt
        return np.maximum(skirt, _trapezoid(o, 0.0, self.apron_reach, self.apron_cover, self.side_slope))


@dataclass(frozen=True)
class Outlines:
    """Outlines of one section dug to several depths of the skirt trench; rows as in ``TrenchSection``. [m]"""

    pieces: Array
    """The whole outline below level ground, shape (depths, 6 or 9, 4), parted at the fence line and, where rock is
    given, at its surface; a piece that is not there has no width."""
    bottoms: Array
    """Between the two outer walls, shape (depths, 4 or 5, 4)."""
    walls: Array
    """Offset, depth, direction and height in hard rock of the outer walls, shape (depths, 2, 4)."""


def outlines(section: TrenchSection, depth: Array, rock: Array | None = None) -> Outlines:
    """The section with its skirt trench at each of ``depth`` [m], the apron bench staying where it is.

    ``rock`` is the depth to hard rock at each, infinite without any [m]: below it walls rise with the section's slope
    in rock. All walls run alike at one depth, so that here too one of the two outer walls hides the other.

    Raises ValueError if a depth is less than the section's own.
    """
    d = np.asarray(depth, float)
    if (d < section.depth - 1e-9).any():
        raise ValueError(f"the skirt trench is at least {section.depth} m deep, got {d.min()} m")
    if rock is not None:
        return _in_rock(section, *np.broadcast_arrays(d, np.asarray(rock, float)))
    half, h, n = section.bottom_width / 2, section.apron_cover, section.side_slope
    zero, reach = np.zeros_like(d), np.full_like(d, section.apron_reach)
    meeting = half + n * (d - h)
    bench = (h > 0) & (reach > meeting)
    bottoms = np.stack(
        [
            np.stack([zero - half, zero, d, d], axis=1),
            np.stack([zero, zero + half, d, d], axis=1),
            np.stack([zero + half, np.where(bench, meeting, half), d, zero + h], axis=1),
            np.stack([meeting, np.where(bench, reach, meeting), zero + h, zero + h], axis=1),
        ],
        axis=1,
    )
    start, fall = np.where(bench, reach, half), np.where(bench, h, d)
    left = np.stack([-half - n * d, zero - half, zero, d], axis=1)
    right = np.stack([start, start + n * fall, fall, zero], axis=1)
    walls = _walls(half, d, (start, fall), (zero, zero))
    return Outlines(np.concatenate([left[:, None], bottoms, right[:, None]], axis=1), bottoms, walls)


def _in_rock(section: TrenchSection, d: Array, rock: Array) -> Outlines:
    half, h, zero = section.bottom_width / 2, section.apron_cover, np.zeros_like(d)
    reach = np.full_like(d, section.apron_reach)

    def run(depth: Array) -> Array:
        return section.run(depth, rock)

    def piece(inner: Array, outer: Array, at_inner: Array, at_outer: Array) -> Array:
        return np.stack([inner, outer, at_inner, at_outer], axis=1)

    floor = zero + h
    meeting = half + run(d) - run(floor)
    bench = (h > 0) & (reach > meeting)
    # Between the two floors, and between a floor and the ground, a wall breaks at the surface of the rock.
    top = np.clip(rock, h, d)
    breaks = half + run(d) - run(top)
    start, fall = np.where(bench, reach, half), np.where(bench, h, d)
    left_top, right_top = np.minimum(rock, d), np.minimum(rock, fall)
    left_break, right_break = -half - (run(d) - run(left_top)), start + run(fall) - run(right_top)
    bottoms = np.stack(
        [
            piece(zero - half, zero, d, d),
            piece(zero, zero + half, d, d),
            piece(zero + half, np.where(bench, breaks, half), d, top),
            piece(np.where(bench, breaks, half), np.where(bench, meeting, half), top, floor),
            piece(meeting, np.where(bench, reach, meeting), floor, floor),
        ],
        axis=1,
    )
    left = [piece(-half - run(d), left_break, zero, left_top), piece(left_break, zero - half, left_top, d)]
    right = [piece(start, right_break, fall, right_top), piece(right_break, start + run(fall), right_top, zero)]
    pieces = np.concatenate([np.stack(left, axis=1), bottoms, np.stack(right, axis=1)], axis=1)
    return Outlines(pieces, bottoms, _walls(half, d, (start, fall), (d - left_top, fall - right_top)))


def _walls(half: float, d: Array, outer: tuple[Array, Array], in_rock: tuple[Array, Array]) -> Array:
    one = np.ones_like(d)
    left = np.stack([-half * one, d, -one, in_rock[0]], axis=1)
    return np.stack([left, np.stack([*outer, one, in_rock[1]], axis=1)], axis=1)


def _trapezoid(offset: Array, left: float, right: float, depth: float, side_slope: float) -> Array:
    beyond = np.maximum(np.maximum(left - offset, offset - right), 0.0)
    if side_slope == 0:
        return np.where(beyond > 0, -np.inf, depth)
    return np.asarray(depth - beyond / side_slope)
