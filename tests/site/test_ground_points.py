"""Ground points of laser scans against an independent triangulation, and from start to check."""

import laspy
import numpy as np
import pyproj
import pytest
import rasterio
from click.testing import CliRunner
from matplotlib.tri import LinearTriInterpolator, Triangulation

from made_inputs import CRS, NORTH, NORTH_PLOT, SOUTH_PLOT, WEST, plane, write_vector
from packpale.cli import commands
from packpale.faults import Faults
from packpale.settings import read_settings
from packpale.site.ground_points import ground_from_points
from packpale.site.inputs import open_inputs, read_site


def write_cloud(path, xyz, classes, crs=CRS):
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = [0.001] * 3, np.floor(xyz.min(axis=0))
    if crs:
        header.add_crs(pyproj.CRS(crs))
    cloud = laspy.LasData(header)
    cloud.x, cloud.y, cloud.z = xyz.T
    cloud.classification = classes
    cloud.write(path)
    return path


def scattered(count=20_000, seed=3, hills=0.0):
    """Points on the made ground (with hills), trees over it, and some water."""
    rng = np.random.default_rng(seed)
    x, y = WEST + rng.uniform(-5, 205, count), NORTH - rng.uniform(-5, 205, count)
    z = plane(x, y) + hills * np.sin(x / 15) * np.cos(y / 20)
    classes = rng.choice([2, 2, 2, 9, 5, 6, 1], count)
    z = z + np.where(np.isin(classes, (2, 9)), 0, 12)
    return np.column_stack([x, y, z]), classes


@pytest.mark.parametrize("name", ["cloud.las", "cloud.laz"])
def test_ground_points_of_a_plane_are_that_plane(tmp_path, name):
    ground = ground_from_points([write_cloud(tmp_path / name, *scattered())], 1.0, None)
    x, y = np.meshgrid(*ground.grid.centres())
    known = np.isfinite(ground.heights)
    assert known.mean() > 0.95
    # Heights are kept to a millimetre in such files.
    np.testing.assert_allclose(ground.heights[known], plane(x, y)[known], atol=0.002)
    assert (ground.grid.cell, ground.unit, ground.crs) == (1.0, "m", pyproj.CRS(CRS))


def test_heights_are_those_of_an_independent_triangulation(tmp_path):
    xyz, classes = scattered(8000, hills=6.0)
    ground = ground_from_points([write_cloud(tmp_path / "c.laz", xyz, classes)], 2.0, None)
    # What the file holds: rounded to a millimetre.
    cloud = laspy.read(tmp_path / "c.laz")
    kept = np.isin(cloud.classification, (2, 9))
    px, py, pz = (np.asarray(v)[kept] for v in (cloud.x, cloud.y, cloud.z))
    x, y = np.meshgrid(*ground.grid.centres())
    other = LinearTriInterpolator(Triangulation(px - WEST, py - NORTH), pz)(x - WEST, y - NORTH).filled(np.nan)
    both = np.isfinite(ground.heights) & np.isfinite(other)
    assert both.mean() > 0.95
    np.testing.assert_allclose(ground.heights[both], other[both], atol=1e-6)


def test_gaps_stay_missing(tmp_path):
    xyz, classes = scattered()
    away = np.hypot(xyz[:, 0] - WEST - 100, xyz[:, 1] - NORTH + 100)
    ground = ground_from_points([write_cloud(tmp_path / "c.laz", xyz[away > 25], classes[away > 25])], 1.0, None)
    x, y = np.meshgrid(*ground.grid.centres())
    away = np.hypot(x - WEST - 100, y - NORTH + 100)
    assert np.isnan(ground.heights[away < 15]).all()
    assert np.isfinite(ground.heights[(away > 30) & (away < 90)]).all()
    # A gap that is narrow is bridged.
    xyz, classes = scattered()
    away = np.hypot(xyz[:, 0] - WEST - 100, xyz[:, 1] - NORTH + 100)
    ground = ground_from_points([write_cloud(tmp_path / "d.laz", xyz[away > 5], classes[away > 5])], 1.0, None)
    assert np.isfinite(ground.heights[90:110, 90:110]).all()


def test_tiles_are_one_ground_without_a_seam(tmp_path):
    xyz, classes = scattered(hills=6.0)
    whole = ground_from_points([write_cloud(tmp_path / "w.laz", xyz, classes)], 1.0, None)
    west = xyz[:, 0] < WEST + 90
    tiles = [write_cloud(tmp_path / f"{n}.laz", xyz[part], classes[part]) for n, part in (("a", west), ("b", ~west))]
    both = ground_from_points(tiles, 1.0, None)
    np.testing.assert_allclose(both.heights, whole.heights, atol=1e-9)


def test_feet_stay_feet_and_cells_are_metres(tmp_path):
    # EPSG:2264 is NAD83 / North Carolina (ftUS), EPSG:6360 NAVD88 height (ftUS).
    xyz, classes = scattered()
    xyz = (xyz - [WEST, NORTH, 0]) / (1200 / 3937) + [2_000_000, 700_000, 0]
    ground = ground_from_points([write_cloud(tmp_path / "f.laz", xyz, classes, "EPSG:2264+6360")], 2.0, None)
    assert ground.unit == "us-ft"
    assert ground.grid.cell == pytest.approx(2 / (1200 / 3937))


@pytest.mark.parametrize(
    ("spoil", "fault"),
    [
        (lambda p: p.write_bytes(b"LASF" + b"\0" * 500), r"c\.laz: cannot be read as a point cloud \(.+\); supply a"),
        (lambda p: p.write_bytes(p.read_bytes()[: p.stat().st_size // 2]), r"c\.laz: cannot be read as a point cloud"),
        (lambda p: write_cloud(p, *scattered(), crs=None), r"c\.laz: does not say in which coordinates it is; start "),
        (lambda p: write_cloud(p, scattered()[0], np.full(20_000, 5)), r"c\.laz: holds 0 points of ground \(class 2\)"),
        (lambda p: p.unlink(), r"c\.laz: there is no such file; correct the path"),
    ],
)
def test_what_is_no_ground_is_one_line(tmp_path, spoil, fault):
    path = write_cloud(tmp_path / "c.laz", *scattered())
    spoil(path)
    with pytest.raises(Faults, match=fault):
        ground_from_points([path], 1.0, None)


def test_points_in_degrees_or_in_two_crs_are_refused(tmp_path):
    xyz, classes = scattered()
    degrees = np.column_stack([10 + (xyz[:, 0] - WEST) / 1e5, 50 + (xyz[:, 1] - NORTH) / 1e5, xyz[:, 2]])
    geographic = write_cloud(tmp_path / "g.laz", degrees, classes, "EPSG:4326")
    with pytest.raises(Faults, match=r"g\.laz: is in EPSG:4326, points are triangulated in a projected CRS"):
        ground_from_points([geographic], 1.0, None)
    one = write_cloud(tmp_path / "a.laz", xyz, classes)
    other = write_cloud(tmp_path / "b.laz", xyz, classes, "EPSG:32632")
    with pytest.raises(Faults, match=r"b\.laz: is in EPSG:32632 .+; bring all tiles to one CRS"):
        ground_from_points([one, other], 1.0, None)


def test_from_points_to_a_checked_run_without_an_edit(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    write_cloud(tmp_path / "scan.laz", *scattered(60_000))
    write_vector(tmp_path / "p.gpkg", [({"name": n}, p) for n, p in (("north", NORTH_PLOT), ("south", SOUTH_PLOT))])
    done = CliRunner().invoke(
        commands, ["start", "land", "--elevation", "scan.laz", "--plots", "p.gpkg", "--cell", "2"]
    )
    assert done.exit_code == 0, done.output
    assert "points of ground and water from 1 file in cells of 2 m" in done.output
    with rasterio.open("land/elevation.tif") as raster:
        assert (raster.res, raster.units, raster.crs.to_epsg()) == ((2.0, 2.0), ("m",), 25832)
    project = read_settings(tmp_path / "land" / "packpale.toml")
    site = read_site(open_inputs(project), "north", project)
    x, y = np.meshgrid(*site.grid.centres())
    np.testing.assert_allclose(site.elevation[site.inside], plane(x, y)[site.inside], atol=0.01)
    checked = CliRunner().invoke(commands, ["check", "land/packpale.toml"])
    assert checked.exit_code == 0, checked.output
    again = CliRunner().invoke(
        commands, ["start", "more", "--elevation", "land/elevation.tif", "--plots", "p.gpkg", "--cell", "2"]
    )
    assert "--cell: has no effect without a point cloud" in again.stderr


def test_without_the_libraries_it_is_said_how_to_get_them(tmp_path, monkeypatch):
    path = write_cloud(tmp_path / "c.laz", *scattered())
    monkeypatch.setitem(__import__("sys").modules, "laspy", None)
    with pytest.raises(
        Faults, match=r'c\.laz: reading point clouds needs more libraries; pip install "packpale\[points\]"'
    ):
        ground_from_points([path], 1.0, None)


def test_tiles_of_points_come_from_a_folder_or_a_pattern_and_not_with_rasters(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "scans").mkdir()
    xyz, classes = scattered(60_000)
    west = xyz[:, 0] < WEST + 90
    for name, part in (("a", west), ("b", ~west)):
        write_cloud(tmp_path / "scans" / f"{name}.laz", xyz[part], classes[part])
    write_vector(tmp_path / "p.gpkg", [({"name": "north"}, NORTH_PLOT)])
    for n, given in enumerate(("scans", "scans/*.laz")):
        done = CliRunner().invoke(commands, ["start", f"land{n}", "--elevation", given, "--plots", "p.gpkg"])
        assert done.exit_code == 0, done.output
        assert "points of ground and water from 2 files in cells of 1 m" in done.output
    (tmp_path / "land0" / "elevation.tif").rename(tmp_path / "scans" / "c.tif")
    mixed = CliRunner().invoke(commands, ["start", "more", "--elevation", "scans", "--plots", "p.gpkg"])
    assert mixed.exit_code == 2
    assert "a.laz is a point cloud and others are not; start with one kind of them" in mixed.stderr


def test_the_raster_goes_where_the_settings_are_not_written(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    write_cloud(tmp_path / "scan.laz", *scattered())
    away = NORTH_PLOT.buffer(500)
    write_vector(tmp_path / "p.gpkg", [({"name": "a"}, away)])
    done = CliRunner().invoke(commands, ["start", "land", "--elevation", "scan.laz", "--plots", "p.gpkg"])
    assert done.exit_code == 2
    assert "covers" in done.stderr
    assert not (tmp_path / "land").exists()


def test_points_may_take_their_crs_from_the_command(tmp_path):
    path = write_cloud(tmp_path / "c.laz", *scattered(), crs=None)
    assert ground_from_points([path], 1.0, pyproj.CRS(CRS)).crs == pyproj.CRS(CRS)
