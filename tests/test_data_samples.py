"""The land that comes with the project: made again by its scripts, small, described, and of the character claimed.

What a plot is like is computed here from the committed files with numpy and geopandas, without the computing rooms.
"""

import heapq
import importlib.util
import json
import sqlite3
import tomllib
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from rasterio.features import geometry_mask

from packpale.settings import DRAINAGE_CLASSES, FEATURE_KINDS, read_settings

TOP = Path(__file__).parents[1]
SAMPLES, CONFIG = TOP / "data_samples", TOP / "config"
DEMO = SAMPLES / "demo"
# No road or bank of the estate has a culvert under it.
KINDS = tuple(kind for kind in FEATURE_KINDS if kind != "culverts")
GEOJSON = (*KINDS, "trees_and_boulders")
TILES = [DEMO / "elevation_west.tif", DEMO / "elevation_east.tif"]


def script(name):
    spec = importlib.util.spec_from_file_location(name, SAMPLES / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def made_again(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    script("make_demo").main(folder)
    return folder


@pytest.fixture(scope="module")
def ground():
    """Elevation of the whole estate and its transform. [m]"""
    with rasterio.open(TILES[0]) as west, rasterio.open(TILES[1]) as east:
        assert west.bounds.right == east.bounds.left
        assert (west.bounds.top, west.res) == (east.bounds.top, east.res)
        return np.hstack([west.read(1), east.read(1)]).astype(float), west.transform


@pytest.fixture(scope="module")
def slope_deg(ground):
    elevation, transform = ground
    north, east = np.gradient(elevation, transform.a)
    return np.degrees(np.arctan(np.hypot(north, east)))


@pytest.fixture(scope="module")
def plots():
    return gpd.read_file(DEMO / "plots.gpkg").set_index("plot").geometry


@pytest.fixture(scope="module")
def soil():
    return gpd.read_file(DEMO / "soil.gpkg")


@pytest.fixture(scope="module")
def inside(ground, plots):
    """Cells whose centre lies in each plot."""
    elevation, transform = ground
    return {key: geometry_mask([plot], elevation.shape, transform, invert=True) for key, plot in plots.items()}


@pytest.fixture(scope="module")
def ponding(ground, inside):
    """Depth of water that full hollows hold in and 60 m round each plot that claims something about it. [m]"""
    depth = np.full(ground[0].shape, np.nan)
    for key in ("mirrow-moss", "grey-slabs", "larder-shelf", "tarn-knapps"):
        rows, cols = (np.flatnonzero(inside[key].any(axis=axis)) for axis in (1, 0))
        window = np.s_[max(rows[0] - 30, 0) : rows[-1] + 31, max(cols[0] - 30, 0) : cols[-1] + 31]
        depth[window] = filled(ground[0][window]) - ground[0][window]
    return depth


def filled(z):
    """Elevation with every hollow filled to its outlet: the flood that takes the lowest cell first, plain and slow.

    The outer ring is the outlet.
    """
    rows, cols = z.shape
    level = np.where(np.pad(np.zeros((rows - 2, cols - 2), bool), 1, constant_values=True), z, np.inf)
    heap = [(z[r, c], r, c) for r, c in np.argwhere(np.isfinite(level)).tolist()]
    heapq.heapify(heap)
    while heap:
        height, r, c = heapq.heappop(heap)
        for rr in range(max(r - 1, 0), min(r + 2, rows)):
            for cc in range(max(c - 1, 0), min(c + 2, cols)):
                if level[rr, cc] == np.inf:
                    level[rr, cc] = max(z[rr, cc], height)
                    heapq.heappush(heap, (level[rr, cc], rr, cc))
    return level


def largest_radius(free, cell):
    """Radius of the largest circle of cell centres among the free cells, to about a cell. [m]"""
    from scipy.ndimage import distance_transform_edt

    return distance_transform_edt(np.pad(free, 1)).max() * cell


def soil_at_middle(soil, plot, column):
    """Mean of a soil column over a plot, weighted with area."""
    parts = soil.assign(part=soil.intersection(plot).area).dropna(subset=column)
    return np.average(parts[column], weights=parts.part)


# ---------------------------------------------------------------------------------------------------- the files


def test_hollow_filling_of_this_file_fills_a_bowl_to_its_notch():
    bowl = np.pad(np.zeros((3, 3)), 1, constant_values=5.0)
    bowl[0, 2] = 2.0  # the notch
    assert (filled(bowl)[1:4, 1:4] == 2.0).all()


def test_script_makes_the_committed_elevation_again(made_again):
    for tile in TILES:
        with rasterio.open(tile) as kept, rasterio.open(made_again / tile.name) as new:
            assert (kept.crs, kept.transform, kept.shape) == (new.crs, new.transform, new.shape)
            # Sines differ in their last digit between processors, which can turn one rounding over: 1/64 m.
            difference = np.abs(kept.read(1) - new.read(1))
            assert difference.max() <= 1 / 64
            assert (difference > 0).mean() < 1e-4


def test_script_makes_the_committed_layers_again(made_again):
    layers = sorted(p.name for p in DEMO.iterdir() if p.suffix in {".gpkg", ".geojson"})
    assert len(layers) == 3 + len(KINDS)
    for name in layers:
        kept, new = gpd.read_file(DEMO / name), gpd.read_file(made_again / name)
        assert kept.crs == new.crs
        assert list(kept.columns) == list(new.columns)
        assert kept.drop(columns="geometry").equals(new.drop(columns="geometry"))
        assert shapely.equals_exact(kept.geometry.to_numpy(), new.geometry.to_numpy(), tolerance=1e-6).all()


def test_script_makes_the_committed_pits_again_and_nothing_else(made_again):
    assert (DEMO / "pits.csv").read_text() == (made_again / "pits.csv").read_text()
    assert {p.name for p in DEMO.iterdir()} == {p.name for p in made_again.iterdir()}


def test_geopackages_hold_no_hour_of_writing():
    for name in ("plots.gpkg", "soil.gpkg"):
        with sqlite3.connect(f"file:{DEMO / name}?mode=ro", uri=True) as table:
            stamps = [stamp for (stamp,) in table.execute("select last_change from gpkg_contents")]
        table.close()
        assert stamps == [script("make_demo").TIMESTAMP]


def test_samples_stay_small():
    assert sum(p.stat().st_size for p in DEMO.iterdir()) < 1_000_000
    assert (SAMPLES / "screening" / "elevation_3_arc_seconds.tif").stat().st_size < 300_000
    assert sum(p.stat().st_size for p in SAMPLES.rglob("*") if p.is_file()) < 3_000_000


def test_tiles_join_without_gap_or_missing_cell(ground):
    elevation, transform = ground
    assert elevation.shape == (700, 850)
    assert (transform.a, transform.e) == (2.0, -2.0)
    assert np.isfinite(elevation).all()
    assert elevation.min() > 400
    seam = np.abs(elevation[:, 425] - elevation[:, 424])
    beside = np.abs(elevation[:, 424] - elevation[:, 423])
    assert seam.mean() == pytest.approx(beside.mean(), rel=0.1)


@pytest.mark.parametrize("name", [f"{kind}.geojson" for kind in GEOJSON] + ["plots.gpkg", "soil.gpkg"])
def test_layers_lie_on_the_estate(name, ground):
    elevation, transform = ground
    rows, cols = elevation.shape
    west, north = transform.c, transform.f
    south, east = north + rows * transform.e, west + cols * transform.a
    layer = gpd.read_file(DEMO / name)
    assert layer.crs.to_epsg() == 25832
    assert layer.is_valid.all()
    assert layer.within(shapely.box(west, south, east, north)).all()


def test_soil_polygons_do_not_overlap_and_speak_the_terms_of_the_settings(soil):
    assert shapely.union_all(soil.geometry).area == pytest.approx(soil.area.sum(), rel=1e-9)
    assert set(soil.drainage_class) <= set(DRAINAGE_CLASSES)
    assert set(soil.rock_hardness) == {"hard", "soft"}
    assert soil.stones_percent.isna().any()  # a column that is not filled everywhere belongs to the demo


def test_plots_lie_apart_and_keep_the_sizes_of_a_field(plots):
    assert len(plots) == 7
    assert shapely.union_all(plots.to_numpy()).area == pytest.approx(plots.area.sum(), rel=1e-9)
    assert plots.area.between(3e4, 12e4).all()


def test_readme_gives_the_area_of_every_plot(plots):
    text = (SAMPLES / "README.md").read_text()
    for key, plot in plots.items():
        row = next(line for line in text.splitlines() if line.startswith(f"| `{key}`"))
        assert f"| {plot.area / 1e4:.1f} |" in row


# -------------------------------------------------------------------------------- the character of the seven plots


def test_the_brow_is_too_steep(slope_deg, inside):
    steep = slope_deg[inside["hask-brow"]]
    assert np.median(steep) > 25
    assert (steep > 20).mean() > 0.9
    # Usable cells leave no room for a bend of 15 m with a strip of 6 m outside it.
    assert largest_radius((slope_deg <= 20) & inside["hask-brow"], 2.0) < 21


def test_the_moss_is_wet(ponding, inside, soil, plots):
    depth = ponding[inside["mirrow-moss"]]
    assert 0.35 < (depth > 0.3).mean() < 0.6
    assert 0.8 < depth.max() < 2.0
    assert soil_at_middle(soil, plots["mirrow-moss"], "water_table_m") < 0.3
    assert soil_at_middle(soil, plots["mirrow-moss"], "clay_percent") > 40


def test_the_slabs_are_shallow_hard_rock_on_ground_that_is_otherwise_fit(slope_deg, ponding, inside, soil, plots):
    cells = inside["grey-slabs"]
    assert np.percentile(slope_deg[cells], 95) < 15
    assert ponding[cells].max() < 0.3
    slabs = soil[soil.kind == "thin soil over slabs"]
    assert slabs.geometry.item().contains(plots["grey-slabs"])
    # Above the least depth that the demo's settings ask for, and well above the bottom of a 1.2 m trench.
    assert 0.3 < slabs.depth_to_rock_m.item() < 0.6
    assert slabs.rock_hardness.item() == "hard"


def test_the_stream_parts_tessel_halves_in_two(plots):
    streams = gpd.read_file(DEMO / "watercourses.geojson").set_index("name").geometry
    left = plots["tessel-halves"].difference(streams["Tessel"].buffer(12))
    halves = sorted((part.area for part in left.geoms), reverse=True)
    assert len(halves) == 2
    assert halves[1] > 2e4
    for key in plots.index.drop("tessel-halves"):
        assert plots[key].distance(streams["Tessel"]) > 50


def test_the_stream_always_runs_downhill_in_a_bed_below_its_banks(ground):
    elevation, transform = ground
    course = gpd.read_file(DEMO / "watercourses.geojson").set_index("name").geometry["Tessel"]
    x, y = shapely.get_coordinates(course.interpolate(np.arange(60, course.length - 2, 4.0))).T
    rows, cols = ((transform.f - y) // 2).astype(int), ((x - transform.c) // 2).astype(int)
    bed = elevation[rows, cols]
    assert bed[0] - bed[-1] > 60
    assert np.diff(bed).max() < 0.5  # the middle line crosses cells beside the bed
    banks = np.minimum(elevation[rows, cols - 15], elevation[rows, cols + 15])  # 30 m to either side
    assert np.median(banks - bed) > 2.5


def test_the_shelf_is_the_good_one(slope_deg, ponding, inside, soil, plots):
    cells = inside["larder-shelf"]
    assert np.median(slope_deg[cells]) < 5
    assert slope_deg[cells].max() < 15
    assert ponding[cells].max() < 0.1
    assert soil_at_middle(soil, plots["larder-shelf"], "depth_to_rock_m") > 1.8
    assert soil_at_middle(soil, plots["larder-shelf"], "water_table_m") > 1.8
    free = {key: largest_radius((slope_deg <= 20) & ~(ponding > 0.3) & cells, 2.0) for key, cells in inside.items()}
    assert max(free, key=free.get) == "larder-shelf"
    cable = gpd.read_file(DEMO / "services.geojson").geometry.item()
    assert 10 < cable.intersection(plots["larder-shelf"]).length < 200


def test_crooked_lot_is_awkward(plots):
    lot = plots["crooked-lot"].geoms[0] if plots["crooked-lot"].geom_type == "MultiPolygon" else plots["crooked-lot"]
    assert len(lot.interiors) == 1
    assert lot.area / lot.convex_hull.area < 0.8
    inscribed = shapely.maximum_inscribed_circle(lot, tolerance=0.5).length
    shelf = shapely.maximum_inscribed_circle(plots["larder-shelf"], tolerance=0.5).length
    assert inscribed < 0.6 * shelf


def test_tarn_knapps_holds_banks_and_water_in_the_middle_and_even_ground_along_its_edge(
    slope_deg, ponding, inside, ground, plots
):
    elevation, transform = ground
    plot, cells = plots["tarn-knapps"], inside["tarn-knapps"]
    edge = cells & ~geometry_mask([plot.buffer(-16)], elevation.shape, transform, invert=True)
    steep, deep = slope_deg > 20, ponding > 0.3
    assert 0.06 < steep[cells].mean() < 0.2
    assert 25 < np.percentile(slope_deg[cells], 99) < 32
    assert (steep | deep)[edge].mean() < 0.01
    assert 1.2 < ponding[cells].max() < 1.4
    tarn, beck = gpd.read_file(DEMO / "watercourses.geojson").set_index("name").geometry[["Knapp Tarn", "Tarn Beck"]]
    assert plot.contains(tarn)
    assert deep[geometry_mask([tarn], elevation.shape, transform, invert=True)].mean() > 0.8
    # The beck leaves the plot once.
    assert beck.intersection(plot.boundary).geom_type == "Point"
    # Round banks and water there is little room; round the whole there is much.
    free = cells & ~steep & ~deep & geometry_mask([beck.buffer(12), tarn.buffer(12)], elevation.shape, transform)
    assert largest_radius(free, 2.0) < 0.4 * shapely.maximum_inscribed_circle(plot, tolerance=0.5).length


def test_the_beck_always_runs_downhill(ground):
    elevation, transform = ground
    beck = gpd.read_file(DEMO / "watercourses.geojson").set_index("name").geometry["Tarn Beck"]
    x, y = shapely.get_coordinates(beck.interpolate(np.arange(0, 100, 4.0))).T
    rows, cols = ((transform.f - y) // 2).astype(int), ((x - transform.c) // 2).astype(int)
    bed = elevation[rows, cols]
    assert np.diff(bed).max() < 0.1
    assert bed[0] - bed[-1] > 1


def test_the_tarn_changes_no_ground_of_the_other_plots(ground, inside):
    made = script("make_demo")
    made._with_tarn = lambda z, east, north: z
    changed = made.elevation() != ground[0]
    assert changed[inside["tarn-knapps"]].mean() > 0.9
    assert not any((changed & cells).any() for key, cells in inside.items() if key != "tarn-knapps")


def test_pits_agree_with_the_ground_they_are_dug_in(plots):
    lines = (DEMO / "pits.csv").read_text().splitlines()
    head = lines[0].split(",")
    pits = [dict(zip(head, line.split(","), strict=True)) for line in lines[1:]]
    assert 10 <= len(pits) <= 14
    on_slabs = [p for p in pits if plots["grey-slabs"].contains(shapely.Point(float(p["x"]), float(p["y"])))]
    assert len(on_slabs) == 3
    assert all(0.3 < float(p["depth_to_rock_m"]) < 0.6 for p in on_slabs)
    assert {p["drainage_class"] for p in pits} <= set(DRAINAGE_CLASSES)


# -------------------------------------------------------------------------------------- real ground and screening


def test_real_raster_is_what_its_provenance_says():
    with rasterio.open(SAMPLES / "real" / "lidar_1m_utm15n.tif") as raster:
        assert raster.crs.to_epsg() == 26915
        assert raster.shape == (400, 400)
        assert raster.res == (1.0, 1.0)
        elevation = raster.read(1, masked=True)
        bounds = shapely.box(*raster.bounds)
    assert not np.ma.getmaskarray(elevation).any()
    text = (SAMPLES / "real" / "PROVENANCE.md").read_text()
    assert f"{elevation.min():.2f} m to {elevation.max():.2f} m" in text
    assert "Permission is hereby granted" in text
    plots = gpd.read_file(SAMPLES / "real" / "plots.geojson")
    assert plots.crs.to_epsg() == 26915
    assert len(plots) == 3
    assert plots.is_valid.all()
    assert plots.area.between(2.5e4, 5e4).all()
    assert plots.within(bounds.buffer(-12)).all()
    assert shapely.union_all(plots.geometry.to_numpy()).area == pytest.approx(plots.area.sum(), rel=1e-9)
    # One of them is a dog-leg.
    assert (plots.area / plots.convex_hull.area).min() < 0.7


def test_screening_raster_lies_where_its_highest_cell_is_the_published_summit(tmp_path):
    path = SAMPLES / "screening" / "elevation_3_arc_seconds.tif"
    script("make_screening").write_elevation(tmp_path / "again.tif")
    with rasterio.open(path) as kept, rasterio.open(tmp_path / "again.tif") as new:
        elevation, transform = kept.read(1), kept.transform
        assert kept.crs.to_epsg() == 4326
        assert (elevation == new.read(1)).all()
        assert kept.transform == new.transform
        west, south, east, north = kept.bounds
    # Cell centres of the 3 arc-second model are whole multiples of 1/1200 degree, so its edges are odd halves.
    for side in (west, south, east, north):
        assert side * 2400 % 2 == pytest.approx(1, abs=1e-4)
    # Cross Mountain, Tennessee: 36 deg 11 min 54 s N, 84 deg 13 min 50 s W, 3,534 ft (Wikipedia, "Cross Mountain
    # (Tennessee)", after the US Geological Survey's names of places). Read with its rows northwards, or from the
    # edge that the sample calls ymin, the highest cell lies 23 km and 32 km away.
    row, col = np.unravel_index(elevation.argmax(), elevation.shape)
    longitude, latitude = transform.c + (col + 0.5) * transform.a, transform.f + (row + 0.5) * transform.e
    assert latitude == pytest.approx(36 + 11 / 60 + 54 / 3600, abs=1 / 1200)
    assert longitude == pytest.approx(-(84 + 13 / 60 + 50 / 3600), abs=1 / 1200)
    assert elevation.max() == pytest.approx(3534 * 0.3048, abs=5)


def test_screening_plots_are_written_again_and_lie_inside_the_raster(tmp_path):
    path = SAMPLES / "screening" / "plots.kml"
    script("make_screening").write_plots(tmp_path / "again.kml")
    assert path.read_text() == (tmp_path / "again.kml").read_text()
    plots = gpd.read_file(path)
    assert len(plots) == 3
    with rasterio.open(path.with_name("elevation_3_arc_seconds.tif")) as raster:
        assert plots.within(shapely.box(*raster.bounds)).all()
    areas = plots.to_crs("EPSG:32616").area
    assert areas.between(5e6, 30e6).all()


@pytest.mark.parametrize("folder", ["real", "screening"])
def test_every_file_of_real_data_has_its_provenance(folder):
    text = (SAMPLES / folder / "PROVENANCE.md").read_text()
    files = [p.name for p in (SAMPLES / folder).iterdir() if p.name != "PROVENANCE.md"]
    assert files
    for name in files:
        assert f"`{name}`" in text


# ------------------------------------------------------------------------------------------------ settings files


@pytest.mark.parametrize("path", sorted(CONFIG.glob("*.toml")), ids=lambda p: p.stem)
def test_settings_are_valid_and_every_file_they_name_is_there(path):
    project = read_settings(path)
    inputs = project.inputs
    given = [*inputs.elevation, inputs.plots, inputs.soil, inputs.pits, *(getattr(inputs, k) for k in GEOJSON)]
    named = [p for p in given if p is not None]
    assert all(p.is_file() for p in named)
    written = tomllib.loads(path.read_text())["inputs"]
    assert not any(Path(v).is_absolute() for v in written.values() if isinstance(v, str))
    if inputs.plots.suffix == ".geojson":
        rows = json.loads(inputs.plots.read_text())["features"]
        assert all(row["properties"][inputs.plot_id] for row in rows)


def test_every_sample_has_a_settings_file():
    used = {p.parent.name for path in CONFIG.glob("*.toml") for p in read_settings(path).inputs.elevation}
    assert {"demo", "real", "screening"} <= used


def test_demo_settings_use_every_input():
    inputs = read_settings(CONFIG / "demo.toml").inputs
    assert {p.resolve() for p in (*inputs.elevation, inputs.plots, inputs.soil, inputs.pits)} | {
        getattr(inputs, kind).resolve() for kind in GEOJSON
    } == set(DEMO.iterdir())


def test_the_example_in_the_package_is_what_its_script_makes(tmp_path):
    example = script("make_example")
    example.main(tmp_path)
    assert {f.name for f in tmp_path.iterdir()} == {f.name for f in example.HERE.iterdir()}
    assert sum(f.stat().st_size for f in example.HERE.iterdir()) < 120_000
    for file in tmp_path.iterdir():
        if file.suffix == ".tif":
            with rasterio.open(file) as made, rasterio.open(example.HERE / file.name) as kept:
                assert np.array_equal(made.read(1), kept.read(1))
                assert made.profile == kept.profile
        else:
            assert file.read_bytes() == (example.HERE / file.name).read_bytes()
