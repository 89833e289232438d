"""Leaves of gates over their ground: which post they hang on, how low they can hang, what gap they leave.

A leaf is straight and its lower edge level. It hangs as low as the ground lets it swing: over everything that the leaf
passes on its quarter circle, and over what lies below it when it is shut, the clearance set is kept. What leaves shut
is given by its two posts, the left one first as seen from outside: arrays of shape (..., 2, 2). [m]
"""

import math
from dataclasses import dataclass

import numpy as np

from packpale.settings import GateSettings
from packpale.site.grid import Array, Grid


@dataclass(frozen=True)
class Hung:
    """How leaves hang, shape (openings, leaves), leaves as seen from outside from left to right.

    Levels and gaps in metres, NaN where elevation is missing.
    """

    lowest: Array
    """Lowest ground below a leaf when it is shut."""
    highest: Array
    """Highest ground there."""
    highest_in_swing: Array
    """Highest ground on its way."""
    sill_top: Array
    """Level of the sill, one piece below all leaves; NaN without one. Shape (openings, 1)."""
    underside: Array
    """Level of its lower edge."""
    gap: Array
    """Greatest gap below it when it is shut."""


def hung(sides: Array, settings: GateSettings, elevation: Array, grid: Grid, *, in_the_line: bool, step: float) -> Hung:
    """How the leaves of several openings hang, with the ground looked at every ``step`` or closer [m].

    ``sides`` has the shape (openings, 2, 2). A sill lies only below gates that stand in the fence line.
    """
    opens = inward(sides) * (1 if settings.swing == "in" else -1)
    levels = []
    for leaf in range(settings.leaves):
        below = ground_between(elevation, grid, *edges(sides, leaf, settings.leaves), step=step)
        x, y = _swing(*hinge(sides, leaf, settings.leaves), opens, step=step)
        way = grid.bilinear(elevation, x, y).max(axis=(-2, -1))
        levels.append((below.min(axis=-1), below.max(axis=-1), way))
    lowest, highest, highest_in_swing = (np.column_stack(level) for level in zip(*levels, strict=True))
    if settings.below == "concrete sill" and in_the_line:
        sill_top = highest.max(axis=1, keepdims=True) + settings.sill_above_ground_m
        underside = np.maximum(sill_top, highest_in_swing) + settings.clearance_m
        gap = underside - sill_top
    else:
        sill_top = np.full((len(lowest), 1), np.nan)
        underside = np.maximum(highest, highest_in_swing) + settings.clearance_m
        gap = underside - lowest
    return Hung(lowest, highest, highest_in_swing, sill_top, underside, gap)


def along(sides: Array) -> Array:
    """Unit vector from the left post to the right one."""
    way = sides[..., 1, :] - sides[..., 0, :]
    return np.asarray(way / np.hypot(way[..., :1], way[..., 1:]))


def inward(sides: Array) -> Array:
    """Unit vector towards the enclosed ground: to the right of somebody who walks from the right post to the left."""
    way = along(sides)
    return np.stack([-way[..., 1], way[..., 0]], axis=-1)


def edges(sides: Array, leaf: int, leaves: int) -> tuple[Array, Array]:
    """Ends of a leaf, counted from 0, when it is shut, the left one first. [m]"""
    width = (sides[..., 1, :] - sides[..., 0, :]) / leaves
    start = sides[..., 0, :] + width * leaf
    return start, start + width


def hinge(sides: Array, leaf: int, leaves: int) -> tuple[Array, Array]:
    """Where a leaf hangs, and its other end when it is shut. [m]

    One leaf hangs on the left post; of two the second hangs on the right one.
    """
    left, right = edges(sides, leaf, leaves)
    return (right, left) if leaf == 1 else (left, right)


def ground_between(elevation: Array, grid: Grid, start: Array, end: Array, *, step: float) -> Array:
    """Ground along straight lines, at both ends too, as last axis; NaN where elevation is missing. [m]"""
    x, y = ((end - start)[..., i] for i in (0, 1))
    share = np.linspace(0, 1, 2 + math.ceil(np.hypot(x, y).max() / step))
    return grid.bilinear(elevation, start[..., :1] + share * x[..., None], start[..., 1:] + share * y[..., None])


def _swing(hung_on: Array, shut_to: Array, opens: Array, *, step: float) -> tuple[Array, Array]:
    """Points over the quarter circles of leaves, x and y of shape (openings, angles, radii). [m]"""
    leaf = shut_to - hung_on
    width = np.hypot(leaf[:, 0], leaf[:, 1])
    share = np.linspace(0, 1, 2 + math.ceil(width.max() / step))
    angle = np.linspace(0, math.pi / 2, 2 + math.ceil(width.max() * math.pi / 2 / step))[:, None]
    opened = opens * width[:, None]
    x, y = (
        hung_on[:, i, None, None]
        + share * (np.cos(angle) * leaf[:, i, None, None] + np.sin(angle) * opened[:, i, None, None])
        for i in (0, 1)
    )
    return x, y
