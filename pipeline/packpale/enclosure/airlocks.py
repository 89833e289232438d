"""Where the posts of the airlocks stand: the room inside a gate, between it and a second one."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from packpale.enclosure.line import Line
from packpale.enclosure.model import Gates, PostKind

_SIDES = np.array([-1.0, 1.0])


@dataclass(frozen=True)
class AirlockPost:
    """A post of an airlock that is none of the fence line."""

    gate: int
    """Number of its gate, from 1."""
    kind: PostKind
    x: float
    y: float


def airlock_posts(line: Line, gates: Gates, *, length: float, width: float, spacing: float) -> tuple[AirlockPost, ...]:
    """Posts of the airlock inside each gate, ``length`` deep and ``width`` along the fence [m]; none without length.

    Its sides leave the fence line where that is half the width to either side of the gate's middle, and run inward at
    right angles to the chord between these places. At the inner end stands a gate as wide as the outer one. Where the
    airlock is wider than its gates, posts at the four corners are bend posts; else the gates' own posts stand there.
    In between stand line posts, evenly and no farther apart than ``spacing`` in plan [m].
    """
    if not length > 0:
        return ()
    n = gates.chainage.size
    return tuple(post for k in range(n) for post in _of(line, gates, k, length=length, width=width, spacing=spacing))


def _of(line: Line, gates: Gates, k: int, *, length: float, width: float, spacing: float) -> Iterator[AirlockPost]:
    ends = line.points_at(gates.chainage[k] + (width / 2) * _SIDES)
    dx, dy = float(ends.x[1] - ends.x[0]), float(ends.y[1] - ends.y[0])
    along = math.hypot(dx, dy)
    # Walked clockwise, the enclosed ground lies to the right.
    ux, uy, inward_x, inward_y = dx / along, dy / along, dy / along, -dx / along
    middle_x, middle_y = float(ends.x.mean()), float(ends.y.mean())

    def post(kind: PostKind, right: float, deep: float) -> AirlockPost:
        x, y = middle_x + right * ux + deep * inward_x, middle_y + right * uy + deep * inward_y
        return AirlockPost(k + 1, kind, x, y)

    beside = (width - gates.width) / 2
    on_side = math.ceil(length / spacing - 1e-9)
    on_end = max(math.ceil(beside / spacing - 1e-9), 1)
    for side in _SIDES:
        if beside > 0:
            yield post("bend", side * along / 2, 0.0)
            yield post("bend", side * along / 2, length)
        for i in range(1, on_side):
            yield post("line", side * along / 2, length * i / on_side)
        half = gates.width / 2
        for i in range(1, on_end):
            yield post("line", side * (half + (along / 2 - half) * i / on_end), length)
        yield post("gate", side * half, length)
