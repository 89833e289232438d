"""Soil of each cell: defaults, polygons over them, and pits that pull."""

import math

import numpy as np
import pytest
import shapely
from pyproj import Transformer
from shapely.geometry import box

from made_inputs import CRS, NORTH, NORTH_PLOT, WEST, Made, write_vector
from packpale.settings import DRAINAGE_CLASSES, SoilSettings
from packpale.site import Grid, Pit
from packpale.site.inputs import open_inputs, read_site
from packpale.site.soil import COLUMNS, SoilArea
from packpale.site.soil_grid import soil_on
from told import told

GRID = Grid(0.0, 200.0, 1.0, 200, 200)
SETTINGS = SoilSettings(depth_to_rock_m=1.5, water_table_m=2.0, clay_percent=25.0, pit_range_m=50.0)


def area(polygon, **values):
    return SoilArea(shapely.MultiPolygon([polygon]), values)


def site_of(made):
    project = made.project()
    return read_site(open_inputs(project), "north", project)


def cell(array, x, y):
    return array[math.floor(200 - y), math.floor(x)]


# --- background --------------------------------------------------------------------------------------------------


def test_without_polygons_and_pits_the_settings_hold():
    soil = soil_on(GRID, (), (), SETTINGS)
    assert (soil.depth_to_rock == 1.5).all()
    assert (soil.clay == 25).all()
    assert soil.rock_is_hard.all()
    assert (soil.drainage_class == DRAINAGE_CLASSES.index("well")).all()
    assert np.isposinf(soil.pit_distance).all()


def test_a_polygon_counts_where_cell_centres_lie_in_it_and_only_for_what_it_says():
    polygon = shapely.Point(90, 110).buffer(37.3)
    soil = soil_on(
        GRID, [area(polygon, clay_percent=60.0, drainage_class="poorly", rock_hardness="soft")], (), SETTINGS
    )
    inside = shapely.contains_xy(polygon, *np.meshgrid(*GRID.centres()))
    np.testing.assert_array_equal(soil.clay, np.where(inside, 60.0, 25.0))
    np.testing.assert_array_equal(soil.rock_is_hard, ~inside)
    np.testing.assert_array_equal(soil.drainage_class, np.where(inside, 5, 2))
    assert (soil.depth_to_rock == 1.5).all()


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 1, 0), (1, 2, 0)])
def test_the_smaller_polygon_wins_whatever_the_order(order):
    areas = [
        area(box(0, 0, 200, 200), clay_percent=10.0),
        area(box(50, 50, 150, 150), clay_percent=20.0),
        area(box(90, 90, 110, 110), stones_percent=80.0),
    ]
    soil = soil_on(GRID, [areas[i] for i in order], (), SETTINGS)
    assert cell(soil.clay, 10, 10) == 10
    assert cell(soil.clay, 60, 60) == 20
    # The smallest says nothing of clay: the next one does.
    assert cell(soil.clay, 100, 100) == 20
    assert cell(soil.stones, 100, 100) == 80


# --- pits --------------------------------------------------------------------------------------------------------


def test_one_pit_against_the_closed_form():
    """A single pit adds its difference times (1/d^2) / (1/d^2 + 1/R^2) = 1 / (1 + (d/R)^2): all at 0, half at R."""
    soil = soil_on(GRID, (), [Pit(20.5, 100.5, {"depth_to_rock_m": 0.5})], SETTINGS)
    x, y = np.meshgrid(*GRID.centres())
    d = np.hypot(x - 20.5, y - 100.5)
    np.testing.assert_allclose(soil.depth_to_rock, 1.5 - 1.0 / (1 + (d / 50) ** 2), rtol=0, atol=1e-12)
    assert cell(soil.depth_to_rock, 20.5, 100.5) == pytest.approx(0.5, abs=1e-12)
    assert cell(soil.depth_to_rock, 70.5, 100.5) == pytest.approx(1.0, abs=1e-12)
    np.testing.assert_allclose(soil.pit_distance, d)
    # A pit that says nothing of water or clay leaves them.
    assert (soil.water_table == 2.0).all()


def test_several_pits_and_polygons_against_a_plain_loop():
    rng = np.random.default_rng(8)
    areas = [area(box(0, 0, 120, 200), clay_percent=50.0), area(box(60, 60, 100, 100), clay_percent=5.0)]
    pits = [Pit(x, y, {"clay_percent": v}) for x, y, v in rng.uniform(0, 100, (6, 3)) * [2, 2, 1]]
    soil = soil_on(GRID, areas, pits, SETTINGS)

    def background(x, y):
        return 5.0 if 60 < x < 100 and 60 < y < 100 else 50.0 if x < 120 else 25.0

    for x, y in rng.integers(0, 200, (300, 2)) + 0.5:
        w = [1 / ((x - p.x) ** 2 + (y - p.y) ** 2) for p in pits]
        pull = sum(wi * (p.values["clay_percent"] - background(p.x, p.y)) for wi, p in zip(w, pits, strict=True))
        expected = min(max(background(x, y) + pull / (sum(w) + 1 / 50**2), 0.0), 100.0)
        assert cell(soil.clay, x, y) == pytest.approx(expected, abs=1e-9)


def test_at_each_pit_the_ground_is_what_the_pit_says():
    pits = [Pit(30.5, 30.5, {"water_table_m": 0.0}), Pit(40.5, 30.5, {"water_table_m": 4.0})]
    soil = soil_on(GRID, [area(box(0, 0, 35, 200), water_table_m=0.7)], pits, SETTINGS)
    assert cell(soil.water_table, 30.5, 30.5) == pytest.approx(0.0, abs=1e-9)
    assert cell(soil.water_table, 40.5, 30.5) == pytest.approx(4.0, abs=1e-9)


def test_nothing_falls_below_the_surface_or_beyond_a_hundred_percent():
    """A pit finds shallow rock in deep ground; its pull would lift the rock of the shallow ground beside it."""
    areas = [area(box(0, 0, 100, 200), depth_to_rock_m=5.0, stones_percent=5.0)]
    areas.append(area(box(100, 0, 200, 200), depth_to_rock_m=0.2, stones_percent=90.0))
    soil = soil_on(GRID, areas, [Pit(99.5, 100.5, {"depth_to_rock_m": 0.3, "stones_percent": 60.0})], SETTINGS)
    assert soil.depth_to_rock.min() == 0
    assert soil.stones.max() == 100


def test_words_come_from_the_nearest_pit_within_half_the_range():
    pits = [
        Pit(50.5, 100.5, {"drainage_class": "very poorly", "rock_hardness": "soft"}),
        Pit(80.5, 100.5, {"drainage_class": "excessively"}),
        Pit(70.5, 100.5, {"clay_percent": 30.0}),
    ]
    soil = soil_on(GRID, (), pits, SETTINGS)
    x, y = np.meshgrid(*GRID.centres())
    first, second = np.hypot(x - 50.5, y - 100.5), np.hypot(x - 80.5, y - 100.5)
    nearest = np.where(second < first, 0, 6)
    apart = first != second
    expected = np.where(np.minimum(first, second) <= 25, nearest, 2)
    np.testing.assert_array_equal(soil.drainage_class[apart], expected[apart])
    np.testing.assert_array_equal(soil.rock_is_hard, first > 25)


def test_far_pits_are_not_used_but_their_distance_is_known():
    far = Pit(200 + 20 * 50 + 1.0, 100.5, {"clay_percent": 99.0})
    soil = soil_on(GRID, (), [far], SETTINGS)
    assert (soil.clay == 25).all()
    assert cell(soil.pit_distance, 199.5, 100.5) == pytest.approx(1001.5)


def test_the_range_is_a_setting_and_no_column():
    assert "pit_range_m" not in COLUMNS
    near = soil_on(
        GRID, (), [Pit(20.5, 100.5, {"clay_percent": 65.0})], SETTINGS.model_copy(update={"pit_range_m": 10.0})
    )
    assert cell(near.clay, 30.5, 100.5) == pytest.approx(45.0)


# --- files -------------------------------------------------------------------------------------------------------


def test_polygons_from_a_file_with_empty_cells_and_words_as_surveys_write_them(tmp_path):
    made = Made(tmp_path)
    rows = [
        ({"clay_percent": 40.0, "drainage_class": "Moderately Well Drained"}, box(WEST, NORTH - 50, WEST + 200, NORTH)),
        ({"clay_percent": None, "drainage_class": " poorly "}, box(WEST, NORTH - 200, WEST + 200, NORTH - 50)),
    ]
    made.inputs["soil"] = write_vector(
        tmp_path / "s.gpkg", rows, columns={"clay_percent": "float", "drainage_class": "str"}
    )
    soil = site_of(made).soil
    # The window begins at NORTH - 10.
    assert (soil.clay[:40] == 40).all()
    assert (soil.clay[40:] == 25).all()
    assert (soil.drainage_class[:40] == 3).all()
    assert (soil.drainage_class[40:] == 5).all()


def test_ground_without_a_polygon_is_said(tmp_path):
    made = Made(tmp_path)
    # The plot is 70 m wide from WEST + 20; the polygon covers its western 30 m.
    rows = [({"clay_percent": 40.0}, box(WEST, NORTH - 200, WEST + 50, NORTH))]
    made.inputs["soil"] = write_vector(tmp_path / "s.gpkg", rows)
    assert told(site_of(made).notes) == ["57 % of the plot lies under no soil polygon. The settings' soil holds there."]


def test_column_names_cut_by_the_shapefile_are_known(tmp_path):
    made = Made(tmp_path)
    values = dict.fromkeys(("depth_to_r", "water_tabl", "clay_perce", "stones_per"), 3.0)
    rows = [(values | {"rock_hardn": "soft", "drainage_c": "poorly"}, NORTH_PLOT.buffer(50))]
    made.inputs["soil"] = write_vector(tmp_path / "s.shp", rows, driver="ESRI Shapefile", geometry="Polygon")
    soil = site_of(made).soil
    for array in (soil.depth_to_rock, soil.water_table, soil.clay, soil.stones):
        assert (array == 3).all()
    assert not soil.rock_is_hard.any()
    assert (soil.drainage_class == 5).all()


def test_overlaps_and_near_misses_are_said(tmp_path):
    made = Made(tmp_path)
    rows = [
        ({"clay_percent": 40.0, "water_table": 1.0}, box(WEST, NORTH - 100, WEST + 100, NORTH)),
        ({"clay_percent": 10.0, "water_table": 1.0}, box(WEST + 90, NORTH - 100, WEST + 200, NORTH)),
        ({"clay_percent": 10.0, "water_table": 1.0}, box(WEST, NORTH - 200, WEST + 100, NORTH - 100)),
    ]
    made.inputs["soil"] = write_vector(tmp_path / "s.gpkg", rows)
    assert told(open_inputs(made.project()).notes) == [
        's.gpkg: the column "water_table" was not read; a column "water_table_m" would be.',
        "s.gpkg: one pair of soil polygons overlaps, by 1,000 m² in all. The smaller polygon counts there.",
    ]


def test_pits_in_any_frame_are_the_same_pits(tmp_path):
    x, y = WEST + 40.5, NORTH - 40.5
    lon, lat = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True).transform(x, y)
    e33, n33 = Transformer.from_crs(CRS, "EPSG:25833", always_xy=True).transform(x, y)
    made = Made(tmp_path)
    found = []
    for text in (
        f"pit,x,y,depth_to_rock_m,clay_percent\n1,{x},{y},0.4,\n",
        f"pit;lon;lat;depth_to_rock_m;clay_percent\n1;{lon:.10f};{lat:.10f};0,4;\n".replace(".", ","),
        f"x,y,crs,depth_to_rock_m\n{e33:.6f},{n33:.6f},EPSG:25833,0.4\n",
    ):
        made.pits(text)
        inputs = open_inputs(made.project())
        found.append((inputs.pits[0].x, inputs.pits[0].y))
        soil = site_of(made).soil
        assert soil.depth_to_rock[30, 30] == pytest.approx(0.4, abs=1e-6)
        assert (soil.clay == 25).all()
    assert np.allclose(found, [(x, y)] * 3, rtol=0, atol=1e-3)


def test_pits_that_met_no_rock_leave_the_depth_as_it_was(tmp_path):
    made = Made(tmp_path)
    made.pits(f"x,y,depth_to_rock_m,water_table_m\n{WEST + 40},{NORTH - 40},,0.9\n")
    soil = site_of(made).soil
    assert (soil.depth_to_rock == 1.5).all()
    assert soil.water_table.min() == pytest.approx(0.9, abs=0.001)


def test_pits_without_crs_are_in_the_run_s(tmp_path):
    """No crs in the settings: the run's is that of the elevations, and so is that of x and y."""
    made = Made(tmp_path)
    del made.settings["crs"]
    made.pits(f"x,y,clay_percent\n{WEST + 40.5},{NORTH - 40.5},80\n")
    inputs = open_inputs(made.project())
    assert inputs.crs == "EPSG:25832"
    assert (inputs.pits[0].x, inputs.pits[0].y) == (WEST + 40.5, NORTH - 40.5)


def test_pits_too_far_to_matter_are_counted(tmp_path):
    made = Made(tmp_path)
    made.pits(f"x,y,clay_percent\n{WEST + 40.5},{NORTH - 40.5},80\n{WEST + 9000},{NORTH},10\n")
    assert told(open_inputs(made.project()).notes) == ["1 of 2 trial pits are too far from every plot to be used."]


def test_pits_at_one_place_that_differ_are_told_and_their_mean_and_last_word_used(tmp_path):
    made = Made(tmp_path)
    # A cell's centre, so that the pits outweigh all else there; those of the last two rows say the same.
    x, y, far = WEST + 40.5, NORTH - 40.5, WEST + 60.5
    rows = [f"{x},{y},20,well", f"{far},{y},30,poorly", f"{x},{y + 0.02},50,poorly", f"{far},{y},30,", f"{x},{y},,"]
    made.pits("\n".join(["x,y,clay_percent,drainage_class", *rows, ""]))
    inputs = open_inputs(made.project())
    assert told(inputs.notes) == [
        "pits.csv: trial pits at one place differ. They are rows 2 and 4 in clay_percent and drainage_class. "
        "The mean of numbers is used there, and the word of the last row; drop the rows that are wrong.",
    ]
    made.pits("\n".join(["x,y,clay_percent,drainage_class", rows[0], rows[2].replace(".52", ".5"), ""]))
    site = site_of(made)
    cols, lines = site.grid.centres()
    row, col = abs(lines - y).argmin(), abs(cols - x).argmin()
    assert site.soil.clay[row, col] == pytest.approx(35)
    assert DRAINAGE_CLASSES[site.soil.drainage_class[row, col]] == "poorly"


def test_a_site_carries_the_pits_that_were_used_and_what_they_say(tmp_path):
    made = Made(tmp_path)
    rows = [
        f"{WEST + 40.5},{NORTH - 40.5},,80,Well drained",
        f"{WEST - 300},{NORTH},1.2,,",
        f"{WEST + 9000},{NORTH},2,10,",
    ]
    made.pits("\n".join(["x,y,depth_to_rock_m,clay_percent,drainage_class", *rows, ""]))
    assert site_of(made).pits == (
        Pit(WEST + 40.5, NORTH - 40.5, {"clay_percent": 80.0, "drainage_class": "well"}),
        Pit(WEST - 300, NORTH, {"depth_to_rock_m": 1.2}),
    )
    assert site_of(Made(tmp_path)).pits == ()
