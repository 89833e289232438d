"""The proven bound: its steps on random boxes against sampling by other code, and the whole against closed forms.

What an egg of a given position can have at most is found here by growing it in steps against the land as shapely sees
it (``grown``); none of the proof's formulas takes part. The egg's outline is inscribed, so that this is too large by up
to one part in 10^5.
"""

import math
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import MultiPolygon, Point, Polygon, box

from egg_functions import joins, w_line, w_point
from packpale.enclosure.boundary import boundary, valid_parts
from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import Effort, Shapes, fit_largest, search
from packpale.enclosure.proof import _kernels, area_bound
from packpale.enclosure.proof import search as steps
from packpale.enclosure.proof.curvature import SHAPES, curvature
from packpale.enclosure.proof.outline import outline
from polygons import blob, from_raster, lands, ring, spiral, with_ponds

FAR = (500_000.0, 5_400_000.0)
LANDS = lands()
TOLERANCE = 3e-5
"""On log area, for the inscribed outline of ``grown``."""
WIDE = {"taper": (0.3, 0.97), "aspect": (1.03, 2.5)}
ONE = {"taper": (0.7, 0.7), "aspect": (1.3, 1.3)}
BLUNT = {"taper": (0.9, 0.9), "aspect": (1.1, 1.6)}


def usual(**changes):
    return {"taper": (0.5, 0.9), "aspect": (1.1, 1.6), "clearance": 0.0, "min_radius": 0.0} | changes


def grown(land, z, clearance):
    """Log area of the largest egg at z = (x, y, theta, p, q) that lies in the land with its strip; -inf if none."""
    x, y, theta, p, q = z
    unit = Egg.from_shape(1 - p, 1 + q / 2, axis_bearing_deg=90 - math.degrees(theta), big_radius=1.0)
    around = unit.points_at(np.linspace(0, unit.perimeter, 1000, endpoint=False))
    shape, strip = np.column_stack([around.x, around.y]), clearance * around.outward
    if not shapely.dwithin(land, Point(x, y), 0) or land.boundary.distance(Point(x, y)) <= clearance:
        return -math.inf
    low, high = 0.0, land.boundary.distance(Point(x, y)) - clearance  # the egg holds the disc of its big radius
    for _ in range(22):
        middle = (low + high) / 2
        if land.contains(Polygon(middle * shape + strip + (x, y))):
            low = middle
        else:
            high = middle
    return 2 * math.log(low) + math.log(unit.area) if low > 0 else -math.inf


@pytest.fixture(scope="module")
def case():
    """Land, an outline of it, tables, the size they were made for, and random boxes."""

    def build(land, shape_ranges, rng):
        (t0, t1), (a0, a1) = shape_ranges["taper"], shape_ranges["aspect"]
        p, q = (1 - t1, 1 - t0), (2 * (a0 - 1), 2 * (a1 - 1))
        x0, y0, x1, y1 = land.bounds
        small = rng.uniform(0.1, 0.5) * math.sqrt(land.area) / 2
        origin = np.round([(x0 + x1) / 2, (y0 + y1) / 2])
        return outline(land, small=small), curvature(p, q), small, origin, p, q

    return build


def random_box(rng, land, *, small, clearance, p, q, origin):
    """A row of the search: any place, direction, size of box and level of shapes."""
    row = np.zeros(14)
    for c, (low, high) in ((3, p), (4, q)):
        number, a, b = 1, low, high
        for _ in range(rng.integers(0, 7)):
            middle, up = (a + b) / 2, rng.random() < 0.5
            a, b = (middle, b) if up else (a, middle)
            number = 2 * number + up if number < SHAPES else number
        row[c], row[c + 5], row[c + 7] = (a + b) / 2, (b - a) / 2, number
    x0, y0, x1, y1 = land.bounds
    for _ in range(60):
        at = Point(rng.uniform(x0, x1), rng.uniform(y0, y1))
        if land.contains(at) and (rng.random() < 0.1 or land.boundary.distance(at) > clearance + 0.3 * small):
            break
    row[:2], row[2] = np.array([at.x, at.y]) - origin, rng.uniform(-math.pi, math.pi)
    row[5:8] = np.array([0.5 * small, 0.5 * small, 1.0]) * 10 ** rng.uniform(-3, 0) * 10 ** rng.uniform(-0.7, 0, 3)
    row[12] = np.inf
    return row


def points_in(rng, row, origin, count):
    for _ in range(count):
        r = rng.uniform(-1, 1, 5)
        if rng.random() < 0.5:
            r = np.sign(r)
        yield row[:5] + row[5:10] * r + np.concatenate([origin, np.zeros(3)])


BOXED = {
    **{name: LANDS[name] for name in ("triangle", "L", "cross", "star", "comb", "rectangle with hole", "steps 60")},
    "ring": ring(quad_segs=24),
    "spiral": spiral(points=60),
    "smooth": Point(0, 0).buffer(60, quad_segs=40).union(Point(70, 20).buffer(45, quad_segs=40)),
    "ponds": with_ponds(blob(21, 90), 4, 8),
    "rough": blob(12, 160, roughness=0.04),
    "parts": MultiPolygon([box(0, 0, 100, 80), affinity.rotate(box(120, 0, 180, 90), 20)]),
}


@pytest.mark.parametrize("name", BOXED)
def test_every_constraint_and_their_sum_bound_what_fits_in_a_box(name, case):
    land = BOXED[name]
    shapely.prepare(land)
    rng = np.random.default_rng(len(name))
    used = {"line": 0, "point": 0}
    least = math.inf
    for turn in range(12):
        shapes = usual(**(WIDE, ONE, BLUNT, {}, {}, {})[turn % 6])
        clearance = (0.0, 3.0, 0.7)[turn % 3]
        edges_of, tables, small, origin, p, q = case(land, shapes, rng)
        work = steps._work()
        for _ in range(5):
            row = random_box(rng, land, small=small, clearance=clearance, p=p, q=q, origin=origin)
            arguments = (edges_of.edges, edges_of.nodes, tables.line, tables.point, tables.area, small)
            bound, _ = _kernels.bound_box(row, clearance, *arguments, -math.inf, -math.inf, work)
            each = alone(row, clearance, edges_of, tables, small=small, work=work, used=used)
            for z in points_in(rng, row, origin, 6):
                area = grown(land, z, clearance)
                assert area <= bound + TOLERANCE, (row, z)
                if len(each):
                    assert area <= each.min() + TOLERANCE, (row, z, each - area)
                least = min(least, bound - area)
    # The convex ones and the nearly convex ones have hardly a corner to meet.
    assert used["line"] > 20
    assert used["point"] > (0 if name in {"smooth", "parts"} else -1 if name == "triangle" else 20), used
    # The bound is not far off everywhere: on some small box it is close to what fits.
    assert least < 0.15


def alone(row, clearance, land, tables, *, small, work, used):
    """What each constraint of a box proves by itself, on log area."""
    shape, kept, count, stack, value, _, gradient, lo, hi, entries = work[:10]
    _kernels.set_shape(row[3], row[4], shape)
    _kernels._gather(row, clearance, _kernels._margin(row, small), shape, land.edges, land.nodes, kept, count, stack)
    m, _ = _kernels._prepare(
        row, clearance, land.edges, kept, count, shape, tables.line, tables.point, value, gradient, lo, hi, entries
    )
    second = tables.area[int(row[10]), int(row[11])]
    for c, (i, j) in enumerate(((3, 3), (3, 4), (4, 4))):
        scale = row[5 + i] * row[5 + j]
        assert UPPER[0][12 + c] == i
        assert UPPER[1][12 + c] == j
        lo[:m, 12 + c] += second[2 * c] * scale
        hi[:m, 12 + c] += second[2 * c + 1] * scale
    gradient[:m, 3] += shape[7] * row[8]
    gradient[:m, 4] += shape[8] * row[9]
    out = np.empty(m)
    for e in range(m):
        used["line" if is_line(row, square(lo[e]), square(hi[e])) else "point"] += 1
        weight = np.zeros(len(value))
        weight[e] = 1.0
        out[e] = shape[6] + _kernels._combined(value, gradient, lo, hi, m, weight, *spaces())
    return out


UPPER = np.triu_indices(5)
"""Rows and columns of a Hessian's entries as the kernels hold them."""


def square(entries):
    """A Hessian (5, 5), its lower triangle 0."""
    out = np.zeros((5, 5))
    out[UPPER] = entries
    return out


def flat(hessians):
    """Entries (..., 15) of Hessians (..., 5, 5)."""
    return np.ascontiguousarray(hessians[..., UPPER[0], UPPER[1]])


def spaces():
    """Work space of the weighted sum."""
    return tuple(np.zeros(n) for n in (5, 5, 15, 15, 5))


def is_line(row, lowest, highest):
    """Whether a constraint is a line, by its second derivatives.

    Position and direction enter 2 log T - 2 log h apart, and 2 log T is concave; where direction does not enter at all,
    on the big end, the second derivatives of 2 log |w| by position cancel.
    """
    return lowest[0, 2] == highest[0, 2] == 0 and highest[0, 0] / row[5] ** 2 + highest[1, 1] / row[6] ** 2 < 0


def second_derivatives(f, z, step):
    """Central differences of f by all pairs of unknowns, each with its step."""
    out, steps_of = np.zeros((5, 5)), np.diag(step)
    for i in range(5):
        for j in range(i, 5):
            a, b = steps_of[i], steps_of[j]
            if i == j:
                out[i, i] = (f(z + a) - 2 * f(z) + f(z - a)) / step[i] ** 2
            else:
                out[i, j] = (f(z + a + b) - f(z + a - b) - f(z - a + b) + f(z - a - b)) / (4 * step[i] * step[j])
    return out


@pytest.mark.parametrize("clearance", [0.0, 2.0])
@pytest.mark.parametrize("name", ["star", "ring", "ponds"])
def test_value_gradient_and_second_derivatives_of_each_constraint(name, clearance, case):
    # f of a line is 2 log T - 2 log h, of an obstacle Y 2 log |Y - O| - 2 log r, both without the area, with h and r
    # from the egg itself; their differences lie in the enclosures, in units of the half widths.
    rng, seen = np.random.default_rng(7), {"line": 0, "point": 0}
    for _ in range(12):
        land, tables, small, origin, p, q = case(BOXED[name], usual(**WIDE), rng)
        row = random_box(rng, BOXED[name], small=small, clearance=clearance, p=p, q=q, origin=origin)
        row[5:8] *= 0.3
        work, edges = steps._work(), land.edges
        shape, kept, count, stack, value, _, gradient, lo, hi, entries = work[:10]
        _kernels.set_shape(row[3], row[4], shape)
        _kernels._gather(row, clearance, _kernels._margin(row, small), shape, edges, land.nodes, kept, count, stack)
        rows = [kept[s * _kernels.PER_SECTOR + i].copy() for s in range(_kernels.SECTORS) for i in range(count[s])]
        tabled = (tables.line, tables.point)
        for one in rows:
            count[:], kept[0] = 0, one
            count[0] = 1
            m, _ = _kernels._prepare(
                row, clearance, edges, kept, count, shape, *tabled, value, gradient, lo, hi, entries
            )
            if m == 0:
                continue
            edge, line = edges[int(one[2])], is_line(row, square(lo[0]), square(hi[0]))
            normal = np.array([edge[3], -edge[2]])

            def f(z, line=line, edge=edge, normal=normal, Y=one[3:5]):
                if line:
                    T = normal @ (edge[:2] - z[:2]) + edge[8] - clearance
                    return 2 * math.log(T) + w_line(math.atan2(normal[1], normal[0]) - z[2], z[3], z[4])
                to = Y - z[:2]
                return 2 * math.log(math.hypot(*to)) + w_point(math.atan2(to[1], to[0]) - z[2], z[3], z[4])

            assert f(row[:5]) == pytest.approx(value[0], abs=1e-9)
            step = np.array([1e-4 * small] * 2 + [1e-4] * 3)
            slopes = [(f(row[:5] + d) - f(row[:5] - d)) / (2 * d.max()) for d in np.diag(step)]
            assert slopes * row[5:10] == pytest.approx(gradient[0], rel=1e-3, abs=1e-4)
            z = row[:5] + row[5:10] * rng.uniform(-1, 1, 5)
            if near_a_join(z, edge, normal, one[3:5], line=line):
                continue
            scale = np.outer(row[5:10], row[5:10])
            found = second_derivatives(f, z, step) * scale
            slack = np.triu(scale * 1e-5 / np.outer(step / 1e-4, step / 1e-4)) + 1e-6 * np.abs(found)
            assert (found >= square(lo[0]) - slack).all(), (one, line)
            assert (found <= square(hi[0]) + slack).all(), (one, line)
            seen["line" if line else "point"] += 1
    assert seen["line"] > 5
    assert seen["point"] > 25


def near_a_join(z, edge, normal, Y, *, line):
    """Whether differences would reach across a join of arcs, where second derivatives jump."""
    to = normal if line else Y - z[:2]
    angle = abs(math.remainder(math.atan2(to[1], to[0]) - z[2], 2 * math.pi))
    join = joins(z[3], z[4])[0 if line else 1]
    return min(abs(angle - join), abs(angle - math.pi / 2)) < 2e-3


@pytest.mark.parametrize("name", ["L", "comb", "ring", "ponds", "smooth"])
def test_what_is_cut_off_a_box_holds_nothing_of_the_size_wanted(name, case):
    land, rng = BOXED[name], np.random.default_rng(11)
    shapely.prepare(land)
    kept = cut = 0
    for turn in range(24):
        shapes = usual(**(WIDE, {}, BLUNT)[turn % 3])
        clearance = (0.0, 2.0)[turn % 2]
        edges_of, tables, small, origin, p, q = case(land, shapes, rng)
        row = random_box(rng, land, small=small, clearance=clearance, p=p, q=q, origin=origin)
        row[5:8] *= 0.4
        points = list(points_in(rng, row, origin, 12))
        areas = np.array([grown(land, z, clearance) for z in points])
        shape = np.zeros(11)
        ends = np.empty(len(points))
        for i, z in enumerate(points):
            _kernels.set_shape(z[3], z[4], shape)
            ends[i] = math.log(1 - z[3]) + (areas[i] - shape[6]) / 2
        if np.isfinite(areas).sum() < 6:
            continue
        # Most of the points are smaller than what is wanted; in every fourth box by the small end's radius.
        floor = float(np.quantile(areas, 0.7, method="lower")) if turn % 4 else -50.0
        least = -50.0 if turn % 4 else float(np.quantile(ends, 0.7, method="lower"))
        arrays = (edges_of.edges, edges_of.nodes, tables.line, tables.point, tables.area)
        whole = row.copy()
        bound, _ = _kernels.bound_box(row, clearance, *arrays, small, floor, least, steps._work())
        for z, area, end in zip(points, areas, ends, strict=True):
            if area > floor + TOLERANCE and end > least + TOLERANCE:
                kept += 1
                assert area <= bound + TOLERANCE
                z[:2] -= origin
                assert (np.abs(z - row[:5]) <= row[5:10] * (1 + 1e-6) + 1e-12).all(), (turn, z, row)
        if bound == -math.inf:
            continue
        assert (np.abs(row[:5] - whole[:5]) + row[5:10] <= whole[5:10] * (1 + 1e-6)).all()
        cut += np.prod(row[5:10]) < 0.9 * np.prod(whole[5:10])
        for c, (low, high) in ((3, p), (4, q)):
            # The cell of the tables that the box names holds the box.
            level = int(math.log2(row[c + 7]))
            width = (high - low) / 2**level
            start = low + (row[c + 7] - 2**level) * width
            assert start - 1e-9 <= row[c] - row[c + 5] <= row[c] + row[c + 5] <= start + width + 1e-9
    assert kept > 15
    assert cut > 1
    # Nothing is left of a box that asks for more than it holds.
    bound, _ = _kernels.bound_box(whole, clearance, *arrays, small, areas.max() + 20, -50.0, steps._work())
    assert bound == -math.inf


def test_weighted_sum_limits_where_the_box_matters():
    # Points at which the sum is above the floor stay; on a sum of one unknown the limits are the roots themselves.
    rng = np.random.default_rng(8)
    tightest = np.full(4, np.inf)
    for turn in range(300):
        value, gradient, hessian = rng.normal(size=2), rng.normal(size=(2, 5)), np.triu(rng.normal(size=(2, 5, 5)))
        if turn % 2:
            gradient[:, 1:], hessian[:, :, 1:] = 0, 0
        weight, floor = rng.dirichlet(np.ones(2)), float(rng.normal())
        low, high = np.full(5, -1.0), np.full(5, 1.0)
        arrays = (value, gradient, flat(hessian), flat(hessian), 2, weight)
        left = _kernels._narrow(floor, *arrays, *spaces(), low, high)
        v, g, H = weight @ value, weight @ gradient, np.tensordot(weight, hessian, 1)
        z = rng.uniform(-1, 1, (4000, 5))
        full = H + H.T - np.diag(np.diag(H))
        above = z[v + z @ g + np.einsum("ni,ij,nj->n", z, full, z) / 2 > floor]
        assert left or not len(above)
        if len(above):
            assert (above.min(axis=0) >= low).all()
            assert (above.max(axis=0) <= high).all()
            if turn % 2:
                sides = (above[:, 0].min() - low[0], high[0] - above[:, 0].max())
                for side, room in enumerate(sides):
                    if (low[0], -high[0])[side] > -1:
                        which = 2 * side + (H[0, 0] > 0)
                        tightest[which] = min(tightest[which], room)
    assert (tightest < 0.01).all()


def test_limits_are_those_of_the_linear_programme():
    from scipy.optimize import linprog

    rng, below = np.random.default_rng(6), 0
    for turn in range(60):
        m, unknown, sign = int(rng.integers(1, 30)), turn % 5, (-1.0, 1.0)[turn % 2]
        z = rng.uniform(-1, 1, 5)
        gradient = rng.normal(size=(72, 5))
        cost = rng.uniform(0, 0.5, 72) - gradient @ z  # z is within all limits
        work = (np.zeros(6, np.int64), np.zeros((6, 6)), np.zeros(6), np.zeros(6), np.zeros(72), np.zeros(6))
        limit = _kernels._limit_weights(cost, gradient, m, unknown, sign, *work)
        goal = np.zeros(5)
        goal[unknown] = -sign
        expected = -linprog(goal, A_ub=-gradient[:m], b_ub=cost[:m], bounds=(-1, 1)).fun
        assert limit == pytest.approx(expected, abs=1e-7)
        weight = work[4]
        assert weight.min() >= 0
        if limit < 1 - 1e-9:
            below += 1
            assert weight.sum() == pytest.approx(1)
    assert below > 20


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("moved", ["position", "direction"])
def test_a_line_counts_only_as_far_as_its_outline_reaches(moved, mirrored):
    # The floor of a room ends at a corner, beyond which the land goes on far below: where the egg would touch the line
    # of the floor beyond that corner the line limits nothing.
    land = shapely.union_all([box(-60, 0, 0, 60), box(0, -100, 100, 60)])
    side = -1.0 if mirrored else 1.0
    if mirrored:
        land = affinity.scale(land, -1, 1, origin=(0, 0))
    p, q = 0.3, 0.6
    prepared, tables = outline(land, small=8.0), curvature((p, p), (q, q))
    x0, y0, x1, y1 = land.bounds
    origin = np.round([(x0 + x1) / 2, (y0 + y1) / 2])
    row = np.zeros(14)
    if moved == "position":
        row[:8] = [-5 * side, 20, math.pi / 2, p, q, 20, 0.1, 0.01]
    else:
        row[:8] = [-3 * side, 20, -math.pi / 2, p, q, 0.1, 0.1, 0.6]
    beyond = 0
    for turn in np.linspace(-1, 1, 41):
        z = row[:5].copy()
        z[0 if moved == "position" else 2] += turn * row[5 if moved == "position" else 7]
        area = grown(land, z, 0.0)
        local = row.copy()
        local[:2] -= origin
        local[10:12] = 1
        each = alone(local, 0.0, prepared, tables, small=8.0, work=steps._work(), used={"line": 0, "point": 0})
        assert len(each)
        assert area <= each.min() + TOLERANCE, turn
        shape = np.zeros(11)
        _kernels.set_shape(p, q, shape)
        h = _kernels._line_terms(math.cos(-math.pi / 2 - z[2]), math.sin(-math.pi / 2 - z[2]), shape)[0]
        beyond += area > 2 * math.log(20 / h) + shape[6] + 0.01
    assert beyond > 3


def test_weighted_sum_is_the_largest_of_a_quadratic_form_and_more():
    rng = np.random.default_rng(2)
    for _ in range(60):
        m = int(rng.integers(1, 4))
        value, gradient = rng.normal(size=m), rng.normal(size=(m, 5))
        middle = np.triu(rng.normal(size=(m, 5, 5)))
        width = np.triu(rng.uniform(0, 0.3, (m, 5, 5)))
        weight = rng.dirichlet(np.ones(m))
        ends = flat(middle - width), flat(middle + width)
        bound = _kernels._combined(value, gradient, *ends, m, weight, *spaces())
        for _ in range(200):
            z = np.sign(rng.normal(size=5)) * rng.choice([1.0, rng.uniform(0, 1)], size=5)
            H = np.tensordot(weight, middle + width * rng.uniform(-1, 1, (m, 5, 5)), 1)
            full = H + H.T - np.diag(np.diag(H))
            assert weight @ (value + gradient @ z) + z @ full @ z / 2 <= bound + 1e-12


def test_weighted_sum_is_exact_where_its_largest_is_in_a_corner():
    # With no entry of the gradient and of the Hessian below 0 the largest is at z = (1, ..., 1); signs that a mirroring
    # of unknowns gives change nothing.
    rng = np.random.default_rng(4)
    for _ in range(40):
        value, gradient = rng.normal(size=1), rng.uniform(0, 1, (1, 5))
        hessian = np.triu(rng.uniform(0, 1, (1, 5, 5)))
        expected = value[0] + gradient.sum() + (hessian.sum() + np.triu(hessian[0], 1).sum()) / 2
        flip = np.sign(rng.normal(size=5))
        flipped = flat(hessian * np.outer(flip, flip))
        bound = _kernels._combined(value, gradient * flip, flipped, flipped, 1, np.ones(1), *spaces())
        assert bound == pytest.approx(expected, rel=1e-12)


def test_second_derivatives_of_an_obstacle_seen_from_all_of_a_wide_box():
    # One shape, hardly any turn, and an obstacle so near that its direction differs by up to 40 degrees in the box.
    shape, entries, lo, hi, g = np.zeros(11), np.zeros(14), np.zeros(15), np.zeros(15), np.zeros(5)
    p, q = 0.25, 0.7
    tables = curvature((p, p), (q, q))
    _kernels.set_shape(p, q, shape)
    rng, step = np.random.default_rng(1), np.full(5, 1e-4)
    checked = 0
    for alpha in np.linspace(-3.0, 3.0, 61):
        row = np.zeros(14)
        row[3:5], row[5:8], row[10:12] = (p, q), (0.45, 0.45, 1e-6), 1
        Y = np.array([math.cos(alpha), math.sin(alpha)])
        kept = np.array([0.0, 1.0, 0.0, *Y])
        _kernels._point_rows(row, kept, shape, tables.point, 1.0, 0.0, g, lo, hi, entries)

        def f(z, Y=Y):
            to = Y - z[:2]
            return 2 * math.log(math.hypot(*to)) + w_point(math.atan2(to[1], to[0]) - z[2], z[3], z[4])

        for _ in range(6):
            z = np.concatenate([0.449 * np.sign(rng.normal(size=2)), [0.0, p, q]])
            if near_a_join(z, None, None, Y, line=False):
                continue
            found = second_derivatives(f, z, step)
            slack = 1e-3 * (1 + np.abs(found))
            assert (found >= square(lo) - slack).all(), alpha
            assert (found <= square(hi) + slack).all(), alpha
            checked += 1
    assert checked > 300


def test_weights_are_those_of_the_linear_programme():
    # Independent: the same programme by scipy.
    from scipy.optimize import linprog

    rng = np.random.default_rng(5)
    for _ in range(40):
        m = int(rng.integers(1, 30))
        cost, gradient = rng.normal(size=72), rng.normal(size=(72, 5))
        work = (np.zeros(6, np.int64), np.zeros((6, 6)), np.zeros(6), np.zeros(6), np.zeros(72), np.zeros(6))
        _kernels._choose_weights(cost, gradient, m, *work, True)
        weight = work[4]
        assert weight.min() >= 0
        assert weight[:m].sum() == pytest.approx(1)
        got = cost[:m] @ weight[:m] + np.abs(gradient[:m].T @ weight[:m]).sum()
        # Unknowns: weights, and the positive and negative part of each sum.
        best = linprog(
            np.concatenate([cost[:m], np.ones(10)]),
            A_eq=np.block([[gradient[:m].T, -np.eye(5), np.eye(5)], [np.ones((1, m)), np.zeros((1, 10))]]),
            b_eq=[0, 0, 0, 0, 0, 1],
        )
        assert got == pytest.approx(best.fun, abs=1e-7)


@pytest.mark.parametrize("clearance", [0.0, 2.5])
@pytest.mark.parametrize("name", ["comb", "ponds", "parts", "spiral"])
def test_first_boxes_hold_every_egg_of_the_size_wanted(name, clearance):
    land, rng = BOXED[name], np.random.default_rng(3)
    small, p, q = 6.0, (0.1, 0.5), (0.2, 1.2)
    prepared = outline(land, small=small)
    squares, half = steps._squares(land, prepared, small, clearance)
    boxes, count = steps._first_boxes(squares, half, p, q, 10)
    x0, y0, x1, y1 = land.bounds
    origin = np.round([(x0 + x1) / 2, (y0 + y1) / 2])
    deep = 0
    for _ in range(3000):
        at = Point(rng.uniform(x0, x1), rng.uniform(y0, y1))
        if not land.contains(at) or land.boundary.distance(at) < small + clearance:
            continue
        deep += 1
        z = np.array(
            [at.x - origin[0], at.y - origin[1], rng.uniform(-math.pi, math.pi), rng.uniform(*p), rng.uniform(*q)]
        )
        assert (np.abs(z - boxes[:count, :5]) <= boxes[:count, 5:10] + 1e-9).all(axis=1).any()
    assert deep > 50
    # Narrow places are left out, which is what the cover is for.
    assert len(squares) * (2 * half) ** 2 < land.envelope.area
    assert (boxes[:count, 10:12] == 1).all()


def test_two_halves_are_the_whole():
    # One step of the search from one box: the two rows left are its halves and know their cells of the tables.
    land = LANDS["L"]
    prepared = outline(land, small=10.0)
    tables = curvature((0.1, 0.5), (0.2, 1.2))
    for split in range(5):
        boxes = np.zeros((4, 14))
        boxes[0, :10] = [-25, -25, 0.3, 0.3, 0.7, 4, 3, 0.2, 0.2, 0.5]
        boxes[0, 10:14] = 1, 1, 99.0, split
        whole = boxes[0].copy()
        heap, state = np.zeros(4, np.int64), np.array([1, 1, 0, 0, 0])
        arrays = (prepared.edges, prepared.nodes, tables.line, tables.point, tables.area)
        # A floor so low that nothing is cut off.
        _kernels.search(boxes, heap, state, -50.0, -50.0, 2, 10**6, 0.0, -math.inf, *arrays, 10.0, steps._work())
        assert state[1] == state[0] == 2
        a, b = boxes[0], boxes[1]
        assert a[split] - a[5 + split] == pytest.approx(whole[split] - whole[5 + split])
        assert a[split] + a[5 + split] == pytest.approx(b[split] - b[5 + split])
        assert b[split] + b[5 + split] == pytest.approx(whole[split] + whole[5 + split])
        others = [j for j in range(10) if j % 5 != split]
        assert (a[others] == whole[others]).all()
        assert (b[others] == whole[others]).all()
        for row, half in ((a, 0), (b, 1)):
            assert row[10] == (2 + half if split == 3 else 1)
            assert row[11] == (2 + half if split == 4 else 1)
        assert (boxes[:2, 12] <= 99.0).all()


def bound_of(land, best, **changes):
    arguments = usual(**changes)
    return area_bound(land, best_area=best, **arguments)


SMALL = [name for name in LANDS if shapely.get_num_coordinates(LANDS[name]) < 800 and name not in {"ring", "strip"}]


@pytest.mark.parametrize("name", SMALL)
def test_bound_closes_on_the_best_area_known(name):
    fit = fit_largest(LANDS[name], **usual())
    proof = bound_of(LANDS[name], fit.egg.area, max_boxes=60_000)
    assert fit.egg.area <= proof.area_bound_m2 <= 1.01 * fit.egg.area
    assert proof.closed
    assert proof.boxes > 0


@pytest.mark.parametrize("name", ["U", "star", "blob 40", "steps 60", "ponds", "comb", "two parts"])
@pytest.mark.parametrize("clearance", [0.0, 3.0])
def test_bound_holds_however_little_is_known_and_done(name, clearance):
    land = LANDS[name]
    parts = valid_parts(land)
    prepared = boundary(parts)
    from packpale.enclosure.depth import deepest_point
    from packpale.enclosure.fit import seeds

    deep = deepest_point(prepared, seeds(prepared, parts))
    longer = search(
        prepared,
        Shapes(clearance, (0.5, 0.9), (1.1, 1.6), 0.0),
        deep[:3],
        Effort(spacing=0.2, centres=6000, starts=200, finals=30),
    )
    for known, boxes in ((0.0, 0), (0.5, 300), (0.8, 1000), (0.95, 4000)):
        proof = bound_of(land, known * longer.area, clearance=clearance, max_boxes=boxes)
        assert proof.area_bound_m2 >= longer.area, (known, boxes)


def random_land(seed):
    rng = np.random.default_rng(seed)
    kind = seed % 4
    if kind == 0:
        land = blob(seed, int(rng.integers(5, 120)), roughness=rng.uniform(0, 0.05))
    elif kind == 1:
        land = from_raster(seed, int(rng.integers(12, 40)), low=0.8, high=3.0, size=200.0)
    elif kind == 2:
        land = with_ponds(blob(seed, 40), seed, int(rng.integers(1, 12)))
    else:
        land = MultiPolygon(
            [affinity.translate(affinity.rotate(blob(seed + i, 12), 40 * i), 400 * i, 30 * i) for i in range(3)]
        )
    return affinity.rotate(land, rng.uniform(0, 360))


@settings(max_examples=25, deadline=None, derandomize=True)
@given(
    seed=st.integers(0, 10_000),
    clearance=st.sampled_from([0.0, 0.8, 4.0]),
    shape=st.sampled_from([{}, WIDE, ONE, BLUNT, {"taper": (0.6, 0.8), "aspect": (1.3, 1.3)}]),
    min_radius=st.sampled_from([0.0, 0.0, 6.0, 20.0]),
    known=st.sampled_from([0.7, 0.9, 1.0]),
)
def test_bound_is_never_less_than_what_fits_on_random_land(seed, clearance, shape, min_radius, known):
    land = affinity.translate(random_land(seed), *FAR)
    arguments = usual(clearance=clearance, min_radius=min_radius, **shape)
    fit = fit_largest(land, **arguments)
    best = fit.egg.area if fit else 0.0
    proof = area_bound(land, best_area=known * best, max_boxes=3000, **arguments)
    assert proof.area_bound_m2 >= best
    if fit:
        assert proof.area_bound_m2 <= 2.5 * best


@pytest.mark.parametrize("bearing", [0, 33, 201])
@pytest.mark.parametrize(("taper", "aspect"), [(0.6, 1.3), (0.85, 1.55)])
def test_box_round_an_egg_of_one_shape(taper, aspect, bearing):
    # In a box as wide as the egg R <= w / 2; the box round the egg along its axis reaches that.
    egg = Egg.from_shape(taper, aspect, big_radius=31.0)
    land = affinity.rotate(box(-31, -31, 31, egg.length - 31), -bearing, origin=(0, 0))
    one = {"taper": (taper, taper), "aspect": (aspect, aspect)}
    proof = bound_of(land, egg.area * (1 - 1e-9), tolerance=1e-4, **one)
    assert egg.area <= proof.area_bound_m2 <= egg.area * (1 + 1.1e-4)


@pytest.mark.parametrize("clearance", [0.0, 6.0])
def test_rectangle_as_wide_as_the_longest_egg(clearance):
    # No direction shows an egg narrower than 2 R, since h >= 1: so R <= w / 2 - s, and the bluntest and longest shape
    # reaches it along the rectangle.
    area = Egg.from_shape(0.9, 1.6, big_radius=20.0 - clearance).area
    proof = bound_of(box(*FAR, FAR[0] + 75, FAR[1] + 40), area * (1 - 1e-9), clearance=clearance, tolerance=2e-3)
    assert area <= proof.area_bound_m2 <= area * 1.0021


def test_disc():
    # The axis is a chord of length 2 a R, so a R <= D, and the circle on the axis as its diameter holds the egg: the
    # largest area is D^2 max A(k, a) / a^2. The polygon is inscribed, so it holds no more.
    D = 100.0
    for changes in ({}, {"aspect": (1.3, 1.6)}, {"taper": (0.5, 0.6)}, {"clearance": 9.0}):
        r = usual(**changes)
        area = max(
            ((D - r["clearance"]) / a) ** 2 * Egg.from_shape(k, a, big_radius=1.0).area
            for k in np.linspace(*r["taper"], 9)
            for a in np.linspace(*r["aspect"], 501)
        )
        proof = bound_of(Point(0, 0).buffer(D, quad_segs=64), area, **changes)
        assert proof.area_bound_m2 >= area * (1 - 1e-9)
        assert proof.area_bound_m2 <= area * 1.0101


def test_land_that_is_the_strip_of_an_egg():
    egg = Egg.from_shape(0.72, 1.41, axis_bearing_deg=117.0, big_radius=50.0)
    for shape in ({}, {"taper": (0.72, 0.72), "aspect": (1.41, 1.41)}):
        proof = bound_of(egg.parallel(6.0).polygon(0.01), egg.area, clearance=6.0, **shape)
        assert egg.area * (1 - 1e-3) <= proof.area_bound_m2 <= egg.area * 1.0101


def test_least_radius_is_used():
    # In a kite the best egg without a limit is not blunt; r = k R >= r_min leaves only blunter and smaller ones.
    free = fit_largest(LANDS["kite"], **usual()).egg
    tight = fit_largest(LANDS["kite"], **usual(min_radius=1.5 * free.small_radius)).egg
    assert tight.area < 0.98 * free.area
    proof = bound_of(LANDS["kite"], tight.area, min_radius=1.5 * free.small_radius, tolerance=5e-3)
    assert tight.area <= proof.area_bound_m2 <= 1.0051 * tight.area
    # Where no egg has it, nothing is left: the bound is the least it can be.
    proof = bound_of(LANDS["kite"], 0.0, min_radius=30.0, max_boxes=200_000)
    assert proof.area_bound_m2 == pytest.approx(1e-4 * LANDS["kite"].area, rel=1e-6)


def test_same_input_gives_the_same_bound_and_more_work_no_worse_one():
    land, best = LANDS["blob 300"], fit_largest(LANDS["blob 300"], **usual()).egg.area
    bounds = [bound_of(land, best, tolerance=1e-4, max_boxes=n).area_bound_m2 for n in (500, 500, 3000, 9000)]
    assert bounds[0] == bounds[1]
    assert bounds[1] > bounds[2] > bounds[3] >= best
    # Stopped by the clock, at the first look at it, it still is a bound.
    hurried = bound_of(land, best, tolerance=1e-4, max_boxes=9000, seconds=1e-9)
    assert hurried.area_bound_m2 > bounds[3]
    assert hurried.out_of_time
    assert not hurried.closed
    assert not bound_of(land, best, tolerance=0.05).out_of_time
    # Work is counted, not timed.
    spent = [bound_of(land, best, tolerance=1e-4, max_work=n).area_bound_m2 for n in (10**5, 10**6, 10**6)]
    assert spent[0] > spent[1] == spent[2] > best


def test_the_first_part_of_the_search_may_be_slow(monkeypatch):
    # It waits for the loop to be compiled: a new installation would prove less.
    land, best = LANDS["blob 300"], fit_largest(LANDS["blob 300"], **usual()).egg.area
    usually = bound_of(land, best, tolerance=1e-4, max_boxes=9000)
    hours, loop = iter([3600.0]), _kernels.search
    clock = [0.0]

    def searched(*arguments):
        clock[0] += next(hours, 1.0)
        return loop(*arguments)

    monkeypatch.setattr(_kernels, "search", searched)
    monkeypatch.setattr(steps, "time", SimpleNamespace(perf_counter=lambda: clock[0]))
    assert bound_of(land, best, tolerance=1e-4, max_boxes=9000).area_bound_m2 == usually.area_bound_m2
    assert clock[0] > 3601


@pytest.mark.parametrize("name", ["L", "blob 40", "two parts"])
def test_shift_turn_mirror_and_scale(name):
    land, best = LANDS[name], fit_largest(LANDS[name], **usual()).egg.area
    at_origin = bound_of(land, best).area_bound_m2
    moved = {
        "far": affinity.translate(land, *FAR),
        "turned": affinity.rotate(land, 71, origin=(0, 0)),
        "mirrored": affinity.scale(land, -1, 1, origin=(0, 0)),
    }
    for other in moved.values():
        assert best <= bound_of(other, best).area_bound_m2 == pytest.approx(at_origin, rel=0.01)
    for factor in (0.01, 30.0):
        scaled = affinity.scale(land, factor, factor, origin=(0, 0))
        assert bound_of(scaled, best * factor**2).area_bound_m2 == pytest.approx(at_origin * factor**2, rel=0.01)


def test_a_larger_land_is_not_proven_to_hold_less():
    # A hole that the best egg does not meet, filled: what fitted still fits.
    best = fit_largest(LANDS["many ponds"], **usual()).egg.area
    with_holes = bound_of(LANDS["many ponds"], best, max_boxes=3000).area_bound_m2
    filled = box(*LANDS["many ponds"].bounds)
    assert bound_of(filled, best, max_boxes=3000).area_bound_m2 > 5 * with_holes


def test_what_makes_no_sense_is_refused():
    land = LANDS["square"]
    for changes in (
        {"taper": (0.9, 0.5)},
        {"taper": (0.5, 1.0)},
        {"aspect": (1.0, 1.6)},
        {"aspect": (1.6, 1.1)},
        {"taper": (math.nan, 0.9)},
        {"aspect": (1.1, math.inf)},
    ):
        with pytest.raises(ValueError, match="no such eggs"):
            bound_of(land, 1.0, **changes)
    for changes in ({"clearance": -1.0}, {"clearance": math.nan}, {"min_radius": -1.0}, {"tolerance": -1.0}):
        with pytest.raises(ValueError, match="must be numbers of 0 or more"):
            bound_of(land, 1.0, **changes)
    with pytest.raises(ValueError, match="must be numbers of 0 or more"):
        bound_of(land, -1.0)
    with pytest.raises(ValueError, match="not valid"):
        bound_of(Polygon([(0, 0), (10, 10), (10, 0), (0, 10)]), 1.0)
    assert bound_of(MultiPolygon(), 0.0).area_bound_m2 == 0
    assert bound_of(box(0, 0, 10, 10), 0.0, clearance=50.0).area_bound_m2 == pytest.approx(0.01)
