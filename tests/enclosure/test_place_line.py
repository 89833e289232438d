"""Lines of a given area that are cheapest or lie best."""

import math

import numpy as np
import pytest
from shapely.geometry import MultiPolygon, box

from line_costs import line_cost
from packpale.enclosure.best_place import mean_over
from packpale.enclosure.drawn import DrawnLine
from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import Shapes
from packpale.enclosure.line_ground import LineCost, LineGround, Score
from packpale.enclosure.line_search import Labour, Round, Search
from packpale.enclosure.over_limits import over_limits_m
from packpale.enclosure.place_line import place_line
from packpale.site.grid import Grid

INSIDE, OUTSIDE = 4.5, 5.1
SHAPE = {"taper": (0.5, 0.9), "aspect": (1.1, 1.6), "min_radius": 8.0}
ROUNDS = (
    Round(800, (0.1, 0.01), (0.5, 0.1), (3.0, 15.0), samples=100.0, kept=12),
    Round(3000, (0.05, 0.002), (0.3, 0.02), (6.0, 40.0), samples=200.0, kept=4),
)
LITTLE = {"labour": Labour(60, ROUNDS, 600)}
FIELD = MultiPolygon([box(0, 0, 240, 140)])
GRID = Grid(-10.0, 150.0, 2.0, 80, 130)
EAST = np.broadcast_to(GRID.centres()[0], GRID.shape)
# The roundest and longest eggs of the ranges, by the perimeter of a square metre.
ROUNDEST = min(
    Egg.from_shape(k, a, area=1.0).perimeter for k in np.linspace(0.5, 0.9, 41) for a in np.linspace(1.1, 1.6, 51)
)


@pytest.fixture(scope="module")
def ground():
    """A field with a bank across it, 3 m wide."""
    return LineGround(FIELD, {"bank": MultiPolygon([box(150, -1, 153, 141)])}, INSIDE, OUTSIDE)


@pytest.fixture(scope="module")
def even():
    """A line costs 100 a metre everywhere, 50 more over limits, and 1,000 for gates."""
    return LineCost(np.full(GRID.shape, 100.0), GRID, 50.0, 1000.0)


def assert_feasible(egg, ground, share):
    assert over_limits_m(egg, ground.soft, inside=INSIDE, outside=OUTSIDE) <= share * egg.perimeter
    assert egg.parallel(OUTSIDE).polygon(1e-6).difference(ground.enclosable).area < 1e-6
    assert egg.small_radius >= 8.0


def test_cost_of_a_line_is_price_times_length_on_even_ground(ground, even):
    egg = Egg.from_shape(0.7, 1.4, big_x=60.0, big_y=70.0, axis_bearing_deg=90.0, big_radius=30.0)
    assert line_cost(egg, ground, even) == pytest.approx(100 * egg.perimeter + 1000, rel=1e-9)
    drawn = DrawnLine.from_polygon(box(20, 20, 100, 80), corner_deg=10)
    assert line_cost(drawn, ground, even) == pytest.approx(100 * 280 + 1000)
    # A square across the bank: its two sides cross it straight, 3 m each.
    across = DrawnLine.from_polygon(box(120, 20, 200, 80), corner_deg=10)
    assert line_cost(across, ground, even) == pytest.approx(100 * 280 + 1000 + 50 * 6)


def test_cost_where_prices_change_in_the_middle_and_are_not_known():
    prices = np.where(EAST < 100, 10.0, 30.0)
    prices[:, -20:] = math.nan
    cost = LineCost(prices, GRID, 0.0, 0.0)
    bare = LineGround(FIELD, {}, INSIDE, OUTSIDE)
    side = DrawnLine.from_polygon(box(60, 20, 160, 80), corner_deg=10)
    # Where the price changes half a step is right or wrong, twice.
    assert line_cost(side, bare, cost) == pytest.approx(10 * (80 + 60) + 30 * (120 + 60), abs=2 * cost.step / 2 * 20)
    unknown = DrawnLine.from_polygon(box(215, 20, 235, 80), corner_deg=10)
    assert line_cost(unknown, bare, cost) == pytest.approx(30 * 160)


@pytest.mark.parametrize("area", [3000.0, 9000.0])
def test_the_cheapest_on_even_ground_is_the_roundest_beside_the_bank(ground, even, area):
    fit = place_line(ground, 0.05, area, even, **SHAPE, **LITTLE)
    assert fit.egg.area == pytest.approx(area, rel=1e-9)
    assert_feasible(fit.egg, ground, 0.05)
    least = 100 * ROUNDEST * math.sqrt(area) + 1000
    assert least * (1 - 1e-6) <= line_cost(fit.egg, ground, even) <= 1.005 * least


def test_the_cheapest_goes_where_it_is_cheap(ground):
    prices = LineCost(np.where(EAST < 120, 200.0, 100.0), GRID, 10.0, 0.0)
    fit = place_line(ground, 0.1, 4000.0, prices, **SHAPE, **LITTLE)
    assert_feasible(fit.egg, ground, 0.1)
    assert fit.egg.polygon(0.1).bounds[0] > 119
    assert line_cost(fit.egg, ground, prices) <= 1.02 * 100 * ROUNDEST * math.sqrt(4000)


def test_the_best_placed_has_the_highest_mean(ground):
    """The score rises to the east, so the egg stands against the eastern edge, as far as its strip allows."""
    score = Score(EAST / 240, GRID)
    fit = place_line(ground, 0.1, 4000.0, score, **SHAPE, **LITTLE)
    assert fit.egg.area == pytest.approx(4000.0, rel=1e-9)
    assert_feasible(fit.egg, ground, 0.1)
    assert fit.egg.polygon(0.01).bounds[2] == pytest.approx(240 - OUTSIDE, abs=0.5)
    # The mean of the score is that of x, which is where the middle of the area lies.
    assert mean_over(fit.egg, score.known, GRID) == pytest.approx(fit.egg.polygon(0.001).centroid.x / 240, rel=1e-3)
    random = [
        Egg.from_shape(k, a, big_x=200.0, big_y=70.0, axis_bearing_deg=b, area=4000.0)
        for k in (0.5, 0.9)
        for a in (1.1, 1.6)
        for b in range(0, 360, 30)
    ]
    for egg in random:
        moved = 240 - OUTSIDE - 1e-3 - egg.polygon(0.001).bounds[2]
        assert (egg.polygon(0.001).centroid.x + moved) / 240 <= mean_over(fit.egg, score.known, GRID) * 1.005


def test_ground_that_is_prepared_serves_again(ground, even):
    on = Search.on(ground, Shapes(OUTSIDE, SHAPE["taper"], SHAPE["aspect"], SHAPE["min_radius"]))
    again = place_line(ground, 0.05, 3000.0, even, on=on, **SHAPE, **LITTLE)
    assert again.egg == place_line(ground, 0.05, 3000.0, even, **SHAPE, **LITTLE).egg


def test_what_does_not_fit_or_is_none(ground, even):
    assert place_line(ground, 0.05, 50_000.0, even, **SHAPE, **LITTLE) is None
    assert place_line(LineGround(MultiPolygon(), {}, 1.0, 1.0), 0.0, 10.0, even, **SHAPE) is None
    with pytest.raises(ValueError, match="area"):
        place_line(ground, 0.05, 0.0, even, **SHAPE)
    with pytest.raises(ValueError, match="share"):
        place_line(ground, -0.1, 100.0, even, **SHAPE)
    with pytest.raises(ValueError, match="shape"):
        LineCost(np.ones((2, 2)), GRID, 0.0, 0.0)
    with pytest.raises(ValueError, match="negative"):
        LineCost(np.full(GRID.shape, -1.0), GRID, 0.0, 0.0)
    with pytest.raises(ValueError, match="no number"):
        Score(np.full(GRID.shape, math.nan), GRID)
