"""A proven upper bound on the area of an egg whose line runs over limits for no more than a share of its length.

An egg is given by the centres O and S of its big and small end, D apart, and their radii R and r. e is its axis, c a
unit vector across it, tau = 2 atan((R - r) / D) what a flank turns through, F its radius (egg.py); v is the angle of a
normal n from c, 0 to tau on a flank. The support function h is n O + R on the big end, n S + r on the small one, and
n O + F - (F - R) cos v on a flank; h and its derivative along the line, h', are continuous.

1. Sizes. On a flank dh/dR + dh/dr = 1, and dh/dr = (1 - cos v) (F - r) / (R - r) rises from 0 at its one end to 1 at
   its other. So both are at least 0 everywhere: an egg lies within those of the same centres with larger radii, and h
   moves by no more than the larger of what R and r do. h' moves on flanks alone, by no more than
   (F - r) sin tau / (R - r) = 1 / tan(tau / 2) times that. With D the area and the perimeter rise too: O fixed,
   dh/dD is e n >= 0 on the small end and (1 - cos v) / tan(tau / 2) >= 0 on a flank.
2. Centres. If O moves by a, S by b, h moves by g_O a + g_S b: on the big end g_O = n, g_S = 0, on the small one the
   other way round, on a flank g_S = e (1 - cos v) / tan(tau / 2) + c sin v / tan tau and g_O = n - g_S. With
   x = tan(tau / 2), y = tan(v / 2), 0 <= y <= x < 1, these are, divided by 1 + y^2 and with parts along e and c::

       g_S = y / x (2 y, 1 - x^2),   g_O = (1 - y / x) (2 y, 1 + x y)

   (1 + y^2) (|g_O| + |g_S|) is the mean of the two brackets' lengths with the weights 1 - y / x and y / x, at most the
   root of the mean of their squares, which multiplied out is (1 + y^2)^2 + y (x - y) (x + y)^2. With y = z x the last
   term is x^4 z (1 - z) (1 + z)^2; its derivative by z is x^4 (z + 1) (1 + z - 4 z^2), so that it is largest at
   z = (1 + 17^(1/2)) / 8, and less than 0.62 x^4. So |g_O| + |g_S| <= b(x) = (1 + 0.62 x^4)^(1/2), which rises with x.
   The derivatives along the line are at most 1 on the ends, and on a flank B = hypot(1 + cos tau, cos^2 tau / sin tau)
   for g_S, the square of it being (sin v / tan(tau / 2))^2 + (cos v / tan tau)^2, largest at v = tau; 1 + B for g_O.
3. A box: O and S in rectangles with half diagonals of at most w about their middles, R in [R0, R1], r in [r0, r1]. With
   m = w b(x) every egg of it holds the egg of the middle centres and the radii R0 - m, r0 - m, the inner one,
   and lies in that of R1 + m and r1 + m, the outer one: parallel curves of such eggs are such eggs.
4. Stretches. Lines leave the inner egg along its normals; they do not meet outside it. Each egg of the box crosses each
   once, within T = 2 m + (R1 - R0 on the big end, r1 - r0 on the small one, the larger of both between) of the inner
   egg. The nearest point of a convex set moves no more than what it is nearest to, so that the piece of line between
   two of them is as long as the inner egg's between them or longer.
5. Normals there. The tangent at a height of at most T does not cut the inner egg, whose radius is at least rho: its
   normal is off by at most acos(rho / (rho + T)). Or: where h' of the two eggs differs by s at the inner egg's normal,
   the points of that normal lie s apart across it; the line has to turn by asin(s / radius) at most to make up for it.
   s is at most w on the ends, w (1 + 2 B) + (1 / tan(tau / 2)) (larger of R1 - R0 and r1 - r0) on a flank.
6. Certain. A raster tells for each of 64 directions whether the cross-section touches soft ground wherever in the cell
   it is centred, and however it is turned within that sixty-fourth: some point of it, t from the centre, stays within
   (half a diagonal + |t| pi / 64) of a place that lies so deep in soft ground. A piece whose every place in the box, by
   4, lies in cells that say so for every normal that it can have, by 5, or too near to no-go ground for any line, is
   over a limit in every egg that keeps off no-go ground. If all of these are longer than the share of the longest line
   in the box, it holds no feasible egg.
7. No-go. Nor does it if a point of the inner egg, or a disc that all eggs of the box hold (about O, about S, and
   between them), is nearer to no-go ground than the outside strip lets it.
8. Areas are done slab by slab, from a known bound downward; a slab proven empty lowers the bound. R and r are narrowed
   to what the slab's areas, the ranges of taper and aspect and the least radius leave; what moves the line most is
   halved. Boxes of nearly round eggs have to be small, as S may lie anywhere round O in them.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon

from packpale.enclosure import _kernels_share
from packpale.enclosure.boundary import boundary, valid_parts
from packpale.enclosure.line_ground import LineGround
from packpale.site.grid import Array

MOST_BOXES = 600_000
"""Judged in all, 1 to 3 s. Twice as many lower the bound by a twentieth of the area or less."""
_FINEST_M, _MOST_CELLS = 0.2, 800_000
_DEPTH_STEP_M = 0.05
_SLAB = 0.05
"""Of the log of the area."""
_CLOSE = 1.1
"""The search ends so near to an area that is known: each slab takes half as long again as the last."""
_LEAST_MOVE_M = 0.1
"""A box smaller than this that is not excluded ends the search: an egg is likely to be there."""
_ROOM = 4000


@dataclass(frozen=True)
class ShareRaster:
    """What the search asks of the ground; row 0 is the northernmost."""

    certain: npt.NDArray[np.uint64]
    """Bit b: every cross-section centred in the cell, normal within pi / 64 of 2 pi b / 64 from east, touches soft
    ground; all bits where the cell is too near to no-go ground for any line. Level i holds what is common to 2^i by 2^i
    cells from the one named to south and east."""
    distance: Array
    """From the cell's centre to no-go ground, negative in it. [m]"""
    frame: Array
    """West, north, cell size in the run's CRS. [m]"""


def share_bound(
    ground: LineGround,
    share: float,
    *,
    best_area: float,
    at_most: float,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float,
    max_boxes: int = MOST_BOXES,
) -> float:
    """Upper bound on the area of any egg whose line is over limits for at most ``share`` of its length. [m2]

    ``best_area``: that of a feasible egg, or 0. ``at_most``: a bound that is known; the result is no more. The same
    input gives the same bound on every machine. Other parameters as for fit_line.fit_line.
    """
    raster = share_raster(ground)
    if raster is None or not at_most > 0:
        return at_most
    west, south, east, north = ground.enclosable.bounds
    middle, half = ((west + east) / 2, (south + north) / 2), ((east - west) / 2, (north - south) / 2)
    proven, left, floor = at_most, max_boxes, max(_CLOSE * best_area, 1e-3 * at_most)
    judged = 0
    # A slab of smaller eggs takes more boxes than the last.
    while left > judged and proven > floor * (1 + 1e-6):
        low = max(proven * math.exp(-_SLAB), floor)
        # The egg holds its big disc, and its area is at most that of a disc of its length (isodiametric inequality).
        least, largest = math.sqrt(low / math.pi) / aspect[1], math.sqrt(proven / math.pi)
        stack = np.zeros((_ROOM, 12))
        stack[0] = [*middle, *middle, *half, *half, least, largest, taper[0] * least, taper[1] * largest]
        stack[0, 4:8] += _kernels_share.SURE
        limits = np.array([*taper, *aspect, min_radius, low, proven, share, ground.outside_strip])
        result, judged = _kernels_share.search(
            stack, 1, raster.certain, raster.distance, raster.frame, limits, left, _LEAST_MOVE_M
        )
        left -= judged
        if result != _kernels_share.EMPTY:
            break
        proven = low * (1 + 1e-8)
    return min(proven, at_most)


def share_raster(ground: LineGround) -> ShareRaster | None:
    """What is certain on a ground, and where no-go ground is near; None without soft or without other ground."""
    parts = valid_parts(shapely.union_all([p for kind in ground.soft.values() for p in valid_parts(kind)]))
    soft, free = boundary(parts), boundary(valid_parts(ground.enclosable))
    if soft is None or free is None:
        return None
    west, south, east, north = ground.enclosable.bounds
    cell = max(_FINEST_M, math.sqrt((east - west) * (north - south) / _MOST_CELLS))
    rows, cols = math.ceil((north - south) / cell), math.ceil((east - west) / cell)
    x, y = np.meshgrid(west + (np.arange(cols) + 0.5) * cell, north - (np.arange(rows) + 0.5) * cell)
    points = np.column_stack([x.ravel(), y.ravel()])
    depth = np.full(rows * cols, -1.0)
    within = shapely.contains_xy(MultiPolygon(parts), points[:, 0], points[:, 1])
    depth[within] = soft.depths(points[within] - soft.origin)
    words = np.zeros((rows, cols), np.uint64)
    offsets, marks = _marks(ground.inside_strip, ground.outside_strip, cell)
    _kernels_share.stamp(depth.reshape(rows, cols), offsets, marks, _DEPTH_STEP_M, words)
    distance = free.depths(points - free.origin).reshape(rows, cols)
    # No feasible line runs so near to no-go ground: what is asked of lines there is true of none.
    words[distance + cell * math.sqrt(0.5) + _kernels_share.SURE < ground.outside_strip] = ~np.uint64(0)
    return ShareRaster(_levels(words), distance, np.array([west, north, cell]))


def _marks(inside: float, outside: float, cell: float) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.uint64]]:
    """Offsets (row, col) of cells about a centre; and by offset and depth there the directions that are certain."""
    reach = math.ceil(max(inside, outside) / cell) + 1
    steps = np.arange(-reach, reach + 1)
    rows, cols = (a.ravel() for a in np.meshgrid(steps, steps, indexing="ij"))
    angles = 2 * math.pi * np.arange(64) / 64
    east, north = cols[:, None] * cell, -rows[:, None] * cell
    along = np.clip(east * np.cos(angles) + north * np.sin(angles), -inside, outside)
    apart = np.hypot(east - along * np.cos(angles), north - along * np.sin(angles))
    need = apart + cell * math.sqrt(0.5) + np.abs(along) * math.pi / 64 + 1e-6
    need[apart > cell] = math.inf
    levels = np.arange(math.ceil((2 * cell + max(inside, outside) * math.pi / 64 + 0.1) / _DEPTH_STEP_M) + 2)
    known = need[:, None, :] <= levels[None, :, None] * _DEPTH_STEP_M
    bits = np.uint64(1) << np.arange(64, dtype=np.uint64)
    marks = np.bitwise_or.reduce(np.where(known, bits, np.uint64(0)), axis=2)
    used = marks.any(axis=1)
    return np.column_stack([rows, cols])[used].astype(np.int64), np.ascontiguousarray(marks[used])


def _levels(words: npt.NDArray[np.uint64]) -> npt.NDArray[np.uint64]:
    """Bits common to all of 1, 2 x 2, 4 x 4, ... cells; none where those reach beyond the raster."""
    levels = [words]
    while 2 << (len(levels) - 1) <= min(words.shape):
        last, step = levels[-1], 1 << (len(levels) - 1)
        wider = np.zeros_like(words)
        wider[:-step, :-step] = last[:-step, :-step] & last[step:, :-step] & last[:-step, step:] & last[step:, step:]
        levels.append(wider)
    return np.stack(levels)
