"""The menu on ground with banks and no-go land, by the real search, with prices that have a closed form."""

import itertools
import math

import numpy as np
import pytest
from shapely.geometry import MultiPolygon, box

from packpale.enclosure import priced_lines
from packpale.enclosure.egg import Egg
from packpale.enclosure.line_ground import LineCost, LineGround
from packpale.enclosure.line_search import Labour, Round
from packpale.enclosure.menu import at_least, chosen, menu_of
from packpale.enclosure.model import Alternative, Fit
from packpale.enclosure.over_limits import over_limits_m
from packpale.enclosure.pricing import Pricing
from packpale.settings import Project
from packpale.site import Grid
from told import say

PER_M, PER_OVER_M, FIXED = 150.0, 60.0, 9_000.0
INSIDE, OUTSIDE = 4.5, 5.1
FIELD = box(0, 0, 240, 160)
# A bank across the field, and a pond in its western part.
SOFT = {"slope": MultiPolygon([box(150, 0, 156, 160)]), "ponding": MultiPolygon([box(55, 65, 85, 95)])}
GROUND = LineGround(MultiPolygon([FIELD]), SOFT, INSIDE, OUTSIDE)
GRID = Grid(-20.0, 180.0, 2.0, 100, 140)


def over_of(egg):
    return over_limits_m(egg, SOFT, inside=INSIDE, outside=OUTSIDE)


def project(**enclosure):
    inputs = {"elevation": ["dem.tif"], "plots": "plots.gpkg", "plot_id": "name"}
    return Project.model_validate({"inputs": inputs, "enclosure": enclosure})


def pricing(west=PER_M, east=PER_M):
    """So much for each metre west and east of x = 120."""
    x, _ = np.meshgrid(*GRID.centres())
    cost = LineCost(np.where(x < 120, west, east), GRID, PER_OVER_M, FIXED)

    def likely(egg):
        s = (np.arange(20_000) + 0.5) / 20_000 * egg.perimeter
        east_share = float(np.mean(egg.points_at(s).x >= 120))
        return FIXED + egg.perimeter * (east * east_share + west * (1 - east_share)) + PER_OVER_M * over_of(egg)

    return Pricing(cost, likely)


@pytest.fixture(scope="module")
def even():
    """Menu where a metre costs the same everywhere."""
    return menu_of(GROUND, project(menu_ha=[0.2, 0.5, 1.0, 1.5], budget=60_000.0), pricing())[0]


def of(menu, aim):
    return [a for a in menu if a.aim == aim]


def test_every_line_keeps_to_the_rules(even):
    for a in even:
        assert a.egg is not None
        share = a.value if a.aim == "share" else 0.1
        assert a.over_limits == pytest.approx(over_of(a.egg), abs=1e-3)
        assert over_of(a.egg) <= share * a.egg.perimeter + 1e-6
        # Shapely's own buffer of the outline; its chords stay inside the true curve by their error.
        assert FIELD.contains(a.egg.polygon(1e-5).buffer(OUTSIDE - 1e-3, quad_segs=64))
        assert a.egg.small_radius >= 15.0 - 1e-9
        assert 0.5 <= a.egg.taper <= 0.9 + 1e-9
        assert 1.1 - 1e-9 <= a.egg.aspect <= 1.6 + 1e-9


def test_where_all_ground_costs_the_same_the_roundest_egg_off_the_limits_is_cheapest(even):
    # Up to 0.5 ha it fits between the pond, the bank and the edge, or round the pond.
    for a in of(even, "size")[:2]:
        roundest = Egg.from_shape(0.9, 1.1, area=1e4 * a.value)
        assert a.egg.area == pytest.approx(1e4 * a.value)
        assert FIXED + PER_M * roundest.perimeter <= a.price <= 1.01 * (FIXED + PER_M * roundest.perimeter)


def test_the_price_told_is_that_of_the_bill_and_rises_with_size(even):
    for a in even:
        assert a.price == pytest.approx(FIXED + PER_M * a.egg.perimeter + PER_OVER_M * over_of(a.egg))
    for smaller, larger in itertools.pairwise(of(even, "size")):
        assert smaller.price < larger.price


def test_a_larger_share_never_gives_a_smaller_enclosure(even):
    areas = [a.egg.area for a in of(even, "share")]
    assert areas == sorted(areas)
    # To cross the bank twice takes about 2 (6 + strips) m of 400 m of line: with a tenth of it that is allowed.
    assert areas[-1] > 1.2 * areas[0]
    assert all(a.area_bound >= a.egg.area for a in even)


def test_the_budget_is_kept_and_spent(even):
    (a,) = of(even, "budget")
    assert 0.99 * 60_000 <= a.price <= 60_000
    between = [s for s in of(even, "size") if s.price <= 60_000]
    assert a.egg.area >= max(s.egg.area for s in between)


def test_cheap_ground_draws_the_line():
    menu, _ = menu_of(GROUND, project(menu_ha=[0.4]), pricing(east=2 * PER_M))
    west = of(menu, "size")[0].egg
    menu, _ = menu_of(GROUND, project(menu_ha=[0.4]), pricing(west=2 * PER_M))
    east = of(menu, "size")[0].egg
    assert west.points_at(np.linspace(0, west.perimeter, 50)).x.max() < 121
    assert east.points_at(np.linspace(0, east.perimeter, 50)).x.min() > 119


def test_a_budget_below_every_line_says_what_the_least_costs():
    menu, why = menu_of(GROUND, project(menu_ha=[0.5], budget=12_000.0), pricing())
    assert not menu[-1].feasible
    least = Egg.from_shape(0.9, 1.1, big_radius=15 / 0.9)
    price = FIXED + PER_M * least.perimeter
    assert say(why) == (
        "no fence line on this plot is within the budget of 12,000; about the cheapest encloses "
        f"{least.area / 1e4:.2f} ha for {round(price, -int(math.log10(price)) + 2):,.0f}"
    )


def test_ground_without_room_has_no_menu():
    narrow = LineGround(MultiPolygon([box(0, 0, 200, 9)]), {}, INSIDE, OUTSIDE)
    assert menu_of(narrow, project(budget=50_000.0), pricing()) == ((), None)


def test_the_menu_never_falls_behind_what_is_built(even, monkeypatch):
    # A search that hardly looks, and the line that a long one has found.
    hasty = Labour(1, (Round(1, (0.1, 0.01), (0.5, 0.1), (3.0, 15.0), samples=100.0, kept=1),), 1)
    for usual in ("FEW", "SOME"):
        monkeypatch.setattr(priced_lines, usual, hasty)
    found = next(a.egg for a in even if a.aim == "share" and a.value == 0.0)
    settings = project(menu_ha=[0.2], line_over_limits=0.0)
    alone, _ = menu_of(GROUND, settings, pricing())
    beside, _ = menu_of(GROUND, settings, pricing(), [Fit(found, 9e4, 0.0)])
    assert of(alone, "share")[0].egg.area < 0.9 * found.area
    assert of(beside, "share")[0].egg.area >= found.area


def test_the_menu_is_the_same_every_time(even):
    again, _ = menu_of(GROUND, project(menu_ha=[0.2, 0.5, 1.0, 1.5], budget=60_000.0), pricing())
    assert again == even


def alternative(aim, value, area):
    return Alternative(aim, value, 9e4, Egg.from_shape(0.6, 1.3, area=area), 0.0, 1e4)


def test_the_settings_pick_their_line_from_the_menu():
    menu = (alternative("size", 1.0, 1e4), alternative("size", 2.0, 2e4), alternative("budget", 5e4, 1.4e4))
    assert chosen(menu, project(budget=5e4))[0].egg == menu[2].egg
    assert chosen(menu, project(area_ha=2, prefer="price"))[0].egg == menu[1].egg
    assert chosen((Alternative("size", 2.0, 9e4),), project(area_ha=2, prefer="price")) == ()
    # What encloses more than was asked for is told in the menu, and not built.
    assert chosen((alternative("size", 2.0, 5e4),), project(area_ha=2, prefer="price")) == ()


def test_of_the_line_built_and_the_menus_the_larger_one_is_built():
    fit = Fit(Egg.from_shape(0.6, 1.3, area=1e4), 9e4, 0.5)
    menu = (alternative("share", 0.05, 1.1e4), alternative("share", 0.2, 3e4), alternative("size", 2.0, 2e4))
    assert at_least((fit,), menu, project())[0].egg == menu[0].egg
    assert at_least((fit,), menu[1:], project()) == (fit,)
    assert at_least((fit, fit), menu, project(packs=2)) == (fit, fit)
    assert at_least((fit,), menu, project(area_ha=1)) == (fit,)
    assert math.isclose(at_least((), menu, project())[0].egg.area, 1.1e4)
