"""Where the airlocks and their posts stand: the room inside a gate, between it and a second one."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from packpale.enclosure.line import Line
from packpale.enclosure.model import Gates, PostKind
from packpale.site.grid import Array

_SIDES = np.array([-1.0, 1.0])


@dataclass(frozen=True)
class AirlockPost:
    """A post of an airlock that is none of the fence line."""

    gate: int
    """Number of its gate, from 1."""
    kind: PostKind
    x: float
    y: float


@dataclass(frozen=True)
class Airlock:
    """The room inside one gate."""

    gate: int
    """Number of its gate, from 1."""
    corners: Array
    """Shape (4, 2), clockwise seen from above, the first two on the fence line. [m]"""
    inner_gate: Array
    """Both ends of the gate at the inner end, in the same order, shape (2, 2). [m]"""
    posts: tuple[AirlockPost, ...]
    """Its own, none of the fence line."""


@dataclass(frozen=True)
class Frames:
    """Where and how rooms lie inside a line at several chainages; vectors of shape (places, 2). Lengths in metres."""

    middle: Array
    """Of the chord between the places where a room's sides leave the line."""
    along: Array
    """Unit vector of that chord, clockwise."""
    inward: Array
    """Unit vector at right angles to it."""
    chord: Array
    """Its length, shape (places,)."""

    def at(self, right: float, deep: float) -> Array:
        """Points so far from the middle along the chord, and inward. [m]"""
        return np.asarray(self.middle + right * self.along + deep * self.inward)


def frames(line: Line, chainage: npt.ArrayLike, width: float) -> Frames:
    """Rooms ``width`` wide along the line [m], each with its middle at one of the chainages."""
    s = np.asarray(chainage, float)
    start, end = (np.column_stack(line.points_at(s + side * width / 2)[:2]) for side in _SIDES)
    chord = np.hypot(*(end - start).T)
    along = (end - start) / chord[:, None]
    # Walked clockwise, the enclosed ground lies to the right.
    inward = np.column_stack([along[:, 1], -along[:, 0]])
    return Frames((start + end) / 2, along, inward, chord)


def airlocks(line: Line, gates: Gates, *, length: float, width: float, spacing: float) -> tuple[Airlock, ...]:
    """The airlock inside each gate, ``length`` deep and ``width`` along the fence [m]; none without length.

    Its sides leave the fence line where that is half the width to either side of the gate's middle, and run inward at
    right angles to the chord between these places. At the inner end stands a gate as wide as the outer one. Where the
    airlock is wider than its gates, posts at the four corners are bend posts; else the gates' own posts stand there.
    In between stand line posts, evenly and no farther apart than ``spacing`` in plan [m].
    """
    if not length > 0:
        return ()
    n = gates.chainage.size
    return tuple(_of(line, gates, k, length=length, width=width, spacing=spacing) for k in range(n))


def _of(line: Line, gates: Gates, k: int, *, length: float, width: float, spacing: float) -> Airlock:
    room = frames(line, gates.chainage[[k]], width)
    along = float(room.chord[0])

    def at(right: float, deep: float) -> tuple[float, float]:
        x, y = room.at(right, deep)[0].tolist()
        return x, y

    posts: list[AirlockPost] = []

    def post(kind: PostKind, right: float, deep: float) -> None:
        posts.append(AirlockPost(k + 1, kind, *at(right, deep)))

    beside = (width - gates.width) / 2
    on_side = math.ceil(length / spacing - 1e-9)
    on_end = max(math.ceil(beside / spacing - 1e-9), 1)
    half = gates.width / 2
    for side in _SIDES:
        if beside > 0:
            post("bend", side * along / 2, 0.0)
            post("bend", side * along / 2, length)
        for i in range(1, on_side):
            post("line", side * along / 2, length * i / on_side)
        for i in range(1, on_end):
            post("line", side * (half + (along / 2 - half) * i / on_end), length)
        post("gate", side * half, length)
    corners = [at(-along / 2, 0.0), at(along / 2, 0.0), at(along / 2, length), at(-along / 2, length)]
    return Airlock(k + 1, np.array(corners), np.array([at(half, length), at(-half, length)]), tuple(posts))
