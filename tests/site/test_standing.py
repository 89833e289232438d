"""Trees and boulders with their heights, from any vector file."""

import math

import pytest
from shapely.geometry import Point

from made_inputs import CRS, NORTH, WEST, Made, in_crs, write_geojson, write_vector
from packpale.faults import Faults
from packpale.site.inputs import open_inputs, read_site


def standing(tmp_path, rows, name="things.geojson", **more):
    made = Made(tmp_path)
    write = write_geojson if name.endswith("json") else write_vector
    made.inputs["trees_and_boulders"] = write(tmp_path / name, rows, **more)
    project = made.project()
    inputs = open_inputs(project)
    return inputs, read_site(inputs, "north", project).standing


def test_heights_are_read_and_may_be_missing(tmp_path):
    places = [Point(WEST + 30 + 5 * k, NORTH - 40) for k in range(3)]
    rows = [({"height_m": h}, in_crs(p, "EPSG:4326")) for h, p in zip((1.5, None, 0), places, strict=True)]
    _, found = standing(tmp_path, rows)
    assert [s.height for s in found] == pytest.approx([1.5, math.nan, 0.0], nan_ok=True)
    assert all(s.geometry.distance(p) < 1e-3 for s, p in zip(found, places, strict=True))
    _, bare = standing(tmp_path, [({"name": "oak"}, places[0])], name="things.gpkg")
    assert math.isnan(bare[0].height)


def test_only_what_stands_in_the_window_is_read(tmp_path):
    rows = [({"HEIGHT_M": 2.0}, Point(WEST + 30, NORTH - 40)), ({"HEIGHT_M": 3.0}, Point(WEST + 900, NORTH))]
    _, found = standing(tmp_path, rows, name="things.gpkg", crs=CRS)
    assert [s.height for s in found] == [2.0]


@pytest.mark.parametrize(("value", "shown"), [(-1.0, "-1.0"), (200.0, "200.0"), ("tall", "'tall'")])
def test_a_height_that_is_none_is_a_fault_with_its_feature(tmp_path, value, shown):
    with pytest.raises(Faults, match=rf"things.gpkg, feature 1: height_m is {shown}; give metres") as caught:
        standing(tmp_path, [({"height_m": value}, Point(WEST + 30, NORTH - 40))], name="things.gpkg")
    assert len(caught.value.lines) == 1
