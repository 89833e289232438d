"""Where the airlocks and their posts stand: the room inside a gate, between it and a second one."""

import math
from dataclasses import dataclass

import numpy as np

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
    ends = line.points_at(gates.chainage[k] + (width / 2) * _SIDES)
    dx, dy = float(ends.x[1] - ends.x[0]), float(ends.y[1] - ends.y[0])
    along = math.hypot(dx, dy)
    # Walked clockwise, the enclosed ground lies to the right.
    ux, uy, inward_x, inward_y = dx / along, dy / along, dy / along, -dx / along
    middle_x, middle_y = float(ends.x.mean()), float(ends.y.mean())

    def at(right: float, deep: float) -> tuple[float, float]:
        return middle_x + right * ux + deep * inward_x, middle_y + right * uy + deep * inward_y

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
