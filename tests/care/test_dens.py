"""Places for dens: closed forms on planes and cones, what is left out, what decides, how they are built."""

import dataclasses
import math

import numpy as np
import pytest
from scipy.ndimage import convolve
from shapely import contains_xy
from shapely.geometry import LineString, MultiPolygon, Point, box

from packpale.care import dens as module
from packpale.care.dens import CHAMBER_M, Passage, apart, den_sites, passage_of
from packpale.enclosure.egg import Egg
from packpale.enclosure.model import Fit
from packpale.land.assess import assess as assess_land
from packpale.land.relief import level_of, mean_within
from packpale.settings import DenSettings
from packpale.site import Grid
from told import told
from trench_cases import egg_line, pack_of, plane, project_of, site_of

EGG = Egg(0.0, -12.0, 0.0, 40.0, 25.0, 35.0)
MOUND = (2.0, 2.0)


def pack(egg=EGG, number=1):
    bare = pack_of(egg_line(egg, step=2.0), number=number)
    return dataclasses.replace(bare, fit=Fit(egg, egg.area, 0.0))


def dens(ground=None, *, features=None, packs=None, mounds=9, centre=(0.0, 0.0), rock=100.0, water=100.0, **settings):
    site = site_of(ground or plane(north=0.06), half=90.0, centre=centre, rock=rock, water=water)
    site = dataclasses.replace(site, features=features or {})
    land = assess_land(site, project_of())
    return den_sites(site, land, packs or [pack()], settings=DenSettings(**settings), mounds=mounds, mound=MOUND)


def only(name):
    return {"weights": {name: 1.0}}


# Topographic position.


def test_position_is_zero_on_a_plane_and_two_thirds_of_the_drop_on_the_tip_of_a_cone():
    grid = Grid(0.0, 0.0, 0.5, 121, 121)
    x, y = np.meshgrid(*grid.centres())
    flat = 50 + 0.2 * x - 0.1 * y
    inner = (slice(22, -22), slice(22, -22))
    assert np.abs(flat - mean_within(flat, reach=10.0, cell=0.5, level=level_of(flat)))[inner].max() < 1e-9
    # Mean distance from the middle of a disc of radius a is 2 a / 3.
    cone = -0.3 * np.hypot(x - x[60, 60], y - y[60, 60])
    position = cone - mean_within(cone, reach=10.0, cell=0.5, level=level_of(cone))
    assert position[60, 60] == pytest.approx(0.3 * 2 / 3 * 10, rel=0.02)


def test_mean_is_that_of_another_library_and_leaves_missing_ground_out():
    rng = np.random.default_rng(1)
    values = 1000 + rng.random((40, 50))
    values[rng.random(values.shape) < 0.1] = np.nan
    k = np.arange(-4, 5)
    disc = (np.hypot(*np.meshgrid(k, k)) <= 4.3).astype(float)
    known = np.isfinite(values)
    expected = convolve(np.where(known, values, 0), disc, mode="constant") / convolve(
        known.astype(float), disc, mode="constant"
    )
    np.testing.assert_allclose(mean_within(values, reach=8.6, cell=2.0, level=level_of(values)), expected, rtol=1e-12)


# How a den is built.


def test_passage_into_a_slope_is_as_long_as_the_roof_needs():
    s = DenSettings(fall=0.05, roof_m=0.5)
    found = passage_of(0.40, rock=9, water=9, settings=s, mound=MOUND, mounds=0)
    # (S - f) L = roof + height: L = (0.5 + 0.5) / 0.35.
    assert found.build == "into the slope"
    assert found.length == pytest.approx(1 / 0.35)
    assert found.fall == pytest.approx(0.05 / 0.35)
    assert found.roof == pytest.approx(0.5)


def test_on_a_cliff_the_passage_has_its_shortest_length_and_more_roof():
    found = passage_of(2.05, rock=9, water=9, settings=DenSettings(), mound=MOUND, mounds=0)
    assert found.length == 1.2
    assert found.roof == pytest.approx(2.0 * 1.2 - 0.5)


@pytest.mark.parametrize(("slope", "rock", "water"), [(0.2, 9, 9), (0.04, 9, 9), (0.4, 0.95, 9), (0.4, 9, 0.95)])
def test_too_flat_too_rocky_or_too_wet_takes_a_mound(slope, rock, water):
    # At 0.2 the passage would have to be 1 / 0.15 = 6.7 m long, longer than 5.5 m.
    found = passage_of(slope, rock=rock, water=water, settings=DenSettings(), mound=MOUND, mounds=1)
    # From the foot of the mound to its middle: its run of 2 times its height of 2 m.
    assert found == Passage("mound", 4.0, pytest.approx(0.2), pytest.approx(2.0 - 0.2 - CHAMBER_M[2]))
    without = passage_of(slope, rock=rock, water=water, settings=DenSettings(), mound=MOUND, mounds=0)
    assert without.build == "mound of soil brought in"


def test_mounds_go_to_the_best_sites_and_the_rest_is_told():
    found, notes = dens(mounds=1, count=3, apart_m=20.0)
    assert [d.passage.build for d in found] == ["mound"] + 2 * ["mound of soil brought in"]
    # A cone 2 m high and 8 m across: pi 4^2 2 / 3.
    assert (
        f"makes 1 den mound. 2 of the den sites need a mound of soil brought in, {math.pi * 32 / 3:.0f} m³"
        in told(notes)[0]
    )
    enough, none = dens(mounds=3, count=3, apart_m=20.0)
    assert {d.passage.build for d in enough} == {"mound"}
    assert none == []


def test_mounds_go_to_the_best_site_of_any_pack():
    # The pack that comes first has people beside it, so that the other's site is the better one.
    small = Egg(75.0, 0.0, 0.0, 14.0, 9.0, 12.0)
    people = {"viewpoints": (Point(80, 10),)}
    found, _ = dens(
        packs=[pack(small, 1), pack(number=2)], mounds=1, count=1, fence_m=5.0, features=people, **only("people")
    )
    assert [d.pack for d in found] == [1, 2]
    assert found[0].score < found[1].score
    assert [d.passage.build for d in found] == ["mound of soil brought in", "mound"]


def test_too_low_a_mound_is_told():
    site = site_of(plane(north=0.06), half=90.0)
    land = assess_land(site, project_of())
    for height, said in ((1.3, False), (1.05, True)):
        _, notes = den_sites(site, land, [pack()], settings=DenSettings(), mounds=9, mound=(height, 2.0))
        # A height of h leaves h - 0.05 * 2 h - 0.5 over the chamber: 0.5 needs h = 1 / 0.9.
        assert any("Raise plant.mound_height_m" in note for note in told(notes)) == said


# What decides.


def test_on_an_even_plane_distance_from_the_fence_decides():
    (found,), _ = dens(count=1)
    # The deepest point of the egg: no other is farther from the fence.
    x, y = np.meshgrid(np.arange(-89.5, 90), np.arange(-89.5, 90))
    assert found.distances["fence"] == pytest.approx(-EGG.distance(x, y).min(), abs=0.02)
    assert found.degrees["fence"] == pytest.approx(1.0)


@pytest.mark.parametrize("kind", ["viewpoints", "dwellings"])
def test_people_push_the_den_to_the_far_side(kind):
    (found,), _ = dens(features={kind: (Point(70, 20),)}, count=1, **only("people"))
    assert found.x < -15
    assert found.distances[kind] == pytest.approx(math.hypot(found.x - 70, found.y - 20))
    assert found.degrees["people"] == pytest.approx(found.distances[kind] / 366)
    near, _ = dens(features={kind: (Point(70, 20),)}, count=1, quiet_m=30.0, **only("people"))
    assert near[0].degrees["people"] == 1


def test_two_packs_have_their_dens_apart():
    other = Egg(100.0, -12.0, 0.0, 40.0, 25.0, 35.0)
    found, _ = dens(packs=[pack(), pack(other, 2)], count=1, centre=(50.0, 0.0), **only("people"))
    assert found[0].distances["other pack"] == pytest.approx(-40 + math.hypot(found[0].x - 100, found[0].y + 12), abs=1)
    assert found[0].x < -15
    alone, _ = dens(count=1)
    assert "other pack" not in alone[0].distances


def test_shelter_lies_at_the_foot_of_a_bank():
    # Level across in the west, a bank of 4 m from x = 0 to 8, level again; along it the ground falls to the south.
    ground = lambda x, y: 100 + np.clip(x / 2, 0, 4) + 0.03 * y  # noqa: E731
    (found,), _ = dens(ground, count=1, **only("shelter"))
    assert -15 < found.x < 2
    assert found.position < -0.5
    assert found.degrees["shelter"] > 0.75


def test_wet_hollow_channel_and_steep_ground_are_left_out():
    hollow = lambda x, y: 100 + 0.05 * y - 2.0 * np.exp(-((x - 5) ** 2 + y**2) / 60)  # noqa: E731
    found, _ = dens(hollow, count=20, apart_m=6.0, fence_m=0.0, **only("shelter"))
    assert min(math.hypot(d.x - 5, d.y) for d in found) > 4
    steep = lambda x, y: 100 + 0.05 * y + np.where(x > 0, 0.9 * x, 0)  # noqa: E731
    found, notes = dens(steep, count=20, apart_m=10.0)
    assert max(d.x for d in found) < 1
    assert "of 20 den sites" in told(notes)[0]


def allowed(ground, *, features=None, rock=100.0, plot=None, land=None):
    """Where a den may be: sites so near to each other that every cell that is allowed is one, or nearly."""
    inputs = {kind: f"{kind}.gpkg" for kind in features or {}}
    project = project_of(land=land or {}, inputs={"elevation": ["a"], "plots": "b", "plot_id": "c", **inputs})
    site = site_of(ground, half=90.0, rock=rock)
    x, y = np.meshgrid(*site.grid.centres())
    if plot is not None:
        site = dataclasses.replace(site, outline=MultiPolygon([plot]), inside=contains_xy(plot, x, y))
    site = dataclasses.replace(site, features=features or {})
    settings = DenSettings(count=20, apart_m=5.0, fence_m=1.0, **only("fence"))
    found, _ = den_sites(site, assess_land(site, project), [pack()], settings=settings, mounds=9, mound=MOUND)
    assert len(found) == 20
    return [Point(d.x, d.y) for d in found]


TILTED = plane(north=0.06)


def nearest(points, thing):
    return min(point.distance(thing) for point in points)


@pytest.mark.parametrize("kept_off", [True, False])
def test_no_den_in_a_watercourse_s_strip_in_a_mapped_pond_or_on_rock(kept_off):
    # The deepest point of the egg lies near (0, -12): all three lie about it, and without them dens do.
    stream = LineString([(-90, -10), (90, -12)])
    points = allowed(TILTED, features={"watercourses": (stream,)} if kept_off else {})
    assert (nearest(points, stream) > 10) == kept_off
    pond = Point(0, -10).buffer(6)
    points = allowed(TILTED, features={"watercourses": (pond,)} if kept_off else {})
    assert (nearest(points, pond) > 10) == kept_off
    slab = box(-12, -24, 12, 0)
    points = allowed(TILTED, rock=lambda x, y: np.where(contains_xy(slab, x, y), 0.29 if kept_off else 0.31, 9.0))
    assert (nearest(points, slab) > 0) == kept_off


@pytest.mark.parametrize(("limit", "kept_off"), [(0.15, True), (0.3, False)])
def test_no_den_in_a_hollow_over_the_limit_set_for_hollows(limit, kept_off):
    # A hollow that holds 0.2 m; what counts is the limit set, not the curve by which drainage is scored.
    bowl = Point(0, -12).buffer(6.2)
    ground = lambda x, y: np.where(contains_xy(bowl, x, y), 99.8, 100.0)  # noqa: E731
    points = allowed(ground, land={"max_ponding_m": limit})
    assert (nearest(points, bowl) > 0) == kept_off


def test_a_bank_past_the_slope_limit_may_hold_a_den():
    """A machine cannot stand there; the den's own limit, 35 degrees, counts."""
    assert len(allowed(plane(north=math.tan(math.radians(30))))) == 20
    woods = {"woodland": (box(-90, -90, 90, 90),)}
    assert len(allowed(TILTED, features=woods, land={"keep_away_m": {"woodland": 5}})) == 20


def test_no_den_beyond_the_plot():
    plot = box(-90, -90, 90, -15)
    assert all(plot.contains(point) for point in allowed(TILTED, plot=plot))


def test_fence_and_services_keep_their_distance():
    found, _ = dens(count=20, apart_m=3.0, fence_m=12.0, features={"services": (LineString([(-90, 0), (90, 0)]),)})
    assert min(d.distances["fence"] for d in found) >= 12
    assert min(abs(d.y) for d in found) >= 10


def test_aspect_weighs_lightly_and_by_the_sunny_side():
    ridge = lambda x, y: 120 - 0.2 * np.abs(y)  # noqa: E731
    (south,), _ = dens(ridge, count=1, **only("aspect"))
    assert (south.y < 0, south.degrees["aspect"]) == (True, pytest.approx(1))
    assert south.downhill_deg == pytest.approx(180)
    (north,), _ = dens(ridge, count=1, sunny_side_deg=0.0, **only("aspect"))
    assert north.y > 0
    weights = DenSettings().weights
    assert weights["slope"] + weights["aspect"] < min(weights["drainage"], weights["digging"]) / 2


def test_score_is_the_weighted_mean_and_all_degrees_lie_between_0_and_1():
    found, _ = dens(lambda x, y: 100 + np.sin(x / 9) + 0.08 * y, features={"viewpoints": (Point(60, 0),)}, apart_m=20.0)
    weights = DenSettings().weights
    assert len(found) == 3
    for den in found:
        assert all(0 <= degree <= 1 for degree in den.degrees.values())
        mean = sum(weights[name] * den.degrees[name] for name in weights) / sum(weights.values())
        assert den.score == pytest.approx(mean)
    assert [d.score for d in found] == sorted((d.score for d in found), reverse=True)


def test_sites_are_the_best_and_apart():
    rng = np.random.default_rng(3)
    grid = Grid(0.0, 60.0, 2.0, 30, 30)
    score, allowed = rng.random(grid.shape), rng.random(grid.shape) < 0.8
    chosen = apart(np.where(allowed, score, -np.inf), grid, count=5, least=15.0)
    # Plainly: down the list from the best cell, taking each that is far enough from all taken.
    plain = []
    for flat in np.argsort(-score, axis=None):
        r, c = divmod(int(flat), 30)
        if allowed[r, c] and all(2 * math.hypot(r - a, c - b) >= 15 for a, b in plain):
            plain.append((r, c))
    assert chosen == plain[:5]


def test_in_large_enclosures_the_best_are_sought_in_squares_of_cells(monkeypatch):
    every, _ = dens(hummocks, count=3)
    monkeypatch.setattr(module, "MOST_CELLS", 3000)
    some, _ = dens(hummocks, count=3)
    cell = site_of(plane(), half=90.0).grid.cell
    assert len(some) == len(every) > 0
    for one in some:
        # Nearly as good, in the middle of a cell, and where it says that it is.
        assert one.score > min(e.score for e in every) - 0.05
        assert one.x / cell % 1 == pytest.approx(0.5)
        assert one.distances["fence"] == pytest.approx(
            EGG.polygon(0.01).exterior.distance(Point(one.x, one.y)), abs=0.02
        )


def test_rock_makes_a_mound_of_a_steep_site():
    steep = plane(north=0.4)
    (free,), _ = dens(steep, count=1)
    assert free.passage.build == "into the slope"
    (rocky,), _ = dens(steep, count=1, rock=0.8)
    assert rocky.passage.build == "mound"


def test_no_elevation_no_den():
    found, notes = dens(lambda x, y: np.where(x < 5, np.nan, 100 + 0.05 * y), count=2)
    assert all(d.x > 5 and math.isfinite(d.score) for d in found)
    assert found or notes


def hummocks(x, y):
    return 0.06 * y + 0.7 * np.sin(x / 7.0) * np.cos(y / 5.0)


def test_sites_lie_as_high_above_their_surroundings_as_they_say():
    site = site_of(hummocks, half=90.0, rock=100.0, water=100.0)
    land = assess_land(site, project_of())
    settings = DenSettings(count=4, apart_m=12.0, **only("shelter"))
    found, _ = den_sites(site, land, [pack()], settings=settings, mounds=9, mound=MOUND)
    assert len(found) == 4
    # Against the cells themselves, one by one.
    x, y = (v.ravel() for v in np.meshgrid(*site.grid.centres()))
    z = site.elevation.ravel()
    for den in found:
        near = np.hypot(x - den.x, y - den.y) <= settings.shelter_radius_m
        here = z[np.argmin(np.hypot(x - den.x, y - den.y))]
        assert den.position == pytest.approx(here - z[near].mean(), abs=1e-6)
        assert den.degrees["shelter"] == pytest.approx(
            np.clip(0.5 - den.position / (2 * settings.shelter_relief_m), 0, 1), abs=1e-9
        )
