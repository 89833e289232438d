"""The egg's exact geometry, and the fit against other geometry libraries and closed forms."""

import math

import numpy as np
import pytest
import shapely
import shapely.affinity
from shapely.geometry import Polygon, box

from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import fit_largest

EGG = Egg(500_000.0, 5_400_000.0, 37.0, 60.0, 45.0, 50.0)
RANGES = {"taper": (0.5, 0.9), "aspect": (1.1, 1.6)}


def test_area_and_perimeter_are_those_of_a_fine_polygon():
    polygon = EGG.polygon(chord_error=1e-5)
    assert polygon.area == pytest.approx(EGG.area, rel=1e-6)
    assert polygon.length == pytest.approx(EGG.perimeter, rel=1e-6)


@pytest.mark.parametrize("offset", [-10.0, 2.5, 30.0])
def test_parallel_curves_follow_steiner(offset):
    beside = EGG.parallel(offset)
    assert beside.perimeter == pytest.approx(EGG.perimeter + 2 * math.pi * offset)
    assert beside.area == pytest.approx(EGG.area + EGG.perimeter * offset + math.pi * offset**2)


def test_arcs_turn_once_and_make_up_the_perimeter():
    arcs = EGG.arcs()
    assert sum(a.length / a.radius for a in arcs) == pytest.approx(2 * math.pi)
    assert sum(a.length for a in arcs) == pytest.approx(EGG.perimeter)


def test_distance_to_the_egg_agrees_with_shapely():
    random = np.random.default_rng(4)
    x = EGG.big_x + random.uniform(-150, 150, 200)
    y = EGG.big_y + random.uniform(-150, 150, 200)
    line = EGG.polygon(chord_error=1e-5).exterior
    assert np.abs(EGG.distance(x, y)) == pytest.approx(shapely.distance(shapely.points(x, y), line), abs=1e-4)


SHAPES = {
    "square": box(0, 0, 200, 200),
    "strip": box(0, 0, 900, 120),
    "L": Polygon([(0, 0), (300, 0), (300, 120), (120, 120), (120, 300), (0, 300)]),
    "with a hole": Polygon(box(0, 0, 300, 300).exterior, [box(140, 140, 170, 170).exterior.coords]),
}


@pytest.mark.parametrize("land", SHAPES.values(), ids=SHAPES)
@pytest.mark.parametrize("clearance", [0.0, 6.0])
def test_fitted_egg_lies_in_the_land_with_its_strip_and_under_its_bounds(land, clearance):
    land = shapely.affinity.translate(land, 500_000, 5_400_000)
    fit = fit_largest(land, clearance=clearance, **RANGES)
    strip = fit.egg.parallel(clearance) if clearance else fit.egg
    assert strip.polygon(chord_error=1e-4).difference(land.buffer(2e-4)).area == 0
    circle = shapely.maximum_inscribed_circle(land, tolerance=1e-3)
    assert fit.egg.big_radius + clearance <= circle.length + 2e-3
    assert fit.egg.area <= fit.area_bound_m2
    assert 0.5 - 1e-9 <= fit.egg.small_radius / fit.egg.big_radius <= 0.9 + 1e-9


def test_a_long_strip_takes_the_longest_and_bluntest_egg_of_its_width():
    # The width decides: the big end touches both long sides, 2 R = 120, and the area grows with taper and aspect.
    fit = fit_largest(box(0, 0, 900, 120), **RANGES)
    best = Egg(0.0, 0.0, 0.0, 60.0, 0.9 * 60.0, (2 * 1.6 - 1 - 0.9) * 60.0)
    assert fit.egg.area == pytest.approx(best.area, rel=2e-3)
    assert fit.egg.big_radius <= 60.0 + 1e-4


def test_moving_and_turning_the_land_moves_the_answer_alike():
    land = SHAPES["L"]
    turned = shapely.affinity.translate(shapely.affinity.rotate(land, 33.0, origin=(0, 0)), 1_000.0, -500.0)
    areas = [fit_largest(p, **RANGES).egg.area for p in (land, turned)]
    assert areas[0] == pytest.approx(areas[1], rel=2e-3)


def test_nothing_fits_where_the_smallest_bend_is_too_wide():
    assert fit_largest(box(0, 0, 50, 50), **RANGES, min_radius=40.0) is None
