"""Posts on chords of the fence line, and the places of the gates."""

import math

import numpy as np
import numpy.typing as npt
from shapely.geometry.base import BaseGeometry

from packpale.enclosure.egg import Egg
from packpale.enclosure.model import Gates, Posts
from packpale.site.grid import Array, Grid, Mask

GENTLE_SLOPE = math.tan(math.radians(8.0))
"""Ground a loaded vehicle can turn on beside a gate. [m/m] Assumption."""


def posts(egg: Egg, spacing: float, elevation: Array, grid: Grid) -> Posts:
    """Line posts: one at every change of arc and at the tip of the big end, equal chords in between.

    The straight distance between neighbours is at most ``spacing`` [m]. A chord c on radius R turns the line by
    2 asin(c / 2 R); deflection is the angle in plan between the two panels that meet at a post, positive to the right,
    and adds up to a full circle.

    Raises ValueError if the spacing is not positive.
    """
    if not spacing > 0:
        raise ValueError(f"spacing = {spacing} m must be positive")
    pieces = []
    for arc in egg.arcs():
        widest = 2 * math.asin(min(spacing / (2 * arc.radius), 1.0))
        n = max(math.ceil(math.radians(arc.turn_deg) / widest - 1e-9), 1)
        pieces.append(arc.chainage + np.arange(n) * (arc.length / n))
    chainage = np.concatenate(pieces)
    points = egg.points_at(chainage)
    dx = np.roll(points.x, -1) - points.x
    dy = np.roll(points.y, -1) - points.y
    before_x, before_y = np.roll(dx, 1), np.roll(dy, 1)
    deflection = np.arctan2(before_y * dx - before_x * dy, before_x * dx + before_y * dy)
    return Posts(
        chainage=chainage,
        x=points.x,
        y=points.y,
        ground=grid.bilinear(elevation, points.x, points.y),
        deflection_deg=np.degrees(deflection),
    )


def place_gates(
    egg: Egg,
    n: int,
    *,
    width: float,
    elevation: Array,
    grid: Grid,
    channel: Mask | None = None,
    access: tuple[BaseGeometry, ...] = (),
) -> Gates:
    """``n`` gates: the first where a vehicle gets to best, the others spread round the line.

    Every metre or so of the line is rated by the steeper of its slopes along and across over a stretch of one and a
    half gate widths. Places on channel cells, and places without ground level, come last. The first gate takes, among
    the gentle places (or the gentlest tenth, if none is gentle), the one nearest to ``access``; without access, the
    gentlest place. The others start at equal parts of the perimeter from the first and move by up to a third of a
    part to the gentlest place.

    Returns the middle of each gate, in the order in which they were placed. Raises ValueError if ``n`` is negative or
    the width is not positive.
    """
    if n < 0 or not width > 0:
        raise ValueError(f"no such gates: {n=}, {width=} m")
    if n == 0:
        none = np.empty(0)
        return Gates(none, none, none, width)
    count = int(np.clip(math.ceil(egg.perimeter), 24 * n, 4000))
    chainage = np.arange(count, dtype=np.float64) * (egg.perimeter / count)
    steepness = _steepness(egg, chainage, 0.75 * width, elevation, grid)
    points = egg.points_at(chainage)
    if channel is not None:
        steepness = np.where(grid.nearest(channel, points.x, points.y), steepness + 10.0, steepness)
    first = _first_gate(points.x, points.y, steepness, access)
    chosen = [first]
    part = count / n
    for i in range(1, n):
        reach = int(part / 3)
        around = (first + round(i * part) + np.arange(-reach, reach + 1)) % count
        # Among equals the one nearest to the equal part wins, so that gates on flat ground are evenly spread.
        aside = np.abs(np.arange(-reach, reach + 1)) / max(reach, 1)
        chosen.append(int(around[np.argmin(steepness[around] + 1e-3 * aside)]))
    return Gates(chainage[chosen], points.x[chosen], points.y[chosen], width)


def _first_gate(x: Array, y: Array, steepness: Array, access: tuple[BaseGeometry, ...]) -> int:
    if not access:
        return int(np.argmin(steepness))
    import shapely

    distance = np.min([shapely.distance(shapely.points(x, y), g) for g in access], axis=0)
    limit = max(GENTLE_SLOPE, float(np.quantile(steepness, 0.1)))
    return int(np.argmin(np.where(steepness <= limit, distance, np.inf)))


def _steepness(egg: Egg, chainage: npt.NDArray[np.float64], half: float, elevation: Array, grid: Grid) -> Array:
    """Steeper of the slopes along and across the line, over ``half`` metres to either side; 20 where unknown. [m/m]"""
    here = egg.points_at(chainage)
    ahead, behind = egg.points_at(chainage + half), egg.points_at(chainage - half)
    run = np.hypot(ahead.x - behind.x, ahead.y - behind.y)
    along = grid.bilinear(elevation, ahead.x, ahead.y) - grid.bilinear(elevation, behind.x, behind.y)
    nx, ny = here.outward[:, 0] * half, here.outward[:, 1] * half
    across = grid.bilinear(elevation, here.x + nx, here.y + ny) - grid.bilinear(elevation, here.x - nx, here.y - ny)
    return np.nan_to_num(np.maximum(np.abs(along) / run, np.abs(across) / (2 * half)), nan=20.0)
