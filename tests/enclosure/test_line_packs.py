"""Several enclosures whose lines may run over limits, and the bound on their area."""

import itertools

import pytest
import shapely
from shapely.geometry import MultiPolygon, box

from packpale.enclosure import line_bound
from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import fit_largest
from packpale.enclosure.fit_line import fit_line
from packpale.enclosure.line_bound import with_line_proof
from packpale.enclosure.line_ground import LineGround
from packpale.enclosure.line_packs import fit_packs_on_lines
from packpale.enclosure.line_search import Labour, Round
from packpale.enclosure.over_limits import over_limits_m
from packpale.enclosure.packs import fit_packs, gap

INSIDE, OUTSIDE = 4.5, 5.1
SHAPE = {"taper": (0.5, 0.9), "aspect": (1.1, 1.6), "min_radius": 0.0}
STRICT = SHAPE | {"clearance": OUTSIDE}
ROUNDS = (
    Round(800, (0.1, 0.01), (0.5, 0.1), (3.0, 15.0), samples=100.0, kept=12),
    Round(3000, (0.05, 0.002), (0.3, 0.02), (6.0, 40.0), samples=200.0, kept=4),
)
LITTLE = {"labour": Labour(60, ROUNDS, 600)}


def field(*soft):
    """A field of 2.4 ha with soft ground in it."""
    return LineGround(MultiPolygon([box(0, 0, 240, 100)]), {"bank": MultiPolygon(list(soft))}, INSIDE, OUTSIDE)


def test_packs_keep_apart_and_each_is_feasible():
    """Three banks across the field: the strict case has to fit between them, the line may cross one here and there."""
    on = field(*(box(x, -1, x + 3, 101) for x in (55, 118, 180)))
    fits = fit_packs_on_lines(on, 0.05, 2, 15.0, **SHAPE, **LITTLE)
    assert len(fits) == 2
    for fit in fits:
        assert over_limits_m(fit.egg, on.soft, inside=INSIDE, outside=OUTSIDE) <= 0.05 * fit.egg.perimeter
        assert fit.egg.parallel(OUTSIDE).polygon(1e-6).difference(on.enclosable).area < 1e-6
        assert fit.egg.area <= fit.area_bound_m2
    assert all(gap(a.egg, b.egg)[0] >= 15.0 for a, b in itertools.combinations(fits, 2))
    # What cutting the field in the middle and fitting each half gives is there to be had, within a little.
    halves = [box(0, 0, 120 - 7.5 + OUTSIDE, 100), box(120 + 7.5 - OUTSIDE, 0, 240, 100)]
    cut = [fit_line(LineGround(MultiPolygon([h]), on.soft, INSIDE, OUTSIDE), 0.05, **SHAPE, **LITTLE) for h in halves]
    strict = fit_packs(shapely.difference(on.enclosable, on.soft["bank"]), 2, 15.0, **STRICT)
    smallest = min(f.egg.area for f in fits)
    assert smallest >= 0.97 * min(f.egg.area for f in cut)
    assert smallest >= 1.5 * min(f.egg.area for f in strict)


def test_without_soft_ground_packs_are_those_contained_in_the_land():
    on = field()
    assert [f.egg for f in fit_packs_on_lines(on, 0.0, 2, 15.0, **SHAPE)] == [
        f.egg for f in fit_packs(on.enclosable, 2, 15.0, **STRICT)
    ]


def test_fewer_where_not_so_many_fit():
    on = LineGround(MultiPolygon([box(0, 0, 60, 60)]), {"bank": MultiPolygon([box(0, 0, 3, 3)])}, INSIDE, OUTSIDE)
    assert len(fit_packs_on_lines(on, 0.1, 2, 80.0, **SHAPE, **LITTLE)) == 1


def test_what_is_none_is_refused():
    with pytest.raises(ValueError, match="packs"):
        fit_packs_on_lines(field(), 0.0, 0, 10.0, **SHAPE)
    with pytest.raises(ValueError, match="share"):
        fit_packs_on_lines(field(), 2.0, 1, 10.0, **SHAPE)


def test_the_bound_is_that_of_no_go_ground_where_the_share_allows_all_of_it():
    """A bar that halves a field changes nothing where half of the line may run over it."""
    on = field(box(118, -1, 122, 101))
    fit = fit_line(on, 0.5, **SHAPE)
    (proven,), notes = with_line_proof([fit], on, 0.5, gap=0.001, separation=10.0, **SHAPE)
    whole = fit_largest(on.enclosable, **STRICT).egg
    assert notes == ()
    assert proven.egg == fit.egg
    assert whole.area <= proven.area_bound_m2 <= whole.area * 1.0011
    # In closed form: a strip 100 m wide leaves 2 R + 2 s of width, and length enough for the longest shape.
    assert whole.area == pytest.approx(Egg.from_shape(0.9, 1.6, big_radius=50 - OUTSIDE).area, rel=1e-6)


def test_the_bound_is_lower_where_no_line_may_cross_broad_soft_ground(monkeypatch):
    """Soft from 70 m on: with no line over limits the egg lies west of it."""
    long = SHAPE | {"taper": (0.5, 0.7), "aspect": (1.4, 1.6)}
    on = field(box(70, -1, 241, 101))
    monkeypatch.setattr(line_bound, "MOST_BOXES", 300_000)
    fit = fit_line(on, 0.0, **long)
    (proven,), _ = with_line_proof([fit], on, 0.0, gap=0.001, separation=10.0, **long)
    whole = fit_largest(on.enclosable, **(long | {"clearance": OUTSIDE})).egg
    assert fit.egg.area <= proven.area_bound_m2 < 0.8 * whole.area
