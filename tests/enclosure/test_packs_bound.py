"""The bound on the smaller of two eggs: its steps by sampling, closed forms, and that it holds on all land."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import MultiPolygon, Point, box

from packpale.enclosure.fit import fit_largest
from packpale.enclosure.packs import fit_packs
from packpale.enclosure.packs_bound import _Cut, smaller_of_two
from packpale.enclosure.proven import with_proof
from polygons import lands

LANDS = lands()


@given(
    turns=st.tuples(st.floats(0, math.pi), st.floats(0.001, 0.5), st.floats(-1, 1)),
    before=st.floats(0, 30),
    beyond=st.floats(-10, 10),
)
def test_sides_hold_all_that_any_line_of_the_range_leaves(turns, before, beyond):
    """The edge of a half-plane, whose line passes the pivot or stays before it, against the side of the cut."""
    land = MultiPolygon([box(-200, -200, 200, 200)])
    angle, spread, part = turns
    cut = _Cut(40.0, 35.0, angle, spread)
    turned = angle + part * spread
    normal, tangent = np.array([[math.cos(turned), math.sin(turned)], [-math.sin(turned), math.cos(turned)]])
    line = np.array([40.0, 35.0]) + np.linspace(-100, 100, 801)[:, None] * tangent
    assert shapely.intersects_xy(cut.before(land, beyond, 2000.0), line - (before + beyond) * normal).all()
    assert shapely.intersects_xy(cut.behind(land, beyond, 2000.0), line + (before + beyond) * normal).all()


def test_a_side_is_no_more_than_it_has_to_be():
    cut = _Cut(40.0, 35.0, 0.0, 0.0)
    land = MultiPolygon([box(0, 0, 100, 60)])
    assert cut.before(land, 3.0, 500.0).area == pytest.approx(37 * 60, abs=1e-3)
    assert cut.behind(land, -2.0, 500.0).area == pytest.approx(62 * 60, abs=1e-3)


@pytest.mark.parametrize(("separation", "clearance"), [(10.0, 5.0), (30.0, 5.0), (4.0, 5.0), (0.0, 0.0)])
def test_two_fields_far_apart_hold_an_egg_each(separation, clearance, ranges):
    """The smaller field decides: neither field has room for two eggs as large."""
    fields = shapely.union_all([box(0, 0, 90, 60), affinity.rotate(box(300, 0, 380, 60), 20)])
    expected = fit_largest(box(0, 0, 80, 60), **ranges(clearance=clearance)).egg.area
    bound = smaller_of_two(
        fields, separation, best_area=0.5 * expected, at_most=3 * expected, **ranges(clearance=clearance)
    )
    assert expected <= bound <= 1.03 * expected


@pytest.mark.parametrize("turn", [10, 60, 100, 150])
def test_separation_is_taken_off_whatever_the_direction(turn, ranges):
    """Along a field half of what the separation leaves is there for each egg; looked for from half the area on."""
    expected = fit_largest(box(0, 0, 32, 24), **ranges()).egg.area
    field = affinity.rotate(box(0, 0, 2 * 32 + 25, 24), turn)
    bound = smaller_of_two(field, 25.0, best_area=expected / 2, at_most=2 * expected, **ranges())
    assert expected * (1 - 1e-6) <= bound <= 1.03 * expected


@pytest.mark.parametrize("n", [2, 3])
@pytest.mark.parametrize(("separation", "clearance"), [(0.0, 0.0), (10.0, 5.0), (20.0, 4.0), (3.0, 4.0)])
@pytest.mark.parametrize("name", ["L", "blob 40", "rectangle with hole"])
def test_holds_and_is_lower_than_the_quick_one(name, n, separation, clearance, ranges):
    land = affinity.translate(LANDS[name], 500_000, 5_400_000)
    fits = fit_packs(land, n, separation, **ranges(clearance=clearance))
    assert len(fits) == n
    proven, notes = with_proof(fits, land, gap=0.05, separation=separation, **ranges(clearance=clearance))
    assert notes == ()
    assert proven[-1].egg.area <= proven[-1].area_bound_m2 <= fits[-1].area_bound_m2
    if n == 2:
        assert proven[-1].area_bound_m2 < min(1.2 * fits[-1].egg.area, fits[-1].area_bound_m2)


def test_a_disc_in_halves(ranges):
    """By symmetry one half of a disc holds no larger an egg than the other, and one of them all that a cut leaves."""
    half = Point(0, 0).buffer(100, quad_segs=30).intersection(box(-100, -100, -5, 100))
    expected = fit_largest(half, **ranges()).egg.area
    disc = Point(0, 0).buffer(100, quad_segs=30)
    bound = smaller_of_two(disc, 10.0, best_area=expected, at_most=3 * expected, **ranges())
    assert expected * (1 - 1e-6) <= bound <= 1.1 * expected


def test_same_input_same_bound_and_never_more_than_is_known(ranges):
    numbers = {"best_area": 18_000.0, "at_most": 40_000.0, "max_work": 6_000_000}
    first, second = (smaller_of_two(LANDS["blob 40"], 10.0, **numbers, **ranges()) for _ in range(2))
    assert first == second < 40_000.0
    assert smaller_of_two(LANDS["blob 40"], 10.0, **(numbers | {"max_work": 0}), **ranges()) == 40_000.0
    assert smaller_of_two(MultiPolygon(), 10.0, **numbers, **ranges()) == 40_000.0


def test_no_such_separation(ranges):
    with pytest.raises(ValueError, match="separation"):
        smaller_of_two(LANDS["L"], -1.0, best_area=1.0, at_most=2.0, **ranges())
