"""The bound on the smallest of several eggs: what it rests on by sampling, closed forms, and that it holds on all land.

The proof is not told the area of the eggs known to keep apart, so that nothing but what it rests on keeps it above.
"""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import MultiPolygon, Point, Polygon, box

from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import Ranges, fit_largest
from packpale.enclosure.packs import fit_packs, gap
from packpale.enclosure.points_bound import keeping_off, smallest_of_several
from polygons import lands

LANDS = lands()
FORMS = {"taper": (0.5, 0.9), "aspect": (1.1, 1.6), "min_radius": 0.0}


def bound_of(land, separation, known, **keywords):
    keywords = {"clearance": 0.0, "at_most": 10 * max(egg.area for egg in known)} | FORMS | keywords
    return smallest_of_several(land, separation, known=known, **keywords)


def egg_in(land, clearance=0.0):
    return fit_largest(land, clearance=clearance, **FORMS).egg


@given(
    shape=st.tuples(st.floats(0.5, 0.9), st.floats(1.1, 1.6), st.floats(5, 40), st.floats(0, 360)),
    separation=st.floats(0.01, 80),
    clearance=st.floats(0, 12),
    toward=st.floats(0, 2 * math.pi),
    notches=st.lists(st.floats(0, 2 * math.pi), max_size=4),
)
@settings(deadline=None)
def test_an_egg_just_so_far_from_a_point_is_in_the_land_asked_about(shape, separation, clearance, toward, notches):
    """Land whose bays touch the egg's strip, and a point half the separation off its line."""
    taper, aspect, radius, bearing = shape
    egg = Egg.from_shape(taper, aspect, big_x=70.0, big_y=-30.0, big_radius=radius, axis_bearing_deg=bearing)

    def off(angle, distance):
        n = np.array([math.cos(angle), math.sin(angle)])
        t = np.array([-n[1], n[0]])
        h, step = float(egg.support(*n)), 1e-5
        turned = [float(egg.support(*(n * math.cos(a) + t * math.sin(a)))) for a in (-step, step)]
        return np.array([egg.big_x, egg.big_y]) + (h + distance) * n + (turned[1] - turned[0]) / (2 * step) * t

    land = box(-400, -400, 500, 400)
    for angle in notches:
        tip, n = off(angle, clearance + 1e-6), np.array([math.cos(angle), math.sin(angle)])
        side = 30 * np.array([-n[1], n[0]])
        land = land.difference(Polygon([tip, tip + 40 * n + side, tip + 40 * n - side]))
    land = MultiPolygon([max(shapely.get_parts(land), key=lambda p: p.area)])
    kept = keeping_off(land, separation, Ranges(clearance=clearance, **FORMS))
    rest = kept.without(np.array([off(toward, separation / 2 + 1e-9)]))
    assert kept.ranges["clearance"] <= clearance
    with_strip = egg.parallel(kept.ranges["clearance"]).polygon(1e-7)
    # Chords, and the derivative by differences, are off by less than a micrometre.
    assert shapely.difference(with_strip.buffer(-2e-6), rest).area == pytest.approx(0, abs=1e-9)


def test_no_more_than_that_land_is_asked_about():
    """A point takes away what comes nearer to it than half the separation, but for some millimetres."""
    land = MultiPolygon([box(0, 0, 200, 100)])
    for separation, clearance in ((10.0, 5.0), (40.0, 5.0), (10.0, 5.1), (4.0, 0.0)):
        kept = keeping_off(land, separation, Ranges(clearance=clearance, **FORMS))
        left = kept.without(np.array([[100.0, 50.0]]))
        nearest = Point(100, 50).distance(left) + kept.ranges["clearance"]
        assert separation / 2 * 0.96 - 0.01 < nearest <= separation / 2
        assert kept.ranges["clearance"] + kept.land.boundary.distance(land.boundary) > clearance - 0.11


@pytest.mark.parametrize("n", [2, 3])
@pytest.mark.parametrize("turn", [0, 35, 100])
@pytest.mark.parametrize(("separation", "clearance"), [(25.0, 0.0), (10.0, 5.0), (6.0, 4.0)])
def test_along_a_strip_each_has_its_share(n, turn, separation, clearance):
    """Eggs as long as their share of a narrow field leaves; strips may lie within the separation."""
    width, beyond = 24 + 2 * clearance, separation - 2 * clearance
    field = box(0, 0, n * (32 + 2 * clearance) + (n - 1) * beyond, width)
    one = egg_in(box(0, 0, 32 + 2 * clearance, width), clearance)
    step = 32 + separation
    cos, sin = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    eggs = []
    for x in one.big_x + step * np.arange(n):
        at = {"big_x": cos * x - sin * one.big_y, "big_y": sin * x + cos * one.big_y}
        eggs.append(replace(one, **at, axis_bearing_deg=one.axis_bearing_deg - turn))
    assert all(gap(a, b)[0] >= separation - 1e-6 for a, b in itertools.pairwise(eggs))
    field = affinity.rotate(field, turn, origin=(0, 0))
    assert one.area * (1 - 1e-5) <= bound_of(field, separation, eggs, clearance=clearance) <= 1.03 * one.area


@pytest.mark.parametrize(("separation", "clearance"), [(10.0, 5.0), (30.0, 5.0), (4.0, 5.0)])
def test_of_three_islands_the_smallest_decides(separation, clearance):
    """None has room for two eggs as large as the smallest island's."""
    islands = [box(0, 0, 90, 60), affinity.rotate(box(300, 0, 380, 58), 20), box(0, 400, 82, 470)]
    eggs = [egg_in(island, clearance) for island in islands]
    smallest = min(egg.area for egg in eggs)
    bound = bound_of(shapely.union_all(islands), separation, eggs, clearance=clearance)
    assert smallest <= bound <= 1.03 * smallest


def test_three_in_an_equilateral_triangle():
    """Each in a third, turned about the middle: the lines between the thirds are half the separation from each."""
    corners = 100 * np.array([[math.cos(a), math.sin(a)] for a in (math.pi / 2 + 2 * math.pi / 3 * np.arange(3))])
    third = Polygon([corners[0], (corners[0] + corners[1]) / 2, (0, 0), (corners[0] + corners[2]) / 2])
    one = egg_in(third, clearance=5.0)
    eggs = []
    for turn in (0, 120, 240):
        cos, sin = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        at = {"big_x": cos * one.big_x - sin * one.big_y, "big_y": sin * one.big_x + cos * one.big_y}
        eggs.append(replace(one, **at, axis_bearing_deg=one.axis_bearing_deg - turn))
    assert min(gap(a, b)[0] for a, b in itertools.combinations(eggs, 2)) > 10 - 1e-6
    assert one.area <= bound_of(Polygon(corners), 10.0, eggs, clearance=5.0) <= 1.15 * one.area


@pytest.mark.parametrize("n", [2, 3])
@pytest.mark.parametrize("name", ["L", "blob 40", "two parts", "ponds"])
def test_near_and_never_below_what_is_found(name, n, ranges):
    land = affinity.translate(LANDS[name], 500_000, 5_400_000)
    eggs = [fit.egg for fit in fit_packs(land, n, 10.0, **ranges(clearance=5.0))]
    assert len(eggs) == n
    assert eggs[-1].area <= bound_of(land, 10.0, eggs, clearance=5.0) <= 1.06 * eggs[-1].area


@given(
    corners=st.lists(st.tuples(st.integers(0, 120), st.integers(0, 90)), min_size=3, max_size=9, unique=True),
    n=st.sampled_from([2, 3]),
    separation=st.floats(0.5, 25),
    clearance=st.floats(0, 6),
)
@settings(deadline=None, max_examples=5)
def test_never_below_what_is_found_on_random_land(corners, n, separation, clearance):
    land = shapely.make_valid(Polygon(corners)).buffer(3)
    fits = fit_packs(land, n, separation, clearance=clearance, **FORMS)
    if len(fits) == n:
        eggs = [fit.egg for fit in fits]
        assert eggs[-1].area <= bound_of(land, separation, eggs, clearance=clearance, looks=6)


def test_cuts_help_where_packs_are_far_apart(ranges):
    """Half a triangle is not told well by a point when the separation takes most of it."""
    land = LANDS["triangle"]
    eggs = [fit.egg for fit in fit_packs(land, 3, 40.0, **ranges(clearance=5.0))]
    assert eggs[-1].area <= bound_of(land, 40.0, eggs, clearance=5.0) <= 1.4 * eggs[-1].area


def test_same_input_same_bound_and_never_more_than_is_known(ranges):
    land = LANDS["blob 40"]
    eggs = [fit.egg for fit in fit_packs(land, 2, 10.0, **ranges())]
    first, second = (bound_of(land, 10.0, eggs) for _ in range(2))
    assert first == second < 1.1 * eggs[-1].area
    known = {"at_most": 1.001 * eggs[-1].area}
    assert bound_of(land, 10.0, eggs, **known) == known["at_most"]
    assert bound_of(land, 10.0, eggs, looks=0) == 10 * max(egg.area for egg in eggs)
    assert bound_of(MultiPolygon(), 10.0, eggs) == 10 * max(egg.area for egg in eggs)
    # Too narrow for the strips: no such eggs can be known there.
    assert bound_of(box(0, 0, 100, 3), 1.0, eggs, clearance=5.0) == 10 * max(egg.area for egg in eggs)
    # They may touch: told by cuts alone.
    touching = [fit.egg for fit in fit_packs(land, 2, 0.0, **ranges())]
    assert touching[-1].area <= bound_of(land, 0.0, touching) <= 1.2 * touching[-1].area


def test_no_such_packs():
    egg = egg_in(box(0, 0, 80, 60))
    with pytest.raises(ValueError, match="separation"):
        bound_of(LANDS["L"], -1.0, [egg, egg])
    with pytest.raises(ValueError, match="1 eggs"):
        bound_of(LANDS["L"], 1.0, [egg])
