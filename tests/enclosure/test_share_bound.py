"""The bound that uses the share: no egg that keeps the share is ever larger."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import MultiPolygon, Point, box

from packpale.enclosure import _kernels_share as kernels
from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import fit_largest
from packpale.enclosure.fit_line import fit_line
from packpale.enclosure.line_ground import LineGround
from packpale.enclosure.over_limits import over_limits_m
from packpale.enclosure.share_bound import share_bound, share_raster
from real_grounds import real_grounds

TAPER, ASPECT = (0.5, 0.9), (1.1, 1.6)
FORMS = {"taper": TAPER, "aspect": ASPECT, "min_radius": 8.0}
LONG = {"taper": (0.5, 0.7), "aspect": (1.4, 1.6), "min_radius": 8.0}
"""Far from round: such boxes are excluded early."""
INSIDE, OUTSIDE = 4.5, 5.1


def patches(rng, land, *, count, sizes):
    """Soft ground of discs, bars and rings within an area."""
    west, south, east, north = land.bounds
    found = []
    for _ in range(count):
        x, y, size = rng.uniform(west, east), rng.uniform(south, north), rng.uniform(*sizes)
        turn = rng.uniform(0, math.pi)
        along = size * np.array([math.cos(turn), math.sin(turn)]) * rng.uniform(1, 5)
        bar = shapely.LineString([(x, y), (x + along[0], y + along[1])]).buffer(size / 4)
        ring = Point(x, y).buffer(size).difference(Point(x, y).buffer(0.7 * size))
        found.append((Point(x, y).buffer(size), bar, ring)[rng.integers(3)])
    return MultiPolygon(list(shapely.get_parts(shapely.union_all(found).intersection(land))))


def ground_of(soft, land=None):
    return LineGround(MultiPolygon([land or box(0, 0, 240, 200)]), {"slope": soft}, INSIDE, OUTSIDE)


def row_round(rng, egg, widths):
    """A box of the unknowns that holds an egg somewhere, not in its middle."""
    sin, cos = egg._axis()
    at = [egg.big_x, egg.big_y, egg.big_x + egg.centre_spacing * sin, egg.big_y + egg.centre_spacing * cos]
    half = np.repeat(widths[:2], 2) * rng.uniform(0.2, 1, 4)
    row = np.zeros(12)
    row[:4], row[4:8] = at + half * rng.uniform(-1, 1, 4), half
    for i, radius in ((8, egg.big_radius), (10, egg.small_radius)):
        wide, part = widths[2] * rng.uniform(0.1, 1), rng.uniform()
        row[i], row[i + 1] = radius - part * wide, radius + (1 - part) * wide
    return row


def members(rng, row, count):
    """Eggs of a box, corners among them, within the ranges of shapes."""
    found = []
    for n in range(40 * count):
        part = rng.integers(0, 2, 6) if n % 2 else rng.uniform(size=6)
        ox, oy, sx, sy = row[:4] + (2 * part[:4] - 1) * row[4:8]
        R, r = row[8] + part[4] * (row[9] - row[8]), row[10] + part[5] * (row[11] - row[10])
        d = math.hypot(sx - ox, sy - oy)
        shaped = TAPER[0] <= r / R <= TAPER[1] and ASPECT[0] <= (R + d + r) / (2 * R) <= ASPECT[1]
        if shaped and r >= FORMS["min_radius"]:
            found.append(Egg(ox, oy, math.degrees(math.atan2(sx - ox, sy - oy)), R, r, d))
        if len(found) == count:
            break
    return found


def limits_for(share=0.1, areas=(1.0, 1e6)):
    return np.array([*TAPER, *ASPECT, FORMS["min_radius"], *areas, share, OUTSIDE])


def random_egg(rng, land):
    west, south, east, north = land.bounds
    return Egg.from_shape(
        rng.uniform(*TAPER),
        rng.uniform(*ASPECT),
        big_x=rng.uniform(west + 60, east - 60),
        big_y=rng.uniform(south + 60, north - 60),
        axis_bearing_deg=rng.uniform(0, 360),
        big_radius=rng.uniform(17, 45),
    )


def certain_of(row, raster, limits):
    """The certain length of a box as the search would ask for it, and 0 where it would not."""
    wx, wy = row[4] + row[6], row[5] + row[7]
    dx, dy = abs(row[2] - row[0]), abs(row[3] - row[1])
    near, far = math.hypot(max(dx - wx, 0), max(dy - wy, 0)), math.hypot(dx + wx, dy + wy)
    if not kernels.narrow(row, near, far, limits):
        return None
    span = min(row[9] - row[10], (1 - TAPER[0]) * row[9] * (1 + 1e-8))
    steep = span / max(near, 1e-9)
    moved = max(math.hypot(*row[4:6]), math.hypot(*row[6:8])) * math.sqrt(1 + kernels.BY_BEND * steep**4) + 1e-6
    if steep >= kernels.STEEPEST or moved >= row[10]:
        return 0.0
    return kernels.certain(row, moved, near, far, raster.certain, raster.frame, limits, math.inf)


@pytest.mark.parametrize("seed", range(2))
def test_no_member_of_a_box_has_less_than_the_certain_length(seed):
    rng = np.random.default_rng(seed)
    land = box(0, 0, 240, 200)
    inner, used, tight = land.buffer(-OUTSIDE), 0, 0
    for sizes, count in (((2, 6), 150), ((8, 25), 25)):
        ground = ground_of(patches(rng, land, count=count, sizes=sizes))
        raster = share_raster(ground)
        for _ in range(60):
            egg = random_egg(rng, land)
            row = row_round(rng, egg, 10 ** rng.uniform(-2.5, 0.9, 3))
            sure = certain_of(row, raster, limits_for())
            assert sure is not None
            exact = [
                over_limits_m(one, ground.soft, inside=INSIDE, outside=OUTSIDE)
                for one in (egg, *members(rng, row, 6))
                if inner.contains(one.polygon(0.001))
            ]
            if not exact:
                continue
            assert sure <= min(exact) + 1e-6, (egg, row)
            used += sure > 0
            tight += sure > 0.8 * min(exact) > 0
    assert used > 60
    assert tight > 5


@pytest.mark.parametrize("seed", range(3))
def test_no_box_that_holds_a_feasible_egg_is_dropped(seed):
    rng = np.random.default_rng(seed + 100)
    land = box(0, 0, 240, 200)
    ground = ground_of(patches(rng, land, count=40, sizes=(3, 8)))
    raster = share_raster(ground)
    inner, kept = land.buffer(-OUTSIDE), 0
    for _ in range(300):
        egg = random_egg(rng, land)
        if not inner.contains(egg.polygon(0.001)):
            continue
        over = over_limits_m(egg, ground.soft, inside=INSIDE, outside=OUTSIDE) / egg.perimeter
        limits = limits_for(over + 1e-9, (egg.area * rng.uniform(0.9, 1), egg.area * rng.uniform(1, 1.1)))
        row = row_round(rng, egg, 10 ** rng.uniform(-2.5, 1.5, 3))
        assert kernels.judge(row, raster.certain, raster.distance, raster.frame, limits)[0] == kernels.KEPT
        kept += 1
    assert kept > 40


@pytest.mark.parametrize(("share", "seed"), [(0.0, 0), (0.05, 1), (0.1, 2), (0.2, 0)])
def test_no_egg_found_is_larger_than_the_bound(seed, share):
    """The bound is not told what is found, so that nothing but its proof keeps it from going lower."""
    rng = np.random.default_rng(seed + 200)
    land = box(0, 0, 140, 120)
    ground = ground_of(patches(rng, land, count=40, sizes=(2, 7)), land)
    found = fit_line(ground, share, **FORMS)
    free = fit_largest(land, clearance=OUTSIDE, **FORMS).egg.area * 1.001
    bound = share_bound(ground, share, best_area=0.0, at_most=free, max_boxes=200_000, **FORMS)
    assert found is None or found.egg.area <= bound
    assert bound <= free


def kept_by(egg, ground):
    """The least share that allows an egg."""
    return over_limits_m(egg, ground.soft, inside=INSIDE, outside=OUTSIDE) / egg.perimeter + 1e-9


@given(
    shape=st.tuples(st.floats(0.5, 0.7), st.floats(1.4, 1.6), st.floats(18, 30), st.floats(0, 360)),
    room=st.floats(0.3, 1.5),
    count=st.integers(5, 40),
    sizes=st.sampled_from([(1, 4), (4, 12)]),
    seed=st.integers(0, 2**32 - 1),
)
@settings(deadline=None, max_examples=15)
def test_an_egg_at_just_its_own_share_is_never_above_the_bound(shape, room, count, sizes, seed):
    """In land with little room about it, where the search comes down to eggs of its size; and its boxes are kept."""
    taper, aspect, radius, bearing = shape
    egg = Egg.from_shape(taper, aspect, big_x=90.0, big_y=70.0, axis_bearing_deg=bearing, big_radius=radius)
    land = egg.parallel(OUTSIDE + room).polygon(0.05)
    ground = ground_of(patches(np.random.default_rng(seed), land, count=count, sizes=sizes), land)
    share, rng = kept_by(egg, ground), np.random.default_rng(seed)
    known = {"best_area": 0.0, "at_most": 1.05 * egg.area, "max_boxes": 30_000}
    assert egg.area <= share_bound(ground, share, **known, **LONG)
    raster = share_raster(ground)
    for _ in range(40):
        row = row_round(rng, egg, 10 ** rng.uniform(-3, 0.3, 3))
        limits = limits_for(share, (0.99 * egg.area, 1.01 * egg.area))
        sure = certain_of(row.copy(), raster, limits)
        assert sure <= share * egg.perimeter + 1e-6
        assert kernels.judge(row, raster.certain, raster.distance, raster.frame, limits)[0] == kernels.KEPT


def test_the_bound_does_not_hang_on_where_and_how_the_plot_lies():
    """Moved, the same; turned by a right angle or mirrored boxes are halved in another order: within two slabs."""
    land = box(0, 0, 100, 80)
    soft = patches(np.random.default_rng(400), land, count=40, sizes=(3, 8))
    known = {"best_area": 0.0, "at_most": 0.9 * land.area, "max_boxes": 50_000}

    def bound(change):
        return share_bound(ground_of(change(soft), change(land)), 0.05, **known, **LONG)

    plain = bound(lambda area: area)
    assert plain < known["at_most"]
    assert bound(lambda area: affinity.translate(area, 512.0, 4096.0)) == pytest.approx(plain, rel=1e-6)
    for change in (
        lambda area: affinity.rotate(area, 90, origin=(0, 0)),
        lambda area: affinity.scale(area, -1, 1, origin=(0, 0)),
    ):
        assert abs(math.log(bound(change) / plain)) <= 0.1 + 1e-9


def test_the_bound_gains_on_real_ground():
    (ground,) = real_grounds(1).values()
    free = fit_largest(ground.enclosable, clearance=OUTSIDE, **FORMS).egg.area * 1.001
    few, again, more = (
        share_bound(ground, 0.1, best_area=0.0, at_most=free, max_boxes=n, **FORMS) for n in (20_000, 20_000, 100_000)
    )
    assert more < 0.85 * free
    assert more < few < free
    assert again == few


def test_inside_a_soft_ring_lies_no_more_than_the_disc_within_it():
    """Land of radius 70 m, soft from 40 m outward: at a share of 0 the egg with its strip keeps within 40 m."""
    land, within = (Point(0, 0).buffer(radius, quad_segs=64) for radius in (70, 40))
    ground = ground_of(MultiPolygon([land.difference(within)]), land)
    free = fit_largest(land, clearance=OUTSIDE, **LONG).egg.area * 1.001
    exact = fit_largest(within, clearance=OUTSIDE, **LONG).egg.area
    bound = share_bound(ground, 0.0, best_area=exact, at_most=free, max_boxes=600_000, **LONG)
    assert exact <= bound <= 1.2 * exact
    # A disc of 40 m less the strip holds an egg of no more than its own area.
    assert exact < math.pi * (40 - OUTSIDE) ** 2 < free


def test_where_no_line_may_cross_broad_soft_ground_the_egg_lies_beside_it():
    land = box(0, 0, 150, 70)
    ground = ground_of(MultiPolygon([box(60, -1, 151, 71)]), land)
    free = fit_largest(land, clearance=OUTSIDE, **LONG).egg.area * 1.001
    exact = fit_largest(box(0, 0, 60, 70), clearance=OUTSIDE, **LONG).egg.area
    bound = share_bound(ground, 0.0, best_area=exact, at_most=free, max_boxes=600_000, **LONG)
    # The search ends a tenth above what is known.
    assert exact <= bound <= 1.101 * exact < 0.6 * free


def test_where_all_is_soft_there_is_no_egg():
    land, forms = box(0, 0, 100, 90), LONG | {"min_radius": 18.0}
    bound = share_bound(
        ground_of(MultiPolygon([land]), land), 0.5, best_area=0.0, at_most=3000.0, max_boxes=300_000, **forms
    )
    assert bound < math.pi * 18.0**2


def test_without_soft_ground_nothing_changes():
    assert share_bound(ground_of(MultiPolygon()), 0.0, best_area=0.0, at_most=9000.0, **FORMS) == 9000.0


def test_what_a_shift_of_the_centres_moves_the_outline_by():
    """|g_O| + |g_S| of step 2 as it stands there by angles; its steps, and that none of them is idle."""
    tightest = 0.0
    for x in np.linspace(0.01, 0.99, 50):
        tau = 2 * math.atan(x)
        v = np.linspace(0, tau, 1001)
        y = np.tan(v / 2)
        by_small = np.stack([(1 - np.cos(v)) / math.tan(tau / 2), np.sin(v) / math.tan(tau)])
        by_big = np.stack([np.sin(v), np.cos(v)]) - by_small
        assert np.allclose(by_small * (1 + y**2), y / x * np.stack([2 * y, np.full_like(y, 1 - x**2)]), atol=1e-12)
        assert np.allclose(by_big * (1 + y**2), (1 - y / x) * np.stack([2 * y, 1 + x * y]), atol=1e-12)
        squares = (1 - y / x) * (4 * y**2 + (1 + x * y) ** 2) + y / x * (4 * y**2 + (1 - x**2) ** 2)
        assert np.allclose(squares, (1 + y**2) ** 2 + y * (x - y) * (x + y) ** 2, atol=1e-12)
        total = np.hypot(*by_small) + np.hypot(*by_big)
        assert (total * (1 + y**2) <= np.sqrt(squares) + 1e-12).all()
        assert total.max() <= math.sqrt(1 + kernels.BY_BEND * x**4) + 1e-12
        tightest = max(tightest, ((squares - (1 + y**2) ** 2) / x**4).max())
    assert 0.99 * kernels.BY_BEND < tightest < kernels.BY_BEND


@pytest.mark.parametrize("seed", range(2))
def test_eggs_of_a_box_lie_between_the_inner_and_the_outer_egg(seed):
    rng = np.random.default_rng(seed + 300)
    angle = np.linspace(0, 2 * math.pi, 181)
    nx, ny = np.cos(angle), np.sin(angle)
    checked = 0
    for _ in range(200):
        row = row_round(rng, random_egg(rng, box(0, 0, 240, 200)), 10 ** rng.uniform(-2, 0.9, 3))
        wx, wy = row[4] + row[6], row[5] + row[7]
        dx, dy = abs(row[2] - row[0]), abs(row[3] - row[1])
        near, far = math.hypot(max(dx - wx, 0), max(dy - wy, 0)), math.hypot(dx + wx, dy + wy)
        kernels.narrow(row, near, far, limits_for())
        steep = (row[9] - row[10]) / max(near, 1e-9)
        moved = max(math.hypot(*row[4:6]), math.hypot(*row[6:8])) * math.sqrt(1 + kernels.BY_BEND * steep**4)
        if steep >= kernels.STEEPEST or moved >= row[10]:
            continue
        bearing, d = math.degrees(math.atan2(row[2] - row[0], row[3] - row[1])), math.hypot(dx, dy)
        inner = Egg(row[0], row[1], bearing, row[8] - moved, row[10] - moved, d)
        outer = Egg(row[0], row[1], bearing, row[9] + moved, row[11] + moved, d)
        for egg in members(rng, row, 10):
            shift = nx * (egg.big_x - row[0]) + ny * (egg.big_y - row[1])
            reach = egg.support(nx, ny) + shift
            assert (inner.support(nx, ny) <= reach + 1e-9).all()
            assert (reach <= outer.support(nx, ny) + 1e-9).all()
            checked += 1
    assert checked > 200


def test_area_and_perimeter_are_those_of_the_egg():
    for egg in (Egg(0, 0, 0, 40.0, 20.0, 45.0), Egg(0, 0, 0, 30.0, 27.0, 20.0)):
        three = egg.centre_spacing, egg.big_radius, egg.small_radius
        assert kernels.area(*three) == pytest.approx(egg.area, rel=1e-12)
        assert kernels.perimeter(*three) == pytest.approx(egg.perimeter, rel=1e-12)
