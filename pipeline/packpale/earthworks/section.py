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

    def __post_init__(self) -> None:
        if not (self.depth > 0 and self.bottom_width > 0 and self.apron_reach >= 0 and self.side_slope >= 0):
            raise ValueError(f"no such trench: {self}")
        if not 0 <= self.apron_cover <= self.depth:
            raise ValueError(f"the apron lies between the ground and the bottom of the skirt, got {self}")

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
        o = np.asarray(offset, float)
        half = self.bottom_width / 2
        return np.maximum(
            _trapezoid(o, -half, half, self.depth, self.side_slope),
            _trapezoid(o, 0.0, self.apron_reach, self.apron_cover, self.side_slope),
        )


@dataclass(frozen=True)
class Outlines:
    """Outlines of one section dug to several depths of the skirt trench; rows as in ``TrenchSection``. [m]"""

    pieces: Array
    """The whole outline below level ground, shape (depths, 6, 4), parted at the fence line; a piece that is not there
    has no width."""
    bottoms: Array
    """Between the two outer walls, shape (depths, 4, 4)."""
    walls: Array
    """Offset, depth and direction of the outer walls, shape (depths, 2, 3)."""


def outlines(section: TrenchSection, depth: Array) -> Outlines:
    """The section with its skirt trench at each of ``depth`` [m], the apron bench staying where it is.

    Raises ValueError if a depth is less than the section's own.
    """
    d = np.asarray(depth, float)
    if (d < section.depth - 1e-9).any():
        raise ValueError(f"the skirt trench is at least {section.depth} m deep, got {d.min()} m")
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
    walls = np.stack([np.stack([zero - half, d, zero - 1], axis=1), np.stack([start, fall, zero + 1], axis=1)], axis=1)
    return Outlines(np.concatenate([left[:, None], bottoms, right[:, None]], axis=1), bottoms, walls)


def _trapezoid(offset: Array, left: float, right: float, depth: float, side_slope: float) -> Array:
    beyond = np.maximum(np.maximum(left - offset, offset - right), 0.0)
    if side_slope == 0:
        return np.where(beyond > 0, 0.0, depth)
    return np.maximum(depth - beyond / side_slope, 0.0)
