"""Plots from every kind of file people have: the same outline, whatever it came in."""

import math
import pickle

import fiona
import numpy as np
import pyproj
import pytest
import shapely
from shapely.geometry import LineString, MultiPolygon, Polygon, box

from made_inputs import (
    CRS,
    NORTH,
    NORTH_PLOT,
    SOUTH_PLOT,
    WEST,
    Made,
    gpx,
    in_crs,
    write_geojson,
    write_raster,
    write_vector,
)
from packpale.faults import Faults
from packpale.site import crs as crs_
from packpale.site.inputs import open_inputs
from told import told


def plots_of(made):
    return open_inputs(made.project()).plots


def hausdorff(a, b):
    return max(a.hausdorff_distance(b), b.hausdorff_distance(a))


IRREGULAR = Polygon(
    [(WEST + 20, NORTH - 25), (WEST + 85, NORTH - 20), (WEST + 90, NORTH - 71), (WEST + 52, NORTH - 60.5)]
)

# --- formats -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("file", "driver"),
    [("p.gpkg", "GPKG"), ("p.shp", "ESRI Shapefile"), ("p.fgb", "FlatGeobuf"), ("p.tab", "MapInfo File")],
)
def test_vector_files_keep_the_outline(tmp_path, file, driver):
    made = Made(tmp_path)
    made.plots(("a", IRREGULAR), file=file, driver=driver, geometry="Polygon")
    (plot,) = plots_of(made)
    assert plot.plot_id == "a"
    assert hausdorff(plot.outline, IRREGULAR) < 1e-6


@pytest.mark.parametrize("epsg", ["EPSG:4326", "EPSG:3035", "EPSG:25833", "EPSG:31468", "EPSG:3857"])
def test_plots_in_another_crs_are_the_same_within_a_millimetre(tmp_path, epsg):
    """The plot is moved by pyproj in the test, and back by the reader.

    EPSG:31468 counts northing before easting and stands on another datum; files keep x first all the same.
    """
    made = Made(tmp_path)
    made.plots(("a", in_crs(IRREGULAR, epsg)), crs=epsg)
    (plot,) = plots_of(made)
    assert hausdorff(plot.outline, IRREGULAR) < 1e-3


def test_reprojected_corners_are_those_of_pyproj(tmp_path):
    corners = [(10.4105, 50.5433), (10.4121, 50.5433), (10.4121, 50.5427)]
    made = Made(tmp_path)
    made.raster(np.full((400, 400), 300.0), west=WEST - 200, north=NORTH + 200)
    made.inputs["plots"] = write_geojson(tmp_path / "p.geojson", [({"name": "a"}, Polygon(corners))])
    (plot,) = plots_of(made)
    x, y = pyproj.Transformer.from_crs("EPSG:4326", CRS, always_xy=True).transform(*zip(*corners, strict=True))
    expected = np.column_stack([x, y])
    found = shapely.get_coordinates(plot.outline)
    assert len(found) == 4
    assert all(np.abs(found - corner).max(axis=1).min() < 1e-9 for corner in expected)


def test_long_edges_stay_straight_in_their_own_crs():
    """A parallel of latitude 20 km long: every point of the moved edge lies on it, within a centimetre."""
    edge = LineString([(10.0, 50.0), (10.28, 50.0)])
    moved = crs_.moved_geometry(edge, pyproj.CRS(4326), pyproj.CRS(CRS), "here")
    back = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    along = [moved.interpolate(f, normalized=True) for f in np.linspace(0, 1, 999)]
    lat = np.array([back.transform(p.x, p.y)[1] for p in along])
    metres_per_degree = 2 * math.pi * 6371e3 / 360
    assert np.abs(lat - 50.0).max() * metres_per_degree < 0.01
    # Without the cuts the same edge would stray by more than 3 m.
    straight = LineString([moved.coords[0], moved.coords[-1]])
    assert straight.hausdorff_distance(moved) > 3


def test_a_track_walked_round_the_field_is_its_outline(tmp_path):
    """Corners in longitude and latitude by pyproj; the walk ends before it is back at the start."""
    corners = list(in_crs(IRREGULAR, "EPSG:4326").exterior.coords)[:-1]
    made = Made(tmp_path)
    made.plots_text(gpx(("long meadow", corners)), "walk.gpx")
    (plot,) = plots_of(made)
    assert plot.plot_id == "long meadow"
    assert hausdorff(plot.outline, IRREGULAR) < 1e-3


def test_routes_and_broken_off_recordings_are_read_too(tmp_path):
    corners = list(in_crs(IRREGULAR, "EPSG:4326").exterior.coords)[:-1]
    made = Made(tmp_path)
    made.plots_text(gpx(("a", corners), kind="rte"), "walk.gpx")
    assert hausdorff(plots_of(made)[0].outline, IRREGULAR) < 1e-3
    # The recorder was stopped and started again between the second and the third corner.
    text = (
        gpx(("a", corners))
        .replace("</trkpt><trkpt", "</trkpt></trkseg><trkseg><trkpt", 2)
        .replace("</trkpt></trkseg><trkseg><trkpt", "</trkpt><trkpt", 1)
    )
    assert text.count("<trkseg>") == 2
    made.plots_text(text, "walk2.gpx")
    assert hausdorff(plots_of(made)[0].outline, IRREGULAR) < 1e-3


def test_one_of_tracks_and_routes_can_be_named(tmp_path):
    corners = list(in_crs(IRREGULAR, "EPSG:4326").exterior.coords)[:-1]
    routes = gpx(("by route", corners), kind="rte").split('GPX/1/1">')[1].removesuffix("</gpx>")
    made = Made(tmp_path)
    made.plots_text(gpx(("by track", corners)).replace("<trk>", f"{routes}<trk>", 1), "walk.gpx")
    for layer, name in (("routes", "by route"), ("tracks", "by track")):
        made.inputs["plots_layer"] = layer
        assert [p.plot_id for p in plots_of(made)] == [name]


KML = """<?xml version="1.0" encoding="UTF-8"?>
<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>low field</name><Polygon>
<outerBoundaryIs><LinearRing><coordinates>{outer}</coordinates></LinearRing></outerBoundaryIs>
<innerBoundaryIs><LinearRing><coordinates>{inner}</coordinates></LinearRing></innerBoundaryIs>
</Polygon></Placemark></Document></kml>"""


@pytest.mark.parametrize("column", ["name", "Name"])
def test_kml_polygons_with_a_hole_and_heights(tmp_path, column):
    with_hole = NORTH_PLOT.difference(box(WEST + 40, NORTH - 60, WEST + 60, NORTH - 40))
    degrees = in_crs(with_hole, "EPSG:4326")
    rings = [" ".join(f"{x:.9f},{y:.9f},311" for x, y in r.coords) for r in (degrees.exterior, *degrees.interiors)]
    made = Made(tmp_path)
    made.inputs["plot_id"] = column
    made.plots_text(KML.format(outer=rings[0], inner=rings[1]), "land.kml")
    (plot,) = plots_of(made)
    assert plot.plot_id == "low field"
    assert not plot.outline.has_z
    assert hausdorff(plot.outline.boundary, with_hole.boundary) < 1e-3


# --- corners -----------------------------------------------------------------------------------------------------


def corner_rows(plot_id, ring, delimiter=",", decimal="."):
    return "".join(
        f"{plot_id}{delimiter}{x:.9f}{delimiter}{y:.9f}\n".replace(".", decimal) for x, y in list(ring.coords)[:-1]
    )


def test_corners_in_walking_order(tmp_path):
    made = Made(tmp_path)
    made.plots_text(
        "name,x,y\n" + corner_rows("a", IRREGULAR.exterior) + corner_rows("b", SOUTH_PLOT.exterior), "c.csv"
    )
    a, b = plots_of(made)
    assert a.outline.equals_exact(MultiPolygon([IRREGULAR]), 1e-8, normalize=True)
    assert (b.plot_id, b.outline.area) == ("b", SOUTH_PLOT.area)


def test_corners_as_a_spreadsheet_of_the_continent_writes_them(tmp_path):
    """Byte order mark, semicolons, decimal commas, Windows line ends, blank line at the end."""
    text = "name;x;y\n" + corner_rows("a", IRREGULAR.exterior, ";", ",") + ";;\n"
    path = tmp_path / "c.csv"
    path.write_bytes(("\ufeff" + text).replace("\n", "\r\n").encode())
    made = Made(tmp_path)
    made.inputs["plots"] = path
    assert hausdorff(plots_of(made)[0].outline, IRREGULAR) < 1e-8


@pytest.mark.parametrize("head", ["name,lon,lat", "Name,LON,Lat"])
def test_corners_in_degrees(tmp_path, head):
    made = Made(tmp_path)
    made.plots_text(f"{head}\n" + corner_rows("a", in_crs(IRREGULAR, "EPSG:4326").exterior), "c.csv")
    assert hausdorff(plots_of(made)[0].outline, IRREGULAR) < 1e-3


def test_corners_with_their_own_crs(tmp_path):
    moved = in_crs(IRREGULAR, "EPSG:25833")
    rows = corner_rows("a", moved.exterior).replace("\n", ",EPSG:25833\n")
    made = Made(tmp_path)
    made.plots_text(f"name,x,y,crs\n{rows}" + corner_rows("b", SOUTH_PLOT.exterior).replace("\n", ",\n"), "c.csv")
    a, b = plots_of(made)
    assert hausdorff(a.outline, IRREGULAR) < 1e-3
    assert b.outline.equals(SOUTH_PLOT)


# --- outlines ----------------------------------------------------------------------------------------------------


def test_parts_and_holes_are_kept(tmp_path):
    parts = MultiPolygon([NORTH_PLOT.difference(box(WEST + 40, NORTH - 60, WEST + 60, NORTH - 40)), SOUTH_PLOT])
    made = Made(tmp_path)
    made.plots(("a", parts))
    (plot,) = plots_of(made)
    assert plot.outline.equals(parts)
    assert len(plot.outline.geoms) == 2
    assert plot.notes == ()


def test_heights_of_corners_are_dropped(tmp_path):
    made = Made(tmp_path)
    made.plots(("a", shapely.force_3d(NORTH_PLOT, 311.0)), geometry="3D Polygon")
    (plot,) = plots_of(made)
    assert not plot.outline.has_z
    assert plot.outline.equals(NORTH_PLOT)


def test_a_ring_that_crosses_itself_is_repaired_and_said(tmp_path):
    """A bow tie with corners (0, 0), (80, 40), (80, 0), (0, 80) in metres; its two areas by hand below."""
    w, s = WEST + 10, NORTH - 100
    ring = Polygon([(w, s), (w + 80, s + 40), (w + 80, s), (w, s + 80)])
    made = Made(tmp_path)
    made.plots(("a", ring))
    (plot,) = plots_of(made)
    # Lines y = x / 2 and y = 80 - x meet at x = 160 / 3, y = 80 / 3. The part to the west has base 80 and height
    # 160 / 3, the part to the east base 40 and height 80 - 160 / 3. The shoelace rule takes one from the other.
    west_part, east_part = 80 * (160 / 3) / 2, 40 * (80 - 160 / 3) / 2
    assert plot.outline.area == pytest.approx(west_part + east_part)
    assert plot.outline.is_valid
    assert len(plot.outline.geoms) == 2
    note, *_ = told(plot.notes)
    before, after = (west_part - east_part) / 1e4, (west_part + east_part) / 1e4
    assert f"Area {before:.2f} ha before, by its corners as given, {after:.2f} ha after." in note


def test_only_polygonal_parts_of_a_repair_are_kept(tmp_path):
    corners = [(20, 80), (20, 20), (90, 20), (120, 20), (90, 20), (90, 80)]
    spike = Polygon([(WEST + east, NORTH - south) for east, south in corners])
    made = Made(tmp_path)
    made.plots(("a", spike))
    (plot,) = plots_of(made)
    assert plot.outline.equals(NORTH_PLOT)
    assert len(plot.notes) == 1


@pytest.mark.parametrize(("value", "kind", "text"), [(7, "int", "7"), (7.0, "float", "7"), (" 7b ", "str", "7b")])
def test_ids_are_text_without_blanks_round_it(tmp_path, value, kind, text):
    made = Made(tmp_path)
    made.plots((value, NORTH_PLOT), columns={"name": kind})
    assert [p.plot_id for p in plots_of(made)] == [text]


def test_a_named_layer_is_read_and_tables_without_geometry_do_not_count(tmp_path):
    made = Made(tmp_path)
    made.plots(("a", NORTH_PLOT))
    with fiona.open(
        tmp_path / "own.gpkg", "w", driver="GPKG", layer="styles",
        schema={"geometry": "None", "properties": {"name": "str"}},
    ) as out:  # fmt: skip
        out.write({"geometry": None, "properties": {"name": "x"}})
    assert [p.plot_id for p in plots_of(made)] == ["a"]
    made.plots(("b", SOUTH_PLOT), layer="second")
    made.inputs["plots_layer"] = "second"
    assert [p.plot_id for p in plots_of(made)] == ["b"]


# --- the run's CRS -----------------------------------------------------------------------------------------------


def zone_by_proj(lon, lat):
    """The WGS 84 / UTM zone whose area of use in the EPSG registry holds the point."""
    area = pyproj.aoi.AreaOfInterest(lon, lat, lon, lat)
    infos = pyproj.database.query_utm_crs_info(datum_name="WGS 84", area_of_interest=area)
    return {f"EPSG:{i.code}" for i in infos}


@pytest.mark.parametrize(
    ("lon", "lat"),
    [(10.4, 50.5), (9.0, 50.5), (-93.9, 46.5), (-71.2, -33.4), (147.1, -42.9), (179.95, -16.5), (-179.95, 65.7)],
)
def test_the_default_crs_is_the_utm_zone_of_the_registry(lon, lat):
    plot = box(lon - 0.001, lat - 0.001, lon + 0.001, lat + 0.001)
    crs = crs_.utm_crs([(plot, pyproj.CRS(4326))])
    assert crs_.label(crs) in zone_by_proj(lon, lat)


def test_the_zone_is_that_of_all_plots_together():
    plots = [box(lon, 50.0, lon + 0.01, 50.01) for lon in (11.9, 11.95, 12.02)]
    assert crs_.label(crs_.utm_crs([(p, pyproj.CRS(4326)) for p in plots])) == "EPSG:32632"


def test_plots_on_both_sides_of_the_180th_meridian_are_neighbours():
    plots = [box(179.90, -16.6, 179.95, -16.5), box(-179.99, -16.6, -179.98, -16.5)]
    assert crs_.label(crs_.utm_crs([(p, pyproj.CRS(4326)) for p in plots])) == "EPSG:32760"


def test_lengths_on_the_map_are_those_of_the_projection():
    """UTM's scale factor is 0.9996 on its central meridian and 1 about 180 km from it.

    J. P. Snyder, Map Projections: A Working Manual, USGS Professional Paper 1395 (1987), chapter 8 (from memory).
    """
    utm = pyproj.CRS("EPSG:32632")
    assert crs_.scale_error(utm, 500_000, 5_600_000) == pytest.approx(4e-4, rel=1e-3)
    assert crs_.scale_error(utm, 680_000, 5_600_000) < 2e-5
    # Web Mercator stretches by 1 / cos(latitude), on the ellipsoid to a few tenths of a percent.
    x, y = pyproj.Transformer.from_crs(4326, 3857, always_xy=True).transform(10.4, 50.5)
    assert crs_.scale_error(pyproj.CRS("EPSG:3857"), x, y) == pytest.approx(
        1 / math.cos(math.radians(50.5)) - 1, rel=0.01
    )


def test_a_crs_that_stretches_a_little_is_said(tmp_path):
    """EPSG:25831 far beyond its zone, whose middle is at 3 E.

    To second order a transverse Mercator map stretches by k0 (1 + (dlon cos lat)^2 / 2), here with k0 = 0.9996,
    dlon = 10.41 - 3 degrees and lat = 50.54 degrees: 0.9996 x (1 + 0.0822^2 / 2) = 1.0030.
    """
    made = Made(tmp_path)
    made.settings["crs"] = "EPSG:25831"
    made.plots(("a", box(WEST + 60, NORTH - 120, WEST + 120, NORTH - 60)))
    note = open_inputs(made.project()).notes[0]
    assert (note.plot, told([note])) == ("a", ["Lengths in EPSG:25831 are 0.3 % off."])


def test_heights_in_a_compound_crs_do_not_matter(tmp_path):
    made = Made(tmp_path)
    made.settings["crs"] = "EPSG:25832+7837"
    made.raster(crs="EPSG:25832+7837")
    inputs = open_inputs(made.project())
    assert (inputs.crs, inputs.cell_m) == (CRS, 1.0)
    assert inputs.notes == ()


def test_inputs_cross_to_other_processes(tmp_path):
    made = Made(tmp_path)
    rows = [({"name": "x"}, LineString(NORTH_PLOT.exterior))]
    made.inputs["access"] = write_vector(tmp_path / "a.gpkg", rows)
    inputs = open_inputs(made.project())
    again = pickle.loads(pickle.dumps(inputs))  # noqa: S301 - its own
    assert again.plots == inputs.plots
    assert (again.crs, again.cell_m, again.features) == (inputs.crs, inputs.cell_m, inputs.features)


def test_a_larger_raster_mends_a_plot_that_reaches_out(tmp_path):
    made = Made(tmp_path)
    made.plots(("a", box(WEST - 40, NORTH - 80, WEST + 40, NORTH - 20)))
    with pytest.raises(Faults, match=r"covers 50 %"):
        open_inputs(made.project())
    made.inputs["elevation"].append(write_raster(tmp_path / "west.tif", west=WEST - 200))
    assert open_inputs(made.project()).plots[0].plot_id == "a"
