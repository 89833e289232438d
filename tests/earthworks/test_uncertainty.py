"""How sure volumes and price are: closed forms of simple trenches, a plain twin, and what is said of the spread."""

import dataclasses
import math
from statistics import NormalDist

import numpy as np
import pytest
from scipy import stats

from packpale.earthworks import _kernels_uncertainty, uncertainty
from packpale.earthworks.estimate_class import estimate_class
from packpale.earthworks.ground_error import covariance_left, segments
from packpale.earthworks.model import Item
from packpale.earthworks.narrowing import Ground, all_pits, best_pits, narrowed, narrowing, pit_places
from packpale.earthworks.price import drawn_prices
from packpale.earthworks.section import TrenchSection
from packpale.earthworks.uncertainty import drivers
from packpale.earthworks.work_out import work_out
from packpale.settings import RateSettings
from packpale.site import Pit
from packpale.values.estimate_classes import estimate_classes
from trench_cases import circle_line, enclosure_of, length_of, pack_of, plane, project_of, site_of

Z90 = NormalDist().inv_cdf(0.9)
VERTICAL = {
    "depth_m": 1.2,
    "bottom_width_m": 0.6,
    "apron_reach_m": 1.8,
    "apron_cover_m": 0.3,
    "side_slope": 0.0,
    "over_dig_m": 0.0,
}
SURE = {
    "elevation_rmse_m": 0.0,
    "rock_depth_sd_m": 0.0,
    "rock_depth_sd_at_pit_m": 0.0,
    "water_table_sd_m": 0.0,
    "water_table_sd_at_pit_m": 0.0,
}
FIRM = {name: [r[1]] * 3 for name, r in RateSettings()}


def works(
    *,
    ground=None,
    radius=30.0,
    soil=None,
    pits=(),
    trench=None,
    errors=None,
    rates=None,
    draws=4000,
    seed=1,
    packs=None,
    plot_id=None,
):
    """Earthworks of a circle with vertical walls, every error off but those given."""
    ground = ground or plane()
    line = circle_line(radius, step=1.0, elevation=ground)
    site = dataclasses.replace(site_of(ground, half=1.3 * radius + 8, **(soil or {})), pits=tuple(pits))
    site = site if plot_id is None else dataclasses.replace(site, plot_id=plot_id)
    project = project_of(
        trench={**VERTICAL, **(trench or {})},
        uncertainty={**SURE, **(errors or {})},
        rates=rates or {},
        run={"draws": draws, "seed": seed},
    )
    return work_out(site, enclosure_of(*(packs or [pack_of(line)])), project), line


def se(share, sd, draws=4000):
    """Five standard errors of a quantile of a normal variable."""
    density = NormalDist().pdf(NormalDist().inv_cdf(share)) / sd
    return 5 * math.sqrt(share * (1 - share) / draws) / density


EVEN = {"rock": 0.8, "water": 1.0}
# Two soils with borders at an angle to the line, between stations.
TWO = {"rock": lambda x, y: np.where(x > 11, 0.6, 1.1), "water": lambda x, y: np.where(y > 27, 0.9, 9.0)}


@pytest.mark.parametrize("soil", [EVEN, TWO], ids=["one soil", "two soils"])
def test_ground_that_is_sure_has_the_volumes_drawn(soil):
    found, _ = works(soil=soil)
    v, u = found.volumes[0], found.uncertainty
    for name, figure in (
        ("cut", v.cut),
        ("soil", v.cut - v.rock),
        ("rock", v.rock),
        ("hard_rock", v.rock),
        ("soft_rock", 0.0),
        ("wet", v.wet),
        ("surplus_loose", v.surplus_loose),
        ("import_compacted", v.import_compacted),
    ):
        assert u.volumes[name] == pytest.approx((figure,) * 3, abs=1e-6), name
    assert {d.name.split(":")[0] for d in u.drivers} == {"rate"}
    assert found.cost["p10"], found.cost["p50"] == u.price[:2]


def test_firm_rates_on_sure_ground_leave_one_price():
    found, _ = works(soil={"rock": 0.8, "water": 1.0}, rates=FIRM)
    assert found.uncertainty.price == pytest.approx((found.cost["likely"],) * 3)
    assert found.uncertainty.drivers == ()
    assert found.uncertainty.narrowing == "No single rate and no pit would narrow the price by as much as 1 %."
    assert found.uncertainty.pits == ()


def test_pits_that_would_tell_next_to_nothing_are_not_asked_for():
    # Rock three standard deviations below the bottom: met too seldom to matter beside the rates.
    found, _ = works(soil={"rock": 2.7}, errors={"rock_depth_sd_m": 0.5})
    assert found.uncertainty.pits == ()
    assert "pit" not in found.uncertainty.narrowing


@pytest.mark.parametrize(("layer", "part"), [("rock", "rock"), ("water", "wet")])
def test_one_error_for_all_ground_moves_the_volume_along_its_closed_form(layer, part):
    # Rock at 1.0 m under a bottom of 0.6 m at 1.2 m, the same error everywhere: 0.6 (0.2 - error) a metre, down to
    # none, and never more shallow than the bench with so small an error.
    key = {"rock": "rock_depth_sd", "water": "water_table_sd"}[layer]
    errors = {f"{key}_m": 0.1, "soil_correlation_m": 10_000.0}
    found, line = works(soil={layer: 1.0}, errors=errors)
    p10, p50, p90 = found.uncertainty.volumes[part]
    perimeter = length_of(line)
    for share, got in ((0.1, p10), (0.5, p50), (0.9, p90)):
        exact = 0.6 * max(0.0, 0.2 + 0.1 * NormalDist().inv_cdf(share)) * perimeter
        assert got == pytest.approx(exact, abs=se(share, 0.06 * perimeter))
    other = "wet" if part == "rock" else "rock"
    assert found.uncertainty.volumes[other] == (0.0, 0.0, 0.0)


def test_water_beside_pits_is_off_by_the_season_all_along():
    # Equal far and near: no part is left to distance, and the whole line shares one error.
    errors = {"water_table_sd_m": 0.1, "water_table_sd_at_pit_m": 0.1, "soil_correlation_m": 5.0}
    found, line = works(soil={"water": 1.0}, errors=errors)
    p10, _, p90 = found.uncertainty.volumes["wet"]
    assert (p90 - p10) / 2 == pytest.approx(0.06 * Z90 * length_of(line), abs=se(0.9, 0.06 * length_of(line)))


def test_rock_beside_pits_is_uneven_from_segment_to_segment():
    # Independent from one segment to the next: the sum of n has the standard deviation of one times sqrt(n).
    errors = {"rock_depth_sd_m": 0.05, "rock_depth_sd_at_pit_m": 0.05, "soil_correlation_m": 30.0}
    found, line = works(soil={"rock": 0.9}, errors=errors)
    n = segments([pack_of(line)], 30.0).x.size
    p10, _, p90 = found.uncertainty.volumes["rock"]
    sd = 0.6 * 0.05 * length_of(line) / math.sqrt(n)
    assert (p90 - p10) / 2 / Z90 == pytest.approx(sd, rel=0.08)


def test_errors_that_differ_along_the_line_average_out():
    # Linear in the error: the variance of the sum is w^2 s^2 times the double integral of exp(-chord / L), on a circle
    # P times the integral over one lap.
    length, sd, radius = 15.0, 0.05, 60.0
    found, line = works(
        radius=radius,
        soil={"rock": 0.9},
        errors={"rock_depth_sd_m": sd, "soil_correlation_m": length, "elevation_correlation_m": length},
    )
    perimeter = length_of(line)
    s = (np.arange(100_000) + 0.5) * perimeter / 100_000
    lap = np.exp(-2 * radius * np.sin(s / 2 / radius) / length).mean() * perimeter
    expected = 0.6 * sd * math.sqrt(perimeter * lap)
    p10, p50, p90 = found.uncertainty.volumes["rock"]
    assert (p90 - p10) / 2 / Z90 == pytest.approx(expected, rel=0.06)
    assert p50 == pytest.approx(0.6 * 0.3 * perimeter, abs=se(0.5, expected))


def test_machine_that_digs_deeper_than_drawn_adds_evenly_to_the_cut():
    found, line = works(trench={"over_dig_m": 0.1, "side_slope": 0.5})
    drawn, dug = (TrenchSection(d, 0.6, 1.8, 0.3, 0.5) for d in (1.2, 1.3))

    def volume(section):
        return section.area * (length_of(line) + 2 * math.pi * section.centroid_offset)

    more = volume(dug) - volume(drawn)
    for share, got in zip((0.1, 0.5, 0.9), found.uncertainty.volumes["cut"], strict=True):
        # A sample quantile of an even distribution.
        allowed = 5 * more * math.sqrt(share * (1 - share) / 4000)
        assert got == pytest.approx(volume(drawn) + share * more, abs=allowed)
    assert "depth dug beyond what is drawn" in {d.name for d in found.uncertainty.drivers}


def test_trench_that_follows_the_ground_does_not_feel_the_elevation_model():
    soil = {"rock": 0.8, "water": 1.0}
    without, _ = works(ground=plane(0.2), soil=soil)
    with_, _ = works(ground=plane(0.2), soil=soil, errors={"elevation_rmse_m": 5.0})
    assert with_.uncertainty == without.uncertainty


def test_level_trench_feels_the_elevation_model_across_its_section():
    level = {"formation": "level"}
    spreads = []
    for rmse in (0.0, 0.05, 0.1):
        found, _ = works(trench=level, errors={"elevation_rmse_m": rmse, "elevation_correlation_m": 10.0})
        p10, p50, p90 = found.uncertainty.volumes["cut"]
        assert p50 == pytest.approx(found.volumes[0].cut, rel=0.02)
        spreads.append(p90 - p10)
    assert spreads[0] == pytest.approx(0.0, abs=1e-6)
    assert spreads[2] == pytest.approx(2 * spreads[1], rel=1e-3)
    assert "elevation under the trench" in {d.name for d in found.uncertainty.drivers}


def test_all_errors_together_against_cutting_every_draw_anew():
    # The slow way: a new error for each station's segment, cut by the kernel itself, balanced and priced by hand.
    from packpale.earthworks.volume import along_curve, cut_sections, mean_curvature

    def ground(x, y):
        return 100 + 0.15 * x + np.sin(y / 6)

    def rock(x, y):
        return 0.9 + 0.5 * np.sin(x / 7)

    errors = {"rock_depth_sd_m": 0.4, "rock_depth_sd_at_pit_m": 0.1, "soil_correlation_m": 40.0}
    pits = [Pit(12.0, 3.0, {"depth_to_rock_m": 1.0})]
    found, line = works(
        ground=ground,
        radius=12.0,
        soil={"rock": rock},
        pits=pits,
        errors=errors,
        trench={"side_slope": 0.5},
        rates=FIRM,
        draws=10_000,
    )
    site = site_of(ground, half=1.3 * 12 + 8, rock=rock)
    parts = segments([pack_of(line)], 30.0)
    at = np.repeat(np.arange(parts.x.size), parts.stations)
    points = np.column_stack([parts.x, parts.y])
    k = covariance_left(points, np.array([[12.0, 3.0]]), correlation=40.0, variance=0.4**2 - 0.1**2)
    drawn = np.random.default_rng(9).multivariate_normal(np.zeros(len(k)), k + 0.01 * np.eye(len(k)), 800)
    curvature = mean_curvature(line, side="outside")
    section = TrenchSection(1.2, 0.6, 1.8, 0.3, 0.5)
    rocks = []
    for error in drawn:
        cuts = cut_sections(section, line, site, side="outside", formation="follow", rock_shift=error[at])
        rocks.append(along_curve(cuts.rock, curvature, step=line.step))
    rocks = np.array(rocks)
    for share, got in zip((0.1, 0.5, 0.9), found.uncertainty.volumes["rock"], strict=True):
        assert got == pytest.approx(np.quantile(rocks, share), abs=se(share, rocks.std(), 800))
    # Each cubic metre of hard rock in the place of soil: dug dearer, does not go back, is carried off.
    adds = 80.0 - 8.0 + 0.9 * 20.0 + 1.5 * 4.0
    prices = found.cost["likely"] + (rocks - found.volumes[0].rock) * adds
    for share, got in zip((0.1, 0.5, 0.9), found.uncertainty.price, strict=True):
        assert got == pytest.approx(np.quantile(prices, share), abs=se(share, prices.std(), 800))


def test_pits_along_the_line_narrow_the_rock():
    errors = {"rock_depth_sd_m": 0.5, "rock_depth_sd_at_pit_m": 0.05, "soil_correlation_m": 40.0}
    soil = {"rock": 1.0}
    angle = np.arange(12) * math.pi / 6
    ring = [Pit(30 * math.sin(a), 30 * math.cos(a), {"depth_to_rock_m": 1.0}) for a in angle]
    silent = [dataclasses.replace(p, values={"clay_percent": 20.0}) for p in ring]
    widths = []
    for pits in ([], silent, ring[:1], ring):
        found, _ = works(soil=soil, errors=errors, pits=pits)
        p10, _, p90 = found.uncertainty.volumes["rock"]
        widths.append(p90 - p10)
    assert widths[0] == widths[1] > widths[2] > 3 * widths[3]


def test_same_seed_gives_the_same_figures_and_another_does_not():
    errors = {"rock_depth_sd_m": 0.5, "water_table_sd_m": 0.5}
    soil = {"rock": 1.0, "water": 1.0}
    first, again, other = (works(soil=soil, errors=errors, seed=s)[0].uncertainty for s in (1, 1, 2))
    assert again == first
    assert other.price != first.price
    assert other.volumes["rock"] != first.volumes["rock"]
    assert other.volumes["wet"] != first.volumes["wet"]
    assert other.price == pytest.approx(first.price, rel=0.03)


def test_draws_do_not_depend_on_how_many_are_worked_on_at_a_time(monkeypatch):
    errors = {"rock_depth_sd_m": 0.5, "water_table_sd_m": 0.5}
    soil = {"rock": 1.0, "water": 1.0}
    whole = works(soil=soil, errors=errors)[0].uncertainty
    monkeypatch.setattr(uncertainty, "CHUNK", 777)
    parts = works(soil=soil, errors=errors)[0].uncertainty
    assert parts.price == pytest.approx(whole.price, rel=1e-12)
    assert [f.share for f in parts.flanks] == pytest.approx([f.share for f in whole.flanks], rel=1e-6)


def test_swing_of_a_rate_is_its_quantity_times_its_width():
    # By hand: from a to its peak c the triangular distribution function is (x - a)^2 / ((b - a)(c - a)).
    rate = (5.0, 8.0, 14.0)
    low, high = 5 + math.sqrt(0.1 * 9 * 3), 14 - math.sqrt(0.1 * 9 * 6)
    fixed, drawn = Item("a", "", "m3", 10.0, rate), Item("b", "", "m3", 7.0, rate)
    unused, firm = Item("c", "", "m3", 0.0, rate), Item("d", "", "m3", 9.0, (4.0, 4.0, 4.0))
    quantity = np.array([1.0, 2.0, 6.0])
    found = drivers([fixed, drawn, unused, firm], {"b": quantity}, {})
    assert [(d.name, d.swing) for d in found] == [
        ("rate: a", pytest.approx(10 * (high - low))),
        ("rate: b", pytest.approx(3 * (high - low))),
    ]


def test_swing_of_the_ground_is_that_of_a_price_linear_in_it():
    # Price 100 x + 40 y with x, y standard normal: between the ends of x, 100 times twice the normal's tenth point.
    r = np.random.default_rng(4)
    n = 200_000
    x, y = r.normal(size=n), r.normal(size=n)
    item = Item("a", "", "m3", 1.0, (2.0, 4.0, 6.0))
    found = {d.name: d.swing for d in drivers([item], {"a": 25 * x + 10 * y}, {"x": x, "y": y, "sure": np.zeros(n)})}
    assert found.keys() == {"rate: a", "x", "y"}
    # Between 5 and 15 in a hundred draws the mean of x is (pdf(z05) - pdf(z15)) / 0.1 below nothing.
    at = [NormalDist().pdf(NormalDist().inv_cdf(p)) for p in (0.05, 0.15)]
    end = (at[1] - at[0]) / 0.1
    assert end == pytest.approx(Z90, rel=0.02)
    allowed = 5 * math.sqrt(2 * (40**2 + 100**2) / (0.1 * n))
    assert found["x"] == pytest.approx(200 * end, abs=allowed)
    assert found["y"] == pytest.approx(80 * end, abs=allowed)


def test_shallower_rock_and_dearer_rates_cost_more_by_what_other_draws_say():
    found, _ = works(soil={"rock": 1.0}, errors={"rock_depth_sd_m": 0.5}, draws=10_000)
    swings = {d.name: d.swing for d in found.uncertainty.drivers}
    assert list(map(abs, swings.values())) == sorted(map(abs, swings.values()), reverse=True)
    # The mean of all prices drawn with the rate within its tenth and ninth tenth, spread of all the rest and all.
    price = found.uncertainty.drawn_price
    mesh = next(i for i in found.items if i.key == "buried_mesh_per_m2")
    _, rates = drawn_prices(found.items, {}, draws=10_000, seed=1)
    order = np.argsort(rates[mesh.key])
    other = price[order[8500:9500]].mean() - price[order[500:1500]].mean()
    assert swings["rate: buried_mesh_per_m2"] == pytest.approx(other, abs=5 * price.std() * math.sqrt(2 / 1000))
    assert swings["rock nearer the surface"] > 0


def test_rates_are_those_of_every_plot_and_rock_is_the_plots_own():
    errors = {"rock_depth_sd_m": 0.5}
    one, other = (works(soil={"rock": 1.0}, errors=errors, plot_id=name)[0].uncertainty for name in ("a", "b"))
    firm = [
        works(soil={"rock": 1.0}, errors=errors, rates=FIRM, plot_id=name)[0].uncertainty.drawn_price
        for name in ("a", "b")
    ]
    assert abs(np.corrcoef(*firm)[0, 1]) < 5 / math.sqrt(4000)
    # Quantities independent from plot to plot, the same rates: the covariance is the sum of E[q]^2 Var[r], with E[q]
    # out of the rate's swing.
    swings = {d.name: d.swing for d in one.drivers}
    common = 0.0
    for key, (low, likely, high) in RateSettings():
        rate = stats.triang((likely - low) / (high - low), low, high - low)
        common += (swings.get(f"rate: {key}", 0.0) / (rate.ppf(0.9) - rate.ppf(0.1))) ** 2 * rate.var()
    shared = common / (one.drawn_price.std() * other.drawn_price.std())
    assert 0.1 < shared < 0.95
    assert np.corrcoef(one.drawn_price, other.drawn_price)[0, 1] == pytest.approx(shared, abs=5 / math.sqrt(4000))


def test_loop_over_draws_agrees_with_a_plain_twin():
    r = np.random.default_rng(8)
    draws, n, shifts = 50, 7, 9
    rock, water, scale = r.normal(0, 1.2, (draws, n)), r.normal(0, 1.2, (draws, n)), r.uniform(0.8, 1.2, (draws, n))
    over, pack = r.random(draws), np.array([0, 0, 1, 1, 1, 2, 2])
    cut, soft, hard, wet = r.random((2, n)), *r.random((3, 2, n, shifts))
    totals, of_rock, of_wet = np.zeros((draws, 3, 4)), np.empty((draws, n, 2)), np.empty((draws, n))
    _kernels_uncertainty.drawn_volumes(
        rock, water, scale, over, pack, cut, soft, hard, wet, -1.0, 0.25, -2.0, 0.5, totals, of_rock, of_wet
    )
    at_rock, at_water = -1 + 0.25 * np.arange(shifts), -2 + 0.5 * np.arange(shifts)
    expected = np.zeros_like(totals)
    for d in range(draws):
        for s in range(n):
            both = [
                [cut[k, s], np.interp(rock[d, s], at_rock, soft[k, s]), np.interp(rock[d, s], at_rock, hard[k, s]),
                 np.interp(water[d, s], at_water, wet[k, s])]
                for k in (0, 1)
            ]  # fmt: skip
            mixed = scale[d, s] * ((1 - over[d]) * np.array(both[0]) + over[d] * np.array(both[1]))
            expected[d, pack[s]] += mixed
            np.testing.assert_allclose([*of_rock[d, s], of_wet[d, s]], mixed[1:], rtol=1e-12)
    np.testing.assert_allclose(totals, expected, rtol=1e-12)


# What is said of the spread.


def shallow_north(x, y):
    """Rock that may be met in the north only."""
    return np.where(y > 0.5 * np.hypot(x, y), 1.1, 100.0)


def test_flank_that_spreads_the_price_and_the_pits_that_would_help():
    errors = {"rock_depth_sd_m": 0.5, "rock_depth_sd_at_pit_m": 0.1, "soil_correlation_m": 20.0}
    found, line = works(soil={"rock": shallow_north}, errors=errors, rates=FIRM, draws=10_000)
    u = found.uncertainty
    assert u.flanks[0].name == "north"
    # All the spread is rock: the flanks' parts add up to the whole.
    assert sum(f.share for f in u.flanks) == pytest.approx(1.0, abs=0.02)
    assert sum(f.share for f in u.flanks if f.name.startswith("north")) == pytest.approx(1.0, abs=0.02)
    assert {f.name: f.pit_distance for f in u.flanks}["south"] == math.inf
    worst = int(np.argmin(np.abs(line.chainage - u.flanks[0].chainage)))
    assert line.y[worst] > 0.8 * 30
    assert u.narrowing.startswith("Two trial pits")
    assert "on the north" in u.narrowing
    assert len(u.pits) == 2
    assert all(p.y > 0.4 * math.hypot(p.x, p.y) for p in u.pits)
    # With a pit there, what it told is told.
    helped, _ = works(
        soil={"rock": shallow_north},
        errors=errors,
        rates=FIRM,
        draws=10_000,
        pits=[Pit(0.0, 30.0, {"depth_to_rock_m": 1.1}), Pit(15.0, 26.0, {"depth_to_rock_m": 1.1})],
    )
    assert np.ptp(helped.uncertainty.price) < 0.8 * np.ptp(u.price)
    assert {f.name: f.pit_distance for f in helped.uncertainty.flanks}["north"] < 3.0


def test_flanks_of_two_packs_are_told_apart():
    east, west = (circle_line(15.0, step=1.0, x=x, elevation=plane()) for x in (20.0, -20.0))
    packs = [pack_of(east, number=1), pack_of(west, number=2)]
    found, _ = works(
        packs=packs, radius=40.0, soil={"rock": lambda x, y: np.where(x < -20, 1.0, 100.0)},
        errors={"rock_depth_sd_m": 0.4, "soil_correlation_m": 20.0}, rates=FIRM,
    )  # fmt: skip
    assert len(found.uncertainty.flanks) == 16
    assert all(f.pack == 2 for f in found.uncertainty.flanks[:3])
    assert all(f.share < 1e-6 for f in found.uncertainty.flanks if f.pack == 1)
    assert "of pack 2" in found.uncertainty.narrowing


def test_best_pits_take_off_what_new_pits_take_off():
    r = np.random.default_rng(6)
    points = r.uniform(0, 150, (25, 2))
    slope = r.normal(0, 100, 25)
    old = r.uniform(0, 150, (2, 2))
    left = covariance_left(points, old, correlation=40.0, variance=0.3)
    places, taken = best_pits([Ground(left, slope)], 2)
    before = slope @ left @ slope
    after = covariance_left(points, np.vstack([old, points[list(places)]]), correlation=40.0, variance=0.3)
    assert before - slope @ after @ slope == pytest.approx(taken, rel=1e-3)
    assert all_pits([Ground(left, slope)]) == pytest.approx(before)
    # No single place is better than the first one found.
    singles = [
        before - slope @ covariance_left(points, np.vstack([old, p]), correlation=40.0, variance=0.3) @ slope
        for p in points
    ]
    assert int(np.argmax(singles)) == places[0]


def test_ground_without_spread_needs_no_pits():
    assert best_pits([Ground(np.zeros((4, 4)), np.ones(4))]) == ((), 0.0)
    assert best_pits([Ground(np.eye(4), np.zeros(4))]) == ((), 0.0)


def test_half_of_the_variance_is_less_than_half_of_the_width():
    # Of a normal price the width from P10 to P90 is 2 z times the standard deviation.
    assert narrowed(0.75) == pytest.approx(0.5)
    assert narrowed(0.0) == 0.0
    assert narrowed(1.1) == 1.0


def test_sentence_names_the_larger_gain_first():
    pack = pack_of(circle_line(30.0, step=1.0))
    parts = segments([pack], 30.0)
    items = [Item("a", "Dig soil", "m3", 1.0, (1.0, 2.0, 3.0)), Item("b", "Mesh", "m2", 1.0, (1.0, 2.0, 3.0))]
    north, east = int(np.argmax(parts.y)), int(np.argmax(parts.x))
    (one,) = pit_places([north], parts, [pack])
    assert (one.pack, one.flank, one.y) == (1, "north", pytest.approx(30.0, abs=0.5))
    said = narrowing(items, {"a": 0.1, "b": 0.75}, [one], 0.36, all_round=0.4, packs=1)
    assert said == (
        'A firm rate for "Mesh" would narrow the range of the price most, by about 50 %, and a trial pit on the '
        "north flank by about 20 %."
    )
    two = pit_places([north, east], parts, [pack])
    said = narrowing(items, {"a": 0.1}, two, 0.36, all_round=0.75, packs=1)
    assert said.startswith(
        "Two trial pits, one on the north flank and one on the east flank, would narrow the range of the price most"
    )
    assert said.endswith("; pits all along the line by 50 %.")
    same = narrowing(items, {}, [one, one], 0.36, all_round=0.4, packs=2)
    assert same.startswith("Two trial pits on the north flank of pack 1 would narrow")


ROCK_ITEM = Item("excavate_rock_per_m3", "Rock", "m3", 5.0, (1.0, 2.0, 3.0))
UNUSED = Item("gate_each", "Gates", "each", 0.0, (1.0, 2.0, 3.0))


@pytest.mark.parametrize(
    ("near", "rates", "number", "said"),
    [
        (0.0, set(), 5, "no trial pit near the fence line"),
        (0.9, set(), 5, "1 of the rates are the programme's own"),
        (0.49, {"excavate_rock_per_m3"}, 5, "only 49 % of the fence line"),
        (0.5, {"excavate_rock_per_m3"}, 4, "nothing is designed yet"),
        (1.0, set(RateSettings.model_fields), 4, "nothing is designed yet"),
    ],
)
def test_class_of_the_estimate(near, rates, number, said):
    found = estimate_class([ROCK_ITEM, UNUSED], near_pits=near, rates_set=rates)
    assert found.number == number
    assert said in found.reason
    assert (found.low, found.high) == (estimate_classes()[number].low, estimate_classes()[number].high)


def test_class_of_a_plot_with_pits_all_round_and_rates_of_its_own():
    angle = np.arange(12) * math.pi / 6
    ring = [Pit(30 * math.sin(a), 30 * math.cos(a), {"depth_to_rock_m": 1.0}) for a in angle]
    assert works(pits=ring, rates=FIRM)[0].uncertainty.estimate_class == 4
    assert works(pits=ring)[0].uncertainty.estimate_class == 5
    assert works(rates=FIRM)[0].uncertainty.estimate_class == 5
    # Pits that say nothing of rock do not count.
    silent = [dataclasses.replace(p, values={"water_table_m": 1.0}) for p in ring]
    assert works(pits=silent, rates=FIRM)[0].uncertainty.estimate_class == 5
