"""Posts on chords of the fence line."""

import math

import numpy as np
import numpy.typing as npt

from packpale.enclosure.egg import Egg
from packpale.enclosure.line import Line
from packpale.enclosure.model import Gates, Posts
from packpale.site.grid import Array, Grid, Mask

NEAR_GATE_M = 0.5
"""A corner's post nearer than this to a gate's is one with it. [m] Assumption."""


def posts(
    line: Line,
    spacing: float,
    elevation: Array,
    grid: Grid,
    *,
    gates: Gates | None = None,
    steep: float = math.inf,
) -> Posts:
    """Posts at every bend of the line and on both sides of every gate, evenly spread in between.

    They are as few as stand at most ``spacing`` [m] apart, in a straight line from ground to ground, but across a
    gate's opening, where no post stands; between two that must be, each has as much ground to the next. A corner within
    the opening, or nearer than half a metre to it, gets no post of its own, nor does a change of arc nearer than half
    the spacing. A line without bends and gates has a post where it starts. A chord c on radius R turns the line by
    2 asin(c / 2 R); deflection is the angle in plan between the two panels that meet at a post, positive to the right,
    and adds up to a full circle. From the slope ``steep`` [m/m] on, along a panel, its posts are of the kind steep
    unless they are bend or gate posts. Where the ground is missing it counts as level.

    Raises ValueError if the spacing is not positive, or if two gates overlap.
    """
    if not spacing > 0:
        raise ValueError(f"spacing = {spacing} m must be positive")
    fixed, kinds, opening = _fixed_posts(line, gates, spacing / 2)
    lengths = np.diff(fixed, append=fixed[0] + line.perimeter)
    # Lines as drawn turn at points.
    tightest = min(arc.radius for arc in line.arcs()) if isinstance(line, Egg) else 0.0
    within = [
        np.zeros(1)
        if is_open
        else _evenly(line, at, length, spacing=spacing, elevation=elevation, grid=grid, tightest=tightest)
        for at, length, is_open in zip(fixed, lengths, opening, strict=True)
    ]
    chainage = np.mod(np.concatenate([at + more for at, more in zip(fixed, within, strict=True)]), line.perimeter)
    kind = np.concatenate([[first, *["line"] * (len(more) - 1)] for first, more in zip(kinds, within, strict=True)])
    order = np.argsort(chainage, kind="stable")
    chainage, kind = chainage[order], kind[order]
    points = line.points_at(chainage)
    dx = np.roll(points.x, -1) - points.x
    dy = np.roll(points.y, -1) - points.y
    before_x, before_y = np.roll(dx, 1), np.roll(dy, 1)
    deflection = np.arctan2(before_y * dx - before_x * dy, before_x * dx + before_y * dy)
    ground = grid.bilinear(elevation, points.x, points.y)
    climb = np.abs(np.roll(ground, -1) - ground) / np.hypot(dx, dy)
    steepest = np.fmax(climb, np.roll(climb, 1))
    kind = np.where((kind == "line") & (steepest >= steep), "steep", kind)
    return Posts(
        chainage=chainage,
        x=points.x,
        y=points.y,
        ground=ground,
        deflection_deg=np.degrees(deflection),
        kind=tuple(kind.tolist()),
    )


def _evenly(
    line: Line, start: float, length: float, *, spacing: float, elevation: Array, grid: Grid, tightest: float
) -> Array:
    """Chainages from ``start`` of the posts of one stretch, the first 0, its end left out. [m]

    ``tightest`` is the least radius of its bends; 0 where it is not known. [m]
    """
    steps = max(math.ceil(length / (0.25 * grid.cell)), 16)
    fine = np.linspace(0, length, steps + 1)
    points = line.points_at(start + fine)
    rise = np.nan_to_num(np.diff(grid.bilinear(elevation, points.x, points.y)))
    on_ground = np.concatenate([[0.0], np.cumsum(np.hypot(length / steps, rise))])
    # A panel's own piece of line turns by half a circle at most, so that it is at most pi / 2 times as long as the
    # panel, and turns by no more than that over the radius; on the tightest arc it is longest. A closed stretch takes
    # three.
    half_turn = min(math.pi / 4 * spacing / tightest, math.pi / 2) if tightest > 0 else math.pi / 2
    straight = math.sin(half_turn) / half_turn
    panels = max(math.ceil(straight * length / spacing - 1e-9), 3 if length >= line.perimeter else 1)
    while True:
        at = np.interp(np.linspace(0, on_ground[-1], panels + 1), on_ground, fine)
        post = line.points_at(start + at)
        rise = np.nan_to_num(np.diff(grid.bilinear(elevation, post.x, post.y)))
        longest = float(np.sqrt(np.diff(post.x) ** 2 + np.diff(post.y) ** 2 + rise**2).max())
        if longest <= spacing + 1e-9:
            return np.asarray(at[:-1])
        panels += 1


def _fixed_posts(line: Line, gates: Gates | None, near: float) -> tuple[Array, npt.NDArray[np.str_], Mask]:
    """Chainage and kind of the posts that must be, and whether a gate opens after each.

    A change of arc nearer than ``near`` to a gate's opening has none. [m]
    """
    breaks, length = line.bends, line.perimeter
    some = gates is not None and gates.chainage.size
    if not breaks.size and not some:
        breaks = line.breaks[:1]
    kinds = np.where(np.isin(breaks, line.bends), "bend", "line")
    opening = np.zeros(breaks.size, bool)
    if gates is not None and some:
        half = gates.width / 2
        apart = np.abs(np.mod(breaks[:, None] - gates.chainage + length / 2, length) - length / 2)
        free = np.where(np.isin(breaks, line.corners), NEAR_GATE_M, max(near, NEAR_GATE_M))
        clear = (apart > half + free[:, None]).all(axis=1)
        middles = np.sort(gates.chainage)
        if (np.diff(middles, append=middles[0] + length) < gates.width).any():
            raise ValueError(f"gates of {gates.width} m overlap at chainages {middles.tolist()}")
        sides = np.concatenate([gates.chainage - half, gates.chainage + half])
        breaks = np.concatenate([breaks[clear], np.mod(sides, length)])
        kinds = np.concatenate([kinds[clear], np.full(sides.size, "gate")])
        opening = np.concatenate([opening[clear], np.arange(sides.size) < gates.chainage.size])
    order = np.argsort(breaks, kind="stable")
    return breaks[order], kinds[order], opening[order]
