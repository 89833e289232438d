"""The steps of the bound, one by one, and the bound as a whole."""

import math

import numpy as np
import pytest
from shapely.geometry import Point, box

from packpale.enclosure.bound import area_bound, smallest_bound
from packpale.enclosure.boundary import valid_parts
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


@pytest.mark.parametrize("n", [2, 3])
@pytest.mark.parametrize(("separation", "clearance"), [(0.0, 0.0), (10.0, 5.0), (20.0, 4.0)])
def test_bound_on_the_smallest_of_several_holds(n, separation, clearance, ranges):
    for name in ("square", "L", "blob 40", "rectangle with hole"):
        parts = valid_parts(lands()[name])
        bound = smallest_bound(parts, n, separation, clearance=clearance)
        fits = fit_packs(lands()[name], n, separation, **ranges(clearance=clearance))
        if len(fits) == n:
            assert fits[-1].egg.area <= fits[-1].area_bound_m2 <= bound


def test_bound_on_the_smallest_in_closed_form():
    square = [box(0, 0, 100, 100)]
    assert smallest_bound(square, 4, 0.0, clearance=0.0) == pytest.approx(2500)
    # Half a separation of 10 m lies in the strip of 5 m, so that nothing lies outside the land.
    by_strips = (math.sqrt(10_000 / 2) - 5 * math.sqrt(math.pi)) ** 2
    assert smallest_bound(square, 2, 10.0, clearance=5.0) == pytest.approx(by_strips)
    # Without a strip half of it may reach out: Steiner's formula for a square.
    room = 10_000 + 400 * 5 + math.pi * 25
    assert smallest_bound(square, 2, 10.0, clearance=0.0) == pytest.approx(
        (math.sqrt(room / 2) - 5 * math.sqrt(math.pi)) ** 2
    )
    # A hole counts with the length of its ring, or the land as its hull.
    holed = [box(0, 0, 100, 100).difference(box(20, 20, 80, 80))]
    room = 6_400 + (400 + 240) * 5 + math.pi * 25
    assert smallest_bound(holed, 2, 10.0, clearance=0.0) == pytest.approx(
        (math.sqrt(room / 2) - 5 * math.sqrt(math.pi)) ** 2
    )
    assert smallest_bound(square, 2, 500.0, clearance=0.0) >= 0.0
