"""Compiled loops of the proof. Names and steps are those of the package's docstring.

Edge rows: 0-1 start, 2-3 direction tau of travel (land on the left), 4 length, 5-6 how far the line may be taken to
reach back beyond the start and on beyond the end, 7 depth that a position needs for that, 8 outward shift of the line,
9 whether the start is a reflex corner, 10 whether the line bounds all land.
Nodes of the tree: 0-1 centre, 2 radius of a circle that holds the edges below.
Box rows: 0-4 centre (x, y, theta, p, q), 5-9 half widths, 10-11 heap numbers of p and q, 12 bound on log area,
13 the unknown to split.
Hessians: the upper triangle, row by row, so that (theta, theta) to (q, q) are 9 to 14.
Shape: 0 p, 1 q, 2 d, 3 k, 4 G, 5 e, 6 log A, 7-8 its gradient, 9-10 e_p and e_q.

Long on purpose: compiled code is kept on disk until its own file changes, so loops that call each other stay in one
file (DEVELOPERS.md). In their order: terms of lines and points, distances, constraints of a box,
weights by the simplex method, the bound and narrowing, the heap and the search.
"""

# ruff: noqa: C901, PLR0912, PLR0915, PLR0917 - compiled loops: calls with keywords and many small calls cost time here

import math
from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

from packpale.site.grid import Array

Indices = npt.NDArray[np.int64]
Terms = tuple[float, float, float, float]
Work = tuple[Any, ...]
"""Work space that search.py makes."""

LEAF = 8
"""Edges in a leaf of the tree."""
SECTORS = 24
PER_SECTOR = 2
ROWS = SECTORS * PER_SECTOR
"""Constraints kept for one box."""
UNKNOWNS = 5
ENTRIES = 15
"""Of the upper triangle of a Hessian."""
NARROWINGS = 4
"""Times that a box is bounded, at most, each on what the last left of it."""
WORTH_ANOTHER = 0.6
"""Share of its volume up to which what is left of a box is bounded at once."""
WORK_OF_A_BOX = 200
"""What bounding a box costs beside looking at edges, in edges looked at."""


@njit(cache=True)
def set_shape(p: float, q: float, shape: Array) -> None:
    """Fill ``shape`` for one pair of p and q."""
    d, k = p + q, 1 - p
    e = 2 * p / (q * (2 * p + q))
    G = 1 / e
    F = 1 + G
    tau = math.atan(d * e)
    lens = _angle_minus_sine(tau)
    c = F - k
    area = math.pi / 2 + 2 * tau * k * F + c * c * _angle_minus_sine(2 * tau) / 2 + (math.pi / 2 - 2 * tau) * k * k
    G_p, G_q = -q * q / (2 * p * p), 1 + q / p
    cos = math.cos(tau)
    A_p = 2 * (F * G_p * lens + k * (cos - math.pi / 2 + tau))
    A_q = 2 * (F * G_q * lens + k * cos)
    shape[0], shape[1], shape[2], shape[3], shape[4], shape[5] = p, q, d, k, G, e
    shape[6], shape[7], shape[8] = math.log(area), A_p / area, A_q / area
    shape[9], shape[10] = 2 / (2 * p + q) ** 2, 1 / (2 * p + q) ** 2 - 1 / (q * q)


@njit(cache=True)
def _angle_minus_sine(x: float) -> float:
    if x < 0.5:
        t = x * x
        return x * t / 6 * (1 - t / 20 * (1 - t / 42 * (1 - t / 72 * (1 - t / 110))))
    return x - math.sin(x)


@njit(cache=True)
def _line_terms(nu: float, nv: float, shape: Array) -> Terms:
    """h, h_phi, h_p and h_q in the direction (nu, nv) of the egg's frame."""
    v = abs(nv)
    d, k, G = shape[2], shape[3], shape[4]
    if nu <= 0:
        return 1.0, 0.0, 0.0, 0.0
    if v * d >= nu * G:  # tan phi >= G / d
        gap = nu * nu / (1 + v)  # 1 - sin phi
        q_p = shape[1] / shape[0]
        h, slope, h_p, h_q = 1 + G * gap, -G * nu, -q_p * q_p / 2 * gap, (1 + q_p) * gap
    else:
        h, slope, h_p, h_q = k + d * nu, -d * v, nu - 1, nu
    return h, (slope if nv >= 0 else -slope), h_p, h_q


@njit(cache=True)
def _point_scale(u: float, v: float, s: float, shape: Array) -> tuple[float, float, float]:
    """Scale at which the egg comes within s of the point (u, v); and its nearest point, both in the egg's frame.

    0 if the point lies within s of O, where no egg fits.
    """
    side = 1.0 if v >= 0 else -1.0
    v = abs(v)
    d, k, e = shape[2], shape[3], shape[5]
    square = u * u + v * v - s * s
    if square <= 0:
        return 0.0, 0.0, 0.0
    if u <= 0:
        rho = math.sqrt(u * u + v * v)
        R = rho - s
        return R, u * R / rho, side * v * R / rho
    # Flank, its equation divided by G: (e + 2) R^2 - 2 (v - (1 + e) s) R - e square = 0.
    b = v - (1 + e) * s
    root = math.sqrt(b * b + (e + 2) * e * square)
    R = (b + root) / (e + 2) if b > 0 else e * square / (root - b)
    if (e * v + R) * d >= u:
        # Normal (u, v + G R) / (F R + s), multiplied by e.
        n = (1 + e) * R + e * s
        return R, u - s * e * u / n, side * (v - s * (e * v + R) / n)
    # Small end: (d^2 - k^2) R^2 - 2 (u d + k s) R + square = 0.
    m = (d - k) * (d + k)
    b = u * d + k * s
    R = square / (b + math.sqrt(max(b * b - m * square, 0.0)))
    n = k * R + s
    return R, u - s * (u - d * R) / n, side * (v - s * v / n)


@njit(cache=True)
def _point_terms(u: float, v: float, shape: Array) -> Terms:
    """Log r, and y_phi, y_p and y_q of y = log r, on the ray from O through (u, v) in the egg's frame."""
    rho = math.sqrt(u * u + v * v)
    cos, sin = u / rho, abs(v) / rho
    d, k, e = shape[2], shape[3], shape[5]
    if u <= 0:
        return 0.0, 0.0, 0.0, 0.0
    r = max((e + 2) / (sin + math.sqrt(e * e + 2 * e + sin * sin)), 1.0)
    # The ray meets the flank if the normal there does not point below the join's: (v + G r) d >= u G.
    if (e * sin * r + 1) * d >= cos * r:
        D = e * (r + 1 / r) + 2 / r
        y_e = -(r - 1 / r) / D
        slope, y_p, y_q = -2 * cos / D, y_e * shape[9], y_e * shape[10]
    else:
        S = math.sqrt(max((k - d * sin) * (k + d * sin), 1e-30))
        r = d * cos + S
        slope = -d * sin / S
        y_p = (cos - (shape[1] + 1) / r) / S
        y_q = (cos - d / r) / S
    return math.log(r), (slope if v >= 0 else -slope), y_p, y_q


@njit(cache=True)
def _nearest_distance(x: float, y: float, edges: Array, nodes: Array, stack: Indices) -> float:
    """Distance from a point to the outline."""
    leaves = len(nodes) // 2
    nearest = np.inf
    stack[0] = 1
    top = 1
    while top > 0:
        top -= 1
        i = stack[top]
        if nodes[i, 2] < 0:
            continue
        gap = math.hypot(nodes[i, 0] - x, nodes[i, 1] - y) - nodes[i, 2]
        if gap > 0 and gap * gap >= nearest:
            continue
        if i < leaves:
            a, b = 2 * i, 2 * i + 1
            da = (nodes[a, 0] - x) ** 2 + (nodes[a, 1] - y) ** 2
            db = (nodes[b, 0] - x) ** 2 + (nodes[b, 1] - y) ** 2
            if da < db:
                a, b = b, a
            stack[top], stack[top + 1] = a, b
            top += 2
            continue
        for j in range((i - leaves) * LEAF, min((i - leaves + 1) * LEAF, len(edges))):
            edge = edges[j]
            px, py = x - edge[0], y - edge[1]
            along = min(max(px * edge[2] + py * edge[3], 0.0), edge[4])
            dx, dy = px - along * edge[2], py - along * edge[3]
            nearest = min(nearest, dx * dx + dy * dy)
    return math.sqrt(nearest)


@njit(cache=True)
def distances(points: Array, edges: Array, nodes: Array, stack: Indices, out: Array) -> None:
    """Distances from points (n, 2) to the outline."""
    for i in range(len(points)):
        out[i] = _nearest_distance(points[i, 0], points[i, 1], edges, nodes, stack)


@njit(cache=True)
def _keep(R: float, kind: float, edge: int, x: float, y: float, sector: int, kept: Array, count: Indices) -> None:
    """Put a constraint among the lowest of its sector; rows of ``kept``: R, kind, edge, obstacle x, y."""
    base = sector * PER_SECTOR
    n = count[sector]
    if n == PER_SECTOR and kept[base + n - 1, 0] <= R:
        return
    at = min(n, PER_SECTOR - 1)
    while at > 0 and kept[base + at - 1, 0] > R:
        for c in range(5):
            kept[base + at, c] = kept[base + at - 1, c]
        at -= 1
    at += base
    kept[at, 0], kept[at, 1], kept[at, 2], kept[at, 3], kept[at, 4] = R, kind, edge, x, y
    count[sector] = min(n + 1, PER_SECTOR)


@njit(cache=True)
def _gather(
    box: Array,
    s: float,
    margin: float,
    shape: Array,
    edges: Array,
    nodes: Array,
    kept: Array,
    count: Indices,
    stack: Indices,
) -> int:
    """Constraints that limit the egg at the box's centre, the lowest few of each sector round O.

    ``kept`` rows: R, kind (0 edge touched within its length, 1 corner), edge number, nearest point of the egg.
    Only those up to ``_margin`` times the lowest are sought. Returns the number of edges and nodes looked at.
    """
    ox, oy = box[0], box[1]
    ct, st = math.cos(box[2]), math.sin(box[2])
    leaves = len(nodes) // 2
    for sector in range(SECTORS):
        count[sector] = 0
    lowest = np.inf
    looked = 0
    stack[0] = 1
    top = 1
    while top > 0:
        top -= 1
        looked += 1
        i = stack[top]
        node = nodes[i]
        if node[2] < 0:
            continue
        if lowest < np.inf:
            dx, dy = node[0] - ox, node[1] - oy
            far = lowest * margin * (shape[2] + shape[3]) + s + node[2]
            # No egg that matters is as long.
            if dx * dx + dy * dy > far * far:
                continue
            # The circle is farther than s from the egg until the egg comes within s and its radius of its centre.
            reached = _point_scale(dx * ct + dy * st, dy * ct - dx * st, s + node[2], shape)[0]
            if reached > lowest * margin:
                continue
            if reached > 0:
                # Nothing below can enter the list of a sector that is full of lower ones.
                half = math.asin(min((node[2] + s) / math.hypot(dx, dy), 1.0))
                middle = math.atan2(dy, dx) + 3 * math.pi
                a = int((middle - half) * (SECTORS / (2 * math.pi)) - 1e-9)
                b = int((middle + half) * (SECTORS / (2 * math.pi)) + 1e-9)
                full = True
                for sector in range(a, b + 1):
                    n = sector % SECTORS
                    if count[n] < PER_SECTOR or kept[(n + 1) * PER_SECTOR - 1, 0] > reached:
                        full = False
                        break
                if full:
                    continue
        if i < leaves:
            a, b = 2 * i, 2 * i + 1
            da = (nodes[a, 0] - ox) ** 2 + (nodes[a, 1] - oy) ** 2
            db = (nodes[b, 0] - ox) ** 2 + (nodes[b, 1] - oy) ** 2
            if da < db:
                a, b = b, a
            stack[top], stack[top + 1] = a, b
            top += 2
            continue
        for j in range((i - leaves) * LEAF, min((i - leaves + 1) * LEAF, len(edges))):
            lowest = _try_edge(j, ox, oy, ct, st, s, shape, edges, lowest, margin, kept, count)
            looked += 1
    return looked


@njit(cache=True)
def _try_edge(
    j: int,
    ox: float,
    oy: float,
    ct: float,
    st: float,
    s: float,
    shape: Array,
    edges: Array,
    lowest: float,
    margin: float,
    kept: Array,
    count: Indices,
) -> float:
    """Keep what an edge and the corner at its start allow; returns the lowest R so far."""
    edge = edges[j]
    x0, y0, tx, ty = edge[0], edge[1], edge[2], edge[3]
    px, py = x0 - ox, y0 - oy
    longest = shape[2] + shape[3]  # h is at most d + k
    # Outward normal (tau_y, -tau_x).
    t = px * ty - py * tx - s
    if 0 < t <= lowest * margin * longest:
        nu, nv = ty * ct - tx * st, -tx * ct - ty * st
        h, slope, _, _ = _line_terms(nu, nv, shape)
        R = t / h
        along = -(px * tx + py * ty) + R * slope
        if 0 <= along <= edge[4] and lowest * margin >= R:
            lowest = min(lowest, R)
            x, y = x0 + along * tx - s * ty, y0 + along * ty + s * tx
            _keep(R, 0.0, j, x, y, _sector(x - ox, y - oy), kept, count)
    far = lowest * margin * longest + s
    if edge[9] > 0 and px * px + py * py <= far * far:
        R, yu, yv = _point_scale(px * ct + py * st, py * ct - px * st, s, shape)
        if 0 < R <= lowest * margin:
            lowest = min(lowest, R)
            x, y = ox + yu * ct - yv * st, oy + yu * st + yv * ct
            _keep(R, 1.0, j, x, y, _sector(px, py), kept, count)
    return lowest


@njit(cache=True)
def _sector(x: float, y: float) -> int:
    return min(max(int((math.atan2(y, x) + math.pi) * (SECTORS / (2 * math.pi))), 0), SECTORS - 1)


@njit(cache=True)
def _look_up(table: Array, lo: float, hi: float, ip: int, iq: int, out: Array) -> None:
    """Hull over the angles lo to hi (within -2 pi .. 2 pi) of the entries of one table; ``out`` has 14 columns."""
    angles = table.shape[0] // 2
    # Fold to 0 .. pi: even entries keep, odd ones change sign on the other side.
    middle, half = 0.5 * (lo + hi), 0.5 * (hi - lo)
    if middle > math.pi:
        middle -= 2 * math.pi
    elif middle < -math.pi:
        middle += 2 * math.pi
    mirrored = middle < 0
    middle = abs(middle)
    a, b = middle - half - 1e-12, middle + half + 1e-12
    both = a < 0
    beyond = b > math.pi / 2
    if a >= math.pi / 2 and b <= 1.5 * math.pi:
        for c in range(14):
            out[c] = 0.0
        return
    if b > 1.5 * math.pi:
        both, a = True, 0.0
    a = max(a, 0.0)
    step = angles / (math.pi / 2)
    i, j = min(int(a * step), angles - 1), min(int(min(b, math.pi / 2) * step), angles - 1)
    size = angles
    while j - i > 1:
        i >>= 1
        j >>= 1
        size >>= 1
    row = table[size + i, ip, iq]
    other = table[size + j, ip, iq]
    for c in range(0, 14, 2):
        low, high = row[c], row[c + 1]
        if j != i:
            low, high = min(low, other[c]), max(high, other[c + 1])
        if beyond:
            low, high = min(low, 0.0), max(high, 0.0)
        # By phi, by phi and p, by phi and q: odd. A set would take a second to compile.
        if c == 0 or c == 4 or c == 6:  # noqa: PLR1714
            if both:
                high = max(high, -low)
                low = -high
            elif mirrored:
                low, high = -high, -low
        out[c], out[c + 1] = low, high


@njit(cache=True)
def _times(a0: float, a1: float, b0: float, b1: float) -> tuple[float, float]:
    w, x, y, z = a0 * b0, a0 * b1, a1 * b0, a1 * b1
    return min(w, x, y, z), max(w, x, y, z)


@njit(cache=True)
def _prepare(
    box: Array,
    s: float,
    edges: Array,
    kept: Array,
    count: Indices,
    shape: Array,
    line_table: Array,
    point_table: Array,
    value: Array,
    gradient: Array,
    lo: Array,
    hi: Array,
    entries: Array,
) -> tuple[int, bool]:
    """Turn kept constraints into linear bounds: value and gradient at the centre, and the Hessian's enclosure.

    Returns the number of constraints m; ``value`` (m), ``gradient`` (m, 5) by unknowns in units of their half width,
    ``lo``, ``hi`` (m, 15), upper triangles in the same units.
    """
    wx, wy, wt = box[5], box[6], box[7]
    ip, iq = int(box[10]), int(box[11])
    ct, st = math.cos(box[2]), math.sin(box[2])
    m = 0
    dropped = False
    for sector in range(SECTORS):
        for n in range(count[sector]):
            row = kept[sector * PER_SECTOR + n]
            edge = edges[int(row[2])]
            g, L, U = gradient[m], lo[m], hi[m]
            as_line = False
            if row[1] == 0.0:
                nx, ny = edge[3], -edge[2]
                px, py = edge[0] - box[0], edge[1] - box[1]
                t = px * nx + py * ny - s + edge[8]
                spread = abs(nx) * wx + abs(ny) * wy
                phi = math.atan2(ny, nx) - box[2]
                _look_up(line_table, phi - wt, phi + wt, ip, iq, entries)
                as_line = t - spread > 0
                if as_line and edge[10] == 0:
                    # Contact's place along the edge for all of the box.
                    shift = abs(edge[2]) * wx + abs(edge[3]) * wy
                    at = -(px * edge[2] + py * edge[3])
                    k0, k1 = _times(t - spread, t + spread, -0.5 * entries[1], -0.5 * entries[0])
                    low, high = at - shift, at + shift
                    as_line = (
                        t + s - spread > edge[7]
                        and min(low, low + k0) >= -edge[5]
                        and max(high, high + k1) <= edge[4] + edge[6]
                    )
            if as_line:
                nu, nv = nx * ct + ny * st, ny * ct - nx * st
                h, slope, h_p, h_q = _line_terms(nu, nv, shape)
                value[m] = 2 * math.log(t / h)
                g[0], g[1], g[2] = -2 * nx / t, -2 * ny / t, 2 * slope / h
                g[3], g[4] = -2 * h_p / h, -2 * h_q / h
                near, far = 2 / (t - spread) ** 2, 2 / (t + spread) ** 2
                for k in range(9):
                    L[k], U[k] = 0.0, 0.0
                L[0], U[0] = -near * nx * nx, -far * nx * nx
                L[5], U[5] = -near * ny * ny, -far * ny * ny
                L[1], U[1] = _times(-near, -far, nx * ny, nx * ny)
                _shape_part(L, U, entries)
            else:
                value[m] = _point_rows(box, row, shape, point_table, ct, st, g, L, U, entries)
                if value[m] == np.inf:
                    dropped = True
                    continue
            k = 0
            for i in range(UNKNOWNS):
                half = box[5 + i]
                g[i] *= half
                for j in range(i, UNKNOWNS):
                    f = half * box[5 + j]
                    L[k] *= f
                    U[k] *= f
                    k += 1
            m += 1
    return m, dropped


@njit(cache=True)
def _shape_part(L: Array, U: Array, entries: Array) -> None:
    for k in range(6):
        L[9 + k], U[9 + k] = entries[2 + 2 * k], entries[3 + 2 * k]
    # theta enters as -phi.
    L[10], U[10] = -U[10], -L[10]
    L[11], U[11] = -U[11], -L[11]


@njit(cache=True)
def _point_rows(
    box: Array,
    row: Array,
    shape: Array,
    table: Array,
    ct: float,
    st: float,
    g: Array,
    L: Array,
    U: Array,
    entries: Array,
) -> float:
    wx, wy, wt = box[5], box[6], box[7]
    x, y = row[3] - box[0], row[4] - box[1]
    square = x * x + y * y
    rho = math.sqrt(square)
    e = math.sqrt(wx * wx + wy * wy) * (1 + 1e-12)
    if e >= 0.95 * rho:
        return np.inf
    u, v = x * ct + y * st, y * ct - x * st
    log_r, y_phi, y_p, y_q = _point_terms(u, v, shape)
    # alpha = arg(Y - O) - theta: its derivatives by x and y are a_x = y / rho^2, a_y = -x / rho^2.
    a_x, a_y = y / square, -x / square
    g[0], g[1] = -2 * x / square - 2 * y_phi * a_x, -2 * y / square - 2 * y_phi * a_y
    g[2], g[3], g[4] = 2 * y_phi, -2 * y_p, -2 * y_q
    alpha = math.atan2(v, u)
    half = math.asin(e / rho) + wt
    _look_up(table, alpha - half, alpha + half, int(box[10]), int(box[11]), entries)
    # 1 / w and 1 / w^2 for w = Y - O as discs about their values at the centre.
    r1 = e / ((rho - e) * rho)
    r2 = e * (2 * rho + e) / ((rho - e) ** 2 * square)
    c, b = (x * x - y * y) / (square * square), -2 * x * y / (square * square)  # 1 / w^2 = c + i b
    c0, c1, b0, b1 = c - r2, c + r2, b - r2, b + r2
    ax0, ax1, ay0, ay1 = a_x - r1, a_x + r1, a_y - r1, a_y + r1
    W0, W1, V0, V1 = entries[0], entries[1], entries[2], entries[3]
    # 2 log rho: -Re(dO^2 / w^2); W_phi alpha: -W_phi Im(dO^2 / w^2) / 2; W_phi phi (grad alpha)(grad alpha)^T.
    s0, s1 = _square(ax0, ax1)
    p0, p1 = _times(V0, V1, s0, s1)
    q0, q1 = _times(W0, W1, b0, b1)
    L[0], U[0] = -2 * c1 - q1 + p0, -2 * c0 - q0 + p1
    s0, s1 = _square(ay0, ay1)
    p0, p1 = _times(V0, V1, s0, s1)
    L[5], U[5] = 2 * c0 + q0 + p0, 2 * c1 + q1 + p1
    s0, s1 = _times(ax0, ax1, ay0, ay1)
    p0, p1 = _times(V0, V1, s0, s1)
    q0, q1 = _times(W0, W1, c0, c1)
    L[1], U[1] = 2 * b0 - q1 + p0, 2 * b1 - q0 + p1
    for j in range(3):  # W_phi phi with theta as -phi, then W_phi p, W_phi q
        f0, f1 = (-V1, -V0) if j == 0 else (entries[2 + 2 * j], entries[3 + 2 * j])
        L[2 + j], U[2 + j] = _times(f0, f1, ax0, ax1)
        L[6 + j], U[6 + j] = _times(f0, f1, ay0, ay1)
    _shape_part(L, U, entries)
    return float(2 * (math.log(rho) - log_r))


@njit(cache=True)
def _square(a: float, b: float) -> tuple[float, float]:
    low = 0.0 if a < 0 < b else min(a * a, b * b)
    return low, max(a * a, b * b)


@njit(cache=True)
def _choose_weights(
    cost: Array,
    gradient: Array,
    m: int,
    basis: Indices,
    inverse: Array,
    level: Array,
    column: Array,
    weight: Array,
    price: Array,
    fresh: bool,
) -> None:
    """Weights >= 0 with sum 1 that make  sum cost_e weight_e + sum_j |sum_e weight_e gradient_ej|  small.

    The simplex method on the linear programme with columns (gradient_e, 1) for each constraint and (-+unit, 0) for the
    two signs of each sum. Whatever it returns is a valid choice; only its quality depends on the arithmetic.
    ``basis``, ``inverse`` and ``level`` keep the state; with ``fresh`` it starts from the best single constraint.
    """
    if fresh:
        best, first = np.inf, 0
        for e in range(m):
            total = cost[e]
            for j in range(UNKNOWNS):
                total += abs(gradient[e, j])
            if total < best:
                best, first = total, e
        for i in range(UNKNOWNS + 1):
            for j in range(UNKNOWNS + 1):
                inverse[i, j] = 0.0
        # Basis: slack columns of sign -sign(gradient) for the five rows, the constraint for the last.
        for j in range(UNKNOWNS):
            sign = 1.0 if gradient[first, j] >= 0 else -1.0
            basis[j] = m + 2 * j + (0 if sign > 0 else 1)
            inverse[j, j] = -sign
            inverse[j, UNKNOWNS] = sign * gradient[first, j]
            level[j] = abs(gradient[first, j])
        basis[UNKNOWNS] = first
        inverse[UNKNOWNS, UNKNOWNS] = 1.0
        level[UNKNOWNS] = 1.0
    rows = inverse.shape[0]
    _pivot(rows, cost, gradient, m, basis, inverse, level, column, price)
    _read_weights(rows, m, basis, level, weight)


@njit(cache=True)
def _limit_weights(
    cost: Array,
    gradient: Array,
    m: int,
    unknown: int,
    sign: float,
    basis: Indices,
    inverse: Array,
    level: Array,
    column: Array,
    weight: Array,
    price: Array,
) -> float:
    """Weights that limit ``sign`` times one unknown where all  cost_e + gradient_e z >= 0; returns that limit.

    The least of  sum cost_e u_e + sum_j |sum_e u_e gradient_ej + sign [j = unknown]|  over u >= 0, by the simplex
    method from u = 0, where it is 1. ``weight`` is u over its sum, or 0 throughout.
    """
    for i in range(UNKNOWNS):
        for j in range(UNKNOWNS + 1):
            inverse[i, j] = 0.0
        negative = i == unknown and sign < 0
        basis[i] = m + 2 * i + (1 if negative else 0)
        inverse[i, i] = 1.0 if negative else -1.0
        level[i] = 1.0 if i == unknown else 0.0
    rows = inverse.shape[0] - 1  # UNKNOWNS; for a number in its place numba would compile once more
    _pivot(rows, cost, gradient, m, basis, inverse, level, column, price)
    limit = 0.0
    for i in range(UNKNOWNS):
        limit += level[i] * (cost[basis[i]] if basis[i] < m else 1.0)
    _read_weights(rows, m, basis, level, weight)
    return limit


@njit(cache=True)
def _pivot(
    rows: int,
    cost: Array,
    gradient: Array,
    m: int,
    basis: Indices,
    inverse: Array,
    level: Array,
    column: Array,
    price: Array,
) -> None:
    """Steps of the simplex method; with a sixth row the weights have the sum 1."""
    for _ in range(60):
        for j in range(rows):
            total = 0.0
            for i in range(rows):
                b = basis[i]
                total += (cost[b] if b < m else 1.0) * inverse[i, j]
            price[j] = total
        enter, lowest = -1, -1e-10
        for e in range(m):
            reduced = cost[e]
            if rows > UNKNOWNS:
                reduced -= price[UNKNOWNS]
            for j in range(UNKNOWNS):
                reduced -= price[j] * gradient[e, j]
            if reduced < lowest:
                lowest, enter = reduced, e
        for j in range(UNKNOWNS):
            if 1 + price[j] < lowest:
                lowest, enter = 1 + price[j], m + 2 * j
            if 1 - price[j] < lowest:
                lowest, enter = 1 - price[j], m + 2 * j + 1
        if enter < 0:
            break
        for i in range(rows):
            if enter < m:
                total = inverse[i, UNKNOWNS] if rows > UNKNOWNS else 0.0
                for j in range(UNKNOWNS):
                    total += inverse[i, j] * gradient[enter, j]
            else:
                j = (enter - m) // 2
                total = -inverse[i, j] if (enter - m) % 2 == 0 else inverse[i, j]
            column[i] = total
        leave, ratio = -1, np.inf
        for i in range(rows):
            if column[i] > 1e-11 and level[i] / column[i] < ratio:
                leave, ratio = i, level[i] / column[i]
        if leave < 0:
            break
        pivot = column[leave]
        for j in range(rows):
            inverse[leave, j] /= pivot
        level[leave] = max(ratio, 0.0)
        for i in range(rows):
            if i != leave:
                f = column[i]
                level[i] = max(level[i] - f * ratio, 0.0)
                for j in range(rows):
                    inverse[i, j] -= f * inverse[leave, j]
        basis[leave] = enter


@njit(cache=True)
def _read_weights(rows: int, m: int, basis: Indices, level: Array, weight: Array) -> None:
    for e in range(m):
        weight[e] = 0.0
    total = 0.0
    for i in range(rows):
        if basis[i] < m:
            weight[basis[i]] = max(level[i], 0.0)
            total += weight[basis[i]]
    if total > 0:
        for e in range(m):
            weight[e] /= total
    elif rows > UNKNOWNS:
        weight[0] = 1.0


@njit(cache=True)
def _peak(g: float, c: float) -> float:
    """Largest of g x + c x^2 / 2 for 0 <= x <= 1, g >= 0."""
    if c < 0 and g < -c:
        return -0.5 * g * g / c
    return g + 0.5 * c


@njit(cache=True)
def _combined(
    value: Array,
    gradient: Array,
    lo: Array,
    hi: Array,
    m: int,
    weight: Array,
    g: Array,
    c: Array,
    cross: Array,
    ratio: Array,
    share: Array,
) -> float:
    """Upper bound on the weighted sum of the constraints over the box; ``share`` is what each unknown's curvature adds.

    ``g`` to ``ratio`` are work space.
    """
    total = 0.0
    for i in range(UNKNOWNS):
        g[i] = 0.0
    for k in range(ENTRIES):
        ratio[k], cross[k] = 0.0, 0.0  # the Hessian's entry, lowest and highest
    for e in range(m):
        f = weight[e]
        if f > 0:
            total += f * value[e]
            for i in range(UNKNOWNS):
                g[i] += f * gradient[e, i]
            for k in range(ENTRIES):
                ratio[k] += f * lo[e, k]
                cross[k] += f * hi[e, k]
    # |h x y| <= |h| (f x^2 + y^2 / f) / 2 for any f > 0: f = 1 first, then each f improved in turn.
    k = 0
    for i in range(UNKNOWNS):
        g[i] = abs(g[i])
        c[i] = cross[k]
        k += UNKNOWNS - i
    k = 0
    for i in range(UNKNOWNS):
        k += 1
        for j in range(i + 1, UNKNOWNS):
            h = max(abs(ratio[k]), abs(cross[k]))
            c[i] += h
            c[j] += h
            cross[k], ratio[k] = h, 1.0
            k += 1
    for _ in range(2):
        k = 0
        for i in range(UNKNOWNS):
            k += 1
            for j in range(i + 1, UNKNOWNS):
                h, f = cross[k], ratio[k]
                k += 1
                if h <= 0:
                    continue
                g_i, g_j, c_i, c_j = g[i], g[j], c[i], c[j]
                a, b = c_i - h * f, c_j - h / f
                if a >= 0 and b >= 0:
                    best = 1.0
                else:
                    best, least = f, _peak(g_i, c_i) + _peak(g_j, c_j)
                    for trial in range(3):
                        # Beside 1 the values from which one of the two curvatures is none.
                        new = 1.0 if trial == 0 else (-a / h if trial == 1 else (-h / b if b < 0 else 0.0))
                        if new <= 0:
                            continue
                        new = min(max(new, 1e-3), 1e3)
                        peak = _peak(g_i, a + h * new) + _peak(g_j, b + h / new)
                        if peak < least:
                            best, least = new, peak
                ratio[k - 1] = best
                c[i], c[j] = a + h * best, b + h / best
    for i in range(UNKNOWNS):
        slope = g[i]
        peak = _peak(slope, c[i])
        share[i] = max(peak - slope, 0.0)
        total += peak
    # What is no number bounds nothing.
    return math.inf if math.isnan(total) else total


@njit(cache=True)
def _narrow(
    floor: float,
    value: Array,
    gradient: Array,
    lo: Array,
    hi: Array,
    m: int,
    weight: Array,
    g: Array,
    c: Array,
    cross: Array,
    ratio: Array,
    share: Array,
    low: Array,
    high: Array,
) -> bool:
    """Narrow ``low`` to ``high`` to where the weighted sum may be more than ``floor``; False if that is nowhere.

    Both are ranges of the unknowns in half widths of the box about its centre, within -1 to 1.
    """
    total = _combined(value, gradient, lo, hi, m, weight, g, c, cross, ratio, share)
    if total < floor:
        return False
    for j in range(UNKNOWNS):
        # |g| y + c y^2 / 2 + rest >= 0, with y counted in the direction in which the sum rises.
        rest = total - _peak(g[j], c[j]) - floor
        bottom, top = -1.0, 1.0
        if 0.5 * c[j] - g[j] + rest < 0:
            # Below 0 by rounding only: the sum does reach the floor somewhere.
            square = max(g[j] * g[j] - 2 * c[j] * rest, 0.0)
            bottom = -2 * rest / (g[j] + math.sqrt(square)) - 1e-9
            if c[j] < 0:
                top = -(g[j] + math.sqrt(square)) / c[j] + 1e-9
        slope = 0.0
        for e in range(m):
            if weight[e] > 0:
                slope += weight[e] * gradient[e, j]
        if slope < 0:
            bottom, top = -top, -bottom
        low[j], high[j] = max(low[j], bottom), min(high[j], top)
        if low[j] > high[j]:
            return False
    return True


@njit(cache=True)
def _shrink(box: Array, low: Array, high: Array, shapes: int) -> float:
    """Reduce the box to what is left of it, and return that as a share of its volume.

    Shapes are halved only, as long as they have cells of their own in the tables.
    """
    left = 1.0
    for j in range(UNKNOWNS):
        a, b = low[j], high[j]
        if j >= 3:
            while int(box[7 + j]) < shapes and (b <= 0 or a >= 0):
                half = 0.5 * box[5 + j]
                up = a >= 0
                box[j] += half if up else -half
                box[5 + j] = half
                box[7 + j] = 2 * box[7 + j] + (1 if up else 0)
                a, b = 2 * a + (-1 if up else 1), 2 * b + (-1 if up else 1)
                left *= 0.5
            if int(box[7 + j]) < shapes:
                continue
            a, b = max(a, -1.0), min(b, 1.0)
        half = 0.5 * (b - a)
        if half < 0.9:
            box[j] += 0.5 * (a + b) * box[5 + j]
            box[5 + j] *= half * (1 + 1e-9)
            left *= half
    return left


@njit(cache=True)
def _margin(box: Array, R_guess: float) -> float:
    """How many times the lowest R at the centre another may be and still matter elsewhere in the box."""
    return float(math.exp(math.hypot(box[5], box[6]) / R_guess + box[7] + 0.75 * box[8] + 0.75 * box[9]))


@njit(inline="always")
def bound_box(
    box: Array,
    s: float,
    edges: Array,
    nodes: Array,
    line_table: Array,
    point_table: Array,
    area_table: Array,
    R_guess: float,
    floor: float,
    log_min_radius: float,
    work: Work,
) -> tuple[float, int]:
    """Upper bound on log area over the box, and the edges and nodes looked at; sets the unknown to split.

    The box is reduced to where log area may be more than ``floor`` and the small end as large as asked for. Minus
    infinity if that is nowhere.
    """
    low, high = work[22], work[23]
    looked, bound = 0, np.inf
    for _ in range(NARROWINGS):
        bound, need, m, more = _bound(
            box, s, edges, nodes, line_table, point_table, area_table, R_guess, floor, log_min_radius, work
        )
        looked += more
        if bound <= need:
            return -np.inf, looked
        if m == 0 or need == -np.inf:
            break
        if not _narrow_by_all(need - work[0][6], m, work):
            return -np.inf, looked
        if _shrink(box, low, high, line_table.shape[1] // 2) > WORTH_ANOTHER:
            break
    return bound, looked


@njit(cache=True)
def _narrow_by_all(floor: float, m: int, work: Work) -> bool:
    """Narrow every unknown to where no weighted sum says that the constraints stay below ``floor``."""
    value, cost, gradient, lo, hi, _, basis, weight = work[4:12]
    inverse, level, column, peak_at, g, c, cross, ratio, _, trial_share, low, high = work[12:]
    for j in range(UNKNOWNS):
        low[j], high[j] = -1.0, 1.0
    for e in range(m):
        cost[e] = value[e] - floor + _curvature_alone(e, 0.5, lo, hi)
    for j in range(UNKNOWNS):
        for sign in (-1.0, 1.0):
            limit = _limit_weights(cost, gradient, m, j, sign, basis, inverse, level, column, weight, peak_at)
            if limit < 0.95 and not _narrow(
                floor,
                value,
                gradient,
                lo,
                hi,
                m,
                weight,
                g,
                c,
                cross,
                ratio,
                trial_share,
                low,
                high,
            ):
                return False
    return True


@njit(cache=True)
def _curvature_alone(e: int, part: float, lo: Array, hi: Array) -> float:
    """What a constraint's curvature may add, with ``part`` of what lies off the diagonal."""
    extra, k = 0.0, 0
    for i in range(UNKNOWNS):
        extra += 0.5 * max(hi[e, k], 0.0)
        k += 1
        for _ in range(i + 1, UNKNOWNS):
            extra += part * max(abs(lo[e, k]), abs(hi[e, k]))
            k += 1
    return extra


@njit(inline="always")
def _bound(
    box: Array,
    s: float,
    edges: Array,
    nodes: Array,
    line_table: Array,
    point_table: Array,
    area_table: Array,
    R_guess: float,
    floor: float,
    log_min_radius: float,
    work: Work,
) -> tuple[float, float, int, int]:
    """Bound of a box as it is, what it must exceed to matter, its constraints' number, edges and nodes looked at."""
    shape, kept, count, stack, value, cost, gradient, lo, hi, entries, basis, weight = work[:12]
    inverse, level, column, peak_at, g, c, cross, ratio, share, trial_share = work[12:22]
    # r = k R >= r_min asks for log A >= 2 log(r_min / k) + log a, and a falls with p and rises with q.
    p, q, half_p, half_q, ip, iq = box[3], box[4], box[8], box[9], int(box[10]), int(box[11])
    set_shape(p + half_p, q - half_q, shape)
    need = max(floor, 2 * (log_min_radius - math.log(1 - p + half_p)) + shape[6] - 1e-9)
    set_shape(p - half_p, q + half_q, shape)
    area_limit = shape[6]
    set_shape(p, q, shape)
    e = math.hypot(box[5], box[6])
    # The disc of radius R + s about O lies in the land.
    deepest = _nearest_distance(box[0], box[1], edges, nodes, stack) + e - s
    if deepest <= 0:
        return -np.inf, need, 0, 0
    largest = math.log(deepest) * 2 + area_limit
    looked = _gather(box, s, _margin(box, R_guess), shape, edges, nodes, kept, count, stack)
    m, dropped = _prepare(box, s, edges, kept, count, shape, line_table, point_table, value, gradient, lo, hi, entries)
    if m == 0:
        best_j, best_w = 0, -1.0
        for j in range(UNKNOWNS):
            width = box[5 + j] / R_guess if j < 2 else box[5 + j]
            if width > best_w:
                best_w, best_j = width, j
        box[13] = best_j
        return largest, need, 0, looked
    # Log A is added to each constraint: weights have the sum 1.
    entries[0], entries[1], entries[2] = half_p * half_p, half_p * half_q, half_q * half_q
    slope_p, slope_q = shape[7] * half_p, shape[8] * half_q
    for e_ in range(m):
        gradient[e_, 3] += slope_p
        gradient[e_, 4] += slope_q
        for k in range(3):
            lo[e_, 12 + k] += area_table[ip, iq, 2 * k] * entries[k]
            hi[e_, 12 + k] += area_table[ip, iq, 2 * k + 1] * entries[k]
    best = np.inf
    for attempt in range(3):
        for e_ in range(m):
            cost[e_] = value[e_]
            if attempt > 0:
                cost[e_] += _curvature_alone(e_, 0.5 * attempt, lo, hi)
        _choose_weights(cost, gradient, m, basis, inverse, level, column, weight, peak_at, attempt == 0)
        total = _combined(value, gradient, lo, hi, m, weight, g, c, cross, ratio, trial_share)
        best = min(best, total)
        if attempt == 0:
            # What the linear model alone would reach is lost to these curvatures.
            # Where a constraint is concave, its tangent lies above it where the linear model has its peak.
            k = 0
            for j in range(UNKNOWNS):
                sag, at = 0.0, peak_at[j]
                for e_ in range(m):
                    sag += weight[e_] * max(-lo[e_, k], 0.0)
                k += UNKNOWNS - j
                share[j] = trial_share[j] + 0.5 * sag * min(max(at * at, 0.1), 1.0)
    best_j = 0
    for j in range(1, UNKNOWNS):
        if share[j] > share[best_j]:
            best_j = j
    if dropped:
        best_j = 0 if box[5] >= box[6] else 1
    elif share[best_j] < 1e-7:
        widest = 0.0
        for j in range(UNKNOWNS):
            width = box[5 + j] / R_guess if j < 2 else box[5 + j]
            if width > widest:
                widest, best_j = width, j
    box[13] = best_j
    return min(best + shape[6], largest), need, m, looked


@njit(cache=True)
def _sift_up(heap: Indices, at: int, boxes: Array) -> None:
    item = heap[at]
    while at > 0:
        up = (at - 1) // 2
        if boxes[heap[up], 12] >= boxes[item, 12]:
            break
        heap[at] = heap[up]
        at = up
    heap[at] = item


@njit(cache=True)
def _sift_down(heap: Indices, size: int, boxes: Array) -> None:
    at, item = 0, heap[0]
    while True:
        child = 2 * at + 1
        if child >= size:
            break
        if child + 1 < size and boxes[heap[child + 1], 12] > boxes[heap[child], 12]:
            child += 1
        if boxes[heap[child], 12] <= boxes[item, 12]:
            break
        heap[at] = heap[child]
        at = child
    heap[at] = item


@njit(cache=True)
def search(
    boxes: Array,
    heap: Indices,
    state: Indices,
    target: float,
    floor: float,
    most: int,
    most_work: int,
    s: float,
    log_min_radius: float,
    edges: Array,
    nodes: Array,
    line: Array,
    point: Array,
    area: Array,
    R_guess: float,
    work: Work,
) -> None:
    """Split the box of largest bound until that is at most ``target`` or ``most`` boxes are bounded, or the work done.

    Boxes whose bound is at most ``floor`` are dropped, and those in which no egg's small end is as large as asked for.
    ``state``: 0 boxes stored, 1 size of the heap, 2 boxes bounded, 3 first boxes that are still to be bounded, 4 work.
    """
    shapes = line.shape[1] // 2
    while state[2] < most and state[4] < most_work:
        if state[3] > 0:
            state[3] -= 1
            first, second = state[3], -1
        else:
            if state[1] == 0 or boxes[heap[0], 12] <= target:
                return
            first, second = heap[0], state[0]
            state[0] += 1
            state[1] -= 1
            heap[0] = heap[state[1]]
            if state[1] > 0:
                _sift_down(heap, state[1], boxes)
            for i in range(14):
                boxes[second, i] = boxes[first, i]
            j = int(boxes[first, 13])
            half = 0.5 * boxes[first, 5 + j]
            boxes[first, 5 + j], boxes[second, 5 + j] = half, half
            boxes[first, j] -= half
            boxes[second, j] += half
            if j >= 3:
                number = int(boxes[first, 7 + j])
                if number < shapes:
                    boxes[first, 7 + j], boxes[second, 7 + j] = 2 * number, 2 * number + 1
        for turn in range(2):
            child = first if turn == 0 else second
            if child < 0:
                continue
            row = boxes[child]
            bound, looked = bound_box(row, s, edges, nodes, line, point, area, R_guess, floor, log_min_radius, work)
            row[12] = min(row[12], bound)
            state[2] += 1
            state[4] += looked + WORK_OF_A_BOX
            if row[12] > floor:
                heap[state[1]] = child
                state[1] += 1
                _sift_up(heap, state[1] - 1, boxes)
