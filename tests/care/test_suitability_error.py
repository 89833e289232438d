"""How far off the suitability inside may be: closed forms, the criteria themselves on shifted soil, and the price."""

import dataclasses
import math
from statistics import NormalDist

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from packpale.care import _kernels_suitability as kernels
from packpale.care import suitability_error
from packpale.care.suitability_error import drawn_suitability
from packpale.enclosure.place import cells_inside
from packpale.land.assess import assess
from packpale.settings import RateSettings
from packpale.site import Pit
from review import factory

SURE = {
    "rock_depth_sd_m": 0.0,
    "rock_depth_sd_at_pit_m": 0.0,
    "water_table_sd_m": 0.0,
    "water_table_sd_at_pit_m": 0.0,
}
DRAWS = 4000


def plot(*, rock=5.0, water=5.0, pits=(), weights=None, side=160.0, **errors):
    """A square plot of even soil with one fence line; every error off but those given."""
    settings = factory.project(
        uncertainty={**SURE, **errors},
        land={"weights": weights or {"diggability": 1.0}},
        run={"draws": DRAWS},
    )
    ground = factory.site(side=side)
    level = np.full(ground.grid.shape, 300.0)
    soil = dataclasses.replace(
        ground.soil,
        depth_to_rock=np.full(ground.grid.shape, rock),
        water_table=np.full(ground.grid.shape, water),
        drainage_class=np.zeros(ground.grid.shape, np.int8),
    )
    ground = dataclasses.replace(ground, elevation=level, soil=soil, pits=tuple(pits), features={}, standing=())
    line = factory.pack(ground, settings, _circle(ground, 50.0))
    return ground, assess(ground, settings), [line], settings


def _circle(ground, radius):
    from packpale.enclosure.egg import Egg

    side = ground.grid.cell * ground.grid.cols
    # An egg with a small end nearly as large as the big one.
    return Egg(ground.grid.west + side / 2, ground.grid.north - side / 2, 0.0, radius, 0.98 * radius, 0.05 * radius)


def s_curve(t):
    t = np.clip(t, 0, 1)
    return np.where(t < 0.5, 2 * t * t, 1 - 2 * (1 - t) ** 2)


def test_sure_ground_and_land_that_no_soil_counts_for_do_not_change():
    assert not drawn_suitability(*plot(rock=1.2)).any()
    assert not drawn_suitability(*plot(rock=1.2, weights={"slope": 1.0}, rock_depth_sd_m=0.5)).any()


def test_one_error_for_all_ground_moves_diggability_along_its_curve():
    # Hard rock limits digging from 149.9 cm to 99.9 cm, by the curve of the rule, typed here again.
    change = drawn_suitability(*plot(rock=1.25, rock_depth_sd_m=0.1, soil_correlation_m=10_000.0))
    now = 1 - s_curve((149.9 - 125) / 50)
    for share in (0.05, 0.25, 0.5, 0.75, 0.95):
        depth = 125 + 10 * NormalDist().inv_cdf(share)
        exact = 1 - s_curve((149.9 - depth) / 50) - now
        slope = 10 * 4 * 0.5 / 50
        density = NormalDist().pdf(NormalDist().inv_cdf(share)) / slope
        allowed = 5 * math.sqrt(share * (1 - share) / DRAWS) / density + 0.006
        assert np.quantile(change, share) == pytest.approx(exact, abs=allowed), share


def test_errors_that_differ_from_place_to_place_even_out():
    # In the middle of the curve it is all but straight, 4 % a centimetre: the mean error over a disc, by plain sums.
    wide = drawn_suitability(*plot(rock=1.249, rock_depth_sd_m=0.03, soil_correlation_m=10_000.0)).std()
    near = drawn_suitability(*plot(rock=1.249, rock_depth_sd_m=0.03, soil_correlation_m=20.0)).std()
    r = np.random.default_rng(2)
    points = r.uniform(-50, 50, (4000, 2))
    points = points[np.hypot(*points.T) <= 50]
    both = np.exp(-np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1)) / 20)
    assert near / wide == pytest.approx(math.sqrt(both.mean()), rel=0.08)


def test_pits_inside_leave_less_to_be_wrong():
    inside = [
        Pit(500_000 + 120 + dx, 5_500_000 - 120 + dy, {"depth_to_rock_m": 1.25})
        for dx in (-25, 0, 25)
        for dy in (-25, 0, 25)
    ]
    settings = {"rock": 1.25, "rock_depth_sd_m": 0.2, "rock_depth_sd_at_pit_m": 0.05, "soil_correlation_m": 40.0}
    without, beside = drawn_suitability(*plot(**settings)), drawn_suitability(*plot(**settings, pits=inside))
    assert beside.std() < 0.5 * without.std()


def test_rock_and_water_together_are_what_the_criteria_say_of_shifted_soil():
    # The same error all over the ground, both layers: each quantile by the room that scores land, on soil that is off.
    ground, land, packs, settings = plot(
        rock=1.25,
        water=1.0,
        weights={"diggability": 2.0, "drainage": 1.0},
        rock_depth_sd_m=0.3,
        water_table_sd_m=0.3,
        water_table_sd_at_pit_m=0.3,
        soil_correlation_m=10_000.0,
    )
    got = drawn_suitability(ground, land, packs, settings)
    r = np.random.default_rng(5)
    inside = cells_inside(packs[0].line, ground)
    changes = []
    for e, f in 0.3 * r.normal(size=(400, 2)):
        soil = dataclasses.replace(
            ground.soil,
            depth_to_rock=np.maximum(ground.soil.depth_to_rock + e, 0),
            water_table=np.maximum(ground.soil.water_table + f, 0),
        )
        shifted = assess(dataclasses.replace(ground, soil=soil), settings)
        changes.append((shifted.suitability - land.suitability)[inside].mean())
    changes = np.array(changes, float)
    assert got.mean() == pytest.approx(changes.mean(), abs=5 * changes.std() / math.sqrt(400))
    assert got.std() == pytest.approx(changes.std(), rel=0.12)


def test_a_draw_with_dear_rock_under_the_fence_has_land_that_is_hard_to_dig():
    from packpale.earthworks.work_out import work_out
    from packpale.enclosure.model import Enclosure

    ground, land, packs, settings = plot(rock=1.25, rock_depth_sd_m=0.3, soil_correlation_m=60.0)
    change = drawn_suitability(ground, land, packs, settings)
    firm = RateSettings(**{name: [r[1]] * 3 for name, r in RateSettings() if isinstance(r, tuple)})
    settings = settings.model_copy(update={"rates": firm})
    price = work_out(ground, Enclosure(tuple(packs), None), settings).uncertainty.drawn_price
    assert np.corrcoef(price, change)[0, 1] < -0.6


def test_draws_do_not_depend_on_how_many_are_worked_on_at_a_time(monkeypatch):
    case = plot(rock=1.25, rock_depth_sd_m=0.3, water=1.1, water_table_sd_m=0.3)
    whole = drawn_suitability(*case)
    monkeypatch.setattr(suitability_error, "CHUNK", 777)
    np.testing.assert_allclose(drawn_suitability(*case), whole, rtol=0, atol=1e-12)
    assert whole.std() > 0.01


def test_loops_are_those_of_their_plain_twins():
    random = np.random.default_rng(8)
    cells, blocks, rocks, waters, draws = 200, 7, 5, 6, 40
    block, as_is = random.integers(0, blocks, cells), random.random(cells)
    by_rock, by_water, dry = (random.random((cells, n)) for n in (rocks, waters, waters))
    table = np.zeros((blocks, rocks, waters))
    kernels.add_changes(block, as_is, by_rock, by_water, dry, 0.6, 0.3, table)
    worst = np.maximum(by_rock[:, :, None], by_water[:, None, :])
    change = 0.3 * dry[:, None, :] - 0.6 * worst - as_is[:, None, None]
    assert table == pytest.approx(np.array([change[block == b].sum(axis=0) for b in range(blocks)]))

    shifts = np.linspace(-2, 2, rocks), np.linspace(-1, 1, waters)
    errors = random.normal(0, 1.5, (2, draws, blocks))
    # Some lie beyond the last shift, where the table goes on as it ends.
    assert (abs(errors[1]) > 1).any()
    twin = RegularGridInterpolator
    told = [
        sum(
            twin(shifts, table[b])([np.clip(errors[0, d, b], -2, 2), np.clip(errors[1, d, b], -1, 1)])[0]
            for b in range(blocks)
        )
        for d in range(draws)
    ]
    assert kernels.sum_changes(table, *shifts, *errors) == pytest.approx(told)
