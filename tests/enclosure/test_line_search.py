"""What the search sees of an egg through rasters and samples, against the exact measures; and the polish's own sums."""

import math

import numpy as np
import pytest
import shapely
from shapely.geometry import MultiPolygon, Point, box

from line_costs import line_cost
from packpale.enclosure import _kernels_line
from packpale.enclosure.best_place import mean_over
from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import Shapes
from packpale.enclosure.line_ground import LineCost, LineGround, Score
from packpale.enclosure.line_search import BY_SCORE, Aim, Search, Side
from packpale.enclosure.over_limits import over_limits_m
from packpale.site.grid import Grid

AT = (500_000.0, 5_400_000.0)
INSIDE, OUTSIDE = 4.5, 5.1
GRID = Grid(AT[0] - 160, AT[1] + 130, 2.0, 130, 160)


@pytest.fixture(scope="module")
def on():
    """A field with a no-go disc in the middle, and banks."""
    field = box(-150, -120, 150, 120).difference(Point(0, 0).buffer(4))
    banks = [box(-150, 40, 150, 44), box(30, -120, 33, 40), box(-90, -60, -60, -20)]
    moved = [shapely.affinity.translate(area, *AT) for area in (field, *banks)]
    ground = LineGround(MultiPolygon(moved[:1]), {"bank": MultiPolygon(moved[1:])}, INSIDE, OUTSIDE)
    return Search.on(ground, Shapes(OUTSIDE, (0.5, 0.9), (1.1, 1.6), 0.0))


@pytest.fixture(scope="module")
def rasters():
    x, y = GRID.centres()
    cost = LineCost(60 + 30 * np.sin(x[None, :] / 40) * np.cos(y[:, None] / 30), GRID, 50.0, 700.0)
    score = Score(0.5 + 0.4 * np.sin(x[None, :] / 50 + y[:, None] / 70), GRID)
    return Aim(0.1, "score", area=1.0, cost=cost, score=score)


def random_eggs(on, count=40):
    """Eggs anywhere in the field, as positions about the middle of the axis and as what they are."""
    rng = np.random.default_rng(4)
    for _ in range(count):
        k, a, R = rng.uniform(0.5, 0.9), rng.uniform(1.1, 1.6), rng.uniform(12, 45)
        x, y = rng.uniform(-100, 100), rng.uniform(-70, 70)
        psi = rng.uniform(0, 2 * math.pi)
        egg = Egg.from_shape(
            k, a, big_x=x + AT[0], big_y=y + AT[1], axis_bearing_deg=90 - math.degrees(psi), big_radius=R
        )
        x, y = x + AT[0] - on.land.origin[0], y + AT[1] - on.land.origin[1]
        half = (a - 1) * R
        middle = np.array([x + half * math.cos(psi), y + half * math.sin(psi), psi, k, a, math.log(R)])
        yield egg, middle, np.array([x, y, psi, k, a])


def test_samples_measure_an_egg_as_it_is(on, rasters):
    """Cells of half a metre and some 200 samples: each end of a stretch is right to about a metre and a half."""
    for egg, middle, _ in random_eggs(on):
        sums = np.empty((1, 4))
        _kernels_line.measure(middle[None], 400.0, on.rasters(rasters)[1:], True, True, 1.0, np.full(1, np.inf), sums)
        over, no_go, cost, inside = sums[0]
        outline, land = egg.polygon(0.01), on.ground.enclosable
        near = outline.exterior.intersection(shapely.affinity.translate(Point(0, 0), *AT).buffer(4 + OUTSIDE))
        beyond = outline.exterior.difference(land.envelope.buffer(-OUTSIDE)).length
        assert no_go == pytest.approx(near.length + beyond, abs=5.0)
        if no_go == 0:
            # The line counts as over limits or as too near to no-go ground, never as both.
            exact = over_limits_m(egg, on.ground.soft, inside=INSIDE, outside=OUTSIDE)
            assert over == pytest.approx(exact, abs=8.0)
        along = line_cost(egg, LineGround(land, {}, INSIDE, OUTSIDE), rasters.cost) - 700
        assert cost == pytest.approx(along, rel=0.01)
        assert inside / egg.area == pytest.approx(mean_over(egg, rasters.score.known, GRID), abs=0.01)


def rated(on, aim, middle, samples, *, hard=1.0, least=-np.inf):
    """What an egg is worth and what it misses."""
    work = np.empty((1, 8))
    aims = aim.numbers(on.shapes.log_min_radius)
    _kernels_line.rate(middle[None], aims, samples, on.rasters(aim), on.exact, hard, np.full(1, least), work)
    return work[0, 0], work[0, 1]


def test_the_polish_adds_up_what_the_egg_costs_and_holds(on, rasters):
    """Price, length over limits, area and mean are those that the egg as reported has; no-go ground is never missed."""
    inside_land = on.ground.enclosable
    seen = set()
    for egg, middle, _ in random_eggs(on):
        room = egg.parallel(OUTSIDE).polygon(1e-4)
        over = over_limits_m(egg, on.ground.soft, inside=INSIDE, outside=OUTSIDE)
        area, missed = rated(on, Aim(0.0), middle, 0.0)
        assert area == pytest.approx(math.log(egg.area), rel=1e-9)
        clear = room.difference(inside_land).area < 1e-3
        seen.add((clear, bool(egg.contains(*AT))))
        if not clear:
            assert missed > (over - 0.01) / egg.perimeter + 1e-4
            continue
        assert missed * egg.perimeter == pytest.approx(over, abs=0.01)
        assert rated(on, Aim(0.05), middle, 0.0)[1] == pytest.approx(max(over / egg.perimeter - 0.05, 0), abs=1e-4)
        price, _ = rated(on, Aim(0.1, "cost", area=egg.area, cost=rasters.cost), middle, 0.0)
        assert price == pytest.approx(-math.log(line_cost(egg, on.ground, rasters.cost)), abs=1e-3)
        mean, _ = rated(on, Aim(0.1, "score", area=egg.area, score=rasters.score), middle, 0.0)
        assert mean / BY_SCORE == pytest.approx(mean_over(egg, rasters.score.known, GRID), abs=2e-3)
    assert {(True, False), (False, True), (False, False)} == seen


@pytest.mark.parametrize("samples", [0.0, 100.0])
def test_what_is_worse_than_asked_for_is_told_without_all_of_it(on, rasters, samples):
    """An egg that is left half measured is one that would have been turned down, and no other is."""
    left = 0
    for egg, middle, _ in random_eggs(on):
        for aim in (
            Aim(0.02),
            Aim(0.02, "cost", area=egg.area, cost=rasters.cost),
            Aim(0.02, "score", area=egg.area, score=rasters.score),
        ):
            value, missed = rated(on, aim, middle, samples)
            for least in (value - 30 * missed - 0.01, value - 30 * missed + 0.01):
                again, more = rated(on, aim, middle, samples, hard=30.0, least=least)
                if more < math.inf:
                    assert (again, more) == (value, missed)
                assert (again - 30 * more >= least) == (least < value - 30 * missed)
                left += more == math.inf
    assert left > 20


def test_a_climb_keeps_the_conditions_and_never_ends_lower(on, rasters):
    """From an egg that crosses a bank and one that is too large by itself; where nothing is feasible it says so."""
    aim = Aim(0.05)
    aims, ground = aim.numbers(on.shapes.log_min_radius), (on.rasters(aim), on.exact)
    higher = 0
    for egg, middle, _ in random_eggs(on):
        z = middle[None].copy()
        worth = _kernels_line.climb(z, 0.03, 200, aims, on.limits, 1, *ground)
        value, missed = rated(on, aim, middle, 0.0)
        if worth == -math.inf:
            assert missed > 0
            continue
        assert rated(on, aim, z[0], 0.0) == (pytest.approx(worth, abs=1e-9), 0.0)
        if missed == 0:
            assert worth >= value
        x, y, psi, k, a, log_R = z[0]
        half = (a - 1) * math.exp(log_R)
        ended = Egg.from_shape(
            k,
            a,
            big_x=x - half * math.cos(psi) + on.land.origin[0],
            big_y=y - half * math.sin(psi) + on.land.origin[1],
            axis_bearing_deg=90 - math.degrees(psi),
            big_radius=math.exp(log_R),
        )
        assert ended.parallel(OUTSIDE).polygon(1e-6).difference(on.ground.enclosable).area < 1e-6
        over = over_limits_m(ended, on.ground.soft, inside=INSIDE, outside=OUTSIDE)
        assert over <= 0.05 * ended.perimeter
        higher += ended.area > 1.05 * egg.area
    assert higher > 5


def test_behind_a_line_everything_stays_behind_it(on):
    """The quick search of a piece keeps the strip on its side, give or take half a cell."""
    from packpale.enclosure.line_packs import _QUICK

    side = Side(0.3, -20.0)
    found = on.quickly(Aim(0.2), _QUICK, (side,))
    x, y, psi, k, a, log_R = found[1:]
    egg = Egg.from_shape(k, a, big_x=x, big_y=y, axis_bearing_deg=90 - math.degrees(psi), big_radius=math.exp(log_R))
    reach = egg.support(math.cos(0.3), math.sin(0.3)) + x * math.cos(0.3) + y * math.sin(0.3)
    assert egg.area > 2000
    assert reach + OUTSIDE <= -20.0 + 1.0
    assert side.depth(np.array([[0.0, 0.0]]))[0] == -20.0
