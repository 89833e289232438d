"""The compiled loops against plain twins and independent libraries, and that they are compiled."""

import inspect
import math
from types import SimpleNamespace

import numba
import numpy as np
import pytest
import shapely
from scipy.optimize import linprog
from shapely.geometry import box

from packpale.enclosure import _kernels, best_place
from packpale.enclosure.boundary import behind, valid_parts
from packpale.enclosure.depth import deep_cells, deepest_point
from packpale.enclosure.fit import Shapes, fit_largest, largest_scale, thinned_out, work_arrays
from packpale.enclosure.packs import fit_packs
from packpale.site.grid import Grid
from polygons import blob, from_raster, largest_part, neck, ring, with_ponds

KERNELS = {
    name: kernel
    for name, kernel in vars(_kernels).items()
    if name != "njit" and (hasattr(kernel, "py_func") or inspect.isfunction(kernel))
}
LANDS = {
    "blob": blob(5, 300),
    "ponds": with_ponds(blob(21, 200), 4, 12),
    "steps": from_raster(1, 60),
    "ring": ring(),
    "neck": neck(),
    "few corners": shapely.Polygon([(0, 0), (90, 10), (140, 80), (60, 60), (20, 120)]),
}


@pytest.fixture(scope="module")
def _everything_ran(ranges):
    land = box(0, 0, 120, 60)
    fit_largest(land, **ranges())
    fit_packs(land, 2, 10.0, **ranges())
    grid = Grid(0.0, 60.0, 10.0, 6, 12)
    fit = best_place.fit_area(land, 1000.0, np.ones(grid.shape), grid, **ranges())
    best_place.mean_over(fit.egg, np.ones(grid.shape), grid)


CALLED_FROM_PYTHON = (
    "field_over_egg",
    "largest_scale",
    "pack_scales",
    "rate_centres",
    "rate_places",
    "refine",
    "refine_places",
    "signed_depths",
    "unit_shape",
    "vertex_scale",
)


def test_every_kernel_is_a_compiled_function():
    assert not numba.config.DISABLE_JIT, "unset NUMBA_DISABLE_JIT"
    assert len(KERNELS) == 22
    assert all(hasattr(kernel, "nopython_signatures") for kernel in KERNELS.values())


@pytest.mark.usefixtures("_everything_ran")
@pytest.mark.parametrize("name", CALLED_FROM_PYTHON)
def test_kernel_ran_compiled_and_in_one_variant(name):
    # A second variant, for whole numbers or another layout of an array, would be compiled again at a user's expense.
    assert len(KERNELS[name].nopython_signatures) == 1


def test_unit_shape_is_the_egg(egg_at):
    for k, a in [(0.5, 1.1), (0.9, 1.6), (0.999, 1.3), (0.2, 3.0)]:
        egg = egg_at([0, 0, 0, k, a], 1.0)
        shape = _kernels.unit_shape(k, a)
        assert shape[1] == pytest.approx(egg.centre_spacing)
        assert shape[2] == pytest.approx(egg.flank_radius)
        assert math.exp(shape[7]) == pytest.approx(egg.area, rel=1e-12)
        h = 1e-6
        for slot, step in ((8, (h, 0)), (9, (0, h))):
            up, down = (_kernels.unit_shape(k + s * step[0], a + s * step[1])[7] for s in (1, -1))
            assert shape[slot] == pytest.approx((up - down) / (2 * h), rel=1e-5, abs=1e-8)


def plain_scale(egg_at, land, z, clearance):
    """Largest scale by halving, from the distance of points spread over the boundary to the egg: a slow plain twin."""
    points = [
        np.linspace(0, 1, max(int(length / 0.1), 2))[:, None] * length * [tx, ty] + [x, y]
        for x, y, tx, ty, length, _ in land.edges
    ]
    points = np.concatenate(points)
    low, high = 0.0, 300.0
    for _ in range(30):
        middle = (low + high) / 2
        if egg_at(z, middle).distance(points[:, 0], points[:, 1]).min() >= clearance:
            low = middle
        else:
            high = middle
    return low


@pytest.mark.parametrize("clearance", [0.0, 3.0])
@pytest.mark.parametrize("name", LANDS)
def test_largest_scale_agrees_with_the_plain_twin(name, clearance, prepared, positions, egg_at):
    land, _ = prepared(LANDS[name])
    compared = 0
    for z in positions(land, 7, seed=len(name)):
        scale = largest_scale(land, z, clearance=clearance)
        if scale <= 0:
            x, y = z[0] + land.origin[0], z[1] + land.origin[1]
            assert shapely.distance(LANDS[name].boundary, shapely.Point(x, y)) <= clearance + 1e-9
            continue
        # The twin looks at points 0.1 m apart, which misses a touch by up to 0.05^2 / (2 scale).
        assert scale == pytest.approx(plain_scale(egg_at, land, z, clearance), abs=2e-3, rel=1e-3)
        compared += 1
    assert compared > 2


@pytest.mark.parametrize("name", LANDS)
def test_largest_scale_is_where_shapely_sees_the_egg_touch(name, prepared, positions, egg_at):
    area = LANDS[name]
    land, _ = prepared(area)
    for z in positions(land, 15, seed=99):
        scale = largest_scale(land, z, clearance=0.0)
        inside = egg_at(z, scale * (1 - 1e-9), land.origin).polygon(1e-7)
        assert inside.difference(area).area < 1e-9 * inside.area
        assert not area.contains(egg_at(z, scale * (1 + 1e-4), land.origin).polygon(1e-7))


def test_a_cap_only_cuts_off(prepared, positions):
    land, _ = prepared(LANDS["ponds"])
    for z in positions(land, 20):
        scale = largest_scale(land, z, clearance=0.0)
        assert largest_scale(land, z, clearance=0.0, at_most=0.5 * scale) == 0.5 * scale
        assert largest_scale(land, z, clearance=0.0, at_most=2 * scale) == scale


@pytest.mark.parametrize("clearance", [0.0, 2.0])
def test_features_and_their_slopes(clearance, prepared, positions):
    """The least feature is the scale; the merit's gradient agrees with differences, feature by feature."""
    land, _ = prepared(LANDS["ponds"])
    checked = 0
    rows, gradient = np.empty((256, 10)), np.empty((1, 5))

    def features(z, limit):
        cos, sin, shape = np.cos(z[2]), np.sin(z[2]), _kernels.unit_shape(z[3], z[4])
        n = _kernels._near_features(z[0], z[1], cos, sin, clearance, shape, *land.tree, limit, rows)
        return {(int(r[5]), int(r[6])): r.copy() for r in rows[:n]}, cos, sin, shape

    for z in positions(land, 25, seed=3):
        scale = largest_scale(land, z, clearance=clearance)
        if scale < 1:
            continue
        found, cos, sin, shape = features(z, 1.1 * scale)
        assert min(r[0] for r in found.values()) == pytest.approx(scale, rel=1e-12)
        for key, row in found.items():
            for penalised in (False, True):
                value = _kernels._linearise(
                    cos, sin, shape, row[None, :], 0, math.log(50.0), penalised, scale, gradient, 0, 0
                )
                slopes = []
                for i in range(5):
                    h = 1e-6
                    step = np.zeros(5)
                    step[i] = h * (scale if i < 2 else 1)
                    ends = []
                    for side in (1, -1):
                        near, c, s, other = features(z + side * step, 1.2 * scale)
                        if key in near:
                            at = near[key][None, :]
                            ends.append(
                                _kernels._linearise(
                                    c, s, other, at, 0, math.log(50.0), penalised, scale, np.empty((1, 5)), 0, 0
                                )
                            )
                    slopes.append((ends[0] - ends[1]) / (2 * h) if len(ends) == 2 else None)
                weight = 2 + _kernels.PENALTY if penalised else 2
                assert value >= weight * math.log(scale) - 2e3
                if None not in slopes:
                    assert gradient[0] == pytest.approx(slopes, rel=2e-4, abs=2e-4)
                    checked += 1
    assert checked > 40


def test_linear_step_is_the_optimum_that_scipy_finds():
    rng = np.random.default_rng(4)
    for trial in range(60):
        n, m = (5, int(rng.integers(1, 60))) if trial % 3 else (21, 80)
        value, gradient = rng.normal(size=400), rng.normal(size=(400, n))
        lower, upper = -rng.uniform(0, 1, n), rng.uniform(0, 1, n)
        if trial % 4 == 0:
            gradient[1:m] = gradient[0] * rng.uniform(0, 2, (m - 1, 1))  # parallel: degenerate
            lower[0] = upper[0] = 0.0
        step = np.empty(n)
        table, basis = np.empty((n + 2, 400 + 2 * n + 1)), np.empty(n + 1, np.int64)
        t = _kernels._solve_step(value, gradient, m, lower, upper, table, basis, step)
        constraints = np.column_stack([-gradient[:m], np.ones(m)])
        best = linprog(
            [0.0] * n + [-1.0],
            A_ub=constraints,
            b_ub=value[:m],
            bounds=[*zip(lower, upper, strict=True), (None, None)],
        )
        assert t == pytest.approx(-best.fun, abs=1e-7)
        assert (step >= lower).all()
        assert (step <= upper).all()
        assert t == pytest.approx((value[:m] + gradient[:m] @ step).min(), abs=1e-9)


@pytest.mark.parametrize("name", LANDS)
def test_depth_agrees_with_shapely(name, prepared):
    area = LANDS[name]
    land, (x, y, depth, most) = prepared(area)
    rng = np.random.default_rng(1)
    west, south, east, north = land.size
    for px, py in zip(rng.uniform(west - 9, east + 9, 200), rng.uniform(south - 9, north + 9, 200), strict=True):
        point = shapely.Point(px + land.origin[0], py + land.origin[1])
        (signed,) = land.depths(np.array([[px, py]]))
        assert (signed > 0) == area.contains(point)
        assert abs(signed) == pytest.approx(area.boundary.distance(point), abs=1e-9)
    assert depth == pytest.approx(area.boundary.distance(shapely.Point(x + land.origin[0], y + land.origin[1])))
    # The library's own inscribed circle, to its own tolerance, can not be larger than the bound.
    circle = max(shapely.length(shapely.maximum_inscribed_circle(p, tolerance=1e-3)) for p in valid_parts(area))
    assert depth <= circle * (1 + 1e-3) + 1e-3
    assert circle <= most * (1 + 1e-9)
    assert most <= depth * 1.0051


@pytest.mark.parametrize("tolerance", [0.1, 0.3, 1.0])
def test_bound_on_depth_holds_at_any_tolerance(tolerance, prepared):
    # In a disc about the corner of a square the depth falls with the distance from that corner, one for one: the bound
    # of the square is reached there.
    land, _ = prepared(shapely.Point(0, 0).buffer(50, quad_segs=200))
    true = 50 * math.cos(math.pi / 800)
    none = np.empty((0, 2))
    for half in np.linspace(3, 35, 33):
        one_square = SimpleNamespace(depths=land.depths, cover=lambda half=half: (np.array([[half, half]]), half))
        _, _, depth, most = deepest_point(one_square, none, tolerance=tolerance)
        assert depth <= true <= most * (1 + 1e-12)
        assert most <= depth * (1 + tolerance) * (1 + 1e-12)


def test_no_square_with_a_deep_point_is_dropped(prepared):
    land, (_, _, depth, _) = prepared(LANDS["ponds"])
    need, finest = 0.4 * depth, 0.1 * depth
    centres = deep_cells(land, need=need, finest=finest, most=10_000)
    reached = land.cover()[1]
    while reached > finest:
        reached /= 2
    rng = np.random.default_rng(2)
    west, south, east, north = land.size
    tried = 0
    for x, y in zip(rng.uniform(west, east, 3000), rng.uniform(south, north, 3000), strict=True):
        if land.depths(np.array([[x, y]]))[0] < need + 2 * reached:
            continue
        tried += 1
        assert (np.abs(centres[:, :2] - [x, y]).max(axis=1) <= reached * (1 + 1e-9)).any()
    assert tried > 50


def test_a_cut_leaves_the_scale_of_land_cut_by_shapely(prepared, positions):
    for name, area in LANDS.items():
        land, _ = prepared(area)
        angle, offset = 0.7, 0.1 * land.size[2]
        near = behind(land, angle, offset)
        far = 10_000.0
        half_plane = shapely.affinity.rotate(box(-far, -far, offset, far), angle, origin=(0, 0), use_radians=True)
        half_plane = shapely.affinity.translate(half_plane, *land.origin)
        cut, _ = prepared(
            largest_part(area.intersection(half_plane)) if name == "blob" else area.intersection(half_plane)
        )
        shift = np.array(cut.origin) - land.origin
        for z in positions(cut, 8, seed=5):
            moved = z.copy()
            moved[:2] += shift
            expected = largest_scale(cut, z, clearance=0.0)
            assert largest_scale(near, moved, clearance=0.0) == pytest.approx(expected, rel=1e-9)


def test_radial_profile_sees_no_farther_than_the_boundary(prepared):
    area = LANDS["few corners"]
    land, (x, y, _, _) = prepared(area)
    log_profile = np.empty(96)
    _kernels._radial_profile(x, y, 1e6, *land.tree, log_profile)
    for j in range(96):
        angle = 2 * math.pi * j / 96
        px, py = x + land.origin[0], y + land.origin[1]
        ray = shapely.LineString([(px, py), (px + 1e3 * math.cos(angle), py + 1e3 * math.sin(angle))])
        along = shapely.distance(shapely.Point(px, py), ray.intersection(area.boundary))
        assert math.exp(log_profile[j]) <= along * (1 + 1e-9)
        # Only next to a corner may it be less.
        corners = shapely.points(np.asarray(area.exterior.coords))
        beside = shapely.distance(ray, corners).min() < 1e3 * math.pi / 96
        assert beside or math.exp(log_profile[j]) == pytest.approx(along)


def test_field_over_an_egg_is_exact_to_the_cell_fraction(egg_at):
    rng = np.random.default_rng(8)
    grid = Grid(-40.0, 50.0, 7.0, 13, 12)
    values = rng.uniform(0, 1, grid.shape)
    cells = [
        box(
            grid.west + c * 7.0,
            grid.north - (r + 1) * 7.0,
            grid.west + (c + 1) * 7.0,
            grid.north - r * 7.0,
        )
        for r in range(grid.rows)
        for c in range(grid.cols)
    ]
    for _ in range(12):
        z = [
            rng.uniform(-30, 30),
            rng.uniform(-30, 30),
            rng.uniform(0, 7),
            rng.uniform(0.1, 0.99),
            rng.uniform(1.05, 3),
        ]
        egg = egg_at(z, rng.uniform(2, 30))
        # Cells clipped by shapely against a very fine polygon; some eggs reach beyond the grid.
        covered = shapely.area(shapely.intersection(cells, egg.polygon(1e-7)))
        expected = (covered * values.ravel()).sum() / egg.area
        assert best_place.mean_over(egg, values, grid) == pytest.approx(expected, abs=1e-6)


def test_field_over_an_egg_that_starts_on_grid_lines(egg_at):
    grid = Grid(0.0, 100.0, 10.0, 10, 10)
    ones = np.ones(grid.shape)
    for bearing in (0, 90, 180, 270, 45):
        z = [50.0, 50.0, math.radians(bearing), 0.5, 1.25]
        egg = egg_at(z, 20.0)  # the tip and the shoulders lie on grid lines
        assert best_place.mean_over(egg, ones, grid) == pytest.approx(1.0, abs=1e-9)


def test_starts_near_a_better_one_are_thinned_out():
    starts = np.zeros((5, 6))
    starts[:, 0] = [3, 5, 4, 1, -np.inf]
    starts[:, 1] = [0, 0.5, 10, 10.2, 50]
    starts[:, 3] = [0, 2 * math.pi - 0.05, 0, 3, 0]
    starts = starts[np.argsort(-starts[:, 0], kind="stable")]
    # The first lies beside the second and across north from it; the fourth differs in bearing; the last leads nowhere.
    assert thinned_out(starts, near=1.0, turn=0.2, most=5)[:, 0].tolist() == [5, 4, 1]
    assert thinned_out(starts, near=1.0, turn=0.2, most=2)[:, 0].tolist() == [5, 4]


def test_refinement_never_makes_an_egg_smaller(prepared, positions, ranges):
    land, _ = prepared(LANDS["steps"])
    shapes = Shapes(**ranges(clearance=1.0, min_radius=10.0))
    work = work_arrays()
    for z in positions(land, 20, seed=7):
        scale = largest_scale(land, z, clearance=1.0)
        if scale <= 0:
            continue
        before = _kernels._merit(scale, z[3], _kernels.unit_shape(z[3], z[4])[7], shapes.log_min_radius)
        rows, no_strips, no_pairs = z[None, :].copy(), np.empty((0, 3)), np.empty((0, 2), np.int64)
        numbers = (0.15, 30, 1e-7, 0.0, 1.0, shapes.log_min_radius, shapes.limits)
        reached = _kernels.refine(rows, no_strips, no_pairs, *numbers, *land.tree, work)
        assert reached >= before - 1e-12
        after = rows[0]
        assert 0.5 <= after[3] <= 0.9
        assert 1.1 <= after[4] <= 1.6
        scale = largest_scale(land, after, clearance=1.0)
        value = _kernels._merit(scale, after[3], _kernels.unit_shape(after[3], after[4])[7], shapes.log_min_radius)
        assert reached == pytest.approx(value, abs=1e-9)
