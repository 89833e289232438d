"""Each criterion at the ends of its curves, and half way."""

import math
from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import LineString, Point, box

from packpale.land.assess import assess, criterion_weights
from packpale.land.criteria import CRITERIA, Evidence, default_weights
from packpale.land.diggability import digging
from packpale.land.drainage import drainage
from packpale.land.slope import slope
from packpale.settings import CRITERIA as NAMES
from packpale.settings import CRITERION_NEEDS

INNER = (slice(1, -1), slice(1, -1))


@pytest.fixture
def make_evidence(make_site):
    def make(z, *, cell=1.0, features=None, channel_area=1e9, **soil):
        site = make_site(z, cell=cell, features=features, **soil)
        ground_slope = slope(site.elevation, cell_size=(cell, cell))
        water = drainage(site.elevation, ground_slope, cell=cell, channel_area=channel_area)
        dig = digging(site.soil, slope=ground_slope, ponding=water.ponding)
        return Evidence(site, ground_slope, water, dig)

    return make


def tilted(gradient, shape=(12, 14), cell=1.0):
    return np.tile(gradient * cell * np.arange(shape[1]), (shape[0], 1))


def test_the_list_has_every_criterion_of_the_settings():
    assert tuple(CRITERIA) == NAMES
    # Without inputs of its own a criterion may count by default; the others would have nothing to go by.
    assert set(default_weights()) == set(NAMES) - set(CRITERION_NEEDS)


@pytest.mark.parametrize(("gradient", "expected"), [(0.0, 1), (0.08, 1), (0.115, 0.5), (0.15, 0), (0.5, 0)])
def test_slope(make_evidence, gradient, expected):
    assert CRITERIA["slope"](make_evidence(tilted(gradient)))[INNER] == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("soil", "expected"),
    [
        ({}, 1),
        ({"water_table": 0.5}, 0),
        ({"water_table": 0.785}, 0.5),
        ({"drainage_class": 0}, 1),
        ({"drainage_class": 4}, 0.5),
        ({"drainage_class": 6}, 0),
        ({"drainage_class": 4, "water_table": 0.6}, 2 * (10 / 57) ** 2),  # the worse of 0.5 and 0.06 decides
    ],
)
def test_drainage_of_the_soil(make_evidence, soil, expected):
    """On an even slope of 1 in 10 wetness and ponding limit nothing: ln(14 / 0.1) = 4.9."""
    assert CRITERIA["drainage"](make_evidence(tilted(0.1), **soil))[INNER] == pytest.approx(expected, abs=1e-9)


def test_drainage_of_hollows(make_evidence):
    """Outside the hollow a wetness index below 8; in it the depth of water from 0.05 to 0.3 m."""
    z = np.zeros((12, 14))
    z[5, 5], z[5, 7], z[5, 9] = -0.05, -0.175, -0.5
    found = CRITERIA["drainage"](make_evidence(z))
    assert found[5, [5, 7, 9]] == pytest.approx([1, 0.5, 0])


def test_drainage_near_a_channel(make_evidence):
    """A V-valley with sides of 1 in 4: each cell of 1 m rises 0.25 m above the channel, 1 m and more is dry."""
    x = np.abs(np.arange(-8, 9)) * 0.25
    z = x[None, :] + 0.02 * np.arange(20)[::-1, None]
    evidence = make_evidence(z, channel_area=17)
    assert CRITERIA["drainage"](evidence)[10, 8:14] == pytest.approx([0, 0.25, 0.5, 0.75, 1, 1])


def test_drainage_by_wetness(make_evidence):
    evidence = make_evidence(tilted(0.1))
    wet = np.full(evidence.slope.shape, 10.5)
    found = CRITERIA["drainage"](replace(evidence, drainage=replace(evidence.drainage, wetness=wet)))
    assert found == pytest.approx(np.full(wet.shape, 0.5))


def test_diggability(make_evidence):
    assert CRITERIA["diggability"](make_evidence(tilted(0.0), clay=45.0))[INNER] == pytest.approx(0.875)


def test_access(make_evidence):
    features = {"access": (LineString([(999, 0), (999, 9999)]),)}
    z = np.zeros((5, 60))
    found = CRITERIA["access"](make_evidence(z, cell=10.0, features=features))
    distance = 10.0 * np.arange(60) + 6
    assert found[2] == pytest.approx(np.clip((500 - distance) / 450, 0, 1))
    assert (CRITERIA["access"](make_evidence(z, features={"access": ()})) == 0).all()


def test_seclusion(make_evidence):
    features = {"dwellings": (Point(1000, 2025),)}
    z = np.zeros((5, 60))
    found = CRITERIA["seclusion"](make_evidence(z, cell=10.0, features=features))
    distance = 10.0 * np.arange(60) + 5
    assert found[2] == pytest.approx(np.clip((distance - 100) / 266, 0, 1))
    assert (CRITERIA["seclusion"](make_evidence(z, features={"dwellings": ()})) == 1).all()


def test_cover(make_evidence):
    features = {"woodland": (box(900, 0, 1150, 9999),)}
    found = CRITERIA["cover"](make_evidence(np.zeros((30, 60)), cell=5.0, features=features))
    assert found[15, 5] == 1  # in the wood
    assert found[15, 50] == 0  # 100 m off
    assert 0.9 < found[15, 30] < 1  # on its edge: a little less than half
    assert (CRITERIA["cover"](make_evidence(np.zeros((5, 6)), features={"woodland": ()})) == 0).all()


MIDDLE = (50, 50)


def variety(evidence, at=MIDDLE):
    return CRITERIA["variety"](evidence)[at]


def flat(gradient=0.0):
    """Ground 200 m square in cells of 2 m, so that the 50 m round its middle are whole."""
    return tilted(gradient, (101, 101), cell=2.0)


@pytest.mark.parametrize(
    ("gradient", "expected"),
    [
        (0.0, 1 / 4),  # level ground alone
        (0.04, (1 + 0.5) / 4),  # and relief: the standard deviation of a disc of 50 m is 0.04 x 50 / 2 = 1 m of 2 m
        (0.08, 2 / 4),
        (0.20, 1 / 4),  # relief alone: neither level nor a bank
        (0.30, 2 / 4),  # relief and banks
    ],
)
def test_variety_of_an_even_slope(make_evidence, gradient, expected):
    assert variety(make_evidence(flat(gradient), cell=2.0)) == pytest.approx(expected, abs=2e-3)


def test_variety_by_woodland_counts_only_where_it_is_given(make_evidence):
    assert variety(make_evidence(flat(), cell=2.0, features={"woodland": ()})) == pytest.approx(1 / 5)
    # Half the ground round the middle, and a circle of a tenth of it: half of the fifth that counts in full.
    half = {"woodland": (box(0, 0, 1101, 9999),)}
    assert variety(make_evidence(flat(), cell=2.0, features=half)) == pytest.approx(2 / 5)
    tenth = {"woodland": (Point(1101, 2101).buffer(50 * math.sqrt(0.1), 64),)}
    assert variety(make_evidence(flat(), cell=2.0, features=tenth)) == pytest.approx(1.5 / 5, abs=5e-3)


def test_variety_by_the_edge_of_water(make_evidence):
    """Of a stream 55 m off, the strip 10 m wide on its near side cuts a segment off the disc of 50 m, at 45 m."""
    segment = 50**2 * math.acos(45 / 50) - 45 * math.sqrt(50**2 - 45**2)
    share = segment / (math.pi * 50**2)
    stream = {"watercourses": (LineString([(0, 2101 + 55), (9999, 2101 + 55)]),)}
    found = variety(make_evidence(flat(), cell=2.0, features=stream))
    assert found == pytest.approx((1 + share / 0.1) / 4, abs=0.01)
    through = {"watercourses": (LineString([(0, 2101), (9999, 2101)]),)}
    assert variety(make_evidence(flat(), cell=2.0, features=through)) == pytest.approx(2 / 4)


def test_variety_by_a_hollow_that_can_stand_in_water(make_evidence):
    def pond(depth):
        z = flat()
        x, y = np.meshgrid(2.0 * np.arange(101) - 100, 2.0 * np.arange(101) - 100)
        z[np.hypot(x, y) < 20] = -depth
        return make_evidence(z, cell=2.0)

    # A ring from 20 m to 30 m from the middle: 500 pi of 2,500 pi m2, more than the tenth that counts in full. Its
    # shore is no bank, and the hollow stays level enough.
    shallow, deep = variety(pond(0.29)), variety(pond(0.31))
    assert deep - shallow == pytest.approx(1 / 4, abs=0.01)


def test_variety_counts_only_where_it_is_given_a_weight(make_site, make_project):
    assert default_weights()["variety"] == 0
    assert "variety" not in criterion_weights(make_project().land)[0]
    z = 3 * np.random.default_rng(5).random((40, 40))
    scored = assess(make_site(z, cell=5.0), make_project(weights={"variety": 1}))
    assert scored.weights == {"variety": 1.0}
    assert np.nanmax(scored.suitability) <= 1
    assert np.nanmin(scored.suitability) >= 0
