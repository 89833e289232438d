"""Elevation on the run's grid: native cells exact, reprojection bilinear, tiles seamless, units and nodata."""

import json
import warnings
from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio
import shapely
from affine import Affine
from matplotlib.cbook import get_sample_data
from scipy.interpolate import RegularGridInterpolator
from shapely.geometry import box

from made_inputs import CRS, NORTH, NORTH_PLOT, WEST, Made, centres, in_crs, plane, write_raster, write_vector
from packpale.faults import Gathering
from packpale.site import Grid, elevations, raster_files
from packpale.site.elevations import read_elevation
from packpale.site.inputs import open_inputs, read_site
from packpale.units import FOOT_M, METRES_PER_ELEVATION_UNIT, US_SURVEY_FOOT_M
from told import told

OTHER = "EPSG:25833"
REAL = Path(__file__).parents[2] / "data_samples" / "real" / "lidar_1m_utm15n.tif"


def site_of(made, plot_id="north"):
    project = made.project()
    return read_site(open_inputs(project), plot_id, project)


# --- native cells ------------------------------------------------------------------------------------------------


def test_native_cells_are_the_raster_s_own(tmp_path):
    """Against rasterio's own windowed read of the same real file, value for value."""
    with rasterio.open(REAL) as source:
        west, north = source.transform.c, source.transform.f
        # 30 m round the plot, outward to whole cells of the raster: columns 70 to 230, rows 20 to 180.
        expected = source.read(1, window=((20, 180), (70, 230))).astype(float)
    made = Made(tmp_path)
    made.inputs["elevation"] = [REAL]
    made.settings = {"crs": "EPSG:26915", "land": {"margin_m": 30.0}}
    made.plots(("north", box(west + 100.4, north - 149.6, west + 199.7, north - 50.3)), crs="EPSG:26915")
    site = site_of(made)
    assert site.grid == Grid(west + 70, north - 20, 1.0, 160, 160)
    np.testing.assert_array_equal(site.elevation, expected)


def test_the_window_is_never_tighter_than_the_plot(tmp_path):
    made = Made(tmp_path)
    made.settings["land"] = {"margin_m": 0.0}
    plot = box(WEST + 20.01, NORTH - 80.99, WEST + 90.99, NORTH - 20.01)
    made.plots(("north", plot))
    site = site_of(made)
    assert site.grid.bounds == (WEST + 20, NORTH - 81, WEST + 91, NORTH - 20)
    # Only cells whose centre is inside count: checked point by point, by another library.
    x, y = site.grid.centres()
    np.testing.assert_array_equal(site.inside, shapely.contains_xy(plot, *np.meshgrid(x, y)))


def test_inside_follows_cell_centres_on_any_outline(tmp_path):
    made = Made(tmp_path)
    rng = np.random.default_rng(3)
    angle = np.sort(rng.uniform(0, 2 * np.pi, 40))
    reach = rng.uniform(15, 60, 40)
    star = shapely.Polygon(np.column_stack([WEST + 100 + reach * np.cos(angle), NORTH - 100 + reach * np.sin(angle)]))
    made.plots(("north", star.difference(shapely.Point(WEST + 100, NORTH - 100).buffer(8))))
    site = site_of(made)
    x, y = site.grid.centres()
    np.testing.assert_array_equal(site.inside, shapely.contains_xy(site.outline, *np.meshgrid(x, y)))


def test_the_margin_beyond_the_raster_is_nan_and_said(tmp_path):
    made = Made(tmp_path)
    made.settings["land"] = {"margin_m": 40.0}
    site = site_of(made)
    x, y = np.meshgrid(*site.grid.centres())
    np.testing.assert_array_equal(np.isnan(site.elevation), (x < WEST) | (y > NORTH))
    assert told(site.notes)[-1].endswith("of the ground read round the plot has no elevation.")


# --- no data -----------------------------------------------------------------------------------------------------

LOST = np.float32(-3.4028234663852886e38)


@pytest.mark.parametrize(
    ("hole", "options"),
    [
        (np.float32(-9999), {"nodata": -9999}),
        (np.float32(np.nan), {"nodata": np.nan}),
        (np.float32(np.nan), {}),
        (np.float32(np.inf), {}),
        # The tag lost its last digits on the way through text, as in the real file's.
        (LOST, {"nodata": -3.4028230607370965e38}),
        (LOST, {}),
    ],
    ids=["-9999", "NaN declared", "NaN", "infinite", "lowest float, tag rounded", "lowest float"],
)
def test_missing_cells_are_nan(tmp_path, hole, options):
    values = plane(*centres(200, 200)).astype("float32")
    values[12:15, 30:40] = hole  # in the margin
    made = Made(tmp_path)
    made.raster(values, **options)
    site = site_of(made)
    assert site.grid == Grid(WEST + 10, NORTH - 10, 1.0, 80, 90)
    expected = np.zeros(site.grid.shape, dtype=bool)
    expected[2:5, 20:30] = True
    np.testing.assert_array_equal(np.isnan(site.elevation), expected)
    # Missing, and not an elevation that no land has.
    assert len(site.notes) == 1


def test_cells_under_a_mask_are_nan(tmp_path):
    made = Made(tmp_path)
    made.raster()
    mask = np.full((200, 200), 255, "uint8")
    mask[12, 30] = 0
    with rasterio.Env(GDAL_TIFF_INTERNAL_MASK=True), rasterio.open(tmp_path / "own.tif", "r+") as out:
        out.write_mask(mask)
    np.testing.assert_array_equal(np.argwhere(np.isnan(site_of(made).elevation)), [[2, 20]])


def test_odd_elevations_in_the_margin_are_left_out_and_said(tmp_path):
    values = plane(*centres(200, 200)).astype("float32")
    values[12, 30] = -9999
    made = Made(tmp_path)
    made.raster(values)
    site = site_of(made)
    assert np.isnan(site.elevation[2, 20])
    assert "1 cells of the margin were left out because no land has their elevation." in told(site.notes)


# --- units -------------------------------------------------------------------------------------------------------


def test_feet_are_the_legal_ones():
    """International foot: 0.3048 m exactly. US survey foot: 1200/3937 m exactly.

    Federal Register notice "Refinement of values for the yard and the pound", 24 FR 5348 (1 July 1959), gives both;
    the second goes back to the Mendenhall order of 1893. The two differ by 2 parts in a million.
    """
    assert FOOT_M == 0.3048
    assert US_SURVEY_FOOT_M * 3937 == 1200
    assert pytest.approx(2e-6, rel=1e-3) == US_SURVEY_FOOT_M / FOOT_M - 1
    # PROJ's own table of units, as an independent copy.
    proj = {u.proj_short_name: u.conv_factor for u in pyproj.get_units_map(category="linear").values()}
    assert {k: proj[k] for k in METRES_PER_ELEVATION_UNIT} == pytest.approx(METRES_PER_ELEVATION_UNIT, rel=1e-15)


@pytest.mark.parametrize(("unit", "per_metre"), [("m", 1.0), ("ft", 1 / 0.3048), ("us-ft", 3937 / 1200)])
def test_elevations_become_metres(tmp_path, unit, per_metre):
    made = Made(tmp_path)
    made.raster(plane(*centres(200, 200)) * per_metre)
    made.inputs["elevation_unit"] = unit
    site = site_of(made)
    np.testing.assert_allclose(site.elevation, plane(*np.meshgrid(*site.grid.centres())), rtol=1e-14)


def test_scale_and_offset_of_the_band_are_applied(tmp_path):
    made = Made(tmp_path)
    made.raster(np.full((200, 200), 1234, "int16"), scale=0.1, offset=200.0)
    assert site_of(made).elevation == pytest.approx(323.4)


# --- tiles -------------------------------------------------------------------------------------------------------


def four_tiles(folder, crs=CRS):
    whole = plane(*centres(200, 200)) + np.random.default_rng(1).normal(size=(200, 200))
    tiles = []
    for name, rows, cols in (("a", 0, 0), ("b", 0, 60), ("c", 50, 0), ("d", 50, 60)):
        part = whole[rows : 50 if rows == 0 else 200, cols : 60 if cols == 0 else 200]
        tiles.append(write_raster(folder / f"{name}.tif", part, west=WEST + cols, north=NORTH - rows, crs=crs))
    return whole, tiles


def test_tiles_are_one_raster(tmp_path):
    made = Made(tmp_path)
    whole, made.inputs["elevation"] = four_tiles(tmp_path)
    np.testing.assert_array_equal(site_of(made).elevation, whole[10:90, 10:100])


def test_reprojected_tiles_have_no_seam(tmp_path):
    """The same cells as one raster and as four: interpolation across the joints sees both sides."""
    made = Made(tmp_path)
    made.settings["land"] = {"margin_m": 10.0, "cell_m": 0.7}
    whole, tiles = four_tiles(tmp_path)
    made.raster(whole)
    expected = site_of(made).elevation
    made.inputs["elevation"] = tiles
    np.testing.assert_array_equal(site_of(made).elevation, expected)
    assert np.isfinite(expected).all()


def test_where_tiles_overlap_the_first_counts_and_holes_are_filled(tmp_path):
    made = Made(tmp_path)
    first = np.full((200, 200), 100.0)
    first[30, 30] = np.nan
    made.inputs["elevation"] = [
        write_raster(tmp_path / "a.tif", first),
        write_raster(tmp_path / "b.tif", np.full((200, 200), 120.0)),
    ]
    elevation = site_of(made).elevation
    assert elevation[20, 20] == 120
    assert (elevation == 100).sum() == elevation.size - 1


def test_only_tiles_within_reach_are_opened(tmp_path, monkeypatch):
    made = Made(tmp_path)
    _, made.inputs["elevation"] = four_tiles(tmp_path)
    made.inputs["elevation"].append(write_raster(tmp_path / "far.tif", west=WEST + 6000))
    made.plots(("north", box(WEST + 10, NORTH - 40, WEST + 50, NORTH - 20)))
    made.settings["land"] = {"margin_m": 5.0}
    project = made.project()
    inputs = open_inputs(project)
    opened = []
    real = raster_files._opened
    monkeypatch.setattr(raster_files, "_opened", lambda path: opened.append(path.name) or real(path))
    read_site(inputs, "north", project)
    assert opened == ["a.tif", "a.tif", "b.tif", "c.tif", "d.tif"]


def test_only_the_window_is_read(tmp_path, monkeypatch):
    """A raster of 4 GB when unpacked, of which one window is read."""
    path = tmp_path / "huge.tif"
    with rasterio.open(
        path, "w", driver="GTiff", width=32768, height=32768, count=1, dtype="float32", crs=CRS, sparse_ok=True,
        transform=Affine(1, 0, WEST - 16384, 0, -1, NORTH + 16384), tiled=True, compress="deflate",
    ) as out:  # fmt: skip
        out.write(plane(*centres(200, 200)).astype("float32"), 1, window=((16384, 16584), (16384, 16584)))
    assert path.stat().st_size < 2_000_000
    made = Made(tmp_path)
    made.inputs["elevation"] = [path]
    site = site_of(made)
    assert site.grid.shape == (80, 90)
    np.testing.assert_allclose(site.elevation, plane(*np.meshgrid(*site.grid.centres())), rtol=1e-6)


def test_a_cell_that_holds_a_signalling_nan_is_no_data(tmp_path):
    """IEEE 754 knows two kinds of NaN; of one kind arithmetic complains, as a damaged file may hold it."""
    made = Made(tmp_path)
    values = plane(*centres(200, 200)).astype("float32")
    values.view("uint32")[14, 14] = 0x7FA00000
    made.raster(values)
    site = site_of(made)
    assert np.isnan(values[14, 14])
    assert np.isnan(site.elevation).sum() == 1
    assert np.isnan(site.elevation[round(site.grid.north - NORTH) + 14, 14 - round(site.grid.west - WEST)])


# --- resampling --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("cell", [0.5, 0.7, 1.5, 2.0, 5.0])
def test_bilinear_is_exact_on_planes(tmp_path, cell):
    made = Made(tmp_path)
    made.raster(plane(*centres(200, 200)))
    made.settings["land"] = {"margin_m": 8.0, "cell_m": cell}
    site = site_of(made)
    assert site.grid.cell == cell
    np.testing.assert_allclose(site.elevation, plane(*np.meshgrid(*site.grid.centres())), rtol=0, atol=1e-8)


def test_coarser_cells_take_the_mean_and_not_one_point(tmp_path):
    """Each cell of 3 m over noise in cells of 1 m holds nine of them whole, and takes their mean."""
    made = Made(tmp_path)
    noise = 100.0 + np.random.default_rng(4).normal(size=(200, 200))
    made.raster(noise)
    made.settings["land"] = {"margin_m": 4.0, "cell_m": 3.0}
    site = site_of(made)
    top, left = round(NORTH - site.grid.north), round(site.grid.west - WEST)
    own = noise[top : top + 3 * site.grid.rows, left : left + 3 * site.grid.cols]
    expected = own.reshape(site.grid.rows, 3, site.grid.cols, 3).mean(axis=(1, 3))
    np.testing.assert_allclose(site.elevation, expected, rtol=0, atol=1e-9)


def test_resampled_grids_of_neighbours_share_cells(tmp_path):
    made = Made(tmp_path)
    made.settings["land"] = {"margin_m": 12.0, "cell_m": 0.3}
    made.plots(("a", NORTH_PLOT), ("b", box(WEST + 91, NORTH - 90, WEST + 150, NORTH - 30)))
    project = made.project()
    inputs = open_inputs(project)
    a, b = (read_site(inputs, i, project) for i in "ab")
    for value in (a.grid.west, a.grid.north, b.grid.west, b.grid.north):
        assert value / 0.3 == pytest.approx(round(value / 0.3), abs=1e-6)
    east, south = round((b.grid.west - a.grid.west) / 0.3), round((a.grid.north - b.grid.north) / 0.3)
    shared = a.elevation[south:, east:]
    np.testing.assert_allclose(shared, b.elevation[: shared.shape[0], : shared.shape[1]], rtol=0, atol=1e-9)
    assert shared.size > 10_000


@pytest.mark.parametrize(("turn_deg", "east"), [(0, -60), (30, 30)])
def test_any_affine_raster_is_read(tmp_path, turn_deg, east):
    """South-up with oblong cells, and turned by 30 degrees: a plane is still the same plane."""
    transform = Affine.translation(WEST + east, NORTH - 280) @ Affine.rotation(turn_deg) @ Affine.scale(1.3, 0.8)
    cols, rows = np.meshgrid(np.arange(400) + 0.5, np.arange(500) + 0.5)
    made = Made(tmp_path)
    made.raster(plane(*(transform @ (cols, rows))), transform=transform)
    site = site_of(made)
    # A square with the area of a cell: sqrt(1.3 x 0.8) = 1.0198, to two digits.
    assert site.grid.cell == 1.0
    np.testing.assert_allclose(site.elevation, plane(*np.meshgrid(*site.grid.centres())), rtol=0, atol=1e-8)


def test_a_missing_cell_takes_its_four_neighbours_along_and_no_more(tmp_path):
    values = plane(*centres(200, 200))
    values[15, 15] = np.nan
    made = Made(tmp_path)
    made.raster(values)
    made.settings["land"] = {"margin_m": 10.0, "cell_m": 0.5}
    site = site_of(made)
    x, y = np.meshgrid(*site.grid.centres())
    # Weight of the missing cell is above 0 within one cell of its centre, in x and in y.
    near = (np.abs(x - (WEST + 15.5)) < 1) & (np.abs(y - (NORTH - 15.5)) < 1)
    np.testing.assert_array_equal(np.isnan(site.elevation), near)


# --- another CRS -------------------------------------------------------------------------------------------------


def test_geographic_raster_against_scipy_at_the_reprojected_points(tmp_path):
    """The elevation model that matplotlib carries, 3 arc-seconds, geographic, on a UTM grid."""
    with get_sample_data("jacksboro_fault_dem.npz") as dem:
        z, west, east = dem["elevation"], float(dem["xmin"]), float(dem["xmax"])
        # The archive calls the northern edge ymin, because row 0 is there.
        south, north = float(dem["ymax"]), float(dem["ymin"])
    rows, cols = z.shape
    dx, dy = (east - west) / cols, (north - south) / rows
    write_raster(tmp_path / "jacksboro.tif", z, crs="EPSG:4326", transform=Affine(dx, 0, west, 0, -dy, north))
    plot = box(-84.30, 36.52, -84.20, 36.58)
    write_vector(tmp_path / "p.geojson", [({"name": "a"}, plot)], crs="EPSG:4326", driver="GeoJSON")
    made = Made(tmp_path)
    made.inputs |= {"elevation": [tmp_path / "jacksboro.tif"], "plots": tmp_path / "p.geojson"}
    made.settings = {"land": {"margin_m": 500.0}}
    site = site_of(made, "a")
    assert site.crs == "EPSG:32616"
    # A cell of 3 arc-seconds at 36.55 N, on the sphere of radius 6371 km: 92.66 m by 92.66 cos(36.55) = 74.43 m.
    assert site.grid.cell == pytest.approx(np.sqrt(92.66 * 74.43), rel=0.02)
    x, y = np.meshgrid(*site.grid.centres())
    lon, lat = pyproj.Transformer.from_crs("EPSG:32616", "EPSG:4326", always_xy=True).transform(x, y)
    lons, lats = west + (np.arange(cols) + 0.5) * dx, north - (np.arange(rows) + 0.5) * dy
    expected = RegularGridInterpolator((lats[::-1], lons), z[::-1].astype(float))((lat, lon))
    assert np.abs(site.elevation - expected).max() < 1e-6
    assert np.isfinite(expected).all()


@pytest.mark.parametrize(
    ("crs", "cell"), [("EPSG:25832", 0.3), ("EPSG:25832", 7.0), ("EPSG:25833", 1.0), (OTHER, 20.0)]
)
def test_a_cell_has_the_same_value_in_every_window(tmp_path, monkeypatch, crs, cell):
    """Windows that begin elsewhere, and pieces of other sizes, one of them a single cell."""
    made = Made(tmp_path)
    made.raster(100.0 + np.random.default_rng(6).normal(size=(200, 200)))
    made.settings = {"crs": crs, "land": {"margin_m": 5.0, "cell_m": cell}}
    inputs = open_inputs(made.project())
    target = pyproj.CRS(crs)
    west, south, east, north = in_crs(box(WEST - 30, NORTH - 230, WEST + 230, NORTH + 30), crs).bounds
    col, row, cols, rows = west // cell, north // cell, int((east - west) / cell), int((north - south) / cell)
    whole = Grid(col * cell, row * cell, cell, rows, cols)
    values = read_elevation(inputs.elevation, target, whole)
    assert 0.1 < np.isnan(values).mean() < 0.6
    monkeypatch.setattr(elevations, "POINTS_AT_ONCE", 90)
    for top, left, high, wide in (
        (0, 0, 3, 4),
        (rows // 3, cols // 2, 5, 4),
        (rows // 2, 2, 1, 1),
        (2, cols // 3, 6, 2),
    ):
        part = Grid((col + left) * cell, (row - top) * cell, cell, high, wide)
        again = read_elevation(inputs.elevation, target, part)
        np.testing.assert_allclose(again, values[top : top + high, left : left + wide], rtol=0, atol=1e-8)


def test_cells_are_means_of_as_many_points_in_every_window(tmp_path):
    """Cells in degrees are wider in the south: a cell of the run spans 2.4 of them there, and 2.6 in the north."""
    noise = np.random.default_rng(7).normal(size=(200, 200))
    path = write_raster(tmp_path / "wide.tif", noise, crs="EPSG:4326", transform=Affine(0.05, 0, 4, 0, -0.05, 56))
    elevation = raster_files.open_elevation([path], "m", Gathering())
    crs, cell = pyproj.CRS("EPSG:32632"), 11_000.0
    whole = Grid(30 * cell, 555 * cell, cell, 80, 30)
    values = read_elevation(elevation, crs, whole)
    assert np.isfinite(values).all()
    for top in (0, 78):
        part = whole.part(slice(top, top + 2), slice(10, 12))
        np.testing.assert_allclose(
            read_elevation(elevation, crs, part), values[top : top + 2, 10:12], rtol=0, atol=1e-9
        )


def test_a_missing_cell_leaves_no_trace_beyond_its_four_neighbours_in_another_crs(tmp_path):
    values = plane(*centres(200, 200))
    values[60, 60] = np.nan
    made = Made(tmp_path)
    made.raster(values)
    made.settings = {"crs": OTHER, "land": {"margin_m": 5.0, "cell_m": 0.5}}
    made.plots(("north", box(WEST + 20, NORTH - 50, WEST + 40, NORTH - 20)))
    inputs = open_inputs(made.project())
    west, _, _, north = in_crs(box(WEST + 50, NORTH - 70, WEST + 70, NORTH - 50), OTHER).bounds
    grid = Grid(west // 1, north // 1, 0.5, 40, 40)
    found = read_elevation(inputs.elevation, pyproj.CRS(OTHER), grid)
    x, y = pyproj.Transformer.from_crs(OTHER, CRS, always_xy=True).transform(*np.meshgrid(*grid.centres()))
    near = (np.abs(x - (WEST + 60.5)) < 1) & (np.abs(y - (NORTH - 60.5)) < 1)
    np.testing.assert_array_equal(np.isnan(found), near)
    assert near.sum() > 10
    np.testing.assert_allclose(found[~near], plane(x, y)[~near], rtol=0, atol=1e-6)


def test_a_raster_on_another_datum_is_interpolated_and_said(tmp_path):
    """NAD 83 ground in a run in WGS 84: not the raster's own cells, and a note says so."""
    with rasterio.open(REAL) as source:
        west, north = source.transform.c, source.transform.f
    made = Made(tmp_path)
    made.inputs["elevation"] = [REAL]
    made.settings = {"crs": "EPSG:32615", "land": {"margin_m": 10.0}}
    made.plots(("north", box(west + 100, north - 200, west + 200, north - 100)), crs="EPSG:26915")
    inputs = open_inputs(made.project())
    assert (inputs.crs, inputs.cell_m) == ("EPSG:32615", 1.0)
    assert any("(EPSG:26915) were interpolated to cells of 1 m in EPSG:32615" in note for note in told(inputs.notes))
    # The registry states 4 m for the null shift from NAD83 to WGS 84 (EPSG:1188).
    assert any("Elevations were moved" in note and "an accuracy of about 4 m" in note for note in told(inputs.notes))


def test_a_run_without_crs_takes_that_of_the_elevations_and_moves_no_cell(tmp_path):
    """Surveyed ground stays in the system it was surveyed in: cells are the file's, as the library reads them."""
    with rasterio.open(REAL) as source:
        west, north, cells = source.transform.c, source.transform.f, source.read(1)
    made = Made(tmp_path)
    made.inputs["elevation"] = [REAL]
    made.settings = {"land": {"margin_m": 10.0}}
    made.plots(("north", box(west + 100, north - 200, west + 200, north - 100)), crs="EPSG:26915")
    project = made.project()
    inputs = open_inputs(project)
    assert inputs.crs == "EPSG:26915"
    assert told(inputs.notes)[0] == "Coordinates are in EPSG:26915 (NAD83 / UTM zone 15N), that of the elevations."
    site = read_site(inputs, "north", project)
    row, col = round(north - site.grid.north), round(site.grid.west - west)
    np.testing.assert_array_equal(
        site.elevation, cells[row : row + site.grid.rows, col : col + site.grid.cols].astype(float)
    )


@pytest.mark.parametrize(
    ("crs", "why"),
    [
        ("EPSG:3857", "a metre on the map is 0.6 m on the ground"),
        ("EPSG:4326", "degrees"),
        ("EPSG:25829", "four zones away"),
    ],
)
def test_a_run_without_crs_takes_the_utm_zone_where_that_of_the_elevations_would_not_do(tmp_path, crs, why):
    made = Made(tmp_path)
    west, south, east, north = in_crs(box(WEST, NORTH - 200, WEST + 200, NORTH), crs).bounds
    cells = np.add.outer(np.arange(300.0), np.arange(300.0)).astype("float32")
    transform = Affine((east - west) / 300, 0, west, 0, -(north - south) / 300, north)
    made.inputs["elevation"] = [write_raster(tmp_path / "other.tif", cells, crs=crs, transform=transform)]
    made.settings = {"land": {"margin_m": 0.0}}
    inputs = open_inputs(made.project())
    assert inputs.crs == "EPSG:32632", why
    assert told(inputs.notes)[0] == "Coordinates are in EPSG:32632 (WGS 84 / UTM zone 32N), the UTM zone of the plots."


def test_finer_cells_than_the_raster_s_are_said(tmp_path):
    made = Made(tmp_path)
    made.settings["land"] = {"margin_m": 0.0, "cell_m": 0.25}
    notes = told(open_inputs(made.project()).notes)
    assert "Cells of 0.25 m show no more detail than the 1 m of dem.tif." in notes


# --- whole -------------------------------------------------------------------------------------------------------


def test_reading_leaves_nothing_beside_the_inputs(tmp_path):
    made = Made(tmp_path)
    made.inputs["woodland"] = write_vector(tmp_path / "w.gpkg", [({"name": "x"}, NORTH_PLOT)])
    project = made.project()
    before = {p: p.read_bytes() for p in tmp_path.rglob("*")}
    read_site(open_inputs(project), "north", project)
    assert {p: p.read_bytes() for p in tmp_path.rglob("*")} == before


def test_a_text_raster_is_read_too(tmp_path):
    """An Esri ASCII grid, written by hand; the CRS stands in the .prj beside it."""
    rows = "\n".join(" ".join(str(100 + r + c) for c in range(200)) for r in range(200))
    head = f"ncols 200\nnrows 200\nxllcorner {WEST}\nyllcorner {NORTH - 200}\ncellsize 1\nnodata_value -9999\n"
    (tmp_path / "dem.asc").write_text(head + rows, encoding="utf-8")
    (tmp_path / "dem.prj").write_text(pyproj.CRS(CRS).to_wkt("WKT1_ESRI"), encoding="utf-8")
    made = Made(tmp_path)
    made.inputs["elevation"] = [tmp_path / "dem.asc"]
    site = site_of(made)
    np.testing.assert_array_equal(site.elevation, 100.0 + np.add.outer(np.arange(10, 90), np.arange(10, 100)))


def test_a_json_file_is_not_opened_as_a_raster(tmp_path):
    made = Made(tmp_path)
    made.inputs["elevation"] = [made.text(json.dumps({"type": "FeatureCollection"}), "list.json")]
    with pytest.raises(Exception, match="only points to other files"):
        open_inputs(made.project())


def test_no_warning_is_raised(tmp_path):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        site_of(Made(tmp_path))
