"""Compiled loops of the volume integral: no checks, no defaults, no files."""

# ruff: noqa: PLR0917 - compiled functions take no keyword-only arguments

import math

import numpy as np
import numpy.typing as npt
from numba import njit

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


@njit(cache=True)
def bilinear(z: Floats, west: float, north: float, cell: float, x: float, y: float) -> float:
    """Same as Grid.bilinear for one point."""
    rows, cols = z.shape
    col, row = (x - west) / cell - 0.5, (north - y) / cell - 0.5
    if not (0.0 <= col <= cols - 1 and 0.0 <= row <= rows - 1):
        return math.nan
    c0, r0 = min(int(col), max(cols - 2, 0)), min(int(row), max(rows - 2, 0))
    c1, r1 = min(c0 + 1, cols - 1), min(r0 + 1, rows - 1)
    fc, fr = col - c0, row - r0
    total = 0.0
    # A missing neighbour without weight does no harm: 0 times NaN would.
    if fr < 1.0:
        if fc < 1.0:
            total += (1.0 - fr) * (1.0 - fc) * z[r0, c0]
        if fc > 0.0:
            total += (1.0 - fr) * fc * z[r0, c1]
    if fr > 0.0:
        if fc < 1.0:
            total += fr * (1.0 - fc) * z[r1, c0]
        if fc > 0.0:
            total += fr * fc * z[r1, c1]
    return total


@njit(cache=True)
def nearest_is(values: Flags, west: float, north: float, cell: float, x: float, y: float) -> bool:
    """The same for a mask."""
    rows, cols = values.shape
    c = min(max(math.floor((x - west) / cell), 0), cols - 1)
    r = min(max(math.floor((north - y) / cell), 0), rows - 1)
    return bool(values[r, c])


@njit(cache=True)
def nearest(values: Floats, west: float, north: float, cell: float, x: float, y: float) -> float:
    """Same as Grid.nearest for one point."""
    rows, cols = values.shape
    c = min(max(math.floor((x - west) / cell), 0), cols - 1)
    r = min(max(math.floor((north - y) / cell), 0), rows - 1)
    return float(values[r, c])


@njit(cache=True)
def positive_part(o1: float, o2: float, v1: float, v2: float) -> tuple[float, float, float, float]:
    """Of a value linear from v1 at o1 to v2 at o2: length and area where it is positive, and their first moments."""
    if v1 <= 0.0 and v2 <= 0.0:
        return 0.0, 0.0, 0.0, 0.0
    if v1 < 0.0:
        o1, v1 = o1 + (o2 - o1) * v1 / (v1 - v2), 0.0
    elif v2 < 0.0:
        o2, v2 = o1 + (o2 - o1) * v1 / (v1 - v2), 0.0
    length = o2 - o1
    moment = length * (o1 * (2.0 * v1 + v2) + o2 * (v1 + 2.0 * v2)) / 6.0
    return length, length * (o1 + o2) / 2.0, length * (v1 + v2) / 2.0, moment


@njit(cache=True)
def add_strip(row: Floats, o1: float, o2: float, c1: float, c2: float, rock: float, hard: bool, water: float) -> None:
    """Add to ``row`` the cut, rock, wet, open and hard rock part of a strip whose cut is linear from c1 to c2."""
    width, width_moment, area, moment = positive_part(o1, o2, c1, c2)
    row[0] += area
    row[1] += moment
    row[6] += width
    row[7] += width_moment
    _, _, area, moment = positive_part(o1, o2, c1 - rock, c2 - rock)
    row[2] += area
    row[3] += moment
    if hard:
        row[8] += area
        row[9] += moment
    _, _, area, moment = positive_part(o1, o2, c1 - water, c2 - water)
    row[4] += area
    row[5] += moment


@njit(cache=True)
def follow_sections(
    pieces: Floats,
    strip: float,
    x: Floats,
    y: Floats,
    side_x: Floats,
    side_y: Floats,
    rock: Floats,
    hard: Flags,
    water: Floats,
    rock_shift: Floats,
    water_shift: Floats,
    west: float,
    north: float,
    cell: float,
    out: Floats,
) -> None:
    """Fill ``out`` (stations, 10) with the sums of ``add_strip`` where the cut follows the ground.

    ``pieces`` has one outline for all stations or one for each, shape (1 or stations, pieces, 4). Depths to rock and
    water are those of the cell plus the station's shift, never negative.
    """
    for i in range(x.size):
        k = min(i, pieces.shape[0] - 1)
        for p in range(pieces.shape[1]):
            o1, o2, c1, c2 = pieces[k, p, 0], pieces[k, p, 1], pieces[k, p, 2], pieces[k, p, 3]
            if o2 <= o1:
                continue
            n = max(1, math.ceil((o2 - o1) / strip))
            for j in range(n):
                a, b = o1 + (o2 - o1) * j / n, o1 + (o2 - o1) * (j + 1) / n
                px, py = x[i] + side_x[i] * (a + b) / 2.0, y[i] + side_y[i] * (a + b) / 2.0
                add_strip(
                    out[i],
                    a,
                    b,
                    c1 + (c2 - c1) * j / n,
                    c1 + (c2 - c1) * (j + 1) / n,
                    max(nearest(rock, west, north, cell, px, py) + rock_shift[i], 0.0),
                    nearest_is(hard, west, north, cell, px, py),
                    max(nearest(water, west, north, cell, px, py) + water_shift[i], 0.0),
                )


@njit(cache=True)
def level_sections(  # noqa: C901 - the bottoms, then the walls
    bottoms: Floats,
    walls: Floats,
    side_slope: float,
    reach: float,
    strip: float,
    x: Floats,
    y: Floats,
    side_x: Floats,
    side_y: Floats,
    ground: Floats,
    z: Floats,
    rock: Floats,
    hard: Flags,
    water: Floats,
    rock_shift: Floats,
    water_shift: Floats,
    west: float,
    north: float,
    cell: float,
    out: Floats,
    edges: Floats,
    deepest: Floats,
    caught: Flags,
) -> None:
    """Fill ``out`` where bottoms are horizontal at the ground under the fence less their depth.

    ``bottoms`` and ``walls`` are one for all stations or one for each, as in ``follow_sections``. ``walls`` holds
    offset, depth and direction of the outer walls; each rises until it meets the ground or has gone
    ``reach`` times its depth. ``edges`` (stations, 2) gets the offsets where they end, ``deepest`` the deepest column.
    """
    for i in range(x.size):
        k = min(i, bottoms.shape[0] - 1)
        for p in range(bottoms.shape[1]):
            o1, o2, c1, c2 = bottoms[k, p, 0], bottoms[k, p, 1], bottoms[k, p, 2], bottoms[k, p, 3]
            if o2 <= o1:
                continue
            n = max(1, math.ceil((o2 - o1) / strip))
            a = o1
            cut_a = bilinear(z, west, north, cell, x[i] + side_x[i] * a, y[i] + side_y[i] * a) - ground[i] + c1
            deepest[i] = max(deepest[i], cut_a)
            for j in range(n):
                b = o1 + (o2 - o1) * (j + 1) / n
                px, py = x[i] + side_x[i] * b, y[i] + side_y[i] * b
                cut_b = bilinear(z, west, north, cell, px, py) - ground[i] + c1 + (c2 - c1) * (j + 1) / n
                px, py = x[i] + side_x[i] * (a + b) / 2.0, y[i] + side_y[i] * (a + b) / 2.0
                add_strip(
                    out[i],
                    a,
                    b,
                    cut_a,
                    cut_b,
                    max(nearest(rock, west, north, cell, px, py) + rock_shift[i], 0.0),
                    nearest_is(hard, west, north, cell, px, py),
                    max(nearest(water, west, north, cell, px, py) + water_shift[i], 0.0),
                )
                deepest[i] = max(deepest[i], cut_b)
                a, cut_a = b, cut_b
        for w in range(walls.shape[1]):
            start, depth, direction = walls[k, w, 0], walls[k, w, 1], walls[k, w, 2]
            edges[i, w] = start
            if side_slope == 0.0:
                continue
            a = start
            cut_a = bilinear(z, west, north, cell, x[i] + side_x[i] * a, y[i] + side_y[i] * a) - ground[i] + depth
            j = 0
            while cut_a > 0.0 and j * strip < reach * depth:
                j += 1
                b = start + direction * j * strip
                px, py = x[i] + side_x[i] * b, y[i] + side_y[i] * b
                cut_b = bilinear(z, west, north, cell, px, py) - ground[i] + depth - j * strip / side_slope
                if math.isnan(cut_b):
                    break
                px, py = x[i] + side_x[i] * (a + b) / 2.0, y[i] + side_y[i] * (a + b) / 2.0
                rock_depth = max(nearest(rock, west, north, cell, px, py) + rock_shift[i], 0.0)
                water_depth = max(nearest(water, west, north, cell, px, py) + water_shift[i], 0.0)
                is_hard = nearest_is(hard, west, north, cell, px, py)
                if direction > 0:
                    add_strip(out[i], a, b, cut_a, cut_b, rock_depth, is_hard, water_depth)
                else:
                    add_strip(out[i], b, a, cut_b, cut_a, rock_depth, is_hard, water_depth)
                edges[i, w] = b if cut_b > 0.0 else a + (b - a) * cut_a / (cut_a - cut_b)
                deepest[i] = max(deepest[i], cut_b)
                a, cut_a = b, cut_b
            if cut_a > 0.0:
                caught[i] = False
