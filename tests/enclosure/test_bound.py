"""The steps of the bound, one by one, and the bound as a whole."""

import math

import numpy as np
import pytest
from shapely.geometry import Point, box

from packpale.enclosure.bound import area_bound, shared_area_bound
from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import fit_largest
from packpale.enclosure.packs import fit_packs
from polygons import lands

TAPERS, ASPECTS = np.linspace(0.03, 0.99, 25), np.linspace(1.01, 4.0, 25)


def test_egg_holds_the_disc_of_its_big_radius():
    angles = np.linspace(0, 2 * math.pi, 721)
    for k in TAPERS:
        for a in ASPECTS:
            egg = Egg.from_shape(k, a, axis_bearing_deg=90.0, big_radius=1.0)
            assert egg.support(np.cos(angles), np.sin(angles)).min() >= 1 - 1e-12


def test_area_rises_with_taper_and_aspect():
    areas = np.array([[Egg.from_shape(k, a, big_radius=1.0).area for a in ASPECTS] for k in TAPERS])
    assert (np.diff(areas, axis=0) > 0).all()
    assert (np.diff(areas, axis=1) > 0).all()


@pytest.mark.parametrize("clearance", [0.0, 2.0, 7.0])
def test_bound_holds_on_all_land(clearance, ranges):
    for land in lands().values():
        fit = fit_largest(land, **ranges(clearance=clearance))
        if fit is not None:
            assert fit.egg.area <= fit.area_bound_m2


def test_where_the_bound_is_reached(ranges):
    r = ranges(clearance=6.0)
    shape = {k: r[k] for k in ("taper", "aspect")}
    # A long strip: by depth, (D - s)^2 A(k_max, a_max).
    expected = Egg.from_shape(0.9, 1.6, big_radius=14.0).area
    bound = area_bound([box(0, 0, 1000, 40)], 20.0, clearance=6.0, **shape)
    assert bound == pytest.approx(expected, rel=1e-6)
    # The parallel curve of an egg: by area it is the isoperimetric loss away, by Steiner's formula.
    egg = Egg.from_shape(0.9, 1.1, big_radius=80.0)
    bound = area_bound([egg.parallel(6.0).polygon(1e-5)], 1000.0, clearance=6.0, **shape)
    lost = egg.perimeter / (2 * math.sqrt(math.pi * egg.area))
    assert egg.area <= bound <= egg.area * (1 + 3 * (lost - 1) + 1e-3)
    # A disc: by length, up to the width of the intervals of aspect.
    disc = fit_largest(Point(0, 0).buffer(100, quad_segs=200), **ranges())
    assert disc.area_bound_m2 <= 1.01 * disc.egg.area


def test_bound_of_parts_is_the_largest_of_their_bounds(ranges):
    shape = {k: ranges()[k] for k in ("taper", "aspect")}
    parts = [box(0, 0, 300, 20), box(400, 0, 450, 50)]
    alone = [area_bound([p], 1000.0, clearance=1.0, **shape) for p in parts]
    assert area_bound(parts, 1000.0, clearance=1.0, **shape) == max(alone)
    assert area_bound(parts, 0.5, clearance=1.0, **shape) == 0


def test_eggs_that_share_a_land_are_bounded_together():
    """Two eggs on a strip of land: no more than half of it each, less what their strips take."""
    # Without strips and distance, half of the area; with them, the circle that is left of half of it.
    assert shared_area_bound(20_000.0, 2, clearance=0.0, separation=10.0) == pytest.approx(10_000.0)
    s = 5.0
    assert shared_area_bound(20_000.0, 2, clearance=8.0, separation=10.0) == pytest.approx(
        math.pi * (math.sqrt(10_000 / math.pi) - s) ** 2
    )
    assert shared_area_bound(100.0, 3, clearance=6.0, separation=12.0) == 0.0


@pytest.mark.parametrize("n", [2, 3])
@pytest.mark.parametrize(("clearance", "separation"), [(5.1, 10.0), (0.0, 0.0), (6.0, 30.0)])
def test_the_smallest_of_several_packs_keeps_their_bound(n, clearance, separation):
    shapes = {"taper": (0.5, 0.9), "aspect": (1.1, 1.6)}
    for land in (box(0, 0, 400, 150), box(0, 0, 230, 230)):
        fits = fit_packs(land, n, separation, clearance=clearance, **shapes)
        assert len(fits) == n
        smallest = min(f.egg.area for f in fits)
        bound = shared_area_bound(land.area, n, clearance=clearance, separation=separation)
        assert 0.4 * bound < smallest <= bound
