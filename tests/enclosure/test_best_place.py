"""The egg of a given area where the land suits best."""

import itertools
import math

import numpy as np
import pytest
import shapely
from shapely.geometry import MultiPolygon, box

from packpale.enclosure.best_place import fit_area, fit_areas, mean_over
from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import fit_largest
from packpale.enclosure.packs import gap
from packpale.site.grid import Grid
from polygons import lands, waves

LANDS = lands()
GRID = Grid(-150.0, 450.0, 2.0, 320, 320)
COL_X, ROW_Y = GRID.centres()
X, Y = np.meshgrid(COL_X, ROW_Y)


def rolling(seed):
    field = waves(np.random.default_rng(seed), 10, 0.5, 3.0)
    return 1 / (1 + np.exp(-field(X / 400, Y / 400)))


@pytest.mark.parametrize("share", [0.25, 0.7, 0.98])
@pytest.mark.parametrize("name", ["steps 60", "ponds", "L", "two parts"])
def test_area_is_exact_and_no_random_egg_is_better(name, share, ranges):
    land, score = LANDS[name], rolling(3)
    r = ranges(clearance=2.0, min_radius=4.0)
    target = share * fit_largest(land, **r).egg.area
    fit = fit_area(land, target, score, GRID, **r)
    assert fit.egg.area == pytest.approx(target, rel=1e-12)
    assert fit.egg.parallel(2.0).polygon(1e-5).difference(land).area < 1e-4
    assert fit.egg.small_radius >= 4.0
    assert fit.egg.area <= fit.area_bound_m2
    found = mean_over(fit.egg, score, GRID)
    rng = np.random.default_rng(1)
    x0, y0, x1, y1 = land.bounds
    fitting = 0
    for _ in range(1500):
        egg = Egg.from_shape(
            rng.uniform(0.5, 0.9),
            rng.uniform(1.1, 1.6),
            big_x=rng.uniform(x0, x1),
            big_y=rng.uniform(y0, y1),
            axis_bearing_deg=rng.uniform(0, 360),
            area=target,
        )
        if egg.small_radius >= 4 and land.contains(egg.parallel(2.0).polygon(0.5)):
            fitting += 1
            assert mean_over(egg, score, GRID) <= found + 1e-3
    assert fitting > 0 or share > 0.6


def test_cone_of_suitability_is_found_and_centred(ranges):
    # Suitability falls evenly from a peak; among round eggs the best has its middle on the peak, by symmetry.
    score = np.clip(1 - np.hypot(X - 120, Y - 90) / 300, 0, 1)
    r = ranges(taper=(0.98, 0.98), aspect=(1.02, 1.02))
    egg = fit_area(box(-100, -100, 400, 400), 3000.0, score, GRID, **r).egg
    sin, cos = math.sin(math.radians(egg.axis_bearing_deg)), math.cos(math.radians(egg.axis_bearing_deg))
    middle = egg.length / 2 - egg.big_radius
    assert (egg.big_x + middle * sin, egg.big_y + middle * cos) == pytest.approx((120, 90), abs=0.5)
    # The mean over a disc of radius p of 1 - q / 300 is 1 - 2 p / 900.
    assert mean_over(egg, score, GRID) == pytest.approx(1 - 2 * math.sqrt(3000 / math.pi) / 900, abs=2e-4)


def test_longest_shape_lies_along_a_ridge(ranges):
    score = np.exp(-(((X - Y) / 60) ** 2))
    egg = fit_area(box(-100, -100, 400, 400), 12_000.0, score, GRID, **ranges()).egg
    assert egg.aspect == pytest.approx(1.6, abs=0.01)
    assert egg.axis_bearing_deg % 180 == pytest.approx(45, abs=1.5)


def test_equal_suitability_is_decided_by_the_second_score(ranges):
    flat, easy = np.full(GRID.shape, 0.5), (X > 200).astype(float)
    land = box(-100, 100, 400, 200)
    egg = fit_area(land, 4000.0, flat, GRID, second=easy, **ranges()).egg
    assert mean_over(egg, easy, GRID) == pytest.approx(1.0, abs=1e-6)
    egg = fit_area(land, 4000.0, flat, GRID, second=1 - easy, **ranges()).egg
    assert mean_over(egg, easy, GRID) == pytest.approx(0.0, abs=1e-6)
    # But it never outweighs the first.
    suits = np.where(X < 100, 0.6, 0.5)
    egg = fit_area(land, 4000.0, suits, GRID, second=easy, **ranges()).egg
    assert mean_over(egg, suits, GRID) == pytest.approx(0.6, abs=1e-6)


def test_missing_suitability_counts_as_none(ranges):
    score = np.where(X > 150, np.nan, 0.4)
    egg = fit_area(box(0, 100, 300, 200), 4000.0, score, GRID, **ranges()).egg
    assert mean_over(egg, score, GRID) == pytest.approx(0.4, abs=1e-6)


def test_area_just_below_and_above_the_largest(ranges):
    land, score = LANDS["L"], rolling(4)
    largest = fit_largest(land, **ranges()).egg.area
    assert fit_area(land, largest * (1 - 1e-4), score, GRID, **ranges()) is not None
    assert fit_area(land, largest * 1.001, score, GRID, **ranges()) is None
    assert fit_area(MultiPolygon(), 10.0, score, GRID, **ranges()) is None


def test_small_area_in_a_small_part(ranges):
    # The best ground lies in the smaller part.
    land, score = LANDS["two parts"], np.where(X > 95, 0.9, 0.2)
    assert fit_area(land, 1500.0, score, GRID, **ranges()).egg.big_x > 95


def test_several_of_one_area_keep_apart(ranges):
    land, score = LANDS["U"], rolling(3)
    fits = fit_areas(land, 3, 12.0, target_area=900.0, score=score, grid=GRID, **ranges(clearance=3.0))
    assert [f.egg.area for f in fits] == pytest.approx([900.0] * 3)
    for a, b in itertools.combinations(fits, 2):
        assert gap(a.egg, b.egg)[0] >= 12.0
    assert {f.area_bound_m2 for f in fits} == {fit_largest(land, **ranges(clearance=3.0)).area_bound_m2}
    single = fit_area(land, 900.0, score, GRID, **ranges(clearance=3.0))
    best = max(mean_over(f.egg, score, GRID) for f in fits)
    assert best <= mean_over(single.egg, score, GRID) + 1e-3
    for f in fits:
        assert f.egg.parallel(3.0).polygon(1e-5).difference(land).area < 1e-4


def test_room_for_two_is_found_where_the_best_place_for_one_wastes_it(ranges):
    # Two eggs fit end to end only if neither lies in the middle, where the land suits best.
    land = box(0, 100, 140, 150)
    score = np.clip(1 - abs(X - 70) / 70, 0, 1)
    target = 0.9 * fit_largest(box(0, 100, 65, 150), **ranges()).egg.area
    fits = fit_areas(land, 2, 10.0, target_area=target, score=score, grid=GRID, **ranges())
    assert len(fits) == 2
    assert gap(fits[0].egg, fits[1].egg)[0] >= 10.0
    # Each still stands as near to the middle as the other lets it.
    assert gap(fits[0].egg, fits[1].egg)[0] < 10.1


def test_nonsense_is_refused(ranges):
    with pytest.raises(ValueError, match="target_area"):
        fit_area(box(0, 0, 10, 10), 0.0, rolling(1), GRID, **ranges())
    with pytest.raises(ValueError, match="second has the shape"):
        fit_area(box(0, 0, 10, 10), 1.0, rolling(1), GRID, second=np.ones((2, 2)), **ranges())


def test_same_land_same_place(ranges):
    once, again = (fit_area(LANDS["L"], 900.0, rolling(5), GRID, **ranges()) for _ in range(2))
    assert once.egg == again.egg
    assert shapely.Point(once.egg.big_x, once.egg.big_y).within(LANDS["L"])
