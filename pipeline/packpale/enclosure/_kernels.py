"""Compiled loops of the fit: no checks, no defaults, no files. The mathematics is in fit.py and boundary.py.

Layout of the arrays:
``edges`` (m, 6): start x, start y, unit tangent x, unit tangent y, length, 1.0 if the start vertex is reflex.
The land lies to the left of an edge, its outward normal is (tangent y, -tangent x).
``nodes`` (2 L, 3): a binary heap of circles (x, y, radius) that hold the edges below; node 1 is the root, leaf i is
node L + i and holds the edges i * LEAF to (i + 1) * LEAF.
``bands``: edges by horizontal band, ``band_start`` (b + 1,), ``band_edge``; ``band_frame`` (south, height of a band).
A shape is a tuple (k, d, F, sin phi, cos phi, dF/dk, dF/da, log A, dlogA/dk, dlogA/da) at R = 1.
A position z is (x, y, psi, k, a): psi is the direction of the axis, counter-clockwise from east.

Long on purpose: compiled code is kept on disk until its own file changes, so loops that call each other stay in one
file (DEVELOPERS.md). In their order: shape and contact of an egg, search of the land's edges, one step of the fit,
rating of centres, depth of the land, several packs, refining, and the mean of a raster over an egg with its refining.
"""

# ruff: noqa: C901, PLR0912, PLR0915, PLR0917 - compiled loops: calls with keywords and many small calls cost time here
# ruff: noqa: SIM300 - R is a variable of the formulas, not a constant

from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

from packpale.site.grid import Array

Indices = npt.NDArray[np.int64]
Shape = tuple[float, float, float, float, float, float, float, float, float, float]
Work = tuple[Any, ...]
"""Work space that ``work_arrays`` of fit.py makes."""

LEAF = 4
STACK = 96
PENALTY = 30.0  # weight of a missing small-end radius against the log area; must exceed its Lagrange multiplier
UNKNOWNS = 5


@njit(cache=True)
def unit_shape(k: float, a: float) -> Shape:
    """Shape of taper k and aspect a at R = 1."""
    d = 2.0 * a - 1.0 - k
    q = 1.0 - k
    F = (d * d + q * (1.0 + k)) / (2.0 * q)
    c = F - k
    sin = d / c
    cos = (d - q) * (d + q) / (2.0 * q) / c
    phi = np.arctan2(sin, cos)
    double = 2.0 * phi
    if double > 0.5:
        excess = double - np.sin(double)
        excess_single = phi - np.sin(phi)
    else:
        x2 = double * double
        excess = double * x2 / 6.0 * (1 - x2 / 20.0 * (1 - x2 / 42.0 * (1 - x2 / 72.0 * (1 - x2 / 110.0))))
        x2 = phi * phi
        excess_single = phi * x2 / 6.0 * (1 - x2 / 20.0 * (1 - x2 / 42.0 * (1 - x2 / 72.0 * (1 - x2 / 110.0))))
    area = 0.5 * np.pi + phi * k * (2.0 * F - k) + c * c * excess / 2.0 + (0.5 * np.pi - phi) * k * k
    F_k = (c - d) / q
    F_a = 2.0 * d / q
    A_k = 2.0 * F * excess_single * F_k + k * (np.pi - double) - 2.0 * k * cos
    A_a = 2.0 * F * excess_single * F_a + 4.0 * k * cos
    return k, d, F, sin, cos, F_k, F_a, np.log(area), A_k / area, A_a / area


@njit(cache=True)
def vertex_scale(u: float, v: float, s: float, shape: Shape) -> tuple[float, float, float]:
    """Scale R of the egg from which the point (u, v), v >= 0, lies at distance s; and the normal there.

    Negative if the point is within s of O itself.
    """
    k, d, F, sin, cos = shape[0], shape[1], shape[2], shape[3], shape[4]
    rho2 = u * u + v * v
    free = rho2 - s * s
    if free <= 0.0:
        return -1.0, 1.0, 0.0
    if u <= 0.0:
        rho = np.sqrt(rho2)
        return rho - s, u / rho, v / rho
    B = v * (F - 1.0) - F * s
    root = np.sqrt(B * B + (2.0 * F - 1.0) * free)
    R = (B + root) / (2.0 * F - 1.0) if B > 0.0 else free / (root - B)
    w = v + (F - 1.0) * R
    if u * cos <= w * sin:
        reach = F * R + s
        return R, u / reach, w / reach
    E = u * d + k * s
    R = free / (E + np.sqrt(max(E * E - (d * d - k * k) * free, 0.0)))
    reach = k * R + s
    return R, (u - d * R) / reach, v / reach


@njit(cache=True)
def _support(nu: float, nv: float, shape: Shape) -> tuple[float, float, float]:
    """Support function of the unit egg in direction (nu, nv), nv >= 0, and its contact point."""
    k, d, F, sin = shape[0], shape[1], shape[2], shape[3]
    if nu <= 0.0:
        return 1.0, nu, nv
    if nu < sin:
        sag = nu * nu / (1.0 + nv)  # 1 - nv
        return 1.0 + (F - 1.0) * sag, F * nu, 1.0 - F * sag
    return k + d * nu, d + k * nu, k * nv


@njit(cache=True)
def _support_gradient(nu: float, nv: float, shape: Shape) -> tuple[float, float]:
    """Derivatives of the support function by taper and aspect at a fixed direction."""
    if nu <= 0.0:
        return 0.0, 0.0
    if nu < shape[3]:
        sag = nu * nu / (1.0 + nv)
        return shape[5] * sag, shape[6] * sag
    return 1.0 - nu, 2.0 * nu


@njit(cache=True)
def _edge_scale(
    px: float, py: float, tu: float, tv: float, length: float, s: float, shape: Shape
) -> tuple[float, float, float, float, float]:
    """Scale at which the inside of an edge is touched, or infinity if its ends are touched before or it faces away.

    (px, py) start of the edge and (tu, tv) its tangent in the egg's frame. Also returns the outward normal and the
    contact point at that scale.
    """
    nu, nv = tv, -tu
    t = px * nu + py * nv
    if t <= 0.0:
        return np.inf, nu, nv, 0.0, 0.0
    mirror = 1.0 if nv >= 0.0 else -1.0
    h, xu, xv = _support(nu, mirror * nv, shape)
    xv *= mirror
    R = (t - s) / h
    qu, qv = R * xu + s * nu, R * xv + s * nv
    along = (qu - px) * tu + (qv - py) * tv
    if along < 0.0 or along > length:
        return np.inf, nu, nv, 0.0, 0.0
    return R, nu, nv, qu, qv


@njit(cache=True)
def signed_depths(
    points: Array,
    edges: Array,
    nodes: Array,
    stack: Indices,
    band_start: Indices,
    band_edge: Indices,
    band_frame: Array,
    out: Array,
) -> None:
    """Distances from points (n, 2) to the boundary, negative outside the land."""
    leaves = nodes.shape[0] // 2
    m = edges.shape[0]
    bands = band_start.shape[0] - 1
    for p in range(points.shape[0]):
        x, y = points[p, 0], points[p, 1]
        nearest = np.inf
        stack[0], top = 1, 1
        while top > 0:
            top -= 1
            i = stack[top]
            if nodes[i, 2] < 0.0 or np.hypot(nodes[i, 0] - x, nodes[i, 1] - y) - nodes[i, 2] >= nearest:
                continue
            if i >= leaves:
                for e in range((i - leaves) * LEAF, min((i - leaves + 1) * LEAF, m)):
                    tx, ty = edges[e, 2], edges[e, 3]
                    dx, dy = x - edges[e, 0], y - edges[e, 1]
                    along = min(max(dx * tx + dy * ty, 0.0), edges[e, 4])
                    nearest = min(nearest, np.hypot(dx - along * tx, dy - along * ty))
                continue
            a, b = 2 * i, 2 * i + 1
            # The nearer child is looked at first.
            if np.hypot(nodes[a, 0] - x, nodes[a, 1] - y) < np.hypot(nodes[b, 0] - x, nodes[b, 1] - y):
                a, b = b, a
            stack[top], stack[top + 1] = a, b
            top += 2
        # Even-odd rule on the edges that cross the point's horizontal band.
        inside = False
        band = int(np.floor((y - band_frame[0]) / band_frame[1]))
        if 0 <= band < bands:
            for j in range(band_start[band], band_start[band + 1]):
                e = band_edge[j]
                y0 = edges[e, 1]
                y1 = y0 + edges[e, 3] * edges[e, 4]
                if (y0 > y) != (y1 > y) and edges[e, 0] + (y - y0) / edges[e, 3] * edges[e, 2] > x:
                    inside = not inside
        out[p] = nearest if inside else -nearest


@njit(cache=True)
def largest_scale(
    ox: float,
    oy: float,
    cos: float,
    sin: float,
    s: float,
    shape: Shape,
    edges: Array,
    nodes: Array,
    stack: Indices,
    cap: float,
) -> float:
    """Exact largest R, at most ``cap``, at which no boundary comes nearer than s to the egg with O at (ox, oy).

    (cos, sin) is the axis. O is taken to lie in the land. Negative if O itself is within s of the boundary.
    """
    leaves = nodes.shape[0] // 2
    m = edges.shape[0]
    best = cap
    stack[0], top = 1, 1
    while top > 0:
        top -= 1
        i = stack[top]
        if nodes[i, 2] < 0.0:
            continue
        dx, dy = nodes[i, 0] - ox, nodes[i, 1] - oy
        # All of a node's circle is farther than s from the egg of scale R when its centre is at s plus its radius.
        bound, _, _ = vertex_scale(dx * cos + dy * sin, abs(dy * cos - dx * sin), s + nodes[i, 2], shape)
        if bound >= best:
            continue
        if i < leaves:
            a, b = 2 * i, 2 * i + 1
            da = (nodes[a, 0] - ox) ** 2 + (nodes[a, 1] - oy) ** 2
            db = (nodes[b, 0] - ox) ** 2 + (nodes[b, 1] - oy) ** 2
            stack[top], stack[top + 1] = (b, a) if da < db else (a, b)
            top += 2
            continue
        for e in range((i - leaves) * LEAF, min((i - leaves + 1) * LEAF, m)):
            dx, dy = edges[e, 0] - ox, edges[e, 1] - oy
            pu, pv = dx * cos + dy * sin, dy * cos - dx * sin
            if edges[e, 5] > 0.0:
                R, _, _ = vertex_scale(pu, abs(pv), s, shape)
                best = min(best, R)
            tu = edges[e, 2] * cos + edges[e, 3] * sin
            tv = edges[e, 3] * cos - edges[e, 2] * sin
            R, _, _, _, _ = _edge_scale(pu, pv, tu, tv, edges[e, 4], s, shape)
            best = min(best, R)
    return best


@njit(cache=True)
def _near_features(
    ox: float,
    oy: float,
    cos: float,
    sin: float,
    s: float,
    shape: Shape,
    edges: Array,
    nodes: Array,
    stack: Indices,
    limit: float,
    out: Array,
) -> int:
    """Features with a scale of at most ``limit``: rows of (R, normal u, normal v, contact u, contact v, edge, kind).

    (cos, sin) is the axis. Kind 0 is a vertex (the edge's start), 1 the inside of an edge. Returns their number, or -1
    if ``out`` is too short.
    """
    leaves = nodes.shape[0] // 2
    m = edges.shape[0]
    n = 0
    stack[0], top = 1, 1
    while top > 0:
        top -= 1
        i = stack[top]
        if nodes[i, 2] < 0.0:
            continue
        dx, dy = nodes[i, 0] - ox, nodes[i, 1] - oy
        bound, _, _ = vertex_scale(dx * cos + dy * sin, abs(dy * cos - dx * sin), s + nodes[i, 2], shape)
        if bound > limit:
            continue
        if i < leaves:
            stack[top], stack[top + 1] = 2 * i, 2 * i + 1
            top += 2
            continue
        for e in range((i - leaves) * LEAF, min((i - leaves + 1) * LEAF, m)):
            dx, dy = edges[e, 0] - ox, edges[e, 1] - oy
            pu, pv = dx * cos + dy * sin, dy * cos - dx * sin
            if edges[e, 5] > 0.0:
                mirror = 1.0 if pv >= 0.0 else -1.0
                R, nu, nv = vertex_scale(pu, abs(pv), s, shape)
                if R <= limit:
                    if n == out.shape[0]:
                        return -1
                    out[n, 0], out[n, 1], out[n, 2], out[n, 3], out[n, 4] = R, nu, mirror * nv, pu, pv
                    out[n, 5], out[n, 6] = e, 0.0
                    n += 1
            tu = edges[e, 2] * cos + edges[e, 3] * sin
            tv = edges[e, 3] * cos - edges[e, 2] * sin
            R, nu, nv, qu, qv = _edge_scale(pu, pv, tu, tv, edges[e, 4], s, shape)
            if R <= limit:
                if n == out.shape[0]:
                    return -1
                out[n, 0], out[n, 1], out[n, 2], out[n, 3], out[n, 4] = R, nu, nv, qu, qv
                out[n, 5], out[n, 6] = e, 1.0
                n += 1
    return n


@njit(cache=True)
def _merit(R: float, k: float, log_area: float, log_min_radius: float) -> float:
    """Log area of the egg, less a penalty where its small end is tighter than allowed."""
    log_R = np.log(R)
    return float(2.0 * log_R + log_area - PENALTY * max(0.0, log_min_radius - np.log(k) - log_R))


@njit(cache=True)
def _linearise(
    cos: float,
    sin: float,
    shape: Shape,
    features: Array,
    e: int,
    log_min_radius: float,
    penalised: bool,
    R0: float,
    gradient: Array,
    m: int,
    column: int,
) -> float:
    """Merit of feature ``e``; its gradient by (x / R0, y / R0, psi, k, a) into row m from a column of ``gradient``."""
    R, nu, nv, pu, pv = features[e, 0], features[e, 1], features[e, 2], features[e, 3], features[e, 4]
    h, _, _ = _support(nu, abs(nv), shape)
    h_k, h_a = _support_gradient(nu, abs(nv), shape)
    weight = 2.0 + PENALTY if penalised else 2.0
    # d log R = (n dp - R dh) / (R h): the touching point moves in the egg's frame as the egg moves and turns.
    each = weight / (R * h)
    gradient[m, column] = -(nu * cos - nv * sin) * R0 * each
    gradient[m, column + 1] = -(nu * sin + nv * cos) * R0 * each
    gradient[m, column + 2] = (nu * pv - nv * pu) * each
    gradient[m, column + 3] = shape[8] - h_k * R * each
    gradient[m, column + 4] = shape[9] - h_a * R * each
    value = weight * np.log(R) + shape[7]
    if penalised:
        value += PENALTY * (np.log(shape[0]) - log_min_radius)
        gradient[m, column + 3] += PENALTY / shape[0]
    return float(value)


@njit(cache=True)
def _solve_step(
    value: Array, gradient: Array, m: int, lower: Array, upper: Array, table: Array, basis: Indices, step: Array
) -> float:
    """Maximise t subject to t <= value_e + gradient_e step (e < m) and lower <= step <= upper; returns t.

    Solved as its dual: minimise sum lambda_e b_e + sum mu_i (upper_i - lower_i) with sum lambda = 1 and
    mu - sum lambda_e gradient_e >= 0, whose first basis needs no search, by the simplex method on a dense
    table with one row more than unknowns. The columns are lambda (m), mu (n), slack (n), right-hand side; the last row
    holds the reduced costs.
    """
    n = lower.shape[0]
    cols = m + 2 * n
    e0 = 0
    for e in range(m):
        b = value[e]
        for i in range(n):
            b += gradient[e, i] * lower[i]
        table[0, e] = 1.0
        table[n + 1, e] = b
        if b < table[n + 1, e0]:
            e0 = e
    for j in range(2 * n):
        table[0, m + j] = 0.0
    table[0, cols] = 1.0
    basis[0] = e0
    for i in range(n):
        g0 = gradient[e0, i]
        for e in range(m):
            table[i + 1, e] = g0 - gradient[e, i]
        for j in range(2 * n):
            table[i + 1, m + j] = 0.0
        table[i + 1, m + i] = 1.0
        table[i + 1, m + n + i] = -1.0
        # Tiny right-hand sides stand for a tiny cost of each unknown and keep the method from cycling.
        rhs = g0 + 1e-11 * (1.0 + 0.618 * i)
        if rhs >= 0.0:
            table[i + 1, cols] = rhs
            basis[i + 1] = m + i
        else:
            for j in range(cols):
                table[i + 1, j] = -table[i + 1, j]
            table[i + 1, cols] = -rhs
            basis[i + 1] = m + n + i
    last = n + 1
    for i in range(n):
        table[last, m + i] = upper[i] - lower[i]
        table[last, m + n + i] = 0.0
    table[last, cols] = 0.0
    for i in range(n + 1):
        c = table[last, basis[i]]
        if c != 0.0:
            for j in range(cols + 1):
                table[last, j] -= c * table[i, j]
    for _ in range(400):
        enter, least = -1, -1e-12
        for j in range(cols):
            if table[last, j] < least:
                enter, least = j, table[last, j]
        if enter < 0:
            break
        leave, ratio = -1, np.inf
        for i in range(n + 1):
            if table[i, enter] > 1e-11:
                q = table[i, cols] / table[i, enter]
                if q < ratio:
                    leave, ratio = i, q
        if leave < 0:
            break
        pivot = 1.0 / table[leave, enter]
        for j in range(cols + 1):
            table[leave, j] *= pivot
        for i in range(n + 2):
            if i != leave:
                c = table[i, enter]
                if c != 0.0:
                    for j in range(cols + 1):
                        table[i, j] -= c * table[leave, j]
        basis[leave] = enter
    for i in range(n):
        step[i] = min(lower[i] + max(table[last, m + n + i], 0.0), upper[i])
    t = np.inf
    for e in range(m):
        b = value[e]
        for i in range(n):
            b += gradient[e, i] * step[i]
        t = min(t, b)
    return t


@njit(cache=True)
def _radial_profile(
    x: float, y: float, reach: float, edges: Array, nodes: Array, stack: Indices, log_profile: Array
) -> None:
    """Log of the distance to the boundary along equally spaced rays from (x, y), nowhere more than ``reach``.

    Corners between two rays count for the nearer ray, so that no narrowing is missed.
    """
    rays = log_profile.shape[0]
    turn = 2.0 * np.pi / rays
    for j in range(rays):
        log_profile[j] = reach
    leaves = nodes.shape[0] // 2
    m = edges.shape[0]
    stack[0], top = 1, 1
    while top > 0:
        top -= 1
        i = stack[top]
        if nodes[i, 2] < 0.0 or np.hypot(nodes[i, 0] - x, nodes[i, 1] - y) - nodes[i, 2] >= reach:
            continue
        if i < leaves:
            stack[top], stack[top + 1] = 2 * i, 2 * i + 1
            top += 2
            continue
        for e in range((i - leaves) * LEAF, min((i - leaves + 1) * LEAF, m)):
            dx, dy = edges[e, 0] - x, edges[e, 1] - y
            t = dx * edges[e, 3] - dy * edges[e, 2]
            if t <= 0.0:
                continue
            ex, ey = dx + edges[e, 2] * edges[e, 4], dy + edges[e, 3] * edges[e, 4]
            start = np.arctan2(dy, dx) / turn
            # Seen from the land an edge runs counter-clockwise.
            sweep = np.arctan2(dx * ey - dy * ex, dx * ex + dy * ey) / turn
            j = int(np.rint(start)) % rays
            log_profile[j] = min(log_profile[j], np.hypot(dx, dy))
            first = int(np.ceil(start))
            for b in range(first, int(np.floor(start + sweep)) + 1):
                angle = b * turn
                facing = np.cos(angle) * edges[e, 3] - np.sin(angle) * edges[e, 2]
                if facing > 0.0:
                    j = b % rays
                    log_profile[j] = min(log_profile[j], t / facing)
    for j in range(rays):
        log_profile[j] = np.log(max(log_profile[j], 1e-12))


@njit(cache=True)
def _rate_centre(
    log_profile: Array,
    shapes: Array,
    tables: Array,
    log_areas: Array,
    bearings: int,
    log_min_radius: float,
    found: Array,
) -> None:
    """Best two of the bearings for a centre: rows of ``found`` are (merit, bearing number, shape number)."""
    rays = log_profile.shape[0]
    stride = rays // bearings
    for r in range(found.shape[0]):
        found[r, 0] = -np.inf
    for b in range(bearings):
        best, best_shape = -np.inf, 0
        for i in range(shapes.shape[0]):
            offset = rays - b * stride
            log_k = np.log(shapes[i, 0])
            log_R = np.inf
            for j in range(rays):
                log_R = min(log_R, log_profile[j] - tables[i, j + offset])
                if 2.0 * log_R + log_areas[i] < best:
                    break
            value = 2.0 * log_R + log_areas[i] - PENALTY * max(0.0, log_min_radius - log_k - log_R)
            if value > best:
                best, best_shape = value, i
        # Keep the best; a neighbour of a better bearing is no second choice.
        for r in range(found.shape[0]):
            if best > found[r, 0]:
                apart = abs(b - found[r, 1])
                if found[r, 0] > -np.inf and min(apart, bearings - apart) <= 2:
                    found[r, 0], found[r, 1], found[r, 2] = best, b, best_shape
                else:
                    for q in range(found.shape[0] - 1, r, -1):
                        for j in range(3):
                            found[q, j] = found[q - 1, j]
                    found[r, 0], found[r, 1], found[r, 2] = best, b, best_shape
                break
            apart = abs(b - found[r, 1])
            if min(apart, bearings - apart) <= 2:
                break


@njit(cache=True)
def rate_centres(
    centres: Array,
    reach: float,
    s: float,
    edges: Array,
    nodes: Array,
    stack: Indices,
    shapes: Array,
    tables: Array,
    log_areas: Array,
    bearings: int,
    log_min_radius: float,
    profile: Array,
    found: Array,
    out: Array,
) -> None:
    """Starts from each centre: rows of ``out`` are (merit, x, y, psi, taper, aspect), two for each centre.

    ``profile`` (rays,) and ``found`` (2, 3) are work space.
    """
    rays = profile.shape[0]
    for c in range(centres.shape[0]):
        x, y = centres[c, 0], centres[c, 1]
        _radial_profile(x, y, reach * centres[c, 2] + s, edges, nodes, stack, profile)
        if s > 0.0:
            for j in range(rays):
                profile[j] = np.log(max(np.exp(profile[j]) - s, 1e-12))
        _rate_centre(profile, shapes, tables, log_areas, bearings, log_min_radius, found)
        for r in range(2):
            q = 2 * c + r
            out[q, 0], out[q, 1], out[q, 2] = found[r, 0], x, y
            if found[r, 0] > -np.inf:
                i = int(found[r, 2])
                out[q, 3] = 2.0 * np.pi * found[r, 1] / bearings
                out[q, 4], out[q, 5] = shapes[i, 0], shapes[i, 1]


@njit(cache=True)
def _strip_feature(
    ox: float,
    oy: float,
    cos: float,
    sin: float,
    shape: Shape,
    strips: Array,
    p: int,
    away: float,
    half: float,
    out: Array,
    n: int,
) -> float:
    """What a dividing line allows an egg that keeps ``half`` from it, into row n as from ``_near_features``.

    A strip is (direction of the normal, x, y of a point of the line); ``away`` is 1.0 for the egg before the line as
    the normal points, -1.0 for the one behind it. Three more numbers follow in the row: ``p``, how far along the line
    from its point the egg touches, and the support function there. Returns the scale.
    """
    nx, ny = np.cos(strips[p, 0]) * away, np.sin(strips[p, 0]) * away
    nu, nv = nx * cos + ny * sin, ny * cos - nx * sin
    mirror = 1.0 if nv >= 0.0 else -1.0
    h, xu, xv = _support(nu, mirror * nv, shape)
    xv *= mirror
    R = (nx * (strips[p, 1] - ox) + ny * (strips[p, 2] - oy) - half) / h
    qx, qy = ox + R * (xu * cos - xv * sin) - strips[p, 1], oy + R * (xu * sin + xv * cos) - strips[p, 2]
    out[n, 0], out[n, 1], out[n, 2], out[n, 3], out[n, 4] = R, nu, nv, R * xu, R * xv
    out[n, 5], out[n, 6], out[n, 7], out[n, 8], out[n, 9] = -1.0, 2.0, p, nx * qy - ny * qx, h
    return float(R)


@njit(cache=True)
def pack_scales(
    zs: Array,
    strips: Array,
    pairs: Indices,
    half: float,
    s: float,
    log_min_radius: float,
    edges: Array,
    nodes: Array,
    stack: Indices,
    row: Array,
    scales: Array,
) -> float:
    """Largest scale of each of several eggs between land and dividing strips; returns the merit of the least.

    Egg pairs[p, 0] lies before strip p, egg pairs[p, 1] behind it.
    """
    least = np.inf
    first = int(0.0)
    for i in range(zs.shape[0]):
        shape = unit_shape(zs[i, 3], zs[i, 4])
        cos, sin = np.cos(zs[i, 2]), np.sin(zs[i, 2])
        R = np.inf
        for p in range(pairs.shape[0]):
            if pairs[p, 0] == i or pairs[p, 1] == i:
                away = 1.0 if pairs[p, 0] == i else -1.0
                R = min(R, _strip_feature(zs[i, 0], zs[i, 1], cos, sin, shape, strips, p, away, half, row, first))
        if R > 0.0:
            R = largest_scale(zs[i, 0], zs[i, 1], cos, sin, s, shape, edges, nodes, stack, R)
        scales[i] = R
        least = min(least, _merit(R, zs[i, 3], shape[7], log_min_radius) if R > 0.0 else -np.inf)
    return least


@njit(cache=True)
def refine(
    zs: Array,
    strips: Array,
    pairs: Indices,
    trust: float,
    steps: int,
    tolerance: float,
    half: float,
    s: float,
    log_min_radius: float,
    limits: Array,
    edges: Array,
    nodes: Array,
    stack: Indices,
    work: Work,
) -> float:
    """Sequential linear programming on one or several eggs and the strips between them, in place; the least merit.

    The unknowns are five for each egg and, for each strip, its turn about its point and its shift along its normal.
    ``limits`` (2, 2): lower and upper taper, lower and upper aspect. ``work``: arrays from ``work_arrays``. Ends when
    the gain promised falls below ``tolerance`` or the trust region vanishes.
    """
    features, value, gradient, table, basis, step, lower, upper, scales, trial_scales, trial, moved, row = work
    eggs, count = zs.shape[0], pairs.shape[0]
    unknowns = 5 * eggs + 2 * count
    for j in range(unknowns):
        step[j] = 0.0
    per_egg = value.shape[0] // eggs
    now, promised = -np.inf, 0.0
    length = 1.0
    for turn in range(steps + 1):
        if turn > 0:
            length = 0.0
            for i in range(eggs):
                length = max(length, scales[i])
            m = int(0.0)  # no literal: numba would compile what takes it once more for that very number
            for i in range(eggs):
                x, y, psi, k, a = zs[i, 0], zs[i, 1], zs[i, 2], zs[i, 3], zs[i, 4]
                scale = scales[i]
                shape = unit_shape(k, a)
                cos, sin = np.cos(psi), np.sin(psi)
                if _merit(scale, k, shape[7], log_min_radius) > now + 10.0 * trust + 1e-9:
                    continue  # so much larger than the least that no step within the trust region undoes it
                tight = log_min_radius - np.log(k) - np.log(scale) > -4.0 * trust - 1e-9
                kinds = 2 if tight else 1
                band = 2.0 * min(2.5 * trust, 0.7) + 1e-9
                n = -1
                while n < 0 or (n + count) * kinds > per_egg or n + count > features.shape[0]:
                    band *= 0.5
                    if band < 1e-12:
                        return now
                    n = _near_features(x, y, cos, sin, s, shape, edges, nodes, stack, scale * (1.0 + band), features)
                land = n
                for p in range(count):
                    before = pairs[p, 0] == i
                    if before or pairs[p, 1] == i:
                        away = 1.0 if before else -1.0
                        _strip_feature(x, y, cos, sin, shape, strips, p, away, half, features, n)
                        n += 1
                for e in range(n):
                    for kind in range(kinds):
                        for j in range(unknowns):
                            gradient[m, j] = 0.0
                        value[m] = _linearise(
                            cos, sin, shape, features, e, log_min_radius, kind == 1, length, gradient, m, 5 * i
                        )
                        if e >= land:
                            weight = 2.0 + PENALTY if kind == 1 else 2.0
                            p = int(features[e, 7])
                            j, wide = 5 * eggs + 2 * p, features[e, 0] * features[e, 9]
                            away = 1.0 if pairs[p, 0] == i else -1.0
                            gradient[m, j] = -weight * features[e, 8] / wide
                            gradient[m, j + 1] = weight * away * length / wide
                        m += 1
            for i in range(eggs):
                j = 5 * i
                reach = 0.4 * trust * scales[i] / length
                lower[j], upper[j], lower[j + 1], upper[j + 1] = -reach, reach, -reach, reach
                lower[j + 2], upper[j + 2] = -trust, trust
                for c in range(2):
                    at = zs[i, 3 + c]
                    lower[j + 3 + c] = max(-trust, limits[c, 0] - at)
                    upper[j + 3 + c] = min(trust, limits[c, 1] - at)
            for p in range(count):
                j = 5 * eggs + 2 * p
                lower[j], upper[j] = -trust, trust
                lower[j + 1], upper[j + 1] = -0.4 * trust, 0.4 * trust
            promised = _solve_step(value, gradient, m, lower, upper, table, basis, step) - now
            if promised < tolerance:
                break
        for i in range(eggs):
            for j in range(5):
                trial[i, j] = zs[i, j] + step[5 * i + j] * (length if j < 2 else 1.0)
            for c in range(2):
                trial[i, 3 + c] = min(max(trial[i, 3 + c], limits[c, 0]), limits[c, 1])
        for p in range(count):
            j, direction = 5 * eggs + 2 * p, strips[p, 0]
            shift = step[j + 1] * length
            moved[p, 0] = direction + step[j]
            moved[p, 1] = strips[p, 1] + shift * np.cos(direction)
            moved[p, 2] = strips[p, 2] + shift * np.sin(direction)
        least = pack_scales(trial, moved, pairs, half, s, log_min_radius, edges, nodes, stack, row, trial_scales)
        gain = least - now
        if turn == 0 or gain > 0.1 * promised:
            if least == -np.inf:
                return now
            for i in range(eggs):
                scales[i] = trial_scales[i]
                for j in range(5):
                    zs[i, j] = trial[i, j]
            for p in range(count):
                for j in range(3):
                    strips[p, j] = moved[p, j]
            now = least
        if turn == 0:
            continue
        if gain > 0.7 * promised:
            trust = min(2.0 * trust, 0.5)
        elif gain < 0.3 * promised:
            trust *= 0.35
            if trust < 1e-11:
                break
    return now


@njit(cache=True)
def _field_over_arc(
    cx: float,
    cy: float,
    radius: float,
    x0: float,
    y0: float,
    x1: float,
    y1: float,
    field: Array,
    before: Array,
    west: float,
    north: float,
    cell: float,
) -> float:
    """Share of one arc, walked clockwise with no more than a right angle's turn and x and y monotone, in the integral.

    ``field`` is constant in each cell and zero outside the grid, ``before`` its sum over the cells west of each in the
    same row. By Green's theorem the integral of the field over the figure is minus the integral of S dy along the line
    walked clockwise, S(x, y) being the field's integral along the row from the west to x. Between two grid lines S is
    linear in x, so the chord gives the mean of its ends times dy, and the field times the segment between chord and
    arc is added.
    """
    rows, cols = field.shape
    total = 0.0
    px, py = x0, y0
    east, up = x1 > x0, y1 > y0
    right, above = (x0 + x1) * 0.5 > cx, (y0 + y1) * 0.5 > cy
    # Cell of the piece ahead: on a grid line it is the one the walk enters.
    fx, fy = (px - west) / cell, (north - py) / cell
    c = int(np.floor(fx)) if east else int(np.ceil(fx)) - 1
    r = int(np.ceil(fy)) - 1 if up else int(np.floor(fy))
    for _ in range(2 * (rows + cols) + 1_000_000):
        next_x = west + (c + 1) * cell if east else west + c * cell
        next_y = north - r * cell if up else north - (r + 1) * cell
        qx, qy, step_c, step_r = x1, y1, 0, 0
        done = True
        if (next_x < qx) == east and next_x != qx:
            off = np.sqrt(max(radius * radius - (next_x - cx) ** 2, 0.0))
            qx, qy, step_c, done = next_x, cy + off if above else cy - off, 1 if east else -1, False
        if (next_y < qy) == up and next_y != qy:
            off = np.sqrt(max(radius * radius - (next_y - cy) ** 2, 0.0))
            qx, qy, step_c, step_r, done = cx + off if right else cx - off, next_y, 0, -1 if up else 1, False
        if 0 <= r < rows and c >= 0:
            if c < cols:
                value = field[r, c]
                left = west + c * cell
                s0 = before[r, c] * cell + value * (px - left)
                s1 = before[r, c] * cell + value * (qx - left)
                chord = np.hypot(qx - px, qy - py)
                angle = 2.0 * np.arcsin(min(chord / (2.0 * radius), 1.0))
                if angle > 0.1:
                    segment = 0.5 * radius * radius * (angle - np.sin(angle))
                else:
                    segment = chord * chord * angle / 12.0 * (1.0 + angle * angle / 30.0)
                total += value * segment - 0.5 * (s0 + s1) * (qy - py)
            else:
                total -= (before[r, cols - 1] + field[r, cols - 1]) * cell * (qy - py)
        px, py = qx, qy
        c += step_c
        r += step_r
        if done:
            break
    return total


@njit(cache=True)
def field_over_egg(
    x: float, y: float, psi: float, R: float, shape: Shape, field: Array, before: Array, frame: Array
) -> float:
    """Exact integral of a raster's values over an egg; ``frame`` is (west, north, cell)."""
    k, d, F, sin_phi, cos_phi = shape[0], shape[1], shape[2], shape[3], shape[4]
    phi = np.arctan2(sin_phi, cos_phi)
    cos, sin = np.cos(psi), np.sin(psi)
    total = 0.0
    px, py = x - R * cos, y - R * sin
    start = np.pi
    for arc in range(5):
        if arc in (0, 4):
            cu, cv, radius, turn = 0.0, 0.0, R, 0.5 * np.pi
        elif arc == 2:
            cu, cv, radius, turn = d * R, 0.0, k * R, np.pi - 2.0 * phi
        else:
            cu, cv, radius, turn = 0.0, (1.0 - F) * R if arc == 1 else (F - 1.0) * R, F * R, phi
        cx, cy = x + cu * cos - cv * sin, y + cu * sin + cv * cos
        angle, last = psi + start, psi + start - turn
        # Pieces between the directions of the compass, where x and y run one way.
        while angle > last:
            quarter = (np.ceil(angle / (0.5 * np.pi) - 1e-9) - 1.0) * 0.5 * np.pi
            until = max(quarter, last)
            qx, qy = cx + radius * np.cos(until), cy + radius * np.sin(until)
            if arc == 4 and until == last:
                qx, qy = x - R * cos, y - R * sin
            total += _field_over_arc(cx, cy, radius, px, py, qx, qy, field, before, frame[0], frame[1], frame[2])
            px, py, angle = qx, qy, until
        start -= turn
    return total


@njit(cache=True)
def rate_places(
    centres: Array,
    reach: float,
    s: float,
    edges: Array,
    nodes: Array,
    stack: Indices,
    shapes: Array,
    tables: Array,
    log_areas: Array,
    bearings: int,
    log_target: float,
    field: Array,
    before: Array,
    frame: Array,
    profile: Array,
    out: Array,
) -> None:
    """Best place for an egg of a given log area at each centre: rows of ``out`` are (merit, x, y, psi, taper, aspect).

    The merit is the mean of the field over the egg, less what it is too large by after the radial profile.
    """
    rays = profile.shape[0]
    stride = rays // bearings
    target = np.exp(log_target)
    for c in range(centres.shape[0]):
        x, y = centres[c, 0], centres[c, 1]
        _radial_profile(x, y, reach, edges, nodes, stack, profile)
        for j in range(rays):
            profile[j] = np.log(max(np.exp(profile[j]) - s, 1e-12))
        out[c, 0], out[c, 1], out[c, 2] = -np.inf, x, y
        for i in range(shapes.shape[0]):
            shape = unit_shape(shapes[i, 0], shapes[i, 1])
            log_R = 0.5 * (log_target - log_areas[i])
            for b in range(bearings):
                over = 0.0
                for j in range(rays):
                    over = max(over, log_R - profile[j] + tables[i, j + rays - b * stride])
                if 1.0 - 2.0 * over <= out[c, 0]:
                    continue
                psi = 2.0 * np.pi * b / bearings
                mean = field_over_egg(x, y, psi, np.exp(log_R), shape, field, before, frame) / target
                if mean - 2.0 * over > out[c, 0]:
                    out[c, 0], out[c, 3], out[c, 4], out[c, 5] = mean - 2.0 * over, psi, shapes[i, 0], shapes[i, 1]


@njit(cache=True)
def _place_merit(
    z: Array,
    s: float,
    log_target: float,
    log_min_radius: float,
    edges: Array,
    nodes: Array,
    stack: Indices,
    field: Array,
    before: Array,
    frame: Array,
) -> tuple[float, float, float]:
    """Mean of the field over the egg of the target's area less penalties; the mean; the scale that would fit."""
    shape = unit_shape(z[3], z[4])
    log_R = 0.5 * (log_target - shape[7])
    mean = field_over_egg(z[0], z[1], z[2], np.exp(log_R), shape, field, before, frame) / np.exp(log_target)
    # Scales far above the one needed make no difference.
    R = largest_scale(z[0], z[1], np.cos(z[2]), np.sin(z[2]), s, shape, edges, nodes, stack, np.exp(log_R) * 4.0)
    if R <= 0.0:
        return -np.inf, mean, R
    missing = max(log_R - np.log(R), log_min_radius - np.log(z[3]) - log_R)
    return mean - PENALTY * max(0.0, missing), mean, R


@njit(cache=True)
def refine_places(
    starts: Array,
    trust_at_first: float,
    steps: int,
    tolerance: float,
    s: float,
    log_target: float,
    log_min_radius: float,
    limits: Array,
    edges: Array,
    nodes: Array,
    stack: Indices,
    field: Array,
    before: Array,
    frame: Array,
    work: Work,
) -> None:
    """Sequential linear programming for the mean of a field, on each start (merit, x, y, psi, taper, aspect) in place.

    The mean's slope is taken by differences over half a cell on either side, wide enough to see past cell edges.
    """
    features, value, gradient, table, basis, step, lower, upper, z, slope, trials, _, _ = work
    trial = trials[0]
    never, first = steps < 0, int(0.0)  # no literals, as in refine
    for start in range(starts.shape[0]):
        for j in range(5):
            z[j] = starts[start, j + 1]
        trust = trust_at_first
        now, mean, R = _place_merit(z, s, log_target, log_min_radius, edges, nodes, stack, field, before, frame)
        for _ in range(steps):
            if now == -np.inf:
                break
            shape = unit_shape(z[3], z[4])
            log_R = 0.5 * (log_target - shape[7])
            size = np.exp(log_R)
            cos, sin = np.cos(z[2]), np.sin(z[2])
            for j in range(5):
                h = 0.5 * frame[2] / size
                high, low = h, h
                if j >= 3:
                    high = min(h, limits[j - 3, 1] - z[j])
                    low = min(h, z[j] - limits[j - 3, 0])
                slope[j] = 0.0
                if high + low > 0.0:
                    keep = z[j]
                    for side in range(2):
                        z[j] = keep + (high if side == 0 else -low) * (size if j < 2 else 1.0)
                        at = unit_shape(z[3], z[4])
                        moved = field_over_egg(
                            z[0], z[1], z[2], np.exp(0.5 * (log_target - at[7])), at, field, before, frame
                        )
                        slope[j] += moved if side == 0 else -moved
                    slope[j] /= (high + low) * np.exp(log_target)
                    z[j] = keep
            band = 2.0 * min(2.5 * trust, 0.7) + 1e-9
            n = -1
            while n < 0:
                band *= 0.5
                if band < 1e-12:
                    break
                limit = max(R, size) * (1.0 + band)
                n = _near_features(z[0], z[1], cos, sin, s, shape, edges, nodes, stack, limit, features)
            m = first + 1
            value[0] = mean
            for j in range(5):
                gradient[0, j] = slope[j]
            for e in range(max(n, 0)):
                f = _linearise(cos, sin, shape, features, e, -50.0, never, size, gradient, m, first)
                value[m] = mean + 0.5 * PENALTY * (f - log_target)
                for j in range(5):
                    gradient[m, j] = slope[j] + 0.5 * PENALTY * gradient[m, j]
                m += 1
            # The small-end radius at the target's area depends on the shape alone.
            value[m] = mean + PENALTY * (np.log(z[3]) + log_R - log_min_radius)
            for j in range(5):
                gradient[m, j] = slope[j]
            gradient[m, 3] += PENALTY * (1.0 / z[3] - 0.5 * shape[8])
            gradient[m, 4] -= PENALTY * 0.5 * shape[9]
            m += 1
            lower[0] = lower[1] = -0.4 * trust
            upper[0] = upper[1] = 0.4 * trust
            lower[2], upper[2] = -trust, trust
            for j in range(2):
                lower[3 + j] = max(-trust, limits[j, 0] - z[3 + j])
                upper[3 + j] = min(trust, limits[j, 1] - z[3 + j])
            promised = _solve_step(value, gradient, m, lower, upper, table, basis, step) - now
            if promised < tolerance:
                break
            for j in range(5):
                trial[j] = z[j] + step[j] * (size if j < 2 else 1.0)
            for j in range(2):
                trial[3 + j] = min(max(trial[3 + j], limits[j, 0]), limits[j, 1])
            least, trial_mean, trial_R = _place_merit(
                trial, s, log_target, log_min_radius, edges, nodes, stack, field, before, frame
            )
            gain = least - now
            if gain > 0.1 * promised:
                for j in range(5):
                    z[j] = trial[j]
                now, mean, R = least, trial_mean, trial_R
            if gain > 0.7 * promised:
                trust = min(2.0 * trust, 0.5)
            elif gain < 0.3 * promised:
                trust *= 0.4
                if trust < 1e-9:
                    break
        starts[start, 0] = now
        for j in range(5):
            starts[start, j + 1] = z[j]
