"""The priced list: every rate used once, quantities by hand, totals and percentiles."""

import math
from statistics import NormalDist

import numpy as np
import pytest

from packpale.earthworks.fence_take_off import fence_take_off
from packpale.earthworks.model import Item, Volumes
from packpale.earthworks.price import drawn_prices, total_cost
from packpale.earthworks.quantities import take_off
from packpale.settings import RateSettings
from trench_cases import circle_line, pack_of, project_of


def volumes(pack):
    return Volumes(
        pack=pack, fence_length=100.0, section_area=2.0, cut=200.0, rock=50.0, wet=20.0, average_end_area=199.0,
        backfill_compacted=200.0, import_compacted=65.0, cut_loose=260.0, surplus_loose=75.0, stripped_area=360.0,
        cut_at_station=np.zeros(3), invert=np.zeros(3),
        soft_rock=10.0, hard_rock=40.0,
    )  # fmt: skip


def taken_off(packs, **sections):
    project = project_of(**sections)
    fences = [fence_take_off(p, fence=project.fence, trench=project.trench, mesh=project.mesh) for p in packs]
    return take_off([volumes(p.number) for p in packs], fences, rates=project.rates)


def test_every_rate_of_the_settings_is_used_exactly_once():
    items = taken_off([pack_of(circle_line(20.0, step=1.0))])
    assert [i.key for i in items] == list(RateSettings.model_fields)
    assert {i.key: i.rate for i in items} == RateSettings().model_dump()


def test_quantities_by_hand():
    line = circle_line(20.0, step=1.0)
    packs = [
        pack_of(line, number=1, length_3d=130.0, posts=44, gates=2),
        pack_of(line, number=2, length_3d=70.0, posts=24, gates=1),
    ]
    # Without laps, overhang and airlocks the quantities can be had in the head; those are measured in their own tests.
    items = taken_off(
        packs,
        fence={
            "height_m": 2.5, "overhang_m": 0.0, "gate_width_m": 4.0, "airlock_length_m": 0.0, "straining_wires": 3,
            "hole_diameter_m": 0.4, "hole_depth_m": 1.0,
        },
        trench={"depth_m": 1.2, "apron_reach_m": 0.0},
        mesh={"lap_m": 0.0, "wire_tie_spacing_m": 1, "post_tie_spacing_m": 1, "lap_tie_spacing_m": 10},
    )  # fmt: skip
    found = {i.key: (i.quantity, i.unit) for i in items}
    assert found == {
        "strip_and_clear_per_m2": (720.0, "m2"),
        "excavate_soil_per_m3": (300.0, "m3"),  # 2 x (200 - 50)
        "excavate_soft_rock_per_m3": (20.0, "m3"),
        "excavate_rock_per_m3": (80.0, "m3"),
        "extra_over_wet_per_m3": (40.0, "m3"),
        "backfill_and_compact_per_m3": (400.0, "m3"),
        "import_fill_per_m3": (130.0, "m3"),
        "place_surplus_per_m3": (150.0, "m3"),
        # Rolls of 50 m2. 122 and 66 m of fence, 2.5 m high: 5 and 3 rolls as they are, and 0.5 m, four out of a roll.
        "mesh_per_m2": (50.0 * (5 + 2 + 3 + 1), "m2"),
        # 1.2 m of skirt is one strip out of a roll: 130 m take 6, 70 m take 3.
        "buried_mesh_per_m2": (50.0 * 9, "m2"),
        "post_each": (68.0, "each"),
        "strutted_post_each": (0.0, "each"),
        "gate_post_each": (0.0, "each"),
        "overhang_arm_each": (0.0, "each"),
        "straining_wire_per_m": (pytest.approx(3 * 188), "m"),
        # On wires; 2.5 m of post takes 3. In laps: fence 122 + 5 x 2.5 m and 66 + 3 x 2.5 m, skirt 6 x 1.2 m and
        # 3 x 1.2 m; where it joins the fence 122 and 66 m.
        "tie_each": (3 * 188 + 3 * 68 + 15 + 8 + 13 + 7, "each"),
        "anchor_each": (0.0, "each"),
        "footing_hole_each": (68.0, "each"),
        "concrete_per_m3": (pytest.approx(68 * math.pi * 0.2**2 * 1.0), "m3"),
        "gate_each": (3.0, "each"),
        "erect_fence_per_m": (188.0, "m"),
        "over_limit_per_m": (0.0, "m"),
    }


ITEMS = (
    Item("a", "digging", "m3", 200.0, (5.0, 8.0, 14.0)),
    Item("b", "mesh", "m2", 900.0, (9.0, 13.0, 20.0)),
    Item("c", "gates", "each", 2.0, (900.0, 900.0, 900.0)),
    Item("d", "rock", "m3", 0.0, (45.0, 80.0, 160.0)),
)


def prices(items, *, draws, seed=1, quantities=None):
    return drawn_prices(items, quantities or {}, draws=draws, seed=seed)[0]


def test_totals_with_all_rates_at_one_end():
    cost = total_cost(ITEMS)
    assert cost["low"] == pytest.approx(200 * 5 + 900 * 9 + 1800)
    assert cost["likely"] == pytest.approx(200 * 8 + 900 * 13 + 1800)
    assert cost["high"] == pytest.approx(200 * 14 + 900 * 20 + 1800)
    drawn = prices(ITEMS, draws=1000)
    assert cost["low"] < drawn.min() < drawn.max() < cost["high"]


def test_percentiles_of_one_rate_are_those_of_its_distribution():
    # Below the peak the triangular distribution function is (x - a)^2 / ((b - a)(c - a)), above it the mirror image.
    low, likely, high = 5.0, 8.0, 14.0
    n = 200_000
    drawn = prices([Item("a", "", "m3", 1.0, (low, likely, high))], draws=n, seed=4)
    p10 = low + math.sqrt(0.1 * (high - low) * (likely - low))
    p90 = high - math.sqrt(0.1 * (high - low) * (high - likely))
    # Five standard errors of a sample quantile: sqrt(p (1 - p) / n) over the density there.
    for share, exact in ((0.1, p10), (0.9, p90)):
        span = likely - low if share < 0.5 else high - likely
        density = 2 * abs(exact - (low if share < 0.5 else high)) / ((high - low) * span)
        allowed = 5 * math.sqrt(share * (1 - share) / n) / density
        assert np.quantile(drawn, share) == pytest.approx(exact, abs=allowed)


def test_mean_and_variance_of_a_sum_of_rates():
    # Of one triangular rate: mean (a + b + c) / 3, variance (a2 + b2 + c2 - ab - ac - bc) / 18; independent, they add.
    n = 200_000
    drawn = prices(ITEMS, draws=n)
    mean = variance = 0.0
    for item in ITEMS:
        a, b, c = item.rate
        mean += item.quantity * (a + b + c) / 3
        variance += item.quantity**2 * (a * a + b * b + c * c - a * b - a * c - b * c) / 18
    assert drawn.mean() == pytest.approx(mean, abs=5 * math.sqrt(variance / n))
    fourth = ((drawn - mean) ** 4).mean()
    assert drawn.var() == pytest.approx(variance, abs=5 * math.sqrt((fourth - variance**2) / n))


def test_many_equal_rates_spread_like_a_normal_distribution():
    # Central limit theorem: the sum of k independent rates has k times the mean and variance of one.
    a, c, b, k = 2.0, 5.0, 8.0, 60
    variance = k * (a * a + b * b + c * c - a * b - a * c - b * c) / 18
    drawn = prices([Item(str(i), "", "m", 1.0, (a, c, b)) for i in range(k)], draws=50_000, seed=2)
    normal = NormalDist(k * (a + b + c) / 3, math.sqrt(variance))
    for share in (0.1, 0.5, 0.9):
        assert np.quantile(drawn, share) == pytest.approx(normal.inv_cdf(share), abs=0.03 * normal.stdev)


def test_rates_without_spread_make_a_price_without_spread():
    items = [Item("c", "", "each", 3.0, (7.0, 7.0, 7.0))]
    assert set(prices(items, draws=100)) == {21.0}


def test_drawn_quantities_take_the_place_of_the_items_own():
    items = [Item("a", "", "m3", 3.0, (7.0, 7.0, 7.0)), Item("b", "", "m", 2.0, (5.0, 5.0, 5.0))]
    np.testing.assert_allclose(prices(items, draws=3, quantities={"a": np.array([0.0, 1.0, 2.0])}), [10.0, 17.0, 24.0])


def test_same_seed_and_plot_give_the_same_prices_and_others_do_not():
    first = prices(ITEMS, draws=500)
    np.testing.assert_array_equal(prices(ITEMS, draws=500), first)
    assert (prices(ITEMS, draws=500, seed=2) != first).all()


def test_a_rate_is_drawn_the_same_whatever_else_a_plot_is_priced_by():
    _, whole = drawn_prices(ITEMS, {}, draws=500, seed=1)
    _, part = drawn_prices([ITEMS[1]], {}, draws=500, seed=1)
    np.testing.assert_array_equal(part["b"], whole["b"])
    # Independent of the others all the same.
    assert abs(np.corrcoef(whole["a"], whole["b"])[0, 1]) < 5 / np.sqrt(500)
