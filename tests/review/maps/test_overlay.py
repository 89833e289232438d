"""Pictures lie on the map where the ground is: checked against pyproj and the formula of the map's projection."""

import math

import numpy as np
import pytest
import rasterio
from pyproj import Transformer

from packpale.review.class_picture import png, ramp
from packpale.review.maps.overlay import bounds_of, frame, warp
from packpale.site import Grid


def place_of_pixel(bounds, height, width, row, col):
    """Latitude and longitude of a point of a picture as the map draws it.

    Stretched evenly between the bounds in spherical Mercator, y = ln tan(pi/4 + lat/2) (EPSG Guidance Note 7-2,
    Popular Visualisation Pseudo Mercator).
    """
    (south, west), (north, east) = bounds

    def y(lat):
        return math.log(math.tan(math.pi / 4 + math.radians(lat) / 2))

    at = y(north) + (y(south) - y(north)) * row / height
    return math.degrees(2 * math.atan(math.exp(at)) - math.pi / 2), west + (east - west) * col / width


@pytest.mark.parametrize("crs", ["EPSG:32632", "EPSG:25832", "EPSG:32760", "EPSG:3035"])
@pytest.mark.parametrize(("row", "col"), [(0, 0), (57, 3), (60, 110), (89, 119)])
def test_a_cell_lies_where_its_ground_is(crs, row, col):
    west, north = {"EPSG:3035": (4_321_000.0, 3_210_000.0), "EPSG:32760": (500_300.0, 5_000_000.0)}.get(
        crs, (350_000.0, 5_500_000.0)
    )
    grid = Grid(west, north, 5.0, 90, 120)
    values = np.zeros(grid.shape)
    values[row, col] = 1
    onto = frame(grid, crs, largest_side=1500)
    warped = warp(values, grid, crs, onto, mean=False)
    hot = np.argwhere(warped == 1)
    assert hot.size
    at = hot.mean(axis=0) + 0.5
    lat, lon = place_of_pixel(bounds_of(onto), *warped.shape, *at)
    x, y = Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(lon, lat)
    xs, ys = grid.centres()
    assert abs(x - xs[col]) < grid.cell / 2
    assert abs(y - ys[row]) < grid.cell / 2


def test_a_shrunk_picture_stays_in_place_and_keeps_the_mean():
    grid = Grid(500_000.0, 5_500_000.0, 1.0, 600, 800)
    x, _ = np.meshgrid(*grid.centres())
    onto = frame(grid, "EPSG:32632", largest_side=200)
    assert max(onto.shape) <= 200
    warped = warp(x - grid.west, grid, "EPSG:32632", onto, mean=True)
    inner = warped[20:-20, 20:-20]
    cols = np.arange(20, onto.cols - 20)
    lat, lon = place_of_pixel(bounds_of(onto), *warped.shape, onto.rows / 2, cols[50] + 0.5)
    there, _ = Transformer.from_crs("EPSG:4326", "EPSG:32632", always_xy=True).transform(lon, lat)
    assert inner[inner.shape[0] // 2, 50] == pytest.approx(there - grid.west, abs=4.0)


def test_ground_without_values_is_not_painted():
    grid = Grid(500_000.0, 5_500_000.0, 1.0, 40, 40)
    onto = frame(grid, "EPSG:32632", largest_side=1500)
    warped = warp(np.full(grid.shape, np.nan), grid, "EPSG:32632", onto, mean=True)
    assert np.isnan(warped).all()


def test_png_has_the_colours_of_its_classes(tmp_path):
    classes = np.array([[0, 1], [2, 3]], np.uint8)
    (tmp_path / "p.png").write_bytes(png(classes, ["#102030", "", "#ffeedd"]))
    import matplotlib.image

    painted = np.round(matplotlib.image.imread(tmp_path / "p.png") * 255).astype(int)
    assert painted[0, 0, 3] == 0
    assert painted[0, 1].tolist() == [16, 32, 48, 255]
    assert painted[1, 0, 3] == 0
    assert painted[1, 1].tolist() == [255, 238, 221, 255]


def test_ramp_passes_through_its_anchors():
    assert ramp(["#000000", "#ff0000", "#ffffff"], 5) == ["#000000", "#800000", "#ff0000", "#ff8080", "#ffffff"]


def test_no_file_is_left_beside_a_picture(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    png(np.ones((3, 3), np.uint8), ["#102030"])
    assert list(tmp_path.iterdir()) == []
    assert rasterio.env.hasenv() is False
