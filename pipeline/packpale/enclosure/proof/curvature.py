"""Bounds on the second derivatives of the two functions from which every upper bound is made.

The unit egg (R = 1, O at the origin, axis along +u) has p = 1 - taper, q = 2 (aspect - 1), small radius k = 1 - p,
centre spacing d = p + q, flank radius F = 1 + G and e = 1 / G = 1 / q - 1 / (2 p + q). The flank turns through
tau = atan(d e).

Support function h by the angle phi of the outward normal from the axis, 0 <= phi <= pi::

    h = 1 - p + (p + q) cos phi     0 <= phi <= pi/2 - tau        small end
    h = 1 + G (1 - sin phi)         pi/2 - tau <= phi <= pi/2     flank
    h = 1                           pi/2 <= phi                   big end

Radius r = exp(y) by the angle phi of the ray from O. On the big end y = 0; on the others Phi = 0 with::

    Phi = e (r - 1/r) + 2 (sin phi - 1/r)                         flank, a circle of radius F about (0, -G)
    Phi = r - 2 d cos phi + (d^2 - k^2) / r                       small end, a circle of radius k about (d, 0)

    y_i = -Phi_i / Phi_y,   y_ij = -(Phi_yy y_i y_j + Phi_yi y_j + Phi_yj y_i + Phi_ij) / Phi_y         (1)

which on the small end, with S = Phi_y / 2 = sqrt(k^2 - d^2 sin^2 phi), I = 1 / (2 S), C = d cos phi, m = d^2 - k^2 and
E_i = 2 C_i - m_i / r becomes::

    y_i = I E_i,   y_ij = -2 C I^3 E_i E_j + I^2 (m_i E_j + m_j E_i) / r + I (2 C_ij - m_ij / r)       (2)

Both functions are even in phi and once continuously differentiable in (phi, p, q), with pieces that are twice so.
Tables hold, for cells of (phi, p, q), intervals that contain the first derivative by phi and all second derivatives of

    w_line  = -2 log h(phi, p, q)       and       w_point = -2 log r(phi, p, q)

on every piece that the cell meets. Area A of the unit egg, with the first variation dA = integral of dh over the line::

    A_q = 2 (F G_q (tau - sin tau) + k cos tau)
    A_p = 2 (F G_p (tau - sin tau) + k (cos tau - pi/2 + tau))
    A_qq = 2 ((G_q^2 + F / p) (tau - sin tau) + d tau_q)
    A_pq = 2 ((G_p G_q + F G_pq) (tau - sin tau) + d tau_p - cos tau)
    A_pp = 2 ((G_p^2 + F G_pp) (tau - sin tau) - (F - k) (1 - sin tau) tau_p + pi/2 - tau - cos tau)   (3)

from G_q (1 - cos tau) = sin tau, G_p (1 - cos tau) = sin tau - 1 (h is once differentiable where the arcs join) and
(F - k) sin tau = d.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from packpale.enclosure.proof.intervals import Interval
from packpale.site.grid import Array

ANGLES = 128
"""Cells of phi over a right angle; a power of two."""
SHAPES = 8
"""Cells of p and of q over their ranges; a power of two."""
ENTRIES = ("phi", "phi phi", "phi p", "phi q", "p p", "p q", "q q")
"""Derivatives in a row of a table; each fills two columns, low and high."""
_FINER_P, _FINER_Q = 3, 6
_FINER_AREA = 32
_UNBOUNDED = 1e30


@dataclass(frozen=True)
class Curvature:
    """Tables for one range of shapes.

    The three leading axes of ``line`` and ``point`` are heaps over phi, p and q: 1 is the whole range, the halves of i
    are 2 i and 2 i + 1, and the cells stand from half the length on. ``area`` has p and q only and holds the
    intervals of the second derivatives p p, p q, q q of log A.
    """

    line: Array
    point: Array
    area: Array


@lru_cache(maxsize=8)
def curvature(p: tuple[float, float], q: tuple[float, float]) -> Curvature:
    """Tables for p and q in closed ranges; 0 < p < 1, q > 0."""
    phi = _cells((0.0, math.pi / 2), ANGLES)[:, None, None]
    p_cells, q_cells = _cells(p, SHAPES * _FINER_P)[None, :, None], _cells(q, SHAPES * _FINER_Q)[None, None, :]
    angle, bp, bq = (Interval(*np.moveaxis(c, -1, 0)) for c in (phi, p_cells, q_cells))
    fine_p, fine_q = _cells(p, SHAPES * _FINER_AREA)[:, None], _cells(q, SHAPES * _FINER_AREA)[None, :]
    area = log_area_curvature(*(Interval(*np.moveaxis(c, -1, 0)) for c in (fine_p, fine_q)))
    with np.errstate(invalid="ignore", over="ignore"):  # a cell too wide for its formulas has no bound
        line, point = line_curvature(angle, bp, bq), point_curvature(angle, bp, bq)
    return Curvature(
        line=_heaps(_widened(line), (1, _FINER_P, _FINER_Q)),
        point=_heaps(_widened(point), (1, _FINER_P, _FINER_Q)),
        area=_heaps(_widened(area), (_FINER_AREA, _FINER_AREA)),
    )


@dataclass(frozen=True)
class _Shape:
    """Intervals that depend on p and q alone."""

    p: Interval
    q: Interval
    d: Interval
    k: Interval
    e: Interval
    tau: Interval

    @classmethod
    def of(cls, p: Interval, q: Interval) -> "_Shape":
        # e falls with q and rises with p: e_q = 1 / (2 p + q)^2 - 1 / q^2 < 0, e_p = 2 / (2 p + q)^2 > 0.
        e = Interval(_e(p.lo, q.hi), _e(p.hi, q.lo))
        d = p + q
        return cls(p, q, d, 1 - p, e, (d * e).rising(np.arctan))


def _e(p: Array, q: Array) -> Array:
    return 2 * p / (q * (2 * p + q))


def line_curvature(phi: Interval, p: Interval, q: Interval) -> list[Interval]:
    """Enclosures of the derivatives named in ENTRIES, of -2 log h, on boxes with 0 <= phi <= pi/2."""
    shape = _Shape.of(p, q)
    join = shape.tau.falling(lambda t: math.pi / 2 - t)
    on_small, on_flank = phi.lo <= join.hi, phi.hi >= join.lo
    zero = Interval.exact(0.0)

    a = phi.clipped(np.zeros(1), join.hi)
    sin, cos = a.rising(np.sin), a.falling(np.cos)
    h = shape.k + shape.d * cos
    small = _minus_two_logs(
        h, (-(shape.d * sin), cos - 1, cos), (-(shape.d * cos), -sin, -sin, zero, zero, zero), first_is_angle=True
    )

    a = phi.clipped(join.lo, np.full(1, math.pi / 2))
    sin, cos = a.rising(np.sin), a.falling(np.cos)
    gap = a.falling(lambda x: 2 * np.sin((math.pi / 2 - x) / 2) ** 2)  # 1 - sin
    G = 1 / shape.e
    G_p, G_q = -((q / p).square() / 2), 1 + q / p
    G_pp, G_pq, G_qq = (q / p).square() / p, -(q / p.square()), 1 / p
    first = (-(G * cos), G_p * gap, G_q * gap)
    second = (G * sin, -(G_p * cos), -(G_q * cos), G_pp * gap, G_pq * gap, G_qq * gap)
    flank = _minus_two_logs(1 + G * gap, first, second, first_is_angle=True)
    return [_pieces((s, on_small), (f, on_flank)) for s, f in zip(small, flank, strict=True)]


def point_curvature(phi: Interval, p: Interval, q: Interval) -> list[Interval]:
    """Enclosures of the derivatives named in ENTRIES, of -2 log r, on boxes with 0 <= phi <= pi/2."""
    shape = _Shape.of(p, q)
    d, k, e = shape.d, shape.k, shape.e
    across, along = k * shape.tau.falling(np.cos), d + k * shape.tau.rising(np.sin)
    join = (across / along).rising(np.arctan)
    on_small, on_flank = phi.lo <= join.hi, phi.hi >= join.lo
    zero = Interval.exact(0.0)

    a = phi.clipped(np.zeros(1), join.hi)
    sin, cos = a.rising(np.sin), a.falling(np.cos)
    C = d * cos
    S = (k - d * sin) * (k + d * sin)
    # S = k cos(angle between ray and normal), least where the arcs join: there the normal stands at pi/2 - tau.
    least = k.lo * np.cos(np.minimum(math.pi / 2 - shape.tau.lo - join.lo, math.pi / 2))
    S = Interval(np.maximum(np.sqrt(np.maximum(S.lo, 0.0)), least), np.sqrt(np.maximum(S.hi, 0.0)))
    S = Interval(S.lo, np.maximum(S.hi, S.lo))
    over_r, over_D = 1 / (C + S), 1 / (2 * S)
    m_over_r = (zero, 2 * (q + 1) * over_r, 2 * d * over_r)
    E = (-2 * (d * sin), 2 * cos - m_over_r[1], 2 * cos - m_over_r[2])
    bent = (-2 * C, -2 * sin, -2 * sin, zero, -2 * over_r, -2 * over_r)  # 2 C_ij - m_ij / r
    small = [over_D * E[0]] + [
        -2 * C * over_D * over_D * over_D * _product(E, i, j)
        + over_D * over_D * (m_over_r[i] * E[j] + m_over_r[j] * E[i])
        + over_D * b
        for (i, j), b in zip(_PAIRS, bent, strict=True)
    ]

    a = phi.clipped(join.lo, np.full(1, math.pi / 2))
    sin, cos = a.rising(np.sin), a.falling(np.cos)
    # r falls with sin phi and with e, as Phi_y > 0 and r >= 1.
    r = Interval(_flank_radius(sin.hi, e.hi), _flank_radius(sin.lo, e.lo))
    odd, even = r - 1 / r, r + 1 / r
    # Phi_y rises with e and falls with r, because e (r^2 - 1) = 2 (1 - r sin phi) < 2.
    D = Interval(*(f * (x + 1 / x) + 2 / x for f, x in ((e.lo, r.hi), (e.hi, r.lo))))
    sum_ = 2 * p + q
    e_p, e_q = 2 / sum_.square(), 1 / sum_.square() - 1 / q.square()
    cube, cube_q = sum_ * sum_.square(), q * q.square()
    e_pp, e_pq, e_qq = -8 / cube, -4 / cube, 2 / cube_q - 2 / cube
    Phi = (2 * cos, odd * e_p, odd * e_q)
    Phi_y = (zero, even * e_p, even * e_q)
    Phi_ij = (-2 * sin, zero, zero, odd * e_pp, odd * e_pq, odd * e_qq)
    y = tuple(-(f / D) for f in Phi)
    # Phi_yy = e (r - 1/r) - 2 / r rises with e and with r.
    Phi_yy = Interval(*(f * (x - 1 / x) - 2 / x for f, x in ((e.lo, r.lo), (e.hi, r.hi))))
    flank = [y[0]] + [
        -((Phi_yy * _product(y, i, j) + Phi_y[i] * y[j] + Phi_y[j] * y[i] + f) / D)
        for (i, j), f in zip(_PAIRS, Phi_ij, strict=True)
    ]
    return [_pieces((-2 * s, on_small), (-2 * f, on_flank)) for s, f in zip(small, flank, strict=True)]


def log_area_curvature(p: Interval, q: Interval) -> list[Interval]:
    """Enclosures of the second derivatives p p, p q, q q of log A, by (3)."""
    shape = _Shape.of(p, q)
    d, k, e, tau = shape.d, shape.k, shape.e, shape.tau
    sin, cos = tau.rising(np.sin), tau.falling(np.cos)
    lens = tau.rising(angle_minus_sine)
    G = 1 / e
    F = 1 + G
    G_p, G_q = -((q / p).square() / 2), 1 + q / p
    G_pp, G_pq = (q / p).square() / p, -(q / p.square())
    sum_ = 2 * p + q
    slope = 1 / (1 + (d * e).square())
    tau_p = (e + d * (2 / sum_.square())) * slope
    tau_q = (e + d * (1 / sum_.square() - 1 / q.square())) * slope
    beta = tau.falling(lambda t: math.pi / 2 - t)
    half_disc = math.pi / 2
    # A = pi/2 + tau k (2 F - k) + (F - k)^2 (2 tau - sin 2 tau) / 2 + (pi/2 - tau) k^2, with (F - k) sin tau = d.
    area = half_disc + 2 * tau * k * F + (F - k).square() * tau.rising(lambda t: angle_minus_sine(2 * t)) / 2
    area = area + (beta - tau) * k.square()
    A_p = 2 * (F * G_p * lens + k * (cos - beta))
    A_q = 2 * (F * G_q * lens + k * cos)
    A_pp = 2 * ((G_p.square() + F * G_pp) * lens - (F - k) * (1 - sin) * tau_p + beta - cos)
    A_pq = 2 * ((G_p * G_q + F * G_pq) * lens + d * tau_p - cos)
    A_qq = 2 * ((G_q.square() + F / p) * lens + d * tau_q)
    return [
        A_pp / area - (A_p / area).square(),
        A_pq / area - A_p / area * (A_q / area),
        A_qq / area - (A_q / area).square(),
    ]


def angle_minus_sine(x: Array) -> Array:
    """Difference x - sin x for 0 <= x <= pi, without cancellation."""
    x = np.asarray(x, float)
    t = x * x
    series = x * t / 6 * (1 - t / 20 * (1 - t / 42 * (1 - t / 72 * (1 - t / 110))))
    return np.where(x < 0.5, series, x - np.sin(x))


_PAIRS = ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))


def _product(of: tuple[Interval, ...], i: int, j: int) -> Interval:
    return of[i].square() if i == j else of[i] * of[j]


def _minus_two_logs(
    h: Interval, first: tuple[Interval, ...], second: tuple[Interval, ...], *, first_is_angle: bool
) -> list[Interval]:
    """First derivative by the angle and second derivatives of -2 log h from those of h."""
    slopes = tuple(f / h for f in first)
    out = [-2 * slopes[0]] if first_is_angle else []
    return out + [-2 * (s / h) + 2 * _product(slopes, i, j) for (i, j), s in zip(_PAIRS, second, strict=True)]


def _flank_radius(sin: Array, e: Array) -> Array:
    return np.maximum((e + 2) / (sin + np.sqrt(e * e + 2 * e + sin * sin)), 1.0)


def _pieces(*pieces: tuple[Interval, np.ndarray]) -> Interval:
    """Hull of the pieces that a cell meets; a NaN stands for no bound at all."""
    lo, hi = np.array(np.inf), np.array(-np.inf)
    for piece, met in pieces:
        lo = np.where(met, np.minimum(lo, np.where(np.isnan(piece.lo), -np.inf, piece.lo)), lo)
        hi = np.where(met, np.maximum(hi, np.where(np.isnan(piece.hi), np.inf, piece.hi)), hi)
    return Interval(lo, hi)


def _widened(entries: Iterable[Interval]) -> Array:
    """Entries on a last axis, low and high beside each other, moved apart by far more than rounding."""
    columns = []
    for entry in entries:
        columns += [entry.lo - 1e-9 * (1 + np.abs(entry.lo)), entry.hi + 1e-9 * (1 + np.abs(entry.hi))]
    stacked: Array = np.stack(np.broadcast_arrays(*columns), axis=-1)
    lows, highs = stacked[..., 0::2], stacked[..., 1::2]
    # Where no number came out there is no bound.
    lows[np.isnan(lows)], highs[np.isnan(highs)] = -np.inf, np.inf
    return np.clip(stacked, -_UNBOUNDED, _UNBOUNDED)


def _cells(limits: tuple[float, float], count: int) -> Array:
    """Ends of equal cells, shape (count, 2)."""
    ends = np.linspace(*limits, count + 1)
    return np.stack([ends[:-1], ends[1:]], axis=-1)


def _heaps(cells: Array, blocks: tuple[int, ...]) -> Array:
    """Cells joined in blocks, then each axis but the last made a heap whose nodes hold the hull of their cells."""
    for axis, block in enumerate(blocks):
        cells = _hull(cells, axis, block)
    for axis in range(len(blocks)):
        levels = [cells]
        while levels[0].shape[axis] > 1:
            levels.insert(0, _hull(levels[0], axis, 2))
        levels.insert(0, np.zeros_like(levels[0]))  # number 0 is not used
        cells = np.concatenate(levels, axis=axis)
    return np.ascontiguousarray(cells)


def _hull(cells: Array, axis: int, block: int) -> Array:
    shape = cells.shape
    split = cells.reshape(*shape[:axis], shape[axis] // block, block, *shape[axis + 1 :])
    out: Array = split.max(axis=axis + 1)
    out[..., 0::2] = split[..., 0::2].min(axis=axis + 1)
    return out
