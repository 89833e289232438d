"""A window worked through strip by strip, with its arrays in files, has the land of one held in memory."""

import dataclasses

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from shapely.geometry import LineString, box

from packpale.land.assess import assess
from packpale.land.by_strips import drainage_by_strips
from packpale.land.drainage import Drainage, drainage
from packpale.land.slope import slope
from packpale.site import Grid, Storage


def grid_of(z):
    return Grid(1000.0, 2000.0 + z.shape[0], 1.0, *z.shape)


def both_ways(z, folder, rows_a_strip, channel_area=30.0):
    """Drainage of ground in memory, and by strips of about so many rows."""
    steep = slope(z, cell_size=(1.0, 1.0))
    storage = Storage(folder, strip_cells=rows_a_strip * z.shape[1])
    by_strips = drainage_by_strips(z, steep, grid=grid_of(z), channel_area=channel_area, storage=storage)
    return drainage(z, steep, cell=1.0, channel_area=channel_area), by_strips


def grounds():
    draw = np.random.default_rng(11)
    rough = draw.normal(0, 1, (61, 40)).cumsum(axis=0).cumsum(axis=1)
    tilted = 0.3 * np.arange(61)[:, None] + 0.01 * np.arange(40)[None, :]
    holed = rough.copy()
    holed[draw.random(rough.shape) < 0.05] = np.nan
    holed[20:33, 5:20] = np.nan
    # A ditch to and fro through all strips: its water crosses every edge many times.
    ditch = np.full((61, 40), 50.0)
    for column in range(1, 39, 2):
        ditch[1:-1, column] = 0
        ditch[1 if column % 4 == 1 else -2, column : column + 2] = 0
    ditch[ditch == 0] = 10 - 0.001 * np.arange((ditch == 0).sum())
    return {
        "rough": rough,
        "white noise": draw.normal(0, 1, (61, 40)),
        "steps of 1 m with many flats": np.round(rough / 20),
        "level": np.zeros((61, 40)),
        "one lake": np.where(np.hypot(*np.mgrid[-30:31, -20:20]) < 18, 0.0, 1.0) + 1e-3 * draw.random((61, 40)),
        "falls north": tilted,
        "falls south": tilted[::-1].copy(),
        "with holes": holed,
        "a ditch to and fro": ditch,
    }


@pytest.mark.parametrize("ground", grounds())
@pytest.mark.parametrize("rows", [3, 7, 20])
def test_drainage_is_the_same_to_the_last_bit(ground, rows, tmp_path):
    whole, by_strips = both_ways(grounds()[ground], tmp_path, rows)
    for field in dataclasses.fields(Drainage):
        assert_array_equal(getattr(by_strips, field.name), getattr(whole, field.name), err_msg=field.name)


@pytest.mark.parametrize("rows", [3, 64, 150])
def test_drainage_of_real_ground_is_the_same_to_the_last_bit(real_ground, rows, tmp_path):
    whole, by_strips = both_ways(real_ground, tmp_path, rows, channel_area=500.0)
    assert whole.channel.sum() > 100
    for field in dataclasses.fields(Drainage):
        assert_array_equal(getattr(by_strips, field.name), getattr(whole, field.name), err_msg=field.name)


def test_all_of_the_land_is_the_same(make_site, make_project, tmp_path):
    z = np.random.default_rng(5).normal(0, 0.02, (60, 50)).cumsum(axis=1) + 0.05 * np.hypot(*np.mgrid[-30:30, -25:25])
    z[30, 20] = np.nan
    features = {
        "access": (LineString([(1003, 2000), (1020, 2055)]),),
        "dwellings": (box(1030, 2010, 1034, 2014),),
        "woodland": (box(1005, 2020, 1020, 2041), box(1030, 2050, 1040, 2058)),
    }
    weights = dict.fromkeys(["slope", "drainage", "diggability", "access", "seclusion", "cover"], 1)
    project = make_project(*features, weights=weights)
    site = make_site(z, features=features)
    # 7 rows a strip, and one strip of memory: what lies around a strip reaches over several.
    assert_same(assess(site, project), assess(dataclasses.replace(site, storage=Storage(tmp_path, 350)), project))
    in_strips = dataclasses.replace(site, storage=Storage(None, 350))
    assert_same(assess(site, project), assess(in_strips, project))


def assert_same(one, other):
    for field in dataclasses.fields(one):
        first, second = getattr(one, field.name), getattr(other, field.name)
        if isinstance(first, np.ndarray):
            assert_array_equal(first, second, err_msg=field.name)
        else:
            assert first == second
