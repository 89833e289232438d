"""The enclosures of second derivatives against differences of the egg's own closed forms.

Step sizes of the differences are 1e-4, so that they are good to about 1e-6 of the derivatives' size.
"""

import math

import numpy as np
import pytest

from egg_functions import joins, w_line, w_point
from packpale.enclosure.egg import Egg
from packpale.enclosure.proof import _kernels
from packpale.enclosure.proof.curvature import ENTRIES, SHAPES, angle_minus_sine, curvature
from packpale.enclosure.proof.intervals import Interval

RANGES = {
    "usual": ((0.5, 0.9), (1.1, 1.6)),
    "wide": ((0.3, 0.97), (1.03, 2.5)),
    "one shape": ((0.7, 0.7), (1.3, 1.3)),
    "round and blunt": ((0.9, 0.9), (1.1, 1.1)),
}
STEP = 1e-4
PAIRS = ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))


def log_area(p, q):
    return math.log(Egg.from_shape(1 - p, 1 + q / 2, big_radius=1.0).area)


def difference(f, z, i, j):
    """Second derivative of f by z_i and z_j at z."""
    z = np.asarray(z, float)
    a, b = np.zeros(len(z)), np.zeros(len(z))
    a[i], b[j] = STEP, STEP
    if i == j:
        return (f(*(z + a)) - 2 * f(*z) + f(*(z - a))) / STEP**2
    return (f(*(z + a + b)) - f(*(z + a - b)) - f(*(z - a + b)) + f(*(z - a - b))) / (4 * STEP**2)


def test_the_radial_function_of_this_test_is_the_egg():
    for p, q in ((0.1, 0.2), (0.5, 1.2), (0.3, 2.5)):
        egg = Egg.from_shape(1 - p, 1 + q / 2, axis_bearing_deg=90.0, big_radius=1.0)
        phi = np.linspace(-math.pi, math.pi, 181)
        r = np.exp([-w_point(a, p, q) / 2 for a in phi])
        assert np.abs(egg.distance(r * np.cos(phi), r * np.sin(phi))).max() < 1e-12


def cell_with(rng, low, high, deepest):
    """A heap number on any level and the range it stands for."""
    number, level = 1, rng.integers(0, deepest + 1)
    for _ in range(level):
        middle, up = (low + high) / 2, rng.random() < 0.5
        low, high = (middle, high) if up else (low, middle)
        number = 2 * number + up
    return number, low, high


@pytest.mark.parametrize("kind", ["line", "point"])
@pytest.mark.parametrize("name", RANGES)
def test_tables_hold_the_derivatives_over_any_angles_and_shapes(name, kind):
    taper, aspect = RANGES[name]
    p, q = (1 - taper[1], 1 - taper[0]), (2 * (aspect[0] - 1), 2 * (aspect[1] - 1))
    tables = curvature(p, q)
    table, f = (tables.line, w_line) if kind == "line" else (tables.point, w_point)
    rng = np.random.default_rng(3)
    out = np.empty(14)
    seen, tightest = 0, np.full(len(ENTRIES), np.inf)
    for _ in range(400):
        (ip, p0, p1), (iq, q0, q1) = (cell_with(rng, *r, int(math.log2(SHAPES))) for r in (p, q))
        half = 10 ** rng.uniform(-4, 0.3)
        middle = rng.uniform(-2 * math.pi, 2 * math.pi)
        _kernels._look_up(table, middle - half, middle + half, ip, iq, out)
        assert (out[1::2] >= out[0::2]).all()
        for _ in range(3):
            z = np.array([middle + half * rng.uniform(-1, 1), rng.uniform(p0, p1), rng.uniform(q0, q1)])
            phi = abs(math.remainder(z[0], 2 * math.pi))
            join = joins(*z[1:])[0 if kind == "line" else 1]
            # Differences across a join of arcs mean nothing.
            if min(abs(phi - join), abs(phi - math.pi / 2)) < 5 * STEP:
                continue
            first = (f(z[0] + STEP, *z[1:]) - f(z[0] - STEP, *z[1:])) / (2 * STEP)
            values = np.array([first] + [difference(f, z, i, j) for i, j in PAIRS])
            size = 1e-5 * (1 + np.abs(out).max()) if np.abs(out).max() < 1e6 else 1.0
            assert (values >= out[0::2] - size).all(), (z, values, out)
            assert (values <= out[1::2] + size).all(), (z, values, out)
            seen += 1
            tightest = np.minimum(tightest, np.where(np.abs(values) > 1e-3, (out[1::2] - out[0::2]), np.inf))
    assert seen > 500
    # They are no mere promise: small cells have narrow intervals.
    assert (tightest < 0.5).all(), tightest


@pytest.mark.parametrize("name", RANGES)
def test_tables_of_area_hold_its_derivatives(name):
    taper, aspect = RANGES[name]
    p, q = (1 - taper[1], 1 - taper[0]), (2 * (aspect[0] - 1), 2 * (aspect[1] - 1))
    table = curvature(p, q).area
    rng = np.random.default_rng(4)
    for _ in range(200):
        (ip, p0, p1), (iq, q0, q1) = (cell_with(rng, *r, int(math.log2(SHAPES))) for r in (p, q))
        z = rng.uniform(p0, p1), rng.uniform(q0, q1)
        row = table[ip, iq]
        for c, (i, j) in enumerate(((0, 0), (0, 1), (1, 1))):
            value = difference(log_area, z, i, j)
            assert row[2 * c] - 1e-5 * (1 + abs(value)) <= value <= row[2 * c + 1] + 1e-5 * (1 + abs(value))


def test_terms_of_the_kernels_are_those_of_the_egg():
    rng = np.random.default_rng(8)
    shape = np.zeros(11)
    for _ in range(300):
        p, q, phi = rng.uniform(0.03, 0.7), rng.uniform(0.06, 3.0), rng.uniform(-math.pi, math.pi)
        _kernels.set_shape(p, q, shape)
        assert shape[6] == pytest.approx(log_area(p, q), abs=1e-12)
        by_p = (log_area(p + STEP, q) - log_area(p - STEP, q)) / (2 * STEP)
        by_q = (log_area(p, q + STEP) - log_area(p, q - STEP)) / (2 * STEP)
        assert [shape[7], shape[8]] == pytest.approx([by_p, by_q], abs=1e-4)
        h, *by = _kernels._line_terms(math.cos(phi), math.sin(phi), shape)
        assert -2 * math.log(h) == pytest.approx(w_line(phi, p, q), abs=1e-12)
        if min(abs(abs(phi) - x) for x in (0, math.pi, math.pi / 2, *joins(p, q))) < 5 * STEP:
            continue
        expected = [-h / 2 * gradient(w_line, (phi, p, q), i) for i in range(3)]
        assert by == pytest.approx(expected, abs=1e-4 * (1 + max(map(abs, expected))))
        scale = rng.uniform(0.1, 9)
        y, *by = _kernels._point_terms(scale * math.cos(phi), scale * math.sin(phi), shape)
        assert -2 * y == pytest.approx(w_point(phi, p, q), abs=1e-12)
        expected = [-gradient(w_point, (phi, p, q), i) / 2 for i in range(3)]
        assert by == pytest.approx(expected, abs=1e-4 * (1 + max(map(abs, expected))))


def gradient(f, z, i):
    step = np.zeros(3)
    step[i] = STEP
    return (f(*(np.array(z) + step)) - f(*(np.array(z) - step))) / (2 * STEP)


def test_point_scale_is_where_the_egg_comes_within_the_clearance():
    rng = np.random.default_rng(9)
    shape = np.zeros(11)
    tried = 0
    for _ in range(300):
        p, q, s = rng.uniform(0.03, 0.7), rng.uniform(0.06, 3.0), rng.choice([0.0, rng.uniform(0, 4)])
        u, v = rng.uniform(-20, 20, 2)
        _kernels.set_shape(p, q, shape)
        R, yu, yv = _kernels._point_scale(u, v, s, shape)
        if math.hypot(u, v) <= s:
            assert R == 0
            continue
        egg = Egg.from_shape(1 - p, 1 + q / 2, axis_bearing_deg=90.0, big_radius=R)
        assert egg.distance(u, v) == pytest.approx(s, abs=1e-9)
        assert egg.distance(yu, yv) == pytest.approx(0, abs=1e-9)
        assert math.hypot(u - yu, v - yv) <= s + 1e-9
        tried += 1
    assert tried > 250


def test_intervals_hold_what_their_operands_allow():
    rng = np.random.default_rng(1)
    ends = np.sort(rng.uniform(-3, 3, (2, 500, 2)), axis=-1)
    a, b = (Interval(e[:, 0], e[:, 1]) for e in ends)
    for f in (lambda x, y: x + y, lambda x, y: x - y, lambda x, y: x * y, lambda x, y: x / y, lambda x, y: 2.0 - x * y):
        with np.errstate(divide="ignore", invalid="ignore"):
            got = f(a, b)
            for _ in range(20):
                x, y = (e[:, 0] + rng.uniform(0, 1, 500) * (e[:, 1] - e[:, 0]) for e in ends)
                value = f(x, y)
                known = np.isfinite(got.lo) & np.isfinite(got.hi)
                assert known.any()
                assert (value >= got.lo - 1e-12)[known].all()
                assert (value <= got.hi + 1e-12)[known].all()
    squares = a.square()
    x = ends[0][:, 0] + rng.uniform(0, 1, 500) * (ends[0][:, 1] - ends[0][:, 0])
    assert ((squares.lo <= x * x + 1e-12) & (x * x <= squares.hi + 1e-12)).all()
    assert (squares.lo >= 0).all()


def test_angle_minus_sine_keeps_its_digits():
    # x - sin x = x^3 / 6 - x^5 / 120 + ...; at 1e-3 the two terms give 16 digits.
    x = 1e-3
    assert angle_minus_sine(np.array(x)) == pytest.approx(x**3 / 6 - x**5 / 120 + x**7 / 5040, rel=1e-15)
    assert angle_minus_sine(np.array([0.49999999, 0.5])) == pytest.approx([x - math.sin(x) for x in (0.49999999, 0.5)])
