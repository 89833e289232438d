"""How high the walls of the open trench stand: the depth that matters to whoever is in it."""

import math
from collections.abc import Callable
from functools import partial

import numpy as np

from packpale.earthworks.section import TrenchSection, outlines
from packpale.earthworks.volume import CATCH_REACH, Formation, Side, hard_rock_depth
from packpale.enclosure.model import Alignment
from packpale.site import Array, Site

STEP_M = 0.1
"""Between the points of a wall at which a level trench looks for the ground. [m]"""
TINY = 1e-12
"""In place of a side slope of 0, whose run is 0 too."""


def wall_heights(
    section: TrenchSection, line: Alignment, site: Site, *, side: Side, formation: Formation, depth: Array
) -> Array:
    """Depth of the trench below the higher edge of the cut at each station, shape (stations,). [m]

    Of each wall: from the ground at its upper edge straight down to the bottom at its foot. Whichever wall is highest
    counts, and never less than the skirt trench's own depth at its foot. Both walls of the skirt trench are followed
    up to the ground, as they stand while the bench for the apron is not dug; the bench's outer wall is followed too.
    ``depth``, shape (stations,), is that of the skirt trench below the ground under the fence [m]. Under ``level`` a
    wall that rises no faster than the ground is cut off as for the volumes. Ground without elevation counts as level
    with the foot.

    Notes
    -----
    On a plane with cross slope m, walls that run n to a rise of one and a bottom of width w that is d deep: under
    ``follow`` d (1 + n m), under ``level`` (d + m w / 2) / (1 - n m), m taken positive.
    """
    found = hard_rock_depth(section, line, site)
    rock = np.full(depth.shape, np.inf) if found is None else found
    bench = outlines(section, depth, found).walls[:, 1]
    half = np.full(depth.shape, section.bottom_width / 2)
    walls = ((-half, depth, -1.0), (half, depth, 1.0), (bench[:, 0], bench[:, 1], 1.0))
    sign = 1.0 if side == "outside" else -1.0

    def ground(offset: Array) -> Array:
        """Above the ground under the fence, at offsets of shape (stations, any)."""
        x = line.x[:, None] + sign * line.outward[:, :1] * offset
        y = line.y[:, None] + sign * line.outward[:, 1:] * offset
        return np.asarray(site.grid.bilinear(site.elevation, x, y) - line.ground[:, None])

    def beside(foot: Array, direction: float, run: Array) -> Array:
        return ground(foot[:, None] + direction * run)

    highest = np.array(depth, float)
    for foot, deep, direction in walls:
        at_foot = ground(foot[:, None])[:, 0]
        if formation == "follow":
            edge = foot + direction * section.run(deep, rock)
            height = ground(edge[:, None])[:, 0] - at_foot + deep
        elif section.side_slope == 0:
            height = at_foot + deep
        else:
            height = _caught(section, deep, np.maximum(deep - rock, 0.0), partial(beside, foot, direction))
        highest = np.fmax(highest, np.fmax(height, at_foot + deep if formation == "level" else deep))
    return highest


def _caught(section: TrenchSection, deep: Array, in_rock: Array, ground: Callable[[Array], Array]) -> Array:
    """Height of a wall that rises from a level bottom, first by ``in_rock`` in rock, until it first meets the ground.

    ``ground`` gives the ground above that under the fence at distances from the foot, shape (stations, any). [m]
    """
    through = section.in_rock * in_rock

    def risen(run: Array) -> Array:
        """At distances from the foot, shape (stations, any)."""
        above = in_rock[:, None] + (run - through[:, None]) / section.side_slope
        return np.where(run < through[:, None], run / max(section.in_rock, TINY), above)

    reach = CATCH_REACH * section.side_slope * deep
    run = np.linspace(0, 1, math.ceil(float(reach.max()) / STEP_M) + 1) * reach[:, None]
    left = ground(run) + deep[:, None] - risen(run)
    out = left <= 0
    rows, first = np.arange(deep.size), np.maximum(out.argmax(axis=1), 1)
    above, below = left[rows, first - 1], left[rows, first]
    met = run[rows, first - 1] + (run[rows, first] - run[rows, first - 1]) * above / (above - below)
    # Where it never does, it is cut off at its reach, upright from there.
    last = left[:, -1] + risen(reach[:, None])[:, 0]
    return np.where(out[:, 0], 0.0, np.where(out.any(axis=1), risen(met[:, None])[:, 0], last))
