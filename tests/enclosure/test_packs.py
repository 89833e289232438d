"""Several eggs a set distance apart."""

import itertools
import math

import numpy as np
import pytest
import shapely
from shapely import affinity
from shapely.geometry import MultiPolygon, Polygon, box

from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import Shapes, fit_largest
from packpale.enclosure.packs import _from_rooms, fit_packs, gap
from polygons import lands

LANDS = lands()


def smallest(fits):
    return min(f.egg.area for f in fits)


@pytest.mark.parametrize("clearance", [0.0, 3.0])
@pytest.mark.parametrize("n", [2, 3])
@pytest.mark.parametrize("name", ["L", "square", "steps 60", "blob 40", "two parts"])
def test_packs_keep_apart_and_lie_inside(name, n, clearance, ranges):
    land = affinity.translate(LANDS[name], 500_000, 5_400_000)
    fits = fit_packs(land, n, 10.0, **ranges(clearance=clearance))
    assert len(fits) == n
    for fit in fits:
        outline = fit.egg.parallel(clearance).polygon(1e-5)
        assert outline.difference(land).area < 1e-4
        assert fit.egg.area <= fit.area_bound_m2
    outlines = [f.egg.polygon(1e-5) for f in fits]
    for a, b in itertools.combinations(outlines, 2):
        assert shapely.distance(a, b) >= 10.0 - 1e-9
    assert [f.egg.area for f in fits] == sorted((f.egg.area for f in fits), reverse=True)
    single = fit_largest(land, **ranges(clearance=clearance)).egg.area
    assert fits[0].egg.area <= single * (1 + 1e-3)


@pytest.mark.parametrize("n", [2, 3])
def test_long_strip_holds_equal_eggs(n, ranges):
    # R <= w / 2 for each; two or three of the longest shape, 64 m, stand one behind the other with room to spare.
    expected = Egg.from_shape(0.9, 1.6, big_radius=20.0).area
    fits = fit_packs(box(0, 0, 300, 40), n, 10.0, **ranges())
    assert [f.egg.area for f in fits] == pytest.approx([expected] * n, rel=1e-5)


def test_rectangle_cut_in_two_equal_parts(ranges):
    # A dividing strip across the middle is one of the ways to cut, so the best egg of a half is there to be had twice.
    half = fit_largest(box(0, 0, 95, 80), **ranges()).egg.area
    fits = fit_packs(box(0, 0, 200, 80), 2, 10.0, **ranges())
    assert smallest(fits) >= half * (1 - 1e-5)


def test_smallest_is_no_worse_than_cutting_in_many_ways(ranges):
    land = LANDS["blob 40"]
    best = 0.0
    x0, y0, x1, y1 = land.bounds
    middle, reach = ((x0 + x1) / 2, (y0 + y1) / 2), 2000.0
    for angle in np.arange(0, 180, 15):
        for offset in np.arange(-40, 41, 10):
            parts = [
                affinity.rotate(half, angle, origin=middle).intersection(land)
                for half in (
                    box(middle[0] - reach, middle[1] - reach, middle[0] + offset - 5, middle[1] + reach),
                    box(middle[0] + offset + 5, middle[1] - reach, middle[0] + reach, middle[1] + reach),
                )
            ]
            fits = [fit_largest(p, **ranges()) for p in parts]
            if None not in fits:
                best = max(best, smallest(fits))
    assert smallest(fit_packs(land, 2, 10.0, **ranges())) >= best


def test_a_cut_off_the_middle_of_an_l_is_found(ranges):
    """No worse than the best of nearly 300 cuts; the areas on its two sides are in no simple proportion."""
    land = shapely.union_all([box(0, 0, 376, 85), box(0, 0, 154, 293)])
    fits = fit_packs(land, 2, 120.0, **ranges())
    best = 0.0
    for angle in range(0, 180, 15):
        turned = affinity.rotate(land, angle, origin=(0, 0))
        west, south, east, north = turned.bounds
        for at in np.linspace(west + 60, east - 60, 24):
            sides = [box(west, south, at - 60, north), box(at + 60, south, east, north)]
            pair = [fit_largest(turned.intersection(side), **ranges()) for side in sides]
            if None not in pair:
                best = max(best, smallest(pair))
    assert smallest(fits) >= best * (1 - 1e-6)


@pytest.mark.parametrize("turn", [0.1, 0.8, 1.7])
def test_three_hold_what_thirds_round_the_middle_of_a_triangle_hold(turn, ranges):
    # Each third keeps half the distance from the other two, which here is the strip that eggs keep free.
    corners = [
        (100 * math.cos(turn + 2 * math.pi * k / 3), 100 * math.sin(turn + 2 * math.pi * k / 3)) for k in range(3)
    ]
    (ax, ay), (bx, by), (cx, cy) = corners
    by_corners = Polygon([(0, 0), corners[0], corners[1]])
    by_sides = Polygon([(0, 0), ((ax + cx) / 2, (ay + cy) / 2), corners[0], ((ax + bx) / 2, (ay + by) / 2)])
    third = max(fit_largest(land, **ranges(clearance=5.0)).egg.area for land in (by_corners, by_sides))
    fits = fit_packs(Polygon(corners), 3, 10.0, **ranges(clearance=5.0))
    assert smallest(fits) > third * 0.9995


def test_one_of_two_rooms_beside_a_neck_holds_two_of_three(ranges):
    land = LANDS["neck"]
    west, south, east, north = land.bounds
    middle = (west + east) / 2
    one = MultiPolygon([land.intersection(box(west, south, middle - 5, north))])
    other = MultiPolygon([land.intersection(box(middle + 5, south, east, north))])
    apart = max(
        min(
            smallest(fit_packs(two, 2, 10.0, **ranges(clearance=5.0))),
            fit_largest(single, **ranges(clearance=5.0)).egg.area,
        )
        for two, single in ((one, other), (other, one))
    )
    assert smallest(fit_packs(land, 3, 10.0, **ranges(clearance=5.0))) > 0.9999 * apart


def test_two_rooms_hold_their_own_largest_eggs(ranges):
    rooms = [box(0, 0, 80, 60), affinity.rotate(box(100, 0, 190, 62), 10)]
    expected = sorted((fit_largest(r, **ranges()).egg.area for r in rooms), reverse=True)
    fits = fit_packs(MultiPolygon(rooms), 2, 5.0, **ranges())
    assert [f.egg.area for f in fits] == pytest.approx(expected, rel=1e-4)


def test_two_rooms_beside_a_long_lane(ranges, prepared):
    # Nearly all of the area is a lane, so that no straight cut into like shares of the area parts the two rooms: the
    # local optima of one egg do.
    rooms = [box(0, 0, 60, 55), box(75, 0, 135, 58)]
    land = shapely.union_all([*rooms, box(0, -10, 6000, 0.5)])
    expected = [fit_largest(r, **ranges()).egg.area for r in rooms]
    fits = fit_packs(land, 2, 10.0, **ranges())
    assert smallest(fits) >= min(expected) * (1 - 1e-6)
    ready, (x, y, depth, _) = prepared(land)
    sets = _from_rooms(ready, Shapes(**ranges()), (x, y, depth), 2, 10.0)
    assert max(s.rank[0] for s in sets) >= min(expected) * (1 - 1e-6)


def test_fewer_where_not_so_many_fit(ranges):
    land = box(0, 0, 75, 40)
    assert len(fit_packs(land, 1, 10.0, **ranges(min_radius=10.0))) == 1
    assert len(fit_packs(land, 2, 10.0, **ranges(min_radius=16.0))) == 1
    assert len(fit_packs(land, 3, 10.0, **ranges(min_radius=14.0))) == 2
    assert fit_packs(land, 2, 10.0, **ranges(min_radius=30.0)) == ()
    assert fit_packs(MultiPolygon(), 2, 10.0, **ranges()) == ()
    assert fit_packs(land, 2, 10.0, **ranges(clearance=25.0)) == ()


def test_min_radius_holds_for_every_pack(ranges):
    fits = fit_packs(LANDS["blob 40"], 3, 10.0, **ranges(min_radius=45.0))
    assert len(fits) == 3
    assert min(f.egg.small_radius for f in fits) >= 45.0


def test_gap_is_the_distance_shapely_measures():
    rng = np.random.default_rng(6)
    for _ in range(15):
        first, second = (
            Egg.from_shape(
                rng.uniform(0.1, 0.99),
                rng.uniform(1.05, 2.5),
                big_x=rng.uniform(-80, 80),
                big_y=rng.uniform(-80, 80),
                axis_bearing_deg=rng.uniform(0, 360),
                big_radius=rng.uniform(5, 25),
            )
            for _ in range(2)
        )
        width, angle = gap(first, second)
        apart = shapely.distance(first.polygon(1e-6), second.polygon(1e-6))
        if apart > 0:
            assert width == pytest.approx(apart, abs=1e-4)
            # The strip is a proof: the whole of either egg lies on its side of it.
            n = math.cos(angle), math.sin(angle)
            line = first.big_x * n[0] + first.big_y * n[1] + float(first.support(*n))
            beyond = second.points_at(np.linspace(0, second.perimeter, 400))
            assert (beyond.x * n[0] + beyond.y * n[1]).min() >= line + width - 1e-6
        else:
            assert width <= 1e-6


def test_packs_that_make_no_sense_are_refused(ranges):
    with pytest.raises(ValueError, match="no such packs"):
        fit_packs(box(0, 0, 100, 100), 0, 10.0, **ranges())
    with pytest.raises(ValueError, match="no such packs"):
        fit_packs(box(0, 0, 100, 100), 2, -1.0, **ranges())
