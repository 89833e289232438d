"""Each criterion at the ends of its curves, and half way."""

from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import LineString, Point, box

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
