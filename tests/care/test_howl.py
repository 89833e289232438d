"""Howls: closed forms on flat ground and behind a ridge, tight ways against another library, and what trade says."""

import dataclasses
import math

import numpy as np
import pytest
import shapely
from scipy.optimize import brentq
from shapely.geometry import Point, box

from packpale.care import _kernels_howl
from packpale.care.atmosphere import air_absorption
from packpale.care.howl import clear_excess, howl, reach_on_flat_ground, source_level_needed
from packpale.enclosure.egg import Egg
from packpale.enclosure.model import Fit
from packpale.settings import HowlSettings
from packpale.site import Around, Grid
from told import told
from trench_cases import egg_line, pack_of, plane, site_of

TIP = 20.0


def egg_pack(x=0.0, number=1):
    """A pack whose egg reaches from x - 30 to x + 20 along y = 0."""
    egg = Egg(x - 10, 0.0, 90.0, 20.0, 12.0, 18.0)
    pack = pack_of(egg_line(egg, step=1.0), number=number)
    return dataclasses.replace(pack, fit=Fit(egg, 2000.0, 0.0))


def near(site, **features):
    return dataclasses.replace(site, features={k: tuple(v) for k, v in features.items()})


def test_reach_on_flat_ground_is_the_root_of_the_sum_of_terms():
    # One band at 500 Hz (exactly 10^2.7 Hz), hard ground: 100 - 20 lg d - a d + 3 + 3 q = 30.
    settings = HowlSettings(bands_hz=(500,), ground_factor=0.0, background_db=30.0)
    a = air_absorption(10**2.7, temperature_c=10, humidity_percent=70)
    root = brentq(lambda d: 70 - 20 * math.log10(d) - a * d + 3 + 3 * (1 - 30 * 2.2 / d), 100, 40_000)
    assert reach_on_flat_ground(settings, 100.0) == pytest.approx(root, rel=1e-4)


def test_on_flat_ground_the_pack_is_heard_equally_far_all_round():
    site = near(site_of(plane()), dwellings=[])
    settings = HowlSettings()
    (found,) = howl(site, [egg_pack()], settings).reach
    for row, level in enumerate(settings.source_level_db):
        np.testing.assert_allclose(found.radius[row], reach_on_flat_ground(settings, level), rtol=1e-5)
    assert (np.diff(found.radius, axis=0) > 0).all()
    assert not found.surveyed.any()  # the model ends 100 m away


def test_energy_of_the_bands_adds_up_at_a_dwelling():
    # The egg's eastern tip is nearest, and one of the places howled from comes within 4 m of it.
    site = near(site_of(plane()), dwellings=[Point(TIP + 60, 0).buffer(1)])
    (heard,) = howl(site, [egg_pack()], HowlSettings(ground_factor=0.0)).heard
    d = math.hypot(heard.distance, 0.8)
    air = [d * air_absorption(1000 * 10**k, temperature_c=10, humidity_percent=70) for k in (-0.6, -0.3)]
    # Hard ground gives 3 dB back within 30 (hs + hr) = 66 m; half of the energy in each band.
    levels = [100 - 10 * math.log10(2) - 20 * math.log10(d) + 3 - a for a in air]
    assert 60 <= heard.distance < 60.5
    assert heard.level == pytest.approx(10 * math.log10(sum(10 ** (v / 10) for v in levels)), abs=1e-6)
    assert heard.excess == pytest.approx(max(levels) - 20, abs=1e-6)
    assert (heard.surveyed, heard.kind, heard.screened, heard.leaves) == (True, "dwelling", 0, 0)


@pytest.mark.parametrize("height", [6.0, 25.0])
def test_a_ridge_screens_by_the_way_over_its_edge(height):
    # A tent 20 m wide along x = 60.5, the edge on a column of cell centres; the dwelling 35 m behind the edge.
    def ground(x, y):
        return height * np.maximum(1 - np.abs(x - 60.5) / 10, 0) + 0 * y

    site = near(site_of(ground), dwellings=[Point(95.5, 0.5)])
    (heard,) = howl(site, [egg_pack()], HowlSettings(bands_hz=(500,), ground_factor=0.0)).heard
    b = heard.distance * 35 / (95.5 - heard.source_x)
    first, last = math.hypot(heard.distance - b, height - 0.7), math.hypot(b, height - 1.5)
    straight = math.hypot(heard.distance, 0.8)
    z = first + last - straight
    weather = math.exp(-math.sqrt(first * last * straight / (2 * z)) / 2000)
    wall = min(10 * math.log10(3 + 20 * z * weather * 500 / 340), 20)
    # Equation (12): the ground gives 3 dB back within 30 (hs + hr), and the screen takes its place. Points of the way
    # stand half a cell apart, so that up to 0.15 m of the edge is missed.
    assert heard.screened == pytest.approx(wall + 3 + 3 * max(1 - 66 / heard.distance, 0), abs=0.2)


def test_leaves_count_by_the_way_through_the_wood():
    site = near(site_of(plane()), dwellings=[Point(90, 0)], woodland=[box(40, -90, 70, 90), box(75, -90, 85, 90)])
    (heard,) = howl(site, [egg_pack()], HowlSettings(bands_hz=(1000,))).heard
    assert heard.leaves == pytest.approx(40 * 0.06, abs=0.02)


def test_packs_hear_each_other_alike_on_flat_ground():
    site = near(site_of(plane(), half=150.0), dwellings=[])
    packs = [egg_pack(x=-60.0), egg_pack(x=60.0, number=2)]
    first, second = howl(site, packs, HowlSettings()).heard
    assert (first.pack, first.kind, first.number, second.pack, second.number) == (1, "pack", 2, 2, 1)
    # The two eggs point the same way, so that the ways differ by their ends.
    assert first.level == pytest.approx(second.level, abs=0.3)
    assert first.excess > 0


def test_beyond_the_elevation_model_it_says_so():
    site = near(site_of(plane()), dwellings=[Point(900, 0)])
    found = howl(site, [egg_pack()], HowlSettings())
    assert not found.heard[0].surveyed
    assert any("beyond the elevation model" in note for note in told(found.notes))
    assert howl(near(site), [egg_pack()], HowlSettings()).heard == ()


@pytest.mark.parametrize("coarse", [1, 2, 4])
def test_beyond_the_window_the_ground_round_it_counts(coarse):
    def hills(x, y):
        return 100 + 12 * np.sin(x / 23) * np.cos(y / 31) + 20 * np.exp(-(((x - 170) / 30) ** 2))

    places = [Point(240, 10), Point(-20, 215), Point(70, 40)]
    whole = near(site_of(hills, half=256.0), dwellings=places)
    window = near(site_of(hills, half=80.0), dwellings=places)
    n = 512 // coarse
    means = whole.elevation.reshape(n, coarse, n, coarse).mean(axis=(1, 3))
    around = Around(Grid(-256.0, 256.0, float(coarse), n, n), means)
    settings = HowlSettings(source_level_db=(40.0, 50.0, 55.0))
    expected = howl(whole, [egg_pack()], settings)
    found = howl(dataclasses.replace(window, around=around), [egg_pack()], settings)
    flat = howl(window, [egg_pack()], settings)
    assert expected.heard[0].screened > 3
    for here, there, cut_off in zip(found.heard, expected.heard, flat.heard, strict=True):
        assert here.level == pytest.approx(there.level, abs=1e-6 if coarse == 1 else 0.3)
        assert here.surveyed == there.surveyed
        assert (cut_off.x < 80 and cut_off.y < 80) == cut_off.surveyed
    assert abs(flat.heard[0].level - expected.heard[0].level) > 3
    (here,), (there,) = found.reach, expected.reach
    np.testing.assert_allclose(here.radius, there.radius, rtol=1e-6 if coarse == 1 else 0.03)
    assert here.surveyed.mean() > 0.9
    assert found.notes == ()


def test_missing_ground_on_the_way_is_bridged_and_told():
    site = near(site_of(plane()), dwellings=[Point(90, 0)])
    holed = site.elevation.copy()
    holed[:, 150:160] = np.nan
    found = howl(dataclasses.replace(site, elevation=holed), [egg_pack()], HowlSettings())
    whole = howl(site, [egg_pack()], HowlSettings())
    assert found.heard[0].level == pytest.approx(whole.heard[0].level, abs=1e-9)
    assert any("without elevation" in note for note in told(found.notes))


@pytest.mark.parametrize("seed", range(5))
def test_tight_ways_are_the_upper_half_of_the_convex_hull(seed):
    rng = np.random.default_rng(seed)
    distance = np.cumsum(rng.uniform(0.5, 3, 60))
    ground = 5 * np.sin(distance / 9) + rng.normal(0, 1, 60)
    at = np.array([20.0, 55.0, distance[-1] + 40])
    height, source = rng.uniform(0, 6, 3) + np.interp(at, distance, ground), ground[0] + 0.7
    over, before, behind = np.empty((3, 3))
    tight = np.empty((3, distance.size + 1))
    count = np.searchsorted(distance, at).astype(np.int64)
    _kernels_howl.tight_ways(distance, ground, source, count, at, height, over, before, behind, *tight)
    for i in range(3):
        points = [(0, source), *zip(distance[: count[i]], ground[: count[i]], strict=True), (at[i], height[i])]
        # Two points far below the ends leave only the upper half of the hull beside two walls and a floor.
        hull = shapely.convex_hull(shapely.MultiPoint([*points, (0, -900), (at[i], -900)]))
        assert over[i] == pytest.approx(hull.length - at[i] - (source + 900) - (height[i] + 900), rel=1e-9)


# Common practice, no source: howls are heard at about 16 km across open ground and 8 to 10 km through dense forest.
# The method gives that for the high source level on a cold still night with a quiet background (10 dB, about the
# threshold of hearing at 250 Hz) over hard ground: ice or crusted snow. Under the defaults it does not.
COLD_NIGHT = HowlSettings(temperature_c=-10.0, background_db=10.0, ground_factor=0.0)


def test_sixteen_kilometres_over_open_ground_need_a_cold_still_night_on_hard_ground():
    assert 16_000 < reach_on_flat_ground(COLD_NIGHT, 110.0) < 21_000
    assert source_level_needed(COLD_NIGHT, 16_000.0) == pytest.approx(105, abs=2.5)
    assert reach_on_flat_ground(HowlSettings(), 110.0) < 4_000
    assert source_level_needed(HowlSettings(), 16_000.0) > 130


def test_eight_to_ten_kilometres_of_forest_need_the_high_level_and_half_hard_ground():
    forest = COLD_NIGHT.model_copy(update={"ground_factor": 0.3})
    distances = np.linspace(100, 30_000, 3000)
    heard = distances[clear_excess(forest, distances, 110.0, leaves_m=5000.0) >= 0]
    assert 8_000 < heard.max() < 12_000


def test_the_still_night_told_on_the_page_is_that_of_the_trade():
    site = near(site_of(plane()), dwellings=[])
    over_open, in_forest = howl(site, [egg_pack()], HowlSettings()).still_night
    assert over_open == pytest.approx(reach_on_flat_ground(COLD_NIGHT, 110.0))
    assert 16_000 < over_open < 21_000
    assert 8_000 < in_forest < 12_000
    # Through forest the way is in leaves all along, of which no more than 200 m count.
    forest = COLD_NIGHT.model_copy(update={"ground_factor": 0.3})
    np.testing.assert_allclose(clear_excess(forest, np.array([in_forest]), 110.0, leaves_m=9000.0), 0, atol=0.01)


def test_level_needed_is_where_the_howl_is_just_heard():
    settings = HowlSettings()
    needed = source_level_needed(settings, 3000.0)
    assert reach_on_flat_ground(settings, needed) == pytest.approx(3000, rel=1e-4)
