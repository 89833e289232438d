"""Compiled loops of the length over limits: no checks, no defaults, no files. The mathematics is in over_limits.py.

``pieces`` (n, 8): start x, start y, direction of travel x, y, radius (infinite where straight), angle turned through to
the right (0 where straight), chainage, length. The outward normal is (-y, x) of the direction of travel. ``edges``,
``nodes`` and the bands are those of boundary.py.
"""

# ruff: noqa: C901, PLR0912, PLR0915, PLR0917 - compiled loops: calls with keywords and many small calls cost time here

import numpy as np
import numpy.typing as npt
from numba import njit

from packpale.site.grid import Array

Indices = npt.NDArray[np.int64]

LEAF = 4
JOIN = 1e-9  # stretches nearer to each other than this are one, and what is shorter is none [m]


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
    room: Array,
    out: Array,
) -> int:
    """Stretches of a closed line whose cross-section touches the polygons, as rows (from, to) of ``out`` in order.

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
        if _winding(pieces[0, 0], pieces[0, 1], edges, band_start, band_edge, band_frame) == 0:
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
            if _winding(px, py, edges, band_start, band_edge, band_frame) != 0:
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
        joined = _winding(px, py, edges, band_start, band_edge, band_frame) != 0
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
def over_length(
    pieces: Array,
    inside: float,
    outside: float,
    edges: Array,
    nodes: Array,
    stack: Indices,
    band_start: Indices,
    band_edge: Indices,
    band_frame: Array,
    room: Array,
    out: Array,
) -> float:
    """Length of line over the polygons; negative as for ``over`` where there is too little room."""
    n = over(pieces, inside, outside, edges, nodes, stack, band_start, band_edge, band_frame, room, out)
    if n < 0:
        return float(n)
    total = 0.0
    for i in range(n):
        total += out[i, 1] - out[i, 0]
    return total


@njit(cache=True)
def along(pieces: Array, step: float, values: Array, frame: Array) -> float:
    """Integral of a raster along a line, from the cells at the middles of equal parts of each piece.

    ``frame`` is (west, north, cell) in the coordinates of the pieces; beyond the raster its nearest cell counts.
    """
    total = 0.0
    rows, cols = values.shape
    for i in range(pieces.shape[0]):
        x, y, tx, ty, radius, length = (
            pieces[i, 0],
            pieces[i, 1],
            pieces[i, 2],
            pieces[i, 3],
            pieces[i, 4],
            pieces[i, 7],
        )
        n = int(length / step) + 1
        ds = length / n
        for j in range(n):
            a, sag = (j + 0.5) * ds, 0.0
            if not np.isinf(radius):
                angle = a / radius
                a, sag = radius * np.sin(angle), -2.0 * radius * np.sin(0.5 * angle) ** 2
            px, py = x + a * tx - sag * ty, y + a * ty + sag * tx
            c = min(max(int((px - frame[0]) / frame[2]), 0), cols - 1)
            r = min(max(int((frame[1] - py) / frame[2]), 0), rows - 1)
            total += ds * values[r, c]
    return total
