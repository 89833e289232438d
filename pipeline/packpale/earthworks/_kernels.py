"""Compiled loops of the volume integral: no checks, no defaults, no files.

All in one file: a cached loop is compiled anew when its own file changes, not when that of a function it calls does.
"""

# ruff: noqa: PLR0917 - compiled functions take no keyword-only arguments

import math

import numpy as np
import numpy.typing as npt
from numba import njit

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

CUT, ROCK, WET, OPEN, HARD = range(5)
"""Parts of a section in their order."""
SKIPPED = 1e-9
"""Of a cell: closer to its border than that, a place counts as on it."""


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
def _positive_part(o1: float, o2: float, v1: float, v2: float) -> tuple[float, float, float, float]:
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
def _add_part(row: Floats, first: int, share: float, o1: float, o2: float, v1: float, v2: float) -> None:
    """Add to ``row`` a share of the positive part of a value linear from v1 to v2, on one side of the fence line.

    Each part has three sums: the area, and the first moments to the apron side and to the other; ``first`` is the
    place of the first.
    """
    _, _, area, moment = _positive_part(o1, o2, v1, v2)
    row[first] += share * area
    row[first + (1 if o1 + o2 > 0.0 else 2)] += share * moment


@njit(cache=True)
def _add_cut(row: Floats, o1: float, o2: float, c1: float, c2: float) -> None:
    """Add to ``row`` cut and open width of a strip whose cut is linear from c1 to c2."""
    width, width_moment, area, moment = _positive_part(o1, o2, c1, c2)
    side = 1 if o1 + o2 > 0.0 else 2
    row[3 * CUT] += area
    row[3 * CUT + side] += moment
    row[3 * OPEN] += width
    row[3 * OPEN + side] += width_moment


@njit(cache=True)
def _add_below(
    row: Floats, share: float, o1: float, o2: float, c1: float, c2: float, rock: float, hard: bool, water: float
) -> None:
    """Add to ``row`` a share of the rock, hard rock and wet part of a strip over one kind of soil."""
    if c1 > rock or c2 > rock:
        _add_part(row, 3 * ROCK, share, o1, o2, c1 - rock, c2 - rock)
        if hard:
            _add_part(row, 3 * HARD, share, o1, o2, c1 - rock, c2 - rock)
    if c1 > water or c2 > water:
        _add_part(row, 3 * WET, share, o1, o2, c1 - water, c2 - water)


@njit(cache=True)
def _add_along(
    row: Floats,
    o1: float,
    o2: float,
    c1: float,
    c2: float,
    u: float,
    v: float,
    u_end: float,
    v_end: float,
    rock: Floats,
    hard: Flags,
    water: Floats,
    rock_shift: float,
    water_shift: float,
) -> None:
    """Add half of a strip over the soil of the cells from (u, v) to (u_end, v_end), in cells, each by its length."""
    rows, cols = rock.shape
    du, dv = u_end - u, v_end - v
    c, r = math.floor(u), math.floor(v)
    # Of the way: where the next column and the next row begin, and how far it is from one to the next.
    right, down = (1 if du > 0.0 else -1), (1 if dv > 0.0 else -1)
    a_column, a_row = (1.0 / abs(du) if du else math.inf), (1.0 / abs(dv) if dv else math.inf)
    to_column = (c + 1 - u if du > 0.0 else u - c) * a_column if du else math.inf
    to_row = (r + 1 - v if dv > 0.0 else v - r) * a_row if dv else math.inf
    done = 0.0
    while done < 1.0:
        upto = min(to_column, to_row, 1.0)
        if upto > done:
            i, j = min(max(r, 0), rows - 1), min(max(c, 0), cols - 1)
            d_rock, d_water = max(rock[i, j] + rock_shift, 0.0), max(water[i, j] + water_shift, 0.0)
            _add_below(row, 0.5 * (upto - done), o1, o2, c1, c2, d_rock, hard[i, j], d_water)
            done = upto
        if to_column <= to_row:
            c += right
            to_column += a_column
        else:
            r += down
            to_row += a_row


@njit(cache=True)
def _onwards(a: float, at: float, slope: float) -> float:
    """Offset, from ``a`` where the section is at column or row ``at`` in cells, at which it enters the next cell."""
    if slope > 0.0:
        return a + (math.floor(at + SKIPPED) + 1.0 - at) / slope
    if slope < 0.0:
        return a + (math.ceil(at - SKIPPED) - 1.0 - at) / slope
    return math.inf


@njit(cache=True)
def _add_strip(
    row: Floats,
    o1: float,
    o2: float,
    c1: float,
    c2: float,
    about: Floats,
    u: Floats,
    v: Floats,
    su: Floats,
    sv: Floats,
    rock: Floats,
    hard: Flags,
    water: Floats,
    rock_shift: float,
    water_shift: float,
) -> None:
    """Add to ``row`` the cut of a strip from o1 to o2, linear from c1 to c2, and what of it is rock or wet.

    ``u + o su`` and ``v + o sv`` (3,) are column and row, in cells, at offset o where the stretch of the station
    begins, at the station and where it ends. The soil is that of the cells which the stretch crosses at the strip's
    middle, each by its length; the strip is parted where the section crosses from cell to cell. ``about`` says what
    is known of all cells near, as ``_soil_about`` fills it.
    """
    _add_cut(row, o1, o2, c1, c2)
    rows, cols = rock.shape
    if about[0] <= o1 and o2 <= about[1]:
        if c1 <= about[2] and c2 <= about[2]:
            return
        if about[3] == 1.0:
            _add_below(row, 1.0, o1, o2, c1, c2, about[4], about[5] == 1.0, about[6])
            return
    a, cut_a = o1, c1
    while a < o2:
        b = min(_onwards(a, u[1] + a * su[1], su[1]), _onwards(a, v[1] + a * sv[1], sv[1]), o2)
        cut_b = c2 if b == o2 else c1 + (c2 - c1) * (b - o1) / (o2 - o1)
        m = (a + b) / 2.0
        u1, v1 = u[1] + m * su[1], v[1] + m * sv[1]
        c, r = math.floor(u1), math.floor(v1)
        share = 0.0
        for k in (0, 2):
            u2, v2 = u[k] + m * su[k], v[k] + m * sv[k]
            if math.floor(u2) == c and math.floor(v2) == r:
                share += 0.5
            else:
                _add_along(row, a, b, cut_a, cut_b, u1, v1, u2, v2, rock, hard, water, rock_shift, water_shift)
        if share > 0.0:
            i, j = min(max(r, 0), rows - 1), min(max(c, 0), cols - 1)
            d_rock, d_water = max(rock[i, j] + rock_shift, 0.0), max(water[i, j] + water_shift, 0.0)
            _add_below(row, share, a, b, cut_a, cut_b, d_rock, hard[i, j], d_water)
        a, cut_a = b, cut_b


@njit(cache=True)
def _stretch(
    i: int, x: Floats, y: Floats, side_x: Floats, side_y: Floats, west: float, north: float, cell: float,
    u: Floats, v: Floats, su: Floats, sv: Floats,
) -> None:  # fmt: skip
    """Fill ``u``, ``v``, ``su``, ``sv`` (3,) as ``_add_strip`` takes them.

    The stretch of a station runs half the way to its neighbours on the closed line; points at one offset are joined
    by straight lines from station to station.
    """
    n = x.size
    for k, other in ((0, (i - 1) % n), (1, i), (2, (i + 1) % n)):
        u[k] = ((x[i] + x[other]) / 2.0 - west) / cell
        v[k] = (north - (y[i] + y[other]) / 2.0) / cell
        su[k] = (side_x[i] + side_x[other]) / 2.0 / cell
        sv[k] = -(side_y[i] + side_y[other]) / 2.0 / cell


@njit(cache=True)
def _soil_about(
    o1: float, o2: float, u: Floats, v: Floats, su: Floats, sv: Floats,
    rock: Floats, hard: Flags, water: Floats, rock_shift: float, water_shift: float, about: Floats,
) -> None:  # fmt: skip
    """Fill ``about`` (7,) with what is true of all cells about a stretch between two offsets.

    The offsets; the depth above which nothing is rock or wet; 1 if all have one soil, and then its depth to rock, 1
    if that is hard, and its depth to water.
    """
    rows, cols = rock.shape
    left, right, top, bottom = math.inf, -math.inf, math.inf, -math.inf
    for k in range(3):
        for o in (o1, o2):
            left, right = min(left, u[k] + o * su[k]), max(right, u[k] + o * su[k])
            top, bottom = min(top, v[k] + o * sv[k]), max(bottom, v[k] + o * sv[k])
    j0, j1 = min(max(math.floor(left), 0), cols - 1), min(max(math.floor(right), 0), cols - 1)
    i0, i1 = min(max(math.floor(top), 0), rows - 1), min(max(math.floor(bottom), 0), rows - 1)
    d_rock, d_water, is_hard = rock[i0, j0], water[i0, j0], hard[i0, j0]
    same, least_rock, least_water = True, d_rock, d_water
    for i in range(i0, i1 + 1):
        for j in range(j0, j1 + 1):
            least_rock, least_water = min(least_rock, rock[i, j]), min(least_water, water[i, j])
            same = same and rock[i, j] == d_rock and water[i, j] == d_water and hard[i, j] == is_hard
    about[0], about[1] = o1, o2
    about[2] = min(max(least_rock + rock_shift, 0.0), max(least_water + water_shift, 0.0))
    about[3] = 1.0 if same else 0.0
    about[4], about[5], about[6] = (
        max(d_rock + rock_shift, 0.0),
        1.0 if is_hard else 0.0,
        max(d_water + water_shift, 0.0),
    )


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
    space: Floats,
    out: Floats,
) -> None:
    """Fill ``out`` (shifts, stations, 15) with the sums of ``_add_strip`` where the cut follows the ground.

    ``pieces`` (outlines, pieces, 4) has an outline for each shift and station, one for each station, or one for all.
    Depths to rock and water are those of the cells plus the shift, shape (shifts, stations), never negative. Where all
    cells about have one soil, whole pieces are taken at once: within them the cut is linear. ``space`` (5, 7) is work
    space.
    """
    u, v, su, sv, about = space[0], space[1], space[2], space[3], space[4]
    for i in range(x.size):
        _stretch(i, x, y, side_x, side_y, west, north, cell, u, v, su, sv)
        for s in range(out.shape[0]):
            k = (s * x.size + i) % pieces.shape[0]
            row, d_rock, d_water = out[s, i], rock_shift[s, i], water_shift[s, i]
            inner, outer, deepest = 0.0, 0.0, 0.0
            for p in range(pieces.shape[1]):
                if pieces[k, p, 1] > pieces[k, p, 0]:
                    inner, outer = min(inner, pieces[k, p, 0]), max(outer, pieces[k, p, 1])
                    deepest = max(deepest, pieces[k, p, 2], pieces[k, p, 3])
            _soil_about(inner, outer, u, v, su, sv, rock, hard, water, d_rock, d_water, about)
            whole = about[3] == 1.0 or deepest <= about[2]
            for p in range(pieces.shape[1]):
                o1, o2, c1, c2 = pieces[k, p, 0], pieces[k, p, 1], pieces[k, p, 2], pieces[k, p, 3]
                if o2 <= o1:
                    continue
                n = 1 if whole else max(1, math.ceil((o2 - o1) / strip))
                for j in range(n):
                    a, b = o1 + (o2 - o1) * j / n, o1 + (o2 - o1) * (j + 1) / n
                    cut_a, cut_b = c1 + (c2 - c1) * j / n, c1 + (c2 - c1) * (j + 1) / n
                    _add_strip(row, a, b, cut_a, cut_b, about, u, v, su, sv, rock, hard, water, d_rock, d_water)


@njit(cache=True)
def level_sections(  # noqa: C901, PLR0912 - the bottoms, then the walls
    bottoms: Floats,
    walls: Floats,
    side_slope: float,
    rock_side_slope: float,
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
    space: Floats,
    out: Floats,
    edges: Floats,
    deepest: Floats,
    caught: Flags,
) -> None:
    """Fill ``out`` where bottoms are horizontal at the ground under the fence less their depth.

    Outlines in ``bottoms`` and ``walls``, shifts and ``space`` are as in ``follow_sections``. ``walls`` holds
    offset, depth, direction and height in rock of the outer walls; each rises, first through the rock, until it meets
    the ground or has gone ``reach`` times its depth. ``edges`` (shifts, stations, 2) gets the offsets where they end,
    ``deepest`` (shifts, stations) the deepest column.
    """
    u, v, su, sv, about = space[0], space[1], space[2], space[3], space[4]
    for i in range(x.size):
        _stretch(i, x, y, side_x, side_y, west, north, cell, u, v, su, sv)
        for s in range(out.shape[0]):
            k = (s * x.size + i) % bottoms.shape[0]
            row, d_rock, d_water = out[s, i], rock_shift[s, i], water_shift[s, i]
            # As far as the walls reach where the ground rises by a quarter; beyond, each strip looks for itself.
            inner, outer = (
                walls[k, 0, 0] - 1.5 * side_slope * walls[k, 0, 1],
                walls[k, 1, 0] + 1.5 * side_slope * walls[k, 1, 1],
            )
            _soil_about(inner, outer, u, v, su, sv, rock, hard, water, d_rock, d_water, about)
            for p in range(bottoms.shape[1]):
                o1, o2, c1, c2 = bottoms[k, p, 0], bottoms[k, p, 1], bottoms[k, p, 2], bottoms[k, p, 3]
                if o2 <= o1:
                    continue
                n = max(1, math.ceil((o2 - o1) / strip))
                a = o1
                cut_a = bilinear(z, west, north, cell, x[i] + side_x[i] * a, y[i] + side_y[i] * a) - ground[i] + c1
                deepest[s, i] = max(deepest[s, i], cut_a)
                for j in range(n):
                    b = o1 + (o2 - o1) * (j + 1) / n
                    px, py = x[i] + side_x[i] * b, y[i] + side_y[i] * b
                    cut_b = bilinear(z, west, north, cell, px, py) - ground[i] + c1 + (c2 - c1) * (j + 1) / n
                    _add_strip(row, a, b, cut_a, cut_b, about, u, v, su, sv, rock, hard, water, d_rock, d_water)
                    deepest[s, i] = max(deepest[s, i], cut_b)
                    a, cut_a = b, cut_b
            for w in range(walls.shape[1]):
                start, depth, direction, in_rock = walls[k, w, 0], walls[k, w, 1], walls[k, w, 2], walls[k, w, 3]
                edges[s, i, w] = start
                if side_slope == 0.0:
                    continue
                a = start
                cut_a = bilinear(z, west, north, cell, x[i] + side_x[i] * a, y[i] + side_y[i] * a) - ground[i] + depth
                known, gone = True, rock_side_slope * in_rock
                for part in range(2):
                    foot, risen = (start, 0.0) if part == 0 else (start + direction * gone, in_rock)
                    run, slope = (gone, rock_side_slope) if part == 0 else (reach * depth - gone, side_slope)
                    if part == 1 and rock_side_slope == 0.0:
                        cut_a -= in_rock  # straight up
                    j = 0
                    while known and cut_a > 0.0 and j * strip < run:
                        j += 1
                        # The wall in rock ends exactly where that in soil begins.
                        way = min(j * strip, run) if part == 0 else j * strip
                        b = foot + direction * way
                        px, py = x[i] + side_x[i] * b, y[i] + side_y[i] * b
                        cut_b = bilinear(z, west, north, cell, px, py) - ground[i] + depth - risen - way / slope
                        if math.isnan(cut_b):
                            known = False
                            break
                        if direction > 0:
                            _add_strip(row, a, b, cut_a, cut_b, about, u, v, su, sv, rock, hard, water, d_rock, d_water)
                        else:
                            _add_strip(row, b, a, cut_b, cut_a, about, u, v, su, sv, rock, hard, water, d_rock, d_water)
                        edges[s, i, w] = b if cut_b > 0.0 else a + (b - a) * cut_a / (cut_a - cut_b)
                        deepest[s, i] = max(deepest[s, i], cut_b)
                        a, cut_a = b, cut_b
                if cut_a > 0.0:
                    caught[s, i] = False
