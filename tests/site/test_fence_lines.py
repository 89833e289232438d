"""Fence lines that are given: read, matched to plots, and every fault said in one line."""

import numpy as np
import pytest
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Point, Polygon, box

from made_inputs import CRS, NORTH, NORTH_PLOT, SOUTH_PLOT, WEST, Made, in_crs, write_geojson, write_vector
from packpale.faults import Faults
from packpale.site.inputs import open_inputs, read_site

RING = Polygon([(WEST + 30, NORTH - 70), (WEST + 80, NORTH - 70), (WEST + 80, NORTH - 30), (WEST + 30, NORTH - 40)])
SOUTH_RING = SOUTH_PLOT.buffer(-10)


@pytest.fixture
def made(tmp_path):
    return Made(tmp_path)


def with_lines(made, *rows, packs=1, **options):
    """The project with the rows (plot or None, geometry) as its fence lines."""
    path = made.folder / options.pop("file", "lines.gpkg")
    named = [({"name": name or ""}, geometry) for name, geometry in rows]
    path = write_geojson(path, named) if path.suffix == ".geojson" else write_vector(path, named, **options)
    made.settings["enclosure"] = {"fence_line": path, "packs": packs}
    return made.project()


def faults_of(made, *rows, **options):
    with pytest.raises(Faults) as caught:
        open_inputs(with_lines(made, *rows, **options))
    return list(caught.value.lines)


def line(polygon):
    return LineString(polygon.exterior.coords)


@pytest.mark.parametrize("geometry", [RING, line(RING), MultiPolygon([RING])], ids=["polygon", "line", "multi"])
def test_a_closed_line_and_a_polygon_are_the_same(made, geometry):
    inputs = open_inputs(with_lines(made, (None, geometry)))
    assert inputs.fence_lines.keys() == {"north"}
    (found,) = inputs.fence_lines["north"]
    assert found.outline.equals(RING)
    assert read_site(inputs, "north", made.project()).fence_lines == (found,)
    assert read_site(inputs, "south", made.project()).fence_lines == ()


def test_pieces_that_meet_are_one_line(made):
    c = list(RING.exterior.coords)
    pieces = MultiLineString([c[:3], c[2:]])
    assert open_inputs(with_lines(made, (None, pieces))).fence_lines["north"][0].outline.equals(RING)


def test_ends_a_hand_apart_are_joined(made):
    c = list(RING.exterior.coords)
    nearly = LineString([*c[:-1], (c[0][0] + 0.03, c[0][1])])
    (found,) = open_inputs(with_lines(made, (None, nearly))).fence_lines["north"]
    assert found.outline.equals(RING)


def test_a_line_in_another_crs_comes_out_in_the_runs(made):
    (found,) = open_inputs(
        with_lines(made, (None, in_crs(RING, "EPSG:4326")), crs="EPSG:4326", file="lines.geojson")
    ).fence_lines["north"]
    assert found.outline.hausdorff_distance(RING) < 1e-3


def test_the_named_plot_wins_over_the_place(made):
    # Over both plots, most of it on the north one.
    both = box(WEST + 30, NORTH - 120, WEST + 120, NORTH - 30)
    assert open_inputs(with_lines(made, (None, both))).fence_lines.keys() == {"north"}
    assert open_inputs(with_lines(made, ("south", both))).fence_lines.keys() == {"south"}


def test_a_line_that_leaves_its_plot_widens_what_is_read(made):
    wide = RING.buffer(18, join_style="mitre")
    inputs = open_inputs(with_lines(made, ("north", wide)))
    site = read_site(inputs, "north", made.project())
    west, south, east, north = site.grid.bounds
    assert box(west, south, east, north).contains(wide.buffer(made.project().land.margin_m - 0.01))
    assert np.isfinite(site.grid.bilinear(site.elevation, *np.array(wide.exterior.coords).T)).all()


def test_packs_may_each_have_a_line(made):
    halves = [
        RING.intersection(box(WEST, NORTH - 90, WEST + 50, NORTH)),
        RING.intersection(box(WEST + 55, 0, 1e7, 1e7)),
    ]
    inputs = open_inputs(with_lines(made, *[(None, h) for h in halves], (None, SOUTH_RING), packs=2))
    assert [len(inputs.fence_lines[k]) for k in ("north", "south")] == [2, 1]
    assert inputs.fence_lines["north"][1].outline.equals(halves[1])


OPEN = LineString([*list(RING.exterior.coords)[:-1], (WEST + 33, NORTH - 66)])
BOW = LineString([(WEST + 30, NORTH - 70), (WEST + 80, NORTH - 30), (WEST + 80, NORTH - 70), (WEST + 30, NORTH - 30)])
HOLED = Polygon(RING.exterior.coords, [box(WEST + 50, NORTH - 60, WEST + 60, NORTH - 50).exterior.coords])
FAULTS = {
    "open": (OPEN, "feature 1: is not closed: its ends lie 5.00 m apart, allowed are 0.05 m; draw it to its start"),
    "crossing": (
        LineString([*BOW.coords, BOW.coords[0]]),
        f"feature 1: crosses or touches itself at x {WEST + 55:.1f}, y {NORTH - 50:.1f} "
        "(ETRS89 / UTM zone 32N); a fence line is one simple ring: draw it again",
    ),
    "holes": (HOLED, "feature 1: has holes (1); a fence line is one ring: drop them"),
    "parts": (
        MultiPolygon([RING, SOUTH_RING]),
        "feature 1: has 2 parts that do not join; draw each fence line as a feature of its own",
    ),
    "point": (Point(WEST + 50, NORTH - 50), "feature 1: is a Point; a fence line is a closed line or a polygon"),
    "nothing": (None, "feature 1: has no geometry; draw the fence line or drop the feature"),
    "two corners": (
        LineString([(WEST + 30, NORTH - 70), (WEST + 80, NORTH - 70), (WEST + 30, NORTH - 70)]),
        "feature 1: has 2 corners, a closed line needs 3; draw it whole",
    ),
    "tiny": (box(WEST + 30, NORTH - 70, WEST + 30.5, NORTH - 69), "feature 1: encloses 0.5 m2; draw the line round"),
    "elsewhere": (
        box(WEST + 150, NORTH - 60, WEST + 190, NORTH - 20),
        'feature 1: lies on no plot; plots are "north", "south": draw it on one or name one in the plots\' id column',
    ),
}


@pytest.mark.parametrize(("geometry", "text"), FAULTS.values(), ids=FAULTS)
def test_a_fault_is_one_line(made, geometry, text):
    (found,) = faults_of(made, (None, geometry))
    assert found.startswith(f"lines.gpkg, {text}"), found


def test_named_plots_must_be_there_and_near(made):
    (found,) = faults_of(made, ("nord", RING))
    assert found == 'lines.gpkg, feature 1: names the plot "nord", which there is not; plots are "north", "south"'
    (found,) = faults_of(made, ("south", RING))
    away = RING.distance(SOUTH_PLOT)
    assert found.startswith(f'lines.gpkg, feature 1: lies {away:.0f} m away from the plot "south" it names')


def test_no_more_lines_than_packs(made):
    small = [box(WEST + 25 + d, NORTH - 70, WEST + 40 + d, NORTH - 55) for d in (0, 20, 40)]
    (found,) = faults_of(made, *[(None, s) for s in small], packs=2)
    assert found == (
        'enclosure.fence_line: 3 lines lie on the plot "north" (lines.gpkg, feature 1, lines.gpkg, feature 2, '
        "lines.gpkg, feature 3), enclosure.packs is 2; raise it or drop lines"
    )


def test_lines_of_two_packs_do_not_overlap(made):
    (found,) = faults_of(made, (None, RING), (None, RING.buffer(-5)), packs=2)
    assert found == (
        "lines.gpkg, feature 2: overlaps or touches the fence line of lines.gpkg, feature 1; each pack needs its own "
        "ground"
    )


def test_a_file_without_crs_and_one_that_is_missing(made):
    (found,) = faults_of(made, (None, RING), crs=None, driver="ESRI Shapefile", file="lines.shp", geometry="Polygon")
    assert found.startswith("lines.shp: has no coordinate reference system on the Earth")
    made.settings["enclosure"] = {"fence_line": made.folder / "none.gpkg"}
    with pytest.raises(Faults, match="there is no such file"):
        open_inputs(made.project())


def test_every_fault_comes_at_once(made):
    assert len(faults_of(made, (None, OPEN), (None, HOLED), ("nord", RING))) == 3


def test_layers_are_named_where_there_are_several(made):
    path = write_vector(made.folder / "lines.gpkg", [({"name": ""}, RING)], layer="old fence")
    write_vector(path, [({"name": ""}, SOUTH_RING)], layer="new fence")
    made.settings["enclosure"] = {"fence_line": path}
    with pytest.raises(Faults, match=r"name one of them as enclosure.fence_line_layer"):
        open_inputs(made.project())
    made.settings["enclosure"]["fence_line_layer"] = "new fence"
    assert open_inputs(made.project()).fence_lines.keys() == {"south"}


def test_plots_and_lines_are_no_strangers():
    # What the tests above rest on.
    assert NORTH_PLOT.contains(RING)
    assert CRS == "EPSG:25832"


EGG_FIGURES = {
    "big_x": 1.0,
    "big_y": 2,
    "axis_bearing_deg": 30.0,
    "big_radius_m": 20.0,
    "small_radius_m": 10.0,
    "centre_spacing_m": 25.0,
}


@pytest.mark.parametrize("wrong", [None, {"big_x": None}, {"big_radius_m": "wide"}, {"big_y": float("nan")}])
def test_figures_of_an_egg_come_with_its_line(made, wrong):
    path = write_geojson(made.folder / "lines.geojson", [(EGG_FIGURES | (wrong or {}), in_crs(RING, "EPSG:4326"))])
    made.settings["enclosure"] = {"settled_line": path}
    (found,) = open_inputs(made.project()).fence_lines["north"]
    assert found.egg == (None if wrong else EGG_FIGURES)
