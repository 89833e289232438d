"""Each fault of the inputs gives its one line: where, what was found, what is allowed or what to do."""

import re
import warnings

import numpy as np
import pyproj
import pytest
from affine import Affine
from shapely.affinity import translate
from shapely.geometry import LineString, Point, Polygon, box

from made_inputs import (
    CRS,
    NORTH,
    NORTH_PLOT,
    SOUTH_PLOT,
    WEST,
    Made,
    centres,
    gpx,
    plane,
    write_geojson,
    write_raster,
    write_vector,
)
from packpale.faults import Faults
from packpale.site import vectors
from packpale.site.inputs import open_inputs, read_site

LONLAT_PLOT = box(9, 50, 10, 51)
CASES = {}


def case(pattern):
    """Register a way to spoil good inputs, and the one line it must give."""

    def register(spoil):
        CASES[spoil.__name__] = (spoil, pattern)
        return spoil

    return register


# --- elevation ---------------------------------------------------------------------------------------------------


@case(r"/\S+/nowhere\.tif: there is no such file; correct the path")
def missing_raster(made):
    made.inputs["elevation"] = [made.folder / "nowhere.tif"]


@case(r"dem\.tif: the network does not reach http://127\.0\.0\.1:9/dem\.tif \(.+\); look at the connection and .+")
def raster_on_a_network(made):
    # Port 9 of this machine answers nobody.
    made.inputs["elevation"] = ["/vsicurl/http://127.0.0.1:9/dem.tif"]


@case(r"/\S+/tiles: is a folder without a raster in it; name the folder that the tiles lie in")
def raster_is_a_folder(made):
    (made.folder / "tiles").mkdir()
    made.inputs["elevation"] = [made.folder / "tiles"]


@case(r"broken\.tif: cannot be read as a raster \(.+\); supply a whole file")
def unreadable_raster(made):
    made.inputs["elevation"] = [made.text("II*\0 no raster at all", "broken.tif")]


@case(r"plot \"south\": cut\.tif: cannot be read to its end \(.+\); supply a whole file")
def truncated_raster(made):
    made.raster(file="cut.tif")
    whole = (made.folder / "cut.tif").read_bytes()
    (made.folder / "cut.tif").write_bytes(whole[: len(whole) // 2])


@case(r"all\.vrt: does more than lay rasters of one band side by side; name the rasters it points to, or .+")
def raster_that_points_elsewhere(made):
    made.inputs["elevation"] = [made.text('<VRTDataset rasterXSize="1" rasterYSize="1"/>', "all.vrt")]


@case(r"own\.tif: has no coordinate reference system on the Earth; write it into the raster, it says where cells lie")
def raster_without_crs(made):
    made.raster(crs=None)


@case(r"own\.tif: does not say where its cells lie; write its position into the raster")
def raster_without_position(made):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        made.raster(transform=Affine.identity())


@case(r"own\.tif: has 3 bands, an elevation raster has 1; extract the elevation")
def raster_with_bands(made):
    made.raster(np.zeros((3, 200, 200), "uint8"))


@case(r"own\.tif: holds complex numbers, elevations are real; extract the elevation")
def complex_raster(made):
    made.raster(np.zeros((200, 200), "complex64"))


@case(
    r'own\.tif: says its elevations are in "US survey foot", inputs\.elevation_unit is "m"; '
    r'set elevation_unit = "us-ft", or correct the unit written in the raster'
)
def raster_in_feet(made):
    made.raster(units="US survey foot")


@case(r"b\.tif: is in EPSG:25833, dem\.tif in EPSG:25832; bring all elevation rasters to one CRS")
def tiles_in_two_crs(made):
    made.inputs["elevation"].append(write_raster(made.folder / "b.tif", west=WEST + 200, crs="EPSG:25833"))


@case(
    r"b\.tif: its cells do not meet those of dem\.tif "
    r"\(cell 2 x 2 at 600200, 5600000 against 1 x 1 at 600000, 5600000\); resample all elevation rasters to one grid"
)
def tiles_of_two_cell_sizes(made):
    made.inputs["elevation"].append(write_raster(made.folder / "b.tif", west=WEST + 200, cell=2.0))


@case(r"b\.tif: its cells do not meet those of dem\.tif \(cell 1 x 1 at 600200\.5, .+\); resample all .+ to one grid")
def tiles_out_of_step(made):
    made.inputs["elevation"].append(write_raster(made.folder / "b.tif", west=WEST + 200.5))


@case(
    r'own\.tif has an elevation of -9999 m in plot "north", allowed are -500 to 9000 m; '
    r"set inputs\.elevation_nodata to it, or check inputs\.elevation_unit"
)
def undeclared_nodata(made):
    values = plane(*centres(200, 200)).astype("float32")
    values[50, 50] = -9999
    made.raster(values)


# --- coverage ----------------------------------------------------------------------------------------------------


@case(
    r'plot "far" \(at 50\.\d{4}° N, 10\.\d{4}° E\) lies outside dem\.tif \(around 50\.\d{4}° N, 10\.\d{4}° E\); '
    r"supply a raster that covers it, or leave it out \(inputs\.candidates\)"
)
def plot_outside(made):
    made.plots(("north", NORTH_PLOT), ("far", translate(SOUTH_PLOT, 10_000)))


@case(
    r'dem\.tif covers 50 % of plot "north"; scoring needs all of it \(100 %\); supply a larger raster or trim the plot'
)
def plot_half_covered(made):
    made.plots(("north", box(WEST - 40, NORTH - 80, WEST + 40, NORTH - 20)))


@case(r'own\.tif covers 99\.9 % of plot "north"; scoring needs all of it \(100 %\); supply .+ or trim the plot')
def plot_with_one_missing_cell_is_not_rounded_up(made):
    values = plane(*centres(200, 200)).astype("float32")
    values[50, 50] = np.nan
    made.raster(values)


@case(r'own\.tif has no data anywhere in plot "north"; supply a raster that has')
def plot_without_data(made):
    values = plane(*centres(200, 200)).astype("float32")
    values[:100, :100] = -9999
    made.raster(values, nodata=-9999)


@case(r'plot "tiny": holds no centre of a cell of 1 m; supply a finer elevation raster or set a smaller land\.cell_m')
def plot_between_cell_centres(made):
    made.plots(("tiny", box(WEST + 50.6, NORTH - 60, WEST + 51.4, NORTH - 50)))


@case(
    r'plot "north": its window has 261,\d{3},\d{3} cells of 0\.005 m, allowed are 200,000,000; '
    r"set a larger land\.cell_m or a smaller land\.margin_m, or divide the plot"
)
def window_too_large(made):
    made.settings["land"] = {"cell_m": 0.005, "margin_m": 8.0}
    made.plots(("north", NORTH_PLOT))


# --- the run's CRS -----------------------------------------------------------------------------------------------


@case(r'crs: "EPSG:1" is no CRS; write an EPSG code such as "EPSG:25832"')
def unknown_crs(made):
    made.settings["crs"] = "EPSG:1"


@case(r"crs: EPSG:4326 is geographic \(degrees\); lengths need a projected CRS in metres: leave it out .+ EPSG:25832")
def run_in_degrees(made):
    made.settings["crs"] = "EPSG:4326"


@case(r"crs: EPSG:2263 is in US survey foot; lengths need metres: leave it out to have one chosen, or name one .+")
def run_in_feet(made):
    made.settings["crs"] = "EPSG:2263"


@case(r"crs: the axes of EPSG:2053 do not point east and north; choose one whose axes do")
def run_with_axes_south_and_west(made):
    made.settings["crs"] = "EPSG:2053"


@case(
    r'crs: lengths in EPSG:3857 are 5\d % off at plot "north", allowed are 0\.5 %; '
    r"choose a CRS made for the area, or run distant plots apart"
)
def run_in_a_crs_that_stretches(made):
    made.settings["crs"] = "EPSG:3857"
    made.plots(("north", NORTH_PLOT))


@case(r"plots: lie at 85\.0000° N, 9\.0000° E, where no UTM zone is defined; set crs")
def plots_beyond_utm(made):
    del made.settings["crs"]
    made.raster(crs="EPSG:4326", west=9.0, north=85.0, cell=1e-5)
    made.inputs["plots"] = write_geojson(made.folder / "p.geojson", [({"name": "a"}, box(8.9, 84.9, 9.1, 85.1))])


# --- plots -------------------------------------------------------------------------------------------------------


@case(r"/\S+/nowhere\.gpkg: there is no such file; correct the path")
def missing_plots(made):
    made.inputs["plots"] = made.folder / "nowhere.gpkg"


@case(r"/\S+/plots: is a folder; name a file")
def plots_are_a_folder(made):
    (made.folder / "plots").mkdir()
    made.inputs["plots"] = made.folder / "plots"


@case(r"p\.geojson: cannot be read as a vector file \(.+\); supply a whole GeoPackage, .+ or DXF file")
def unreadable_plots(made):
    made.plots_text('{"type": "FeatureCollection", "features": [{', "p.geojson")


@case(r"land\.kmz: is a packed KML; unpack it and name the \.kml file in it")
def packed_kml(made):
    made.plots_text("PK", "land.kmz")


@case(r"own\.gpkg: its layer 'own' is empty; draw at least one plot")
def empty_layer(made):
    made.plots()


@case(
    r"own\.shp: has no coordinate reference system on the Earth; write it into the file with the program that made it"
)
def plots_without_crs(made):
    made.plots(("a", NORTH_PLOT), file="own.shp", driver="ESRI Shapefile", geometry="Polygon", crs=None)


@case(r"plots\.gpkg: has no column 'nmae'; columns are name; did you mean 'name'\?")
def missing_id_column(made):
    made.inputs["plot_id"] = "nmae"


@case(r"plots\.gpkg: has no column 'field'; columns are name; name one of them")
def missing_id_column_without_a_near_one(made):
    made.inputs["plot_id"] = "field"


@case(r"plots\.gpkg: has no layer 'plot'; layers are 'plots'; did you mean 'plots'\?")
def missing_layer(made):
    made.inputs["plots_layer"] = "plot"


@case(r"plots\.gpkg: has the layers 'plots', 'old'; name one of them as inputs\.plots_layer")
def several_layers(made):
    write_vector(made.inputs["plots"], [({"name": "x"}, NORTH_PLOT)], layer="old")


@case(r'own\.gpkg, feature 2: the plot "north" is there already \(own\.gpkg, feature 1\); give every plot a name .+')
def duplicate_id(made):
    made.plots(("north", NORTH_PLOT), (" north ", SOUTH_PLOT))


@case(r"own\.gpkg, feature 1: name is empty; every plot needs a name")
def blank_id(made):
    made.plots(("  ", NORTH_PLOT))


@case(r"own\.gpkg, feature 1: name is empty; every plot needs a name")
def null_id(made):
    made.plots((None, NORTH_PLOT), columns={"name": "str"})


@case(r"own\.gpkg, feature 1: name is 'a\\nb'; use up to 80 printable characters")
def id_over_two_lines(made):
    made.plots(("a\nb", NORTH_PLOT))


@case(r"own\.gpkg, feature 1: has no geometry; draw the plot or drop the feature")
def plot_without_geometry(made):
    made.plots(("a", None))


@case(r"own\.gpkg, feature 1: is a LineString, plots are polygons; draw its outline")
def plot_is_a_line(made):
    made.plots(("a", LineString(NORTH_PLOT.exterior)))


@case(r'own\.gpkg, feature 1: plot "a" has a ring that encloses no area \(0 m2\); draw its outline')
def zero_area_ring(made):
    made.plots(("a", Polygon([(WEST, NORTH), (WEST + 50, NORTH - 50), (WEST + 20, NORTH - 20)])))


@case(r"p\.geojson, feature 1: has a broken geometry \(.+\); draw it again")
def ring_of_two_points(made):
    ring = {"type": "Polygon", "coordinates": [[[9.0, 50.0], [9.1, 50.0]]]}
    made.inputs["plots"] = write_geojson(made.folder / "p.geojson", [({"name": "a"}, ring)])


@case(r'p\.geojson, feature 1: plot "a": has a coordinate that is not a finite number; correct it in the file')
def infinite_coordinate(made):
    write_geojson(made.folder / "p.geojson", [({"name": "a"}, box(9, 50, 10, 51))])
    text = (made.folder / "p.geojson").read_text(encoding="utf-8")
    made.plots_text(text.replace("51.0", "1e999"), "p.geojson")


@case(
    r'p\.geojson, feature 1: plot "a": has the coordinate \(600090, 5\.59998e\+06\), '
    r"which is no longitude and latitude; the file says it is in EPSG:4326: give it the CRS its numbers are in"
)
def metres_labelled_as_degrees(made):
    made.inputs["plots"] = write_geojson(made.folder / "p.geojson", [({"name": "a"}, NORTH_PLOT)])


@case(
    r'own\.gpkg, feature 1: plot "a": lies at 0\.\d{4}° N, 4\.\d{4}° E, far outside the area of EPSG:25832 \(.+\); '
    r"give the file the CRS its numbers are in"
)
def degrees_labelled_as_metres(made):
    made.plots(("a", LONLAT_PLOT))


@case(
    r'own\.gpkg, feature 1: plot "a": has coordinates that are no place in EPSG:25832; '
    r"the file says it is in EPSG:25833: give it the CRS its numbers are in"
)
def coordinates_beyond_the_domain(made):
    made.plots(("a", translate(NORTH_PLOT, 5e8, 5e8)), crs="EPSG:25833")


@case(r"own\.gpkg, feature 1: has 1,201 vertices, allowed are 1,000; simplify it or cut it in pieces")
def feature_with_too_many_vertices(made, monkeypatch):
    monkeypatch.setattr(vectors, "MOST_VERTICES", 1_000)
    made.plots(("a", Point(WEST + 50, NORTH - 50).buffer(20, quad_segs=300)))


# --- plots from a recorded round, a KML, a table of corners -----------------------------------------------------


@case(r"walk\.gpx: holds neither a track nor a route; walk round the plot with the recorder on")
def gpx_without_a_line(made):
    made.plots_text(gpx(), "walk.gpx")


@case(r"walk\.gpx, feature 1: has 2 points, a ring needs 3; record the whole round")
def gpx_with_two_points(made):
    made.plots_text(gpx(("a", [(10.42, 50.53), (10.43, 50.53)])), "walk.gpx")


@case(r"walk\.gpx, feature 1: name is empty; every plot needs a name")
def gpx_track_without_name(made):
    made.plots_text(gpx(("", [(10.42, 50.53), (10.43, 50.53), (10.43, 50.54)])), "walk.gpx")


@case(r"walk\.gpx: has the layers 'routes', 'tracks'; name one of them as inputs\.plots_layer")
def gpx_with_tracks_and_routes(made):
    points = [(10.42, 50.53), (10.43, 50.53), (10.43, 50.54)]
    routes = re.search("<rte>.*</rte>", gpx(("b", points), kind="rte"))[0]
    # Routes stand before tracks in the schema.
    made.plots_text(gpx(("a", points)).replace("<trk>", f"{routes}<trk>", 1), "walk.gpx")


@case(r"walk\.gpx: has no layer 'waypoints' with lines; layers are 'tracks'")
def gpx_layer_that_is_not_there(made):
    made.inputs["plots_layer"] = "waypoints"
    made.plots_text(gpx(("a", [(10.42, 50.53), (10.43, 50.53), (10.43, 50.54)])), "walk.gpx")


@case(r"walk\.gpx: declares a document type or entities, which are refused; save it without them")
def gpx_with_entities(made):
    bomb = '<!DOCTYPE g [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>'
    made.plots_text(
        gpx(("&b;", [(10.42, 50.53), (10.43, 50.53), (10.43, 50.54)])).replace("?><", f"?>{bomb}<"), "walk.gpx"
    )


@case(r"land\.kml: declares a document type or entities, which are refused; save it without them")
def kml_with_an_external_entity(made):
    kml = (
        '<?xml version="1.0"?><!DOCTYPE k SYSTEM "http://192.0.2.1/k.dtd"><kml xmlns="http://www.opengis.net/kml/2.2"/>'
    )
    made.plots_text(kml, "land.kml")


@case(r"land\.kml: is no well-formed XML \(.+\); export it again")
def broken_kml(made):
    made.plots_text('<?xml version="1.0"?><kml><Document>', "land.kml")


@case(r"c\.csv: has no column 'name'; columns are plot, x, y; name one of them")
def corners_without_id_column(made):
    made.plots_text("plot,x,y\na,1,2\n", "c.csv")


@case(r"c\.csv: has no columns x, y \(or lon, lat\); columns are name, east, north; rename them, or .+")
def corners_without_coordinates(made):
    made.plots_text("name,east,north\na,1,2\n", "c.csv")


@case(r"c\.csv: has both x, y and lon, lat; keep one pair")
def corners_with_two_pairs(made):
    made.plots_text("name,x,y,lon,lat\na,1,2,3,4\n", "c.csv")


@case(r"c\.csv: has a column crs beside lon, lat, which are EPSG:4326; drop it or use x, y")
def corners_with_degrees_and_crs(made):
    made.plots_text("name,lon,lat,crs\na,1,2,EPSG:25832\n", "c.csv")


@case(r'c\.csv, row 3: y is "n/a"; it must be a finite number')
def corner_that_is_no_number(made):
    made.plots_text(f"name,x,y\na,{WEST},{NORTH}\na,{WEST + 9},n/a\na,{WEST + 9},{NORTH - 9}\n", "c.csv")


@case(r'c\.csv, row 2: x is "inf"; it must be a finite number')
def corner_at_infinity(made):
    made.plots_text(f"name,x,y\na,inf,{NORTH}\n", "c.csv")


@case(r'c\.csv, row 2: x is "1\\nm"; it must be a finite number')
def corner_over_two_lines(made):
    made.plots_text(f'name,x,y\na,"1\nm",{NORTH}\n', "c.csv")


@case(r"land\.gml: is XML, but neither KML nor GPX \(<featurecollection>\); supply a whole GeoPackage, .+ or DXF file")
def plots_in_gml(made):
    made.plots_text('<FeatureCollection xmlns="http://www.opengis.net/gml"/>', "land.gml")


@case(r"c\.csv, row 3: x is nothing; it must be a finite number")
def corner_without_x(made):
    made.plots_text(f"name,x,y\na,{WEST},{NORTH}\na,,{NORTH}\n", "c.csv")


@case(r'c\.csv, row 2: the plot "a" has 2 corners, it needs 3; add some')
def two_corners(made):
    made.plots_text(f"name,x,y\na,{WEST},{NORTH}\na,{WEST + 9},{NORTH}\na,{WEST},{NORTH}\n", "c.csv")


@case(r'c\.csv, row 6: the plot "a" is there already \(c\.csv, row 2\); keep the corners of a plot together, .+')
def corners_scattered(made):
    order = (("a", 20, 20), ("b", 50, 50), ("b", 60, 50), ("b", 60, 60), ("a", 30, 20), ("a", 30, 30))
    rows = [f"{name},{WEST + east},{NORTH - south}" for name, east, south in order]
    made.plots_text("\n".join(["name,x,y", *rows]), "c.csv")


@case(r"c\.csv, row 2: has no crs for its x, y; add a column crs, set crs in the settings, or use columns lon, lat")
def corners_without_crs(made):
    del made.settings["crs"]
    made.plots_text(f"name,x,y\na,{WEST},{NORTH}\n", "c.csv")


@case(r'c\.csv, row 2: "here" is no CRS; write an EPSG code such as "EPSG:25832"')
def corners_in_an_unknown_crs(made):
    made.plots_text(f"name,x,y,crs\na,{WEST},{NORTH},here\n", "c.csv")


@case(r"c\.csv, row 3: crs is EPSG:25833, but EPSG:25832 above; use one")
def corners_in_two_crs(made):
    made.plots_text(f"name,x,y,crs\na,{WEST},{NORTH},EPSG:25832\na,{WEST},{NORTH},EPSG:25833\n", "c.csv")


@case(r"inputs\.plots_layer: c\.csv is a table and has no layers; drop the key")
def layer_of_a_table(made):
    made.inputs["plots_layer"] = "c"
    made.plots_text(f"name,x,y\na,{WEST},{NORTH}\n", "c.csv")


@case(r"c\.csv, row 3: has 2 cells, the header has 3; add or drop cells, or write semicolons between them .+")
def row_with_a_missing_cell(made):
    made.plots_text("name,x,y\na,1,2\na,1\n", "c.csv")


@case(r"c\.csv: has more than one column 'x'; rename or drop one")
def column_twice(made):
    made.plots_text("name,x,x,y\na,1,1,2\n", "c.csv")


@case(r"c\.csv: is empty; it needs a header line and rows")
def empty_table(made):
    made.plots_text("\n\n", "c.csv")


@case(r"c\.csv: has a header line but no rows; add some")
def header_alone(made):
    made.plots_text("name,x,y\n", "c.csv")


@case(r"c\.csv, row 2: is not UTF-8 text; save the table as CSV in UTF-8")
def table_in_another_encoding(made):
    made.inputs["plots"] = made.folder / "c.csv"
    made.inputs["plots"].write_bytes("name,x,y\nhöhe,1,2\n".encode("latin-1"))


@case(r"c\.csv, row 2: is no CSV \(.+\); save the table again as CSV")
def quote_left_open(made):
    made.plots_text('name,x,y\n"a,1,2\n', "c.csv")


# --- surroundings ------------------------------------------------------------------------------------------------


@case(r"/\S+/nowhere\.gpkg: there is no such file; correct the path")
def missing_surroundings(made):
    made.inputs["dwellings"] = made.folder / "nowhere.gpkg"


@case(r"empty\.gpkg: holds no feature with a geometry; add some, or drop the key from \[inputs\]")
def empty_surroundings(made):
    made.inputs["watercourses"] = write_vector(made.folder / "empty.gpkg", [])


@case(r"w\.shp: has no coordinate reference system on the Earth; write it into the file with the program that made it")
def surroundings_without_crs(made):
    rows = [({"name": "x"}, LineString([(0, 0), (1, 1)]))]
    made.inputs["watercourses"] = write_vector(
        made.folder / "w.shp", rows, crs=None, driver="ESRI Shapefile", geometry="LineString"
    )


@case(r"d\.geojson, feature 1: has the coordinate \(600000, 5\.6e\+06\), which is no longitude and latitude; .+")
def surroundings_in_the_wrong_crs(made):
    made.inputs["dwellings"] = write_geojson(made.folder / "d.geojson", [({}, Point(WEST, NORTH))])


@case(r"table\.csv: cannot be read as a vector file \(.+\); supply a whole GeoPackage, .+ or DXF file")
def surroundings_as_a_table(made):
    made.inputs["dwellings"] = made.text("x,y\n1,2\n", "table.csv")


# --- soil --------------------------------------------------------------------------------------------------------


def soil(made, rows, **options):
    made.inputs["soil"] = write_vector(made.folder / "soil.gpkg", rows, **options)


@case(
    r"soil\.gpkg: has none of the columns depth_to_rock_m, rock_hardness, water_table_m, clay_percent, stones_percent, "
    r"drainage_class; columns are name; name those that say the same under inputs.soil_columns"
)
def soil_without_columns(made):
    soil(made, [({"name": "x"}, NORTH_PLOT)])


@case(r"soil\.gpkg: holds no feature; draw soil polygons, or drop inputs\.soil")
def empty_soil(made):
    soil(made, [], columns={"clay_percent": "float"})


@case(r"soil\.gpkg, feature 1: is a Point, soil is given as polygons; draw those")
def soil_as_points(made):
    soil(made, [({"clay_percent": 20.0}, Point(WEST, NORTH))])


@case(r"soil\.gpkg, feature 1: has no geometry; draw the polygon or drop the feature")
def soil_without_geometry(made):
    soil(made, [({"clay_percent": 20.0}, None)])


@case(
    r"soil\.gpkg, feature 1: clay_percent is 120\.0; input should be less than or equal to 100 percent; correct it, .+"
)
def soil_out_of_range(made):
    soil(made, [({"clay_percent": 120.0}, NORTH_PLOT)])


@case(
    r'soil\.gpkg, feature 1: drainage_class is "wel", which is none of excessively, somewhat excessively, well, '
    r'moderately well, somewhat poorly, poorly, very poorly; did you mean "well"\?'
)
def unknown_drainage_class(made):
    soil(made, [({"drainage_class": "wel"}, NORTH_PLOT)])


@case(r'soil\.gpkg, feature 1: rock_hardness is "granite", which is none of hard, soft; write one of them')
def unknown_hardness(made):
    soil(made, [({"rock_hardness": "granite"}, NORTH_PLOT)])


@case(r'soil\.gpkg, feature 1: clay_percent is "much"; it must be a finite number')
def soil_number_that_is_a_word(made):
    soil(made, [({"clay_percent": "much"}, NORTH_PLOT)])


# --- trial pits --------------------------------------------------------------------------------------------------


@case(r"pits\.csv, row 2: x is nothing; it must be a finite number")
def pit_without_coordinate(made):
    made.pits(f"x,y,clay_percent\n,{NORTH},20\n")


@case(r"pits\.csv: has no columns x, y \(or lon, lat\); columns are x, clay_percent; rename them, or .+")
def pits_without_coordinates(made):
    made.pits("x,clay_percent\n1,20\n")


@case(r"pits\.csv: has none of the columns depth_to_rock_m, .+; columns are x, y, remark; name those .+ under .+pits")
def pits_that_say_nothing(made):
    made.pits("x,y,remark\n1,2,dry\n")


@case(r'pits\.csv: the column "water_table" would not be read; rename it to "water_table_m" or drop it')
def pit_column_misspelt(made):
    made.pits(f"x,y,clay_percent,water_table\n{WEST},{NORTH},20,1\n")


@case(r"pits\.csv, row 3: depth_to_rock_m is -1, above the ground; write how deep it lies, 0 or more")
def pit_with_rock_above_ground(made):
    made.pits(f"x,y,depth_to_rock_m\n{WEST},{NORTH},1\n{WEST},{NORTH},-1\n")


@case(r'pits\.csv, row 2: drainage_class is "pooly", which is none of .+; did you mean "poorly"\?')
def pit_with_unknown_class(made):
    made.pits(f"x,y,drainage_class\n{WEST},{NORTH},pooly\n")


@case(r"pits\.csv, row 2: has the coordinate \(600000, 5\.6e\+06\), which is no longitude and latitude; .+")
def pit_with_metres_as_degrees(made):
    made.pits(f"lon,lat,clay_percent\n{WEST},{NORTH},20\n")


@case(r'pits\.csv, row 2: "EPSG:0" is no CRS; write an EPSG code such as "EPSG:25832"')
def pit_in_an_unknown_crs(made):
    made.pits(f"x,y,crs,clay_percent\n{WEST},{NORTH},EPSG:0,20\n")


@case(
    r"land\.cell_m = 1200 spans 1\.2e\+03 cells of dem\.tif a side, which measure about 1 m; allowed are 1,000; "
    r"set a smaller land\.cell_m, or look at the raster's CRS and position"
)
def cells_that_span_too_many_of_the_raster(made):
    made.settings["land"]["cell_m"] = 1200.0


@case(
    r'plot "north" \(at 50\.5429° N, 10\.4121° E\) lies outside nano\.tif \(which lies where its CRS does not reach\); '
    r"supply a raster that covers it, or leave it out \(inputs\.candidates\)"
)
def raster_beyond_its_crs(made):
    wkt = pyproj.CRS(CRS).to_wkt("WKT1_GDAL").replace('UNIT["metre",1', 'UNIT["billionth",1e-09')
    transform = Affine(1, 0, WEST * 1e9, 0, -1, NORTH * 1e9)
    made.inputs["elevation"] = [write_raster(made.folder / "nano.tif", crs=wkt, transform=transform)]
    made.plots(("north", NORTH_PLOT))


@pytest.mark.parametrize(("spoil", "pattern"), CASES.values(), ids=CASES.keys())
def test_each_fault_gives_its_line(tmp_path, monkeypatch, spoil, pattern):
    made = Made(tmp_path)
    spoil(made, monkeypatch) if "monkeypatch" in spoil.__code__.co_varnames else spoil(made)
    try:
        # What is told of some plots alone is no fault of a run, and one of a check.
        lines = open_inputs(made.project()).unreadable
    except Faults as faults:
        lines = faults.lines
    assert len(lines) == 1, lines
    assert re.fullmatch(pattern, lines[0]), lines[0]
    # What to do stands behind what was found.
    assert "; " in lines[0]


def test_the_inputs_that_are_spoilt_are_good(tmp_path):
    inputs = open_inputs(Made(tmp_path).project())
    assert [p.plot_id for p in inputs.plots] == ["north", "south"]


def test_all_faults_arrive_together(tmp_path):
    made = Made(tmp_path)
    made.inputs["elevation"] = [tmp_path / "nowhere.tif", write_raster(tmp_path / "no_crs.tif", crs=None)]
    made.plots(("a", NORTH_PLOT), ("a", SOUTH_PLOT), ("b", LineString(NORTH_PLOT.exterior)), ("", NORTH_PLOT))
    made.inputs["dwellings"] = write_vector(tmp_path / "empty.gpkg", [])
    soil(made, [({"clay_percent": 101.0, "drainage_class": "wet"}, NORTH_PLOT)])
    made.pits("x,y,clay_percent\n,,20\n")
    with pytest.raises(Faults) as caught:
        open_inputs(made.project())
    starts = [line.split(":")[0].split(", column")[0] for line in caught.value.lines]
    assert starts == [
        f"{tmp_path}/nowhere.tif",
        "no_crs.tif",
        "own.gpkg, feature 3",
        "own.gpkg, feature 4",
        "own.gpkg, feature 2",
        "empty.gpkg",
        "soil.gpkg, feature 1",
        "soil.gpkg, feature 1",
        "pits.csv, row 2",
        "pits.csv, row 2",
    ]
    assert all("\n" not in line for line in caught.value.lines)


def test_a_fault_at_one_plot_hides_none_at_another(tmp_path):
    made = Made(tmp_path)
    half = box(WEST - 40, NORTH - 80, WEST + 40, NORTH - 20)
    made.plots(("far", translate(SOUTH_PLOT, 10_000)), ("half", half), ("good", NORTH_PLOT), ("flat", LineString()))
    with pytest.raises(Faults) as caught:
        open_inputs(made.project())
    assert [re.search('feature 4|"far"|"half"', line)[0] for line in caught.value.lines] == [
        "feature 4",
        '"far"',
        '"half"',
    ]


def test_a_plot_nobody_knows_is_a_fault(tmp_path):
    project = Made(tmp_path).project()
    with pytest.raises(Faults, match=r'^plot "west": there is no such plot; plots are "north", "south"$'):
        read_site(open_inputs(project), "west", project)


def test_a_raster_that_vanishes_after_the_check_is_a_fault(tmp_path):
    project = Made(tmp_path).project()
    inputs = open_inputs(project)
    (tmp_path / "dem.tif").unlink()
    with pytest.raises(Faults, match=r"dem\.tif: there is no such file; correct the path$"):
        read_site(inputs, "north", project)


def test_faults_leave_no_warning_behind(tmp_path):
    made = Made(tmp_path)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        made.raster(crs=None, transform=Affine.identity())
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with pytest.raises(Faults):
            open_inputs(made.project())
