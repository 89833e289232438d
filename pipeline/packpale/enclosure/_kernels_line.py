"""Compiled loops of the search for a line: no checks, no defaults, no files. The mathematics is in fit_line.py.

A position z is (x, y, psi, k, a, log R): x and y are the middle of the axis, psi its direction, counter-clockwise from
east. ``words``: bit b of a cell tells whether the cross-section centred there, its outward normal in the direction
2 pi b / 64, touches soft ground; ``kind``: NO_GO nearer to no-go ground than the outside strip, SOFT where some bit of
``words`` is set, 0 elsewhere. Frames are (west, north, cell). ``islands`` (n, 2): a point of each piece of no-go ground
that an egg could hold.
``aims``: see AIMS; ``limits`` (3, 2): ranges of taper, aspect and log R.

``pieces`` (n, 8) of a line: start x, start y, direction of travel x, y, radius (infinite where straight), angle turned
through to the right (0 where straight), chainage, length. The outward normal is (-y, x) of the direction of travel. The
mathematics of lengths over limits is in over_limits.py; ``edges``, ``nodes`` and the bands are those of boundary.py.
``exact``: outlines of the land and of the soft ground, each (edges, nodes, stack, three arrays of bands, two arrays to
work in); reach of the cross-section to the inside, to the outside, distance from no-go ground, and length of line that
rounding may take; room for five pieces.
"""

# ruff: noqa: C901, PLR0912, PLR0915, PLR0917 - compiled loops: calls with keywords and many small calls cost time here

from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

from packpale.site.grid import Array

Words = npt.NDArray[np.uint64]
Indices = npt.NDArray[np.int64]
Rasters = tuple[Any, ...]
Outline = tuple[Any, ...]
Exact = tuple[Any, ...]

AIMS = (
    "share",  # of the line that may run over limits
    "log_min_radius",
    "log_area",  # of every egg; minus infinity where the size is free
    "per_over_limit",  # what a metre over limits adds to the cost
    "fixed",  # cost that does not depend on the line
    "by_area",  # weights: of the log area,
    "by_field",  # of the field's mean,
    "by_cost",  # of the log cost, which is taken off
    "least_cost",  # of a metre of line anywhere
    "most_field",  # the field's largest value
)
SHARE, MIN_RADIUS, LOG_AREA, PER_OVER, FIXED, BY_AREA, BY_FIELD, BY_COST, LEAST_COST, MOST_FIELD = range(10)

NO_GO, SOFT = 1, 2

LEAF = 4
JOIN = 1e-9  # stretches nearer to each other than this are one, and what is shorter is none [m]

_A, _B, _C, _D = np.uint64(13), np.uint64(7), np.uint64(17), np.uint64(11)
_ONE = np.uint64(1)
_NEVER = 1e30  # weight of a condition that has to be kept


@njit(cache=True)
def _uniform(state: Words) -> float:
    """Next number of a xorshift generator, 0 to 1 (G. Marsaglia, "Xorshift RNGs", J. Stat. Softw. 8 (14), 2003)."""
    x = state[0]
    x ^= x << _A
    x ^= x >> _B
    x ^= x << _C
    state[0] = x
    return float(x >> _D) / 9007199254740992.0


@njit(cache=True)
def _add(low: float, high: float, turn: float, radius: float, chainage: float, room: Array, n: int) -> int:
    """Keep the part of the angles low to high, in laps of a full circle, that lies on the piece."""
    for lap in range(-1, 2):
        a, b = max(low + lap * 2.0 * np.pi, 0.0), min(high + lap * 2.0 * np.pi, turn)
        if b >= a:
            if n < room.shape[0]:
                room[n, 0], room[n, 1] = chainage + radius * a, chainage + radius * b
            n += 1
    return n


@njit(cache=True)
def _along_edge(
    u: float, v: float, eu: float, ev: float, t0: float, t1: float, half_turn: float, piece: Array, room: Array, n: int
) -> int:
    """Angles under which the stretch t0 to t1 of an edge is seen from the centre of an arc."""
    au, av, bu, bv = u + t0 * eu, v + t0 * ev, u + t1 * eu, v + t1 * ev
    first = np.arctan2(av, au) + half_turn
    if first > np.pi:
        first -= 2.0 * np.pi
    swept = np.arctan2(au * bv - av * bu, au * bu + av * bv)
    return int(_add(first + min(swept, 0.0), first + max(swept, 0.0), piece[5], piece[4], piece[6], room, n))


@njit(cache=True)
def _arc_edge(
    along: float,
    out: float,
    ea: float,
    eo: float,
    length: float,
    inside: float,
    outside: float,
    piece: Array,
    room: Array,
    n: int,
) -> int:
    """Stretches of one arc whose cross-section meets an edge, given in the frame of the arc's start."""
    radius = piece[4]
    u, v, eu, ev = out + radius, along, eo, ea
    middle = -(u * eu + v * ev)
    off = abs(u * ev - v * eu)
    reach, hollow = radius + outside, radius - inside
    if off >= reach:
        return n
    if hollow <= 0.0 and off < 1e-12 and 0.0 <= middle <= length:
        # The edge runs through the centre, where all cross-sections meet.
        return int(_add(0.0, piece[5], piece[5], radius, piece[6], room, n))
    half = np.sqrt((reach - off) * (reach + off))
    t0, t1 = max(middle - half, 0.0), min(middle + half, length)
    if t0 > t1:
        return n
    if off >= abs(hollow):
        return int(_along_edge(u, v, eu, ev, t0, t1, 0.0, piece, room, n))
    half = np.sqrt((abs(hollow) - off) * (abs(hollow) + off))
    if hollow > 0.0:
        if t0 <= min(t1, middle - half):
            n = _along_edge(u, v, eu, ev, t0, min(t1, middle - half), 0.0, piece, room, n)
        if max(t0, middle + half) <= t1:
            n = _along_edge(u, v, eu, ev, max(t0, middle + half), t1, 0.0, piece, room, n)
        return n
    # The cross-section reaches past the centre, and there it meets what lies on the other side.
    n = _along_edge(u, v, eu, ev, t0, t1, 0.0, piece, room, n)
    t0, t1 = max(middle - half, 0.0), min(middle + half, length)
    return int(_along_edge(u, v, eu, ev, t0, t1, np.pi, piece, room, n)) if t0 <= t1 else n


@njit(cache=True)
def _straight_edge(
    along: float,
    out: float,
    ea: float,
    eo: float,
    length: float,
    inside: float,
    outside: float,
    piece: Array,
    room: Array,
    n: int,
) -> int:
    """The same on a straight piece, whose cross-sections make up a rectangle."""
    t0, t1 = 0.0, length
    for axis in range(2):
        at, slope = (out, eo) if axis == 0 else (along, ea)
        low, high = (-inside, outside) if axis == 0 else (0.0, piece[7])
        if slope == 0.0:
            if at < low or at > high:
                return n
            continue
        a, b = (low - at) / slope, (high - at) / slope
        t0, t1 = max(t0, min(a, b)), min(t1, max(a, b))
    if t0 > t1:
        return n
    a, b = along + t0 * ea, along + t1 * ea
    if n < room.shape[0]:
        room[n, 0] = piece[6] + min(max(min(a, b), 0.0), piece[7])
        room[n, 1] = piece[6] + max(min(max(a, b), piece[7]), 0.0)
    return n + 1


@njit(cache=True)
def _winding(x: float, y: float, edges: Array, band_start: Indices, band_edge: Indices, band_frame: Array) -> int:
    """How often the rings run round a point; 0 outside all of them."""
    turns = 0
    band = int(np.floor((y - band_frame[0]) / band_frame[1]))
    if 0 <= band < band_start.shape[0] - 1:
        for j in range(band_start[band], band_start[band + 1]):
            e = band_edge[j]
            y0 = edges[e, 1]
            y1 = y0 + edges[e, 3] * edges[e, 4]
            if (y0 > y) != (y1 > y) and edges[e, 0] + (y - y0) / edges[e, 3] * edges[e, 2] > x:
                turns += 1 if y1 > y0 else -1
    return turns


@njit(cache=True)
def _point(chainage: float, pieces: Array) -> tuple[float, float]:
    i = 0
    while i + 1 < pieces.shape[0] and pieces[i + 1, 6] <= chainage:
        i += 1
    x, y, tx, ty, radius = pieces[i, 0], pieces[i, 1], pieces[i, 2], pieces[i, 3], pieces[i, 4]
    along = chainage - pieces[i, 6]
    if np.isinf(radius):
        return x + along * tx, y + along * ty
    angle = along / radius
    sag = -2.0 * radius * np.sin(0.5 * angle) ** 2
    along = radius * np.sin(angle)
    return x + along * tx - sag * ty, y + along * ty + sag * tx


@njit(cache=True)
def egg_pieces(
    x: float, y: float, psi: float, R: float, k: float, d: float, F: float, phi: float, pieces: Array
) -> None:
    """The five arcs of an egg with O at (x, y), its spacing, flank radius and flank turn at R = 1, into ``pieces``."""
    chainage = 0.0
    # The outward normal at the tip of the big end points against the axis.
    normal = psi + np.pi
    px, py = x + R * np.cos(normal), y + R * np.sin(normal)
    for i in range(5):
        if i in (0, 4):
            radius, turn = R, 0.5 * np.pi
        elif i == 2:
            radius, turn = k * R, np.pi - 2.0 * phi
        else:
            radius, turn = F * R, phi
        tx, ty = np.sin(normal), -np.cos(normal)
        pieces[i, 0], pieces[i, 1], pieces[i, 2], pieces[i, 3] = px, py, tx, ty
        pieces[i, 4], pieces[i, 5], pieces[i, 6], pieces[i, 7] = radius, turn, chainage, radius * turn
        chainage += radius * turn
        along, sag = radius * np.sin(turn), -2.0 * radius * np.sin(0.5 * turn) ** 2
        px, py = px + along * tx - sag * ty, py + along * ty + sag * tx
        normal -= turn


@njit(cache=True)
def over(
    pieces: Array,
    inside: float,
    outside: float,
    edges: Array,
    nodes: Array,
    stack: Indices,
    band_start: Indices,
    band_edge: Indices,
    band_frame: Array,
    beyond: bool,
    room: Array,
    out: Array,
) -> int:
    """Stretches of a closed line whose cross-section touches the polygons, as rows (from, to) of ``out`` in order.

    With ``beyond`` it is the ground outside the polygons that counts.

    The last may end past the perimeter. Returns their number, or the negative of the rows that ``room`` and ``out``
    need where they are too short.
    """
    leaves = nodes.shape[0] // 2
    m = edges.shape[0]
    n = 0
    for i in range(pieces.shape[0]):
        x, y, tx, ty, radius, length = (
            pieces[i, 0],
            pieces[i, 1],
            pieces[i, 2],
            pieces[i, 3],
            pieces[i, 4],
            pieces[i, 7],
        )
        straight = np.isinf(radius)
        # A circle round the piece with its cross-sections.
        mx, my = _point(pieces[i, 6] + 0.5 * length, pieces)
        reach = 0.5 * length + max(inside, outside)
        stack[0], top = 1, 1
        while top > 0:
            top -= 1
            node = stack[top]
            wide = nodes[node, 2]
            if wide < 0.0 or np.hypot(nodes[node, 0] - mx, nodes[node, 1] - my) > reach + wide:
                continue
            dx, dy = nodes[node, 0] - x, nodes[node, 1] - y
            along, off = dx * tx + dy * ty, dy * tx - dx * ty
            if straight:
                if off > outside + wide or off < -inside - wide:
                    continue
            else:
                off = np.hypot(along, off + radius) - radius
                if off > outside + wide or (inside < radius and off < -inside - wide):
                    continue
            if node < leaves:
                stack[top], stack[top + 1] = 2 * node, 2 * node + 1
                top += 2
                continue
            for e in range((node - leaves) * LEAF, min((node - leaves + 1) * LEAF, m)):
                dx, dy = edges[e, 0] - x, edges[e, 1] - y
                along, off = dx * tx + dy * ty, dy * tx - dx * ty
                ea, eo = edges[e, 2] * tx + edges[e, 3] * ty, edges[e, 3] * tx - edges[e, 2] * ty
                if straight:
                    n = _straight_edge(along, off, ea, eo, edges[e, 4], inside, outside, pieces[i], room, n)
                else:
                    n = _arc_edge(along, off, ea, eo, edges[e, 4], inside, outside, pieces[i], room, n)
    if n + 1 > room.shape[0]:
        return -(n + 1)
    last = pieces.shape[0] - 1
    perimeter = pieces[last, 6] + pieces[last, 7]
    if n == 0:
        if (_winding(pieces[0, 0], pieces[0, 1], edges, band_start, band_edge, band_frame) == 0) != beyond:
            return 0
        out[0, 0], out[0, 1] = 0.0, perimeter
        return 1
    order = np.argsort(room[:n, 0])
    # Between two stretches no edge is met, so that all cross-sections there lie wholly in the polygons or outside.
    k = -1
    for j in range(n):
        start, end = room[order[j], 0], room[order[j], 1]
        if k >= 0 and start > out[k, 1] + JOIN:
            px, py = _point(0.5 * (out[k, 1] + start), pieces)
            if (_winding(px, py, edges, band_start, band_edge, band_frame) != 0) != beyond:
                out[k, 1] = max(end, out[k, 1])
                continue
        if k >= 0 and start <= out[k, 1] + JOIN:
            out[k, 1] = max(end, out[k, 1])
            continue
        k += 1
        out[k, 0], out[k, 1] = start, end
    gap = out[0, 0] + perimeter - out[k, 1]
    joined = gap <= 2.0 * JOIN
    if not joined:
        middle = out[k, 1] + 0.5 * gap
        px, py = _point(middle if middle < perimeter else middle - perimeter, pieces)
        joined = (_winding(px, py, edges, band_start, band_edge, band_frame) != 0) != beyond
    if joined:
        if k == 0:
            out[0, 0], out[0, 1] = 0.0, perimeter
            return 1
        out[k, 1] = out[0, 1] + perimeter
        for j in range(k):
            out[j, 0], out[j, 1] = out[j + 1, 0], out[j + 1, 1]
        k -= 1
    kept = 0
    for j in range(k + 1):
        if out[j, 1] - out[j, 0] > JOIN:
            out[kept, 0], out[kept, 1] = out[j, 0], out[j, 1]
            kept += 1
    return kept


@njit(cache=True)
def _length(pieces: Array, inside: float, outside: float, ground: Outline, beyond: bool) -> float:
    """Length of a closed line whose cross-section touches polygons, or with ``beyond`` what lies outside them."""
    edges, nodes, stack, band_start, band_edge, band_frame, room, out = ground
    n = over(pieces, inside, outside, edges, nodes, stack, band_start, band_edge, band_frame, beyond, room, out)
    while n < 0:
        room, out = np.empty((-2 * n, 2)), np.empty((-2 * n, 2))
        n = over(pieces, inside, outside, edges, nodes, stack, band_start, band_edge, band_frame, beyond, room, out)
    total = 0.0
    for i in range(n):
        total += out[i, 1] - out[i, 0]
    return total


@njit(cache=True)
def unit_egg(k: float, a: float) -> tuple[float, float, float, float, float, float]:
    """Spacing, flank radius, flank turn with its sine and cosine, and area at R = 1, as in egg.py."""
    d = 2.0 * a - 1.0 - k
    q = 1.0 - k
    F = (d * d + q * (1.0 + k)) / (2.0 * q)
    c = F - k
    sin, cos = d / c, (d - q) * (d + q) / (2.0 * q) / c
    phi = np.arctan2(sin, cos)
    double = 2.0 * phi
    if double > 0.5:
        excess = double - 2.0 * sin * cos
    else:
        x2 = double * double
        excess = double * x2 / 6.0 * (1 - x2 / 20.0 * (1 - x2 / 42.0 * (1 - x2 / 72.0 * (1 - x2 / 110.0))))
    area = 0.5 * np.pi + phi * k * (2.0 * F - k) + c * c * excess / 2.0 + (0.5 * np.pi - phi) * k * k
    return d, F, phi, sin, cos, area


@njit(cache=True)
def _held(
    x: float,
    y: float,
    cos: float,
    sin: float,
    k: float,
    d: float,
    F: float,
    sin_phi: float,
    cos_phi: float,
    R: float,
    islands: Array,
) -> float:
    """How far no-go ground lies inside the egg, over R, added up over its pieces; 0 where none does."""
    total = 0.0
    for i in range(islands.shape[0]):
        dx, dy = (islands[i, 0] - x) / R, (islands[i, 1] - y) / R
        u, v = dx * cos + dy * sin, abs(dy * cos - dx * sin)
        if v >= 1.0 or u <= -1.0 or u >= d + k:
            continue
        if u <= 0.0:
            off = 1.0 - np.hypot(u, v)
        elif (u - d) * cos_phi >= v * sin_phi:
            off = k - np.hypot(u - d, v)
        else:
            off = F - np.hypot(u, v + F - 1.0)
        if off > 0.0:
            total += 0.02 + off
    return total


@njit(cache=True)
def measure(
    rows: Array, samples: float, rasters: Rasters, priced: bool, scored: bool, share: float, most: Array, out: Array
) -> None:
    """Over limits, no-go, cost along the line and field inside of some positions, into rows of ``out``.

    From about so many samples of a line, no closer than the cells of the rasters. A line is left as soon as no-go
    counted twice and what is over limits beyond the share come to more than its ``most`` of the perimeter: that is -1
    then. The field's integral is that of its sums along rows, ``before`` a cell and in it, over dy along the line
    (Green).
    """
    words, kind, frame, cost, cost_frame, field, before, field_frame = rasters
    height, width = words.shape
    west, north, per_cell = frame[0], frame[1], 1.0 / frame[2]
    per_price, per_field = 1.0 / cost_frame[2], 1.0 / field_frame[2]
    for i in range(rows.shape[0]):
        if most[i] < 0.0:
            continue
        psi, k, R = rows[i, 2], rows[i, 3], np.exp(rows[i, 5])
        d, F, phi, sin_phi, cos_phi, _ = unit_egg(k, rows[i, 4])
        cos, sin = np.cos(psi), np.sin(psi)
        perimeter = R * (np.pi + 2.0 * phi * F + (np.pi - 2.0 * phi) * k)
        step = max(perimeter / samples, frame[2])
        half = 0.5 * (d + k - 1.0) * R
        x, y = rows[i, 0] - half * cos, rows[i, 1] - half * sin
        over, no_go, total, inside = 0.0, 0.0, 0.0, 0.0
        angle = psi - 0.5 * np.pi + phi
        for arc in range(4):
            # The normal where the arc begins.
            if arc == 0:
                cu, cv, radius, turn = d, 0.0, k * R, np.pi - 2.0 * phi
                nx, ny = cos * sin_phi + sin * cos_phi, sin * sin_phi - cos * cos_phi
            elif arc == 1:
                cu, cv, radius, turn = 0.0, 1.0 - F, F * R, phi
                nx, ny = cos * sin_phi - sin * cos_phi, sin * sin_phi + cos * cos_phi
            elif arc == 2:
                cu, cv, radius, turn = 0.0, 0.0, R, np.pi
                nx, ny = -sin, cos
            else:
                cu, cv, radius, turn = 0.0, F - 1.0, F * R, phi
                nx, ny = sin, -cos
            cx, cy = x + R * (cu * cos - cv * sin), y + R * (cu * sin + cv * cos)
            n = int(radius * turn / step) + 1
            by = turn / n
            ds = radius * by
            half_x, half_y = np.cos(0.5 * by), np.sin(0.5 * by)
            turn_x, turn_y = half_x * half_x - half_y * half_y, 2.0 * half_x * half_y
            nx, ny = nx * half_x - ny * half_y, ny * half_x + nx * half_y
            bit, bits = (angle + 0.5 * by) * (32.0 / np.pi) + 256.5, by * (32.0 / np.pi)
            for _ in range(n):
                px, py = cx + radius * nx, cy + radius * ny
                c, r = int((px - west) * per_cell), int((north - py) * per_cell)
                # Beyond the rasters all is no-go. The words, eight times as large, are read where they tell something.
                known = px >= west and py <= north and r < height and c < width
                here = kind[r, c] if known else NO_GO
                if here == NO_GO:
                    no_go += ds
                elif here == SOFT and (words[r, c] >> np.uint64(int(bit) & 63)) & _ONE:
                    over += ds
                if priced:
                    c = min(max(int((px - cost_frame[0]) * per_price), 0), cost.shape[1] - 1)
                    r = min(max(int((cost_frame[1] - py) * per_price), 0), cost.shape[0] - 1)
                    total += ds * cost[r, c]
                if scored:
                    at = (field_frame[1] - py) * per_field
                    if 0.0 <= at < field.shape[0]:
                        r = int(at)
                        at = (px - field_frame[0]) * per_field
                        if at >= field.shape[1]:
                            c = field.shape[1] - 1
                            inside += (before[r, c] + field[r, c]) * nx * ds * field_frame[2]
                        elif at > 0.0:
                            c = int(at)
                            inside += (before[r, c] + field[r, c] * (at - c)) * nx * ds * field_frame[2]
                nx, ny = nx * turn_x - ny * turn_y, ny * turn_x + nx * turn_y
                bit += bits
            if max(over - share * perimeter, 0.0) + 2.0 * no_go > most[i] * perimeter:
                most[i] = -1.0
                break
            angle += turn
        out[i, 0], out[i, 1], out[i, 2], out[i, 3] = over, no_go, total, inside


@njit(cache=True)
def rate(
    rows: Array, aims: Array, samples: float, rasters: Rasters, exact: Exact, hard: float, least: Array, work: Array
) -> None:
    """What the search makes largest, and what the conditions miss, into the first two columns of ``work`` (n, 8).

    Sets log R where the area is given. Where the one less ``hard`` times the other is under a row's ``least``, no more
    of it is worked out than shows so: it misses infinitely much. Without samples the lengths over limits and at no-go
    ground are exact.
    """
    land, soft, reach, pieces = exact
    priced, scored, share = aims[BY_COST] != 0.0, aims[BY_FIELD] != 0.0, aims[SHARE]
    islands, most, sums = rasters[0], work[:, 2], work[:, 4:]
    for i in range(rows.shape[0]):
        psi, k, a = rows[i, 2], rows[i, 3], rows[i, 4]
        d, F, phi, sin_phi, cos_phi, unit = unit_egg(k, a)
        if aims[LOG_AREA] > -np.inf:
            rows[i, 5] = 0.5 * (aims[LOG_AREA] - np.log(unit))
        R = np.exp(rows[i, 5])
        perimeter = R * (np.pi + 2.0 * phi * F + (np.pi - 2.0 * phi) * k)
        half = 0.5 * (d + k - 1.0) * R
        cos, sin = np.cos(psi), np.sin(psi)
        x, y = rows[i, 0] - half * cos, rows[i, 1] - half * sin
        missed = max(aims[MIN_RADIUS] - np.log(k) - rows[i, 5], 0.0)
        if islands.shape[0]:
            missed += _held(x, y, cos, sin, k, d, F, sin_phi, cos_phi, R, islands)
        log_area = 2.0 * rows[i, 5] + np.log(unit)
        work[i, 0], work[i, 3] = aims[BY_AREA] * log_area, perimeter
        best = work[i, 0] + aims[BY_FIELD] * aims[MOST_FIELD]
        if priced:
            best -= aims[BY_COST] * np.log(aims[FIXED] + aims[LEAST_COST] * perimeter)
        most[i] = (best - least[i]) / hard - missed
        if samples == 0.0 and most[i] >= 0.0:
            egg_pieces(x, y, psi, R, k, d, F, phi, pieces)
            missed += 2.0 * _length(pieces, 0.0, reach[2], land, True) / perimeter
            most[i] = (best - least[i]) / hard - missed
            if most[i] >= 0.0:
                over = _length(pieces, reach[0], reach[1], soft, False)
                sums[i, 0] = over
                if share < 1.0:
                    missed += max(over - max(share * perimeter - reach[3], 0.0), 0.0) / perimeter
                most[i] = (best - least[i]) / hard - missed
        work[i, 1] = missed
    if samples > 0.0:
        measure(rows, samples, rasters[1:], priced, scored, share, most, sums)
    elif priced or scored:
        for i in range(rows.shape[0]):
            work[i, 2] = np.inf if most[i] >= 0.0 else -1.0
        exactly = sums[:, 0].copy()
        measure(rows, 1000.0, rasters[1:], priced, scored, 1.0, most, sums)
        sums[:, 0] = exactly
    for i in range(rows.shape[0]):
        if most[i] < 0.0:
            work[i, 1] = np.inf
            continue
        perimeter = work[i, 3]
        if samples > 0.0:
            work[i, 1] += max(sums[i, 0] / perimeter - share, 0.0) + 2.0 * sums[i, 1] / perimeter
        if scored:
            work[i, 0] += aims[BY_FIELD] * sums[i, 3] / np.exp(2.0 * rows[i, 5]) / unit_egg(rows[i, 3], rows[i, 4])[5]
        if priced:
            work[i, 0] -= aims[BY_COST] * np.log(sums[i, 2] + aims[FIXED] + aims[PER_OVER] * sums[i, 0])


@njit(cache=True)
def _moved(z: Array, by: float, limits: Array, state: Words, out: Array) -> None:
    """A neighbour of z: all unknowns or one of them, near or far."""
    by *= np.exp(-3.454 * _uniform(state))
    R = np.exp(z[5])
    only = int(_uniform(state) * 12.0)
    for j in range(6):
        out[j] = z[j]
        u = 2.0 * _uniform(state) - 1.0
        if only < 6 and only != j:
            continue
        if j < 2:
            out[j] += by * 0.8 * R * u
        elif j == 2:
            out[j] += by * 1.5 * u
        elif j < 5:
            low, high = limits[j - 3, 0], limits[j - 3, 1]
            out[j] += by * (high - low) * u
            out[j] = min(max(out[j], low), high)
        else:
            out[j] = min(max(out[j] + by * 0.5 * u, limits[2, 0]), limits[2, 1])


@njit(cache=True)
def _seeded(seed: int) -> Words:
    state = np.empty(1, np.uint64)
    state[0] = np.uint64(88172645463325252) ^ (np.uint64(seed * 1000003 + 1) * np.uint64(2654435769))
    return state


@njit(cache=True)
def anneal(
    starts: Array,
    merits: Array,
    steps: int,
    warmth: Array,
    aims: Array,
    limits: Array,
    samples: float,
    seed: int,
    rasters: Rasters,
    exact: Exact,
) -> None:
    """Simulated annealing from each start in place; its best merit under the last penalty into ``merits``.

    ``warmth``: first and last temperature, reach of a move, penalty. All starts go one step at a time:
    handing down the ground's arrays costs as much as measuring an egg.
    """
    state = _seeded(seed)
    count = starts.shape[0]
    z, trial, work, least = starts.copy(), starts.copy(), np.empty((count, 8)), np.full(count, -np.inf)
    hardest = warmth[2, 1]
    rate(z, aims, samples, rasters, exact, hardest, least, work)
    value, missed = work[:, 0].copy(), work[:, 1].copy()
    for i in range(count):
        merits[i] = value[i] - hardest * missed[i]
    cooling = (warmth[:, 1] / warmth[:, 0]) ** (1.0 / max(steps, 1))
    warm, by, hard = warmth[0, 0], warmth[1, 0], warmth[2, 0]
    for _ in range(steps):
        for i in range(count):
            _moved(z[i], by, limits, state, trial[i])
            # The chance of a step back is drawn first: what is worse than that needs no measuring.
            least[i] = value[i] - hard * missed[i] + warm * np.log(max(_uniform(state), 1e-300))
        rate(trial, aims, samples, rasters, exact, hard, least, work)
        for i in range(count):
            if work[i, 0] - hard * work[i, 1] < least[i]:
                continue
            value[i], missed[i] = work[i, 0], work[i, 1]
            z[i] = trial[i]
            if value[i] - hardest * missed[i] > merits[i]:
                merits[i] = value[i] - hardest * missed[i]
                starts[i] = z[i]
        warm *= cooling[0]
        by *= cooling[1]
        hard *= cooling[2]


@njit(cache=True)
def climb(
    z: Array, by: float, steps: int, aims: Array, limits: Array, seed: int, rasters: Rasters, exact: Exact
) -> float:
    """Better and better neighbours of z (1, 6) that keep the conditions exactly, in place, and what the last is worth.

    Where z misses a condition and the size is free, it is made smaller first; minus infinity where that does not help.
    ``by``: first reach of a move, which follows how often one is better.
    """
    state = _seeded(seed)
    trial, work, least = z.copy(), np.empty((1, 8)), np.full(1, -_NEVER)
    free = aims[LOG_AREA] == -np.inf
    rate(z, aims, 0.0, rasters, exact, _NEVER, least, work)
    for _ in range(80):
        if work[0, 1] == 0.0 or not free or z[0, 5] + np.log(z[0, 3]) < aims[MIN_RADIUS]:
            break
        z[0, 5] -= 0.0025
        rate(z, aims, 0.0, rasters, exact, _NEVER, least, work)
    if work[0, 1] > 0.0:
        return -np.inf
    least[0] = work[0, 0]
    for _ in range(steps):
        _moved(z[0], by, limits, state, trial[0])
        if free:
            # Only what is larger is of use.
            trial[0, 5] = 0.5 * (least[0] + 2e-7 - np.log(unit_egg(trial[0, 3], trial[0, 4])[5]))
        rate(trial, aims, 0.0, rasters, exact, _NEVER, least, work)
        if work[0, 1] > 0.0 or work[0, 0] <= least[0]:
            by = max(by * 0.99, 1e-4)
            continue
        by = min(by * 1.3, 0.1)
        stride = 1e-4
        while work[0, 1] == 0.0 and work[0, 0] > least[0]:
            least[0] = work[0, 0]
            z[0] = trial[0]
            if not free:
                break
            trial[0, 5] += stride
            stride *= 3.0
            rate(trial, aims, 0.0, rasters, exact, _NEVER, least, work)
    return float(least[0])
