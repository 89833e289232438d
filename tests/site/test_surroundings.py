"""Surroundings: any file, any geometry, in the run's CRS, those within reach of each plot."""

import pytest
import shapely
from pyproj import Transformer
from shapely.geometry import LineString, MultiPoint, Point, Polygon, box

from made_inputs import CRS, NORTH, NORTH_PLOT, SOUTH_PLOT, WEST, Made, gpx, in_crs, write_geojson, write_vector
from packpale.site.inputs import open_inputs, read_site
from told import told


def site_of(made, plot_id="north"):
    project = made.project()
    return read_site(open_inputs(project), plot_id, project)


def test_every_geometry_type_comes_through_in_the_run_s_crs(tmp_path):
    shapes = [
        Point(WEST + 5, NORTH - 5),
        MultiPoint([(WEST, NORTH), (WEST + 9, NORTH)]),
        LineString([(WEST, NORTH), (WEST + 50, NORTH - 50)]),
        NORTH_PLOT,
        shapely.GeometryCollection([Point(WEST, NORTH), SOUTH_PLOT]),
    ]
    made = Made(tmp_path)
    made.settings["land"] = {"margin_m": 40.0}
    rows = [({"n": i}, in_crs(s, "EPSG:4326")) for i, s in enumerate(shapes)]
    made.inputs["services"] = write_geojson(tmp_path / "s.geojson", rows)
    found = site_of(made).features["services"]
    assert [g.geom_type for g in found] == [s.geom_type for s in shapes]
    assert all(f.hausdorff_distance(s) < 1e-3 for f, s in zip(found, shapes, strict=True))


def test_a_kind_not_given_is_absent_and_one_with_nothing_near_is_empty(tmp_path):
    made = Made(tmp_path)
    rows = [({"name": "far"}, Point(WEST + 50_000, NORTH))]
    made.inputs["services"] = write_vector(tmp_path / "s.gpkg", rows)
    site = site_of(made)
    assert site.features == {"services": ()}
    # What holds for all plots is said once, and is no part of what a plot's files depend on.
    assert site.notes == ()
    # From the eastern edge of the southern plot's window, 170 m and a margin of 10 m from the west.
    notes = told(open_inputs(made.project()).notes)
    assert notes == ["s.gpkg: nothing lies within reach of any plot. The nearest is 49.8 km away."]


@pytest.mark.parametrize(
    ("kind", "reach"), [("services", 100.0), ("watercourses", 5000.0), ("dwellings", 5000.0), ("viewpoints", 5000.0)]
)
def test_reach_is_the_window_plus_the_largest_distance(tmp_path, kind, reach):
    """With dwellings given the largest distance to keep is their 100 m; what distances are computed to reaches 5 km."""
    made = Made(tmp_path)
    # The window ends 10 m west of the plot, at WEST + 10.
    rows = [({"name": n}, Point(WEST + 10 - reach + d, NORTH - 50)) for n, d in (("in", 1), ("out", -1))]
    path = write_vector(tmp_path / "k.gpkg", rows)
    made.inputs |= {"dwellings": path, kind: path}
    (found,) = site_of(made).features[kind]
    assert found.x == pytest.approx(WEST + 10 - reach + 1)


def test_each_plot_gets_its_own(tmp_path):
    made = Made(tmp_path)
    made.plots(("a", NORTH_PLOT), ("b", SOUTH_PLOT))
    rows = [({"name": "x"}, Point(WEST + 5, NORTH - 5)), ({"name": "y"}, Point(WEST + 180, NORTH - 190))]
    made.inputs["keep_out"] = write_vector(tmp_path / "k.gpkg", rows)
    made.settings["land"] = {"margin_m": 30.0}
    project = made.project()
    inputs = open_inputs(project)
    near = {i: [p.x - WEST for p in read_site(inputs, i, project).features["keep_out"]] for i in "ab"}
    assert near == {"a": [5.0], "b": [180.0]}


def test_all_layers_and_all_kinds_of_gpx_lines_and_points_are_taken(tmp_path):
    made = Made(tmp_path)
    write_vector(tmp_path / "w.gpkg", [({"name": "x"}, Point(WEST + 5, NORTH - 5))], layer="points")
    write_vector(tmp_path / "w.gpkg", [({"name": "x"}, NORTH_PLOT)], layer="areas")
    made.inputs["woodland"] = tmp_path / "w.gpkg"
    lon, lat = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True).transform(WEST + 50, NORTH - 50)
    text = gpx(("a", [(lon, lat), (lon, lat + 1e-4)])).replace("<trk>", f'<wpt lat="{lat}" lon="{lon}"/><trk>')
    made.inputs["access"] = made.text(text, "a.gpx")
    features = site_of(made).features
    assert sorted(g.geom_type for g in features["woodland"]) == ["Point", "Polygon"]
    assert sorted(g.geom_type for g in features["access"]) == ["LineString", "Point"]


def test_kml_surroundings(tmp_path):
    lon, lat = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True).transform(WEST + 50, NORTH - 50)
    made = Made(tmp_path)
    made.inputs["viewpoints"] = made.text(
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Placemark><name>bench</name>'
        f"<Point><coordinates>{lon:.9f},{lat:.9f},300</coordinates></Point></Placemark></kml>",
        "v.kml",
    )
    (bench,) = site_of(made).features["viewpoints"]
    assert bench.distance(Point(WEST + 50, NORTH - 50)) < 1e-3
    assert not bench.has_z


def test_repairs_and_missing_geometries_are_said(tmp_path):
    bow_tie = Polygon([(WEST, NORTH), (WEST + 20, NORTH - 20), (WEST + 20, NORTH), (WEST, NORTH - 20)])
    made = Made(tmp_path)
    rows = [
        ({"name": n}, g)
        for n, g in (("a", bow_tie), ("b", None), ("c", box(WEST + 20, NORTH - 29, WEST + 29, NORTH - 20)))
    ]
    made.inputs["keep_out"] = write_vector(tmp_path / "k.gpkg", rows)
    site = site_of(made)
    assert all(g.is_valid for g in site.features["keep_out"])
    assert sum(g.area for g in site.features["keep_out"]) == pytest.approx(2 * 20 * 10 / 2 + 81)
    assert told(open_inputs(made.project()).notes) == [
        "k.gpkg: 1 of 3 features have no geometry and were left out.",
        "k.gpkg: 1 of 2 features crossed themselves and were repaired.",
    ]
