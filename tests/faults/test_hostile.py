"""Hostile and broken input, each through the command line: one line on stderr and exit status 2, never a traceback.

Beside `test_inputs.py`, which has the faults that honest users make.
"""

import json
import os
import re
import sqlite3
import struct
import zipfile

import numpy as np
import pyproj
import pytest
from affine import Affine
from shapely.affinity import translate
from shapely.geometry import MultiPolygon, Point, Polygon, box, mapping

from made_inputs import CRS, NORTH, NORTH_PLOT, SOUTH_PLOT, WEST, Made, centres, gpx, plane, write_geojson, write_vector
from packpale.site import tables, vectors

HERE = box(10.41, 50.541, 10.411, 50.5415)
"""A polygon near the made raster, in degrees."""
CASES = {}


def case(pattern):
    """Register a way to write hostile input, and the one line it must give."""

    def register(spoil):
        assert spoil.__name__ not in CASES
        CASES[spoil.__name__] = (spoil, pattern)
        return spoil

    return register


def settings(made, more="", **instead):
    """Settings with lines added at their end, or with parts of the text replaced."""
    text = made.settings_text()
    for old, new in instead.values():
        assert old in text
        text = text.replace(old, new)
    made.text(text + more, "land.toml")


# --- the settings file ---------------------------------------------------------------------------------------------

NO_TOML = "see packpale start for a template"


@case(r"~/land\.toml: inputs: missing; it is required")
def empty_settings(made):
    made.text("", "land.toml")


@case(rf"~/land\.toml: not a TOML file \(Invalid statement .+\); {NO_TOML}")
def settings_of_a_nul(made):
    made.text("\0", "land.toml")


@case(r"~/land\.toml: cannot be read as text \(not UTF-8\); name a settings file in TOML")
def settings_in_utf16(made):
    (made.folder / "land.toml").write_bytes(made.settings_text().encode("utf-16"))


@case(rf"~/land\.toml: not a settings file \(lists or tables too deep\); {NO_TOML}")
def lists_without_end(made):
    made.text("a = " + "[" * 5000 + "]" * 5000, "land.toml")


@case(rf"~/land\.toml: not a settings file \(a number of too many digits\); {NO_TOML}")
def a_number_of_five_thousand_digits(made):
    settings(made, "[run]\nseed = 1" + "0" * 5000 + "\n")


@case(r"~/land\.toml: has 1,200,000 bytes, allowed are 1,000,000; name a settings file in TOML")
def settings_of_a_megabyte(made):
    made.text("# padding!\n".ljust(1_200_000, "#"), "land.toml")


@case(r"~/land\.toml: is a folder, device or pipe and no file; name a settings file in TOML")
def settings_are_a_folder(made):
    (made.folder / "land.toml").mkdir()


@case(r"~/land\.toml: is a folder, device or pipe and no file; name a settings file in TOML")
def settings_are_a_device(made):
    (made.folder / "land.toml").symlink_to("/dev/zero")


@case(r"~/land\.toml: cannot be read as text \(Too many levels of symbolic links\); name a settings file in TOML")
def settings_are_a_link_to_itself(made):
    (made.folder / "land.toml").symlink_to(made.folder / "land.toml")


@case(r"~/land\.toml: title: found 'a\\x1b\[31mb'; write one line of printable characters")
def title_with_an_escape(made):
    settings(made, head=("crs =", 'title = "a\\u001b[31mb"\ncrs ='))


@case(r"~/land\.toml: title: found 'a\\nb'; write one line of printable characters")
def title_over_two_lines(made):
    settings(made, head=("crs =", 'title = "a\\nb"\ncrs ='))


@case(r"~/land\.toml: title: found 'x+ \.\.\. x+'; string should have at most 200 characters")
def title_of_a_hundred_thousand_letters(made):
    settings(made, head=("crs =", f'title = "{"x" * 100_000}"\ncrs ='))


@case(r"~/land\.toml: currency: found '\\x07'; write one line of printable characters")
def currency_that_beeps(made):
    settings(made, head=("crs =", 'currency = "\\u0007"\ncrs ='))


@case(r"~/land\.toml: land\.a\\nb: unknown key; known: cell_m, .+")
def key_over_two_lines(made):
    settings(made, '"a\\nb" = 1\n')


@case(r"~/land\.toml: fence\.x+ \.\.\. x+: unknown key; known: .+")
def key_of_a_hundred_thousand_letters(made):
    settings(made, "[fence]\n" + "x" * 100_000 + " = 1\n")


@case(r"~/land\.toml: fence\.height_m: found 'a\\nb\\x1b\[2J'; input should be a valid number")
def number_that_clears_the_screen(made):
    settings(made, '[fence]\nheight_m = "a\\nb\\u001b[2J"\n')


@case(r"~/land\.toml: fence\.height_m: found 1e\+308; input should be less than or equal to 6")
def fence_as_high_as_numbers_go(made):
    settings(made, "[fence]\nheight_m = 1e308\n")


@case(r"~/land\.toml: land\.margin_m: found 1e\+300; input should be less than or equal to 20000")
def margin_beyond_the_universe(made):
    settings(made, margin=("margin_m = 10.0", "margin_m = 1e300"))


@case(r"~/land\.toml: land\.cell_m: found 1e-300; input should be greater than or equal to 0\.001")
def cells_smaller_than_atoms(made):
    settings(made, "cell_m = 1e-300\n")


@case(r"~/land\.toml: land\.cell_m: found 1e\+300; input should be less than or equal to 10000")
def cells_larger_than_the_universe(made):
    settings(made, "cell_m = 1e300\n")


@case(r'crs: "@/etc/passwd" is no CRS; write an EPSG code such as "EPSG:25832"')
def crs_that_names_a_file(made):
    settings(made, crs=(CRS, "@/etc/passwd"))


@case(r'crs: "\+proj=utm .+/etc/passwd.+" names a file, which is not read; write an EPSG code such as "EPSG:25832"')
def crs_that_names_a_grid_file(made):
    settings(made, crs=(CRS, "+proj=utm +zone=32 +nadgrids=/etc/passwd +units=m"))


@case(r'crs: "http://192\.0\.2\.1/x" is no CRS; write an EPSG code such as "EPSG:25832"')
def crs_on_a_network(made):
    settings(made, crs=(CRS, "http://192.0.2.1/x"))


@case(r"crs: \"'EPSG:\\n1'\" is no CRS; write an EPSG code such as \"EPSG:25832\"")
def crs_over_two_lines(made):
    settings(made, crs=(CRS, "EPSG:\\n1"))


@case(r'crs: "" is no CRS; write an EPSG code such as "EPSG:25832"')
def crs_of_nothing(made):
    settings(made, crs=(CRS, ""))


@case(r"plots\.gpkg: has no column 'x+ \.\.\. x+'; columns are name; name one of them")
def id_column_of_a_hundred_thousand_letters(made):
    made.inputs["plot_id"] = "x" * 100_000


@case(r"~/nowhere\.gpkg: there is no such file; correct the path")
def fence_line_that_is_not_there(made):
    settings(made, '[enclosure]\nfence_line = "nowhere.gpkg"\n')


@case(r"land\.toml: cannot be read as a vector file \(.+\); supply .+")
def settings_as_the_fence_line(made):
    settings(made, '[enclosure]\nfence_line = "land.toml"\n')


# --- paths ---------------------------------------------------------------------------------------------------------

NO_FILE = "there is no such file; correct the path"
NO_ORDINARY_FILE = "is a device or pipe and no ordinary file; copy its content to a file and name that"


@case(rf"~/a\\x00b: {NO_FILE}")
def path_with_a_nul(made):
    settings(made, path=("dem.tif", "a\\u0000b"))


@case(rf"~/a\\nb: {NO_FILE}")
def path_over_two_lines(made):
    settings(made, path=("dem.tif", "a\\nb"))


@case(rf"~/x+ \.\.\. x+: {NO_FILE}")
def path_of_five_thousand_letters(made):
    made.inputs["plots"] = "x" * 5000


@case(r"~: is a folder; name a file")
def path_of_nothing(made):
    made.inputs["plots"] = ""


@case(rf"~/pipe: {NO_ORDINARY_FILE}")
def plots_from_a_pipe(made):
    os.mkfifo(made.folder / "pipe")
    made.inputs["plots"] = made.folder / "pipe"


@case(rf"~/pipe: {NO_ORDINARY_FILE}")
def elevation_from_a_pipe(made):
    os.mkfifo(made.folder / "pipe")
    made.inputs["elevation"] = [made.folder / "pipe"]


@case(rf"/dev/zero: {NO_ORDINARY_FILE}")
def pits_without_end(made):
    made.inputs["pits"] = "/dev/zero"


@case(rf"/dev/zero: {NO_ORDINARY_FILE}")
def elevation_without_end(made):
    made.inputs["elevation"] = ["/dev/zero"]


@case(rf"~/l\.gpkg: {NO_FILE}")
def plots_are_a_link_to_itself(made):
    (made.folder / "l.gpkg").symlink_to(made.folder / "l.gpkg")
    made.inputs["plots"] = made.folder / "l.gpkg"


@case(rf"~/l\.tif: {NO_FILE}")
def elevation_is_a_link_to_nowhere(made):
    (made.folder / "l.tif").symlink_to(made.folder / "gone.tif")
    made.inputs["elevation"] = [made.folder / "l.tif"]


@case(rf"~/https:/192\.0\.2\.1/plots\.gpkg: {NO_FILE}")
def plots_on_a_network(made):
    made.inputs["plots"] = "https://192.0.2.1/plots.gpkg"


@case(rf"/vsicurl/http:/192\.0\.2\.1/plots\.gpkg: {NO_FILE}")
def plots_through_a_virtual_file_system(made):
    made.inputs["plots"] = "/vsicurl/http://192.0.2.1/plots.gpkg"


@case(rf"~/PG:host=192\.0\.2\.1: {NO_FILE}")
def plots_in_a_database(made):
    made.inputs["plots"] = "PG:host=192.0.2.1"


@case(r"gone\.tif: cannot be read as a raster \(.+\); supply a whole file")
def elevation_not_inside_a_zip(made):
    zipped(made, "z.zip", "dem.tif")
    made.inputs["elevation"] = [f"/vsizip/{made.folder}/z.zip/gone.tif"]


# --- packed files --------------------------------------------------------------------------------------------------


def zipped(made, name, *members):
    with zipfile.ZipFile(made.folder / name, "w", zipfile.ZIP_DEFLATED) as out:
        for member in members:
            out.write(made.folder / member, member)
    return made.folder / name


@case(r"z\.zip: is packed \(ZIP\); unpack it and name the file in it")
def elevation_as_a_zip(made):
    made.inputs["elevation"] = [zipped(made, "z.zip", "dem.tif")]


@case(r"p\.gpkg\.zip: is packed \(ZIP\); unpack it and name the file in it")
def plots_as_a_zip(made):
    made.inputs["plots"] = zipped(made, "p.gpkg.zip", "plots.gpkg")


@case(r"bomb\.shz: is packed \(ZIP\); unpack it and name the file in it")
def zip_bomb(made):
    made.inputs["plots"] = made.folder / "bomb.shz"
    with zipfile.ZipFile(made.folder / "bomb.shz", "w", zipfile.ZIP_DEFLATED, compresslevel=1) as out:
        for letter in "abcd":
            out.writestr(f"{letter}.shp", bytes(5_000_000))


@case(r"p\.gpkg: is packed \(ZIP\); unpack it and name the file in it")
def zip_whose_member_leaves_the_folder(made):
    with zipfile.ZipFile(made.folder / "p.gpkg", "w") as out:
        out.writestr("../../evil.gpkg", (made.folder / "plots.gpkg").read_bytes())
    made.inputs["plots"] = made.folder / "p.gpkg"


@case(r"pits\.csv: is packed \(ZIP\); unpack it and name the file in it")
def zip_called_csv(made):
    made.inputs["pits"] = zipped(made, "pits.csv", "dem.tif")


@case(r"p\.geojson: is packed \(gzip\); unpack it and name the file in it")
def gzip_called_geojson(made):
    (made.folder / "p.geojson").write_bytes(b"\x1f\x8b" + bytes(100))
    made.inputs["plots"] = made.folder / "p.geojson"


# --- elevation -----------------------------------------------------------------------------------------------------


@case(r"e\.tif: cannot be read as a raster \(.+\); supply a whole file")
def empty_raster(made):
    made.inputs["elevation"] = [made.text("", "e.tif")]


# Recent versions of the library notice it themselves.
@case(
    r"b\.asc: (says it has 100,000 x 100,000 cells, which do not fit into its \d+ bytes"
    r"|cannot be read as a raster \(Too large raster dimension 100000 x 100000 .+\)); supply a whole file"
)
def grid_that_promises_ten_thousand_million_cells(made):
    head = "ncols 100000\nnrows 100000\nxllcorner 550000\nyllcorner 5550000\ncellsize 1\n1 2 3"
    made.inputs["elevation"] = [made.text(head, "b.asc")]
    made.text(pyproj.CRS.from_epsg(25832).to_wkt("WKT1_ESRI"), "b.prj")


@case(r"b\.asc: cannot be read as a raster \(.+\); supply a whole file")
def grid_that_promises_more_than_whole_numbers_hold(made):
    made.inputs["elevation"] = [made.text("ncols 2000000000\nnrows 2000000000\ncellsize 1\n1", "b.asc")]


@case(r"x\.json: only points to other files; list those in inputs\.elevation instead")
def raster_as_json(made):
    made.inputs["elevation"] = [made.text('{"type": "FeatureCollection"}', "x.json")]


@case(r"dem\.tif: only points to other files; list those in inputs\.elevation instead")
def pointer_behind_a_byte_order_mark(made):
    made.inputs["elevation"] = [made.text("\ufeff" + " " * 90 + '<VRTDataset rasterXSize="1"/>', "dem.tif")]


@case(r"a\\nb\.tif: cannot be read as a raster \(.+\); supply a whole file")
def raster_whose_name_has_two_lines(made):
    made.inputs["elevation"] = [made.text("x", "a\nb.tif")]


@case(r"own\.tif: does not say where its cells lie; write its position into the raster")
def raster_whose_cells_lie_nowhere(made):
    made.raster(transform=Affine(float("nan"), 0, WEST, 0, -1, NORTH))


@case(r"own\.tif: its cells measure 1e\+300 x 1e\+300, .+ allowed are .+; write its position into the raster")
def raster_of_cells_larger_than_the_universe(made):
    made.raster(transform=Affine(1e300, 0, WEST, 0, -1e300, NORTH))


@case(r"own\.tif: its cells measure 2\.69e\+04 x 3\.5e\+04, .+ allowed are 1e-07 to 1; write its position .+")
def raster_of_cells_wider_than_the_world(made):
    # Found by fuzzing: numpy warned on stderr.
    made.raster(crs="EPSG:4326", transform=Affine(26865, 0, 10.4115, 0, -35043, 50.5413))


@case(r"own\.tif: its cells measure 1 x 3\.05e-05, one side may be 100 times the other; write its position .+")
def raster_of_cells_like_hairs(made):
    # Found by fuzzing: millions of points were worked out for each plot.
    made.raster(transform=Affine(1, 0, WEST, 0, -3.05e-5, NORTH))


@case(r"own\.tif covers 99\.9 % of plot \"north\"; scoring needs all of it .+")
def raster_with_an_infinite_hill(made):
    values = plane(*centres(200, 200)).astype("float32")
    values[50, 50] = np.inf
    made.raster(values)


@case(r"plots\.gpkg: cannot be read as a raster \(.+\); supply a whole file")
def plots_as_elevation(made):
    made.inputs["elevation"] = [made.inputs["plots"]]


# --- plots ---------------------------------------------------------------------------------------------------------


def json_plots(made, geometry, name='"a"'):
    text = (
        '{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {"name": %s}, "geometry": %s}]}'
    )
    made.plots_text(text % (name, geometry if isinstance(geometry, str) else json.dumps(geometry)), "p.geojson")


NOT_READ = r"cannot be read as a vector file \(.+\); supply .+"
NO_GEOMETRY = r"p\.geojson, feature 1: has no geometry; draw the plot or drop the feature"


@case(r"own\.gpkg, feature 1: name is '\\x1b\[31mred'; use up to 80 printable characters")
def id_in_red(made):
    made.plots(("\x1b[31mred", NORTH_PLOT))


@case(r"own\.gpkg, feature 1: name is 'a\\u202eb'; use up to 80 printable characters")
def id_that_runs_backwards(made):
    made.plots(("a\u202eb", NORTH_PLOT))


@case(r"own\.gpkg, feature 2: name is 'a\\u200b'; use up to 80 printable characters")
def id_with_a_letter_of_no_width(made):
    made.plots(("a", NORTH_PLOT), ("a\u200b", SOUTH_PLOT))


@case(r'own\.gpkg, feature 2: the plot ".+" is there already \(own\.gpkg, feature 1\); give every plot a name .+')
def ids_that_look_the_same(made):
    made.plots(("h\u00f6he", NORTH_PLOT), ("ho\u0308he", SOUTH_PLOT))


@case(r"own\.gpkg, feature 1: name is 'x{80}'; use up to 80 printable characters")
def id_that_is_too_long(made):
    made.plots(("x" * 81, NORTH_PLOT))


@case(r"p\.geojson, feature 1: name is \['a', 'b'\]; write a text or a whole number")
def id_that_is_a_list(made):
    json_plots(made, mapping(HERE), '["a", "b"]')


@case(r"p\.geojson, feature 1: name is True; write a text or a whole number")
def id_that_is_a_truth_value(made):
    json_plots(made, mapping(HERE), "true")


@case(rf"p\.geojson: {NOT_READ}")
def empty_plots(made):
    made.plots_text("", "p.geojson")


@case(r"p\.geojson: has no column 'name'; columns are none; name one of them")
def columns_without_a_name(made):
    # Found by fuzzing: the library warned on stderr.
    made.plots_text(
        '{"type": "FeatureCollection", "features": [{"type": "Feature", "\0\0operties": {"name": "a"}, '
        '"geometry": {"type": "Polygon", "c/ordinates": [[[10.41, 50.54], [10.42, 50.54], [10.42, 40.55]]]}}]}',
        "p.geojson",
    )


@case(rf"p\.geojson: {NOT_READ}")
def json_that_is_no_collection(made):
    made.plots_text("[1, 2, 3]", "p.geojson")


@case(rf"p\.geojson: {NOT_READ}")
def json_without_end(made):
    made.plots_text("[" * 200_000, "p.geojson")


@case(NO_GEOMETRY)
def coordinates_nested_without_end(made):
    json_plots(made, '{"type": "Polygon", "coordinates": ' + "[" * 600 + "]" * 600 + "}")


@case(NO_GEOMETRY)
def coordinates_that_are_words(made):
    json_plots(made, {"type": "Polygon", "coordinates": [[["9", "50"], ["9", "51"], ["8", "51"], ["9", "50"]]]})


@case(NO_GEOMETRY)
def coordinates_of_one_number(made):
    json_plots(made, {"type": "Polygon", "coordinates": [[[9], [10], [10], [9]]]})


@case(NO_GEOMETRY)
def geometry_of_no_known_kind(made):
    json_plots(made, {"type": "Poligon", "coordinates": [[[9, 50], [9, 51], [8, 51], [9, 50]]]})


@case(NO_GEOMETRY)
def polygon_without_a_ring(made):
    json_plots(made, {"type": "Polygon", "coordinates": []})


@case(r"p\.geojson, feature 1: has a broken geometry \(.+\); draw it again")
def coordinates_that_are_nan(made):
    json_plots(made, '{"type": "Polygon", "coordinates": [[[NaN, 50], [10, 50], [10, 51], [NaN, 50]]]}')


@case(r'p\.geojson, feature 1: plot "a": has the coordinate \(1\.1e\+300, 1e\+300\), which is no longitude .+')
def coordinates_of_three_hundred_digits(made):
    json_plots(made, mapping(box(1e300, 1e300, 1.1e300, 1.1e300)))


@case(r'p\.geojson, feature 1: plot "a": spans 360°, allowed are 30° or 3,336 km; cut it to the land round the plots')
def plot_as_large_as_the_world(made):
    json_plots(made, mapping(box(-180, -90, 180, 90)))


@case(r'own\.gpkg, feature 1: plot "a": spans 6e\+03 km, allowed are 30° or 3,336 km; cut it to the land .+')
def plot_as_large_as_a_continent(made):
    made.plots(("a", box(WEST - 3e6, NORTH - 3e6, WEST + 3e6, NORTH + 3e6)))


@case(r'plot "a": its window has 300,022,000,400 cells of 1 m, allowed are 200,000,000; .+')
def plot_as_large_as_a_country(made):
    made.plots(("a", box(WEST - 3e5, NORTH - 3e5, WEST + 2e5, NORTH + 3e5)))


NO_PLACE = r"which is no place on Earth; the file says it is in EPSG:25832: correct it in the file"


@case(rf'own\.gpkg, feature 1: plot "a": has the coordinate \(1e\+15, 5\.59992e\+06\), {NO_PLACE}')
def plot_beyond_the_sun(made):
    made.plots(("a", translate(NORTH_PLOT, 1e15)))


@case(rf'c\.csv, row 2: plot "a": has the coordinate \(-?1e\+308, 1e\+308\), {NO_PLACE}')
def corners_as_far_apart_as_numbers_go(made):
    made.plots_text("name,x,y\na,1e308,1e308\na,-1e308,1e308\na,1,2\n", "c.csv")


@case(rf"d\.gpkg, feature 1: has the coordinate \(1e\+300, 1e\+300\), {NO_PLACE}")
def house_beyond_the_universe(made):
    made.inputs["dwellings"] = write_vector(made.folder / "d.gpkg", [({"name": "x"}, Point(1e300, 1e300))])


@case(rf"pits\.csv, row 2: has the coordinate \(1e\+300, 5\.6e\+06\), {NO_PLACE}")
def pit_beyond_the_universe(made):
    made.pits(f"x,y,clay_percent\n1e300,{NORTH},20\n")


@case(r"own\.gpkg, feature 1: has 2,400 vertices, allowed are 1,000; simplify it or cut it in pieces")
def plot_of_many_parts(made, monkeypatch):
    monkeypatch.setattr(vectors, "MOST_VERTICES", 1_000)
    parts = [box(x, NORTH - 50, x + 0.05, NORTH - 49) for x in WEST + 20 + 0.1 * np.arange(480)]
    made.plots(("a", MultiPolygon(parts)))


@case(r'own\.gpkg, feature 1: plot "a" has a ring that encloses no area \(0\.0035 m2\); draw its outline')
def plot_as_thin_as_a_hair(made):
    corners = [(WEST + 20, NORTH - 50), (WEST + 90, NORTH - 50), (WEST + 90, NORTH - 50.0001)]
    made.plots(("a", Polygon(corners)))


@case(r"p\.geojson, line 1: is not UTF-8 text; save it in UTF-8")
def plots_in_another_encoding(made):
    json_plots(made, mapping(HERE), '"höhe"')
    file = made.folder / "p.geojson"
    file.write_bytes(file.read_text(encoding="utf-8").encode("latin-1"))


@case(r"p\.geojson: is UTF-16, and no XML; save it in UTF-8")
def plots_in_utf16(made):
    json_plots(made, mapping(HERE))
    file = made.folder / "p.geojson"
    file.write_bytes(file.read_text(encoding="utf-8").encode("utf-16"))


@case(r'p\.geojson, feature 1: plot "a": has the coordinate \(600090, 5\.59998e\+06\), which is no longitude .+')
def crs_as_a_link_to_a_network(made):
    text = json.dumps({"type": "link", "properties": {"href": "http://192.0.2.1/x", "type": "ogcwkt"}})
    json_plots(made, mapping(NORTH_PLOT))
    file = made.folder / "p.geojson"
    file.write_text(file.read_text(encoding="utf-8").replace("{", '{"crs": ' + text + ", ", 1), encoding="utf-8")


@case(rf"t\.gpkg: {NOT_READ}")
def half_a_geopackage(made):
    whole = made.inputs["plots"].read_bytes()
    made.inputs["plots"] = made.folder / "t.gpkg"
    made.inputs["plots"].write_bytes(whole[: len(whole) // 2])


@case(rf"t\.gpkg: {NOT_READ}")
def geopackage_with_bytes_turned(made):
    whole = bytearray(made.inputs["plots"].read_bytes())
    whole[4096::37] = bytes(255 - b for b in whole[4096::37])
    made.inputs["plots"] = made.folder / "t.gpkg"
    made.inputs["plots"].write_bytes(whole)


def in_geopackage(file, *statements):
    """Run SQL on a GeoPackage without its triggers, which only GDAL's SQLite understands."""
    with sqlite3.connect(file) as base:
        for (name,) in base.execute("select name from sqlite_master where type = 'trigger'").fetchall():
            base.execute(f'drop trigger "{name}"')
        for statement, values in statements:
            base.execute(statement, values)
    base.close()


@case(r"plots\.gpkg, feature 1: has no geometry; draw the plot or drop the feature")
def polygon_that_promises_two_thousand_million_corners(made):
    head = b"GP\0\1" + struct.pack("<i", 25832) + b"\1" + struct.pack("<III", 3, 1, 0x7FFFFFFF)
    in_geopackage(made.inputs["plots"], ("update plots set geom = ? where fid = 1", (head,)))


@case(r"plots\.gpkg: has more than 1 features; cut it to the land round the plots")
def too_many_features(_made, monkeypatch):
    monkeypatch.setattr(vectors, "MOST_FEATURES", 1)


@case(r"p\.kml: has more than 1 features; cut it to the land round the plots")
def too_many_places_in_a_kml(made, monkeypatch):
    monkeypatch.setattr(vectors, "MOST_FEATURES", 1)
    text = kml("10.41,50.541 10.411,50.541 10.411,50.542 10.41,50.541")
    place = re.search("<Placemark>.*</Placemark>", text)[0]
    made.plots_text(text.replace(place, place * 3), "p.kml")


@case(r"plots\.gpkg: 'plots' is a view, computed from other tables; save it as a layer of its own")
def table_that_never_ends(made):
    endless = "with recursive n(i) as (select 1 union all select i + 1 from n) select i as fid, geom, name from pp, n"
    in_geopackage(made.inputs["plots"], ("alter table plots rename to pp", ()), (f"create view plots as {endless}", ()))


@case(r"plots\.gpkg: 'gpkg_contents' is a view, computed from other tables; save it as a layer of its own")
def list_of_layers_that_never_ends(made):
    endless = "with recursive n(i) as (select 1 union all select i + 1 from n) select cc.* from cc, n"
    in_geopackage(
        made.inputs["plots"],
        ("alter table gpkg_contents rename to cc", ()),
        (f"create view gpkg_contents as {endless}", ()),
    )


@case(r"plots\.gpkg: cannot be read as a vector file \(database disk image is malformed\); supply .+")
def geopackage_that_breaks_after_its_head(_made, monkeypatch):
    # Found by fuzzing: while the CRS was read, GDAL's own error went through.
    class SaidByGdal(Exception):  # noqa: N818 - as the library has it inside, of no public kind
        pass

    class Source:
        schema = {"geometry": "Polygon", "properties": {}}  # noqa: RUF012
        driver = "GPKG"

        @property
        def crs_wkt(self):
            raise SaidByGdal("database disk image is malformed")

        def __enter__(self):
            return self

        def __exit__(self, *_):
            pass

    monkeypatch.setattr("fiona.open", lambda *_, **__: Source())


@case(r"plots\.gpkg: cannot be read as a vector file \(returned a result with an exception set\); supply .+")
def geopackage_on_which_the_library_trips(_made, monkeypatch):
    # Found by fuzzing: fiona lost GDAL's error, and Python said so.
    def trips(*_, **__):
        raise SystemError("returned a result with an exception set")

    monkeypatch.setattr("fiona.open", trips)


# --- soil and pits -------------------------------------------------------------------------------------------------


def json_soil(made, clay):
    made.inputs["soil"] = write_geojson(made.folder / "s.geojson", [({"clay_percent": clay}, HERE)])


@case(r"s\.geojson, feature 1: clay_percent is \"\[\]\"; it must be a finite number")
def clay_that_is_a_list(made):
    json_soil(made, [])


@case(r's\.geojson, feature 1: clay_percent is "\{.+\}"; it must be a finite number')
def clay_that_is_a_table(made):
    json_soil(made, {"a": 1})


@case(r's\.geojson, feature 1: clay_percent is "True"; it must be a finite number')
def clay_that_is_a_truth_value(made):
    json_soil(made, True)


@case(r's\.geojson, feature 1: clay_percent is "20 \\x1b\[2J"; it must be a finite number')
def clay_that_clears_the_screen(made):
    json_soil(made, "20 \x1b[2J")


@case(r"pits\.csv, row 2: depth_to_rock_m is \"=1\+1\"; it must be a finite number")
def pit_that_is_a_formula(made):
    made.pits(f"x,y,depth_to_rock_m\n{WEST},{NORTH},=1+1\n")


@case(r"pits\.csv, row 2: depth_to_rock_m is \"\\u0662\"; it must be a finite number|.+ is \"٢\"; .+")
def pit_in_other_digits(made):
    made.pits(f"x,y,depth_to_rock_m\n{WEST},{NORTH},٢\n")


@case(r"pits\.csv, row 2: x is \"1e400\"; it must be a finite number")
def pit_at_an_infinite_place(made):
    made.pits(f"x,y,depth_to_rock_m\n1e400,{NORTH},1\n")


@case(r"pits\.csv: has 100,002 columns, allowed are 1,000; drop those that are not needed")
def pits_of_a_hundred_thousand_columns(made):
    made.pits("x,y" + ",x" * 100_000 + "\n1,2\n")


@case(r"pits\.csv: has [\d,]+ bytes, allowed are 100; cut it to the land round the plots")
def table_too_large_for_memory(made, monkeypatch):
    monkeypatch.setattr(tables, "MOST_BYTES", 100)
    made.pits("x,y,depth_to_rock_m\n" + "600000,5600000,1\n" * 100)


@case(r"pits\.csv, row 2: is no CSV \(field larger than field limit .+\); save the table again as CSV")
def pit_of_ten_million_letters(made):
    made.pits(f"x,y,remark,clay_percent\n{WEST},{NORTH},{'a' * 10_000_001},20\n")


# --- XML -----------------------------------------------------------------------------------------------------------

REFUSED = r"declares a document type or entities, which are refused; save it without them"
KML = 'xmlns="http://www.opengis.net/kml/2.2"'


def kml(ring):
    return (
        f'<?xml version="1.0"?><kml {KML}><Document><Placemark><name>a</name><Polygon><outerBoundaryIs><LinearRing>'
        f"<coordinates>{ring}</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></Document></kml>"
    )


@case(rf"p\.kml: {REFUSED}")
def entities_that_grow_to_a_thousand_million(made):
    made.plots_text(
        '<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a0 "aaaaaaaaaa">'
        + "".join(f'<!ENTITY a{i} "{f"&a{i - 1};" * 10}">' for i in range(1, 10))
        + "]><kml>&a9;</kml>",
        "p.kml",
    )


@case(rf"p\.kml: {REFUSED}")
def a_long_entity_said_often(made):
    made.plots_text(f'<!DOCTYPE l [<!ENTITY a "{"a" * 100_000}">]><kml>{"&a;" * 1000}</kml>', "p.kml")


@case(rf"p\.kml: {REFUSED}")
def entity_that_is_a_file(made):
    made.plots_text('<!DOCTYPE l [<!ENTITY a SYSTEM "file:///etc/passwd">]><kml>&a;</kml>', "p.kml")


@case(rf"p\.kml: {REFUSED}")
def parameter_entity_that_is_a_file(made):
    made.plots_text('<!DOCTYPE l [<!ENTITY % p SYSTEM "file:///etc/passwd">%p;]><kml/>', "p.kml")


@case(rf"p\.kml: {REFUSED}")
def entities_in_utf16(made):
    text = '<?xml version="1.0" encoding="UTF-16"?><!DOCTYPE l [<!ENTITY a "x">]><kml>&a;</kml>'
    (made.folder / "p.kml").write_bytes(text.encode("utf-16"))
    made.inputs["plots"] = made.folder / "p.kml"


@case(rf"p\.kml: {REFUSED}")
def entities_in_utf16_without_a_mark(made):
    text = '<?xml version="1.0" encoding="UTF-16LE"?><!DOCTYPE l [<!ENTITY a "x">]><kml>&a;</kml>'
    (made.folder / "p.kml").write_bytes(text.encode("utf-16-le"))
    made.inputs["plots"] = made.folder / "p.kml"


@case(r"p\.kml: is no well-formed XML \(.+\); export it again")
def xml_in_an_odd_encoding(made):
    made.plots_text('<?xml version="1.0" encoding="UTF-7"?><kml/>', "p.kml")


@case(rf"p\.kml: {NOT_READ}")
def kml_that_fetches_another(made):
    link = "<NetworkLink><Link><href>http://192.0.2.1/a.kml</href></Link></NetworkLink>"
    made.plots_text(f'<?xml version="1.0"?><kml {KML}>{link}</kml>', "p.kml")


@case(rf"p\.kml: {NOT_READ}")
def kml_of_twenty_thousand_folders_in_each_other(made):
    made.plots_text(f"<kml {KML}>{'<Folder>' * 20_000}{'</Folder>' * 20_000}</kml>", "p.kml")


@case(r"p\.kml: has no layer with geometry; supply one that has")
def kml_without_a_place(made):
    made.plots_text(f'<?xml version="1.0"?><kml {KML}><Document/></kml>', "p.kml")


@case(r'p\.kml: a coordinate of a <coordinates> is "5O\.54"; it must be a finite number')
def kml_with_a_letter_for_a_nought(made):
    made.plots_text(kml("10.41,50.541 10.411,50.541 10.411,5O.54 10.41,50.541"), "p.kml")


@case(r"p\.vrt: is XML, but neither KML nor GPX \(<ogrvrtdatasource>\); supply .+")
def plots_that_point_to_a_network(made):
    source = "<SrcDataSource>/vsicurl/http://192.0.2.1/a</SrcDataSource>"
    made.plots_text(f'<OGRVRTDataSource><OGRVRTLayer name="a">{source}</OGRVRTLayer></OGRVRTDataSource>', "p.vrt")


@case(r"p\.svg: is XML, but neither KML nor GPX \(<svg>\); supply .+")
def a_picture_as_plots(made):
    made.plots_text('<svg xmlns="http://www.w3.org/2000/svg"/>', "p.svg")


TRACK = ("a", [(10.41, 50.541), (10.411, 50.541), (10.411, 50.542)])


@case(r'w\.gpx: lat of a <trkpt> is "nan"; it must be a finite number')
def gpx_with_a_latitude_of_nan(made):
    made.plots_text(gpx(TRACK).replace('lat="50.542000000"', 'lat="nan"'), "w.gpx")


@case(r'w\.gpx: lat of a <trkpt> is "1e400"; it must be a finite number')
def gpx_with_an_infinite_latitude(made):
    made.plots_text(gpx(TRACK).replace('lat="50.542000000"', 'lat="1e400"'), "w.gpx")


@case(r"w\.gpx: lat of a <trkpt> is missing; it must be a finite number")
def gpx_without_a_latitude(made):
    made.plots_text(gpx(TRACK).replace('lat="50.542000000"', 'let="50.542"'), "w.gpx")


@case(r"w\.gpx: is no well-formed XML \(.+\); export it again")
def gpx_of_tracks_that_never_end(made):
    made.plots_text('<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">' + "<trk>" * 50_000, "w.gpx")


# --- the same through every other input of features ------------------------------------------------------------------


def give(made, kind, path):
    """Name a file as the input of a kind, or as the fence line."""
    if kind == "fence_line":
        settings(made, f'[enclosure]\nfence_line = "{path}"\n')
    else:
        made.inputs[kind] = path


def packed(made):
    return zipped(made, "f.gpkg", "plots.gpkg")


def bomb(made):
    entities = "".join(f'<!ENTITY a{i} "{f"&a{i - 1};" * 10}">' for i in range(1, 10))
    return made.text(f'<!DOCTYPE l [<!ENTITY a0 "aaaaaaaaaa">{entities}]><kml>&a9;</kml>', "f.kml")


def external(made):
    return made.text('<!DOCTYPE l [<!ENTITY a SYSTEM "file:///etc/passwd">]><kml>&a;</kml>', "f.kml")


def link_to_itself(made):
    (made.folder / "f.gpkg").symlink_to(made.folder / "f.gpkg")
    return made.folder / "f.gpkg"


def pipe(made):
    os.mkfifo(made.folder / "f.gpkg")
    return made.folder / "f.gpkg"


SAID = {"name": "north", "clay_percent": 20.0}


def beyond_the_earth(made):
    return write_vector(made.folder / "f.gpkg", [(SAID, box(WEST, NORTH, 1e300, 1e300))])


def larger_than_a_continent(made):
    return write_vector(made.folder / "f.gpkg", [(SAID, box(WEST, NORTH, WEST + 1e7, NORTH + 1e7))])


ANY_FEATURES = {
    packed: r"f\.gpkg: is packed \(ZIP\); unpack it and name the file in it",
    bomb: rf"f\.kml: {REFUSED}",
    external: rf"f\.kml: {REFUSED}",
    link_to_itself: rf"~/f\.gpkg: {NO_FILE}",
    pipe: rf"~/f\.gpkg: {NO_ORDINARY_FILE}",
    beyond_the_earth: rf"f\.gpkg, feature 1: has the coordinate \(1e\+300, .+\), {NO_PLACE}",
    larger_than_a_continent: r"f\.gpkg, feature 1: spans .+ km, allowed are .+; cut it to the land round the plots",
}
for kind in ("soil", "services", "trees_and_boulders", "fence_line"):
    for make, line in ANY_FEATURES.items():

        def spoiled(made, kind=kind, make=make):
            give(made, kind, make(made))

        spoiled.__name__ = f"{kind}_{make.__name__}"
        case(line)(spoiled)


@case(
    r"pits\.csv, row 2: has the coordinate \(1e\+300, 1e\+300\), which is no place on Earth; .+ correct it in the file"
)
def pit_beyond_the_earth(made):
    made.pits("x,y,clay_percent\n1e300,1e300,20\n")


@case(r"~/pits\.csv: there is no such file; correct the path")
def pits_are_a_link_to_themselves(made):
    (made.folder / "pits.csv").symlink_to(made.folder / "pits.csv")
    made.inputs["pits"] = made.folder / "pits.csv"


MOON = pyproj.CRS("IAU_2015:30130")
"""Equidistant cylindrical, of the register of the International Astronomical Union."""


@case(r"own\.tif: has no coordinate reference system on the Earth; write it into the raster, .+")
def elevation_of_the_moon(made):
    made.raster(crs=MOON.to_wkt())


@case(r"f\.fgb: has no coordinate reference system on the Earth; write it into the file .+")
def plots_on_the_moon(made):
    made.inputs["plots"] = write_vector(
        made.folder / "f.fgb", [({"name": "north"}, NORTH_PLOT)], crs=MOON.to_wkt(), driver="FlatGeobuf"
    )


@case(r'crs: "IAU_2015:30130" is tied to no place on Earth; write an EPSG code such as "EPSG:25832"')
def run_on_the_moon(made):
    made.settings["crs"] = "IAU_2015:30130"


@case(r"f\.fgb: cannot be read as a vector file \(\d+ is no kind of geometry\); supply .+")
def a_kind_of_geometry_that_there_is_not(made):
    """The head of the file says that there are heights where it should say what kind of geometry there is."""
    path = write_vector(
        made.folder / "f.fgb", [({"name": "north"}, NORTH_PLOT)], driver="FlatGeobuf", geometry="Polygon"
    )
    data, kind, heights = path.read_bytes(), b"\x0c\0\x07\0\0\0", b"\x0c\0\0\0\x07\0"
    assert kind in data
    path.write_bytes(data.replace(kind, heights, 1))
    made.inputs["plots"] = path


@pytest.mark.parametrize(("spoil", "pattern"), CASES.values(), ids=CASES.keys())
def test_hostile_input_gives_its_line(tmp_path, monkeypatch, command, spoil, pattern):
    made = Made(tmp_path)
    spoil(made, monkeypatch) if "monkeypatch" in spoil.__code__.co_varnames else spoil(made)
    config = tmp_path / "land.toml"
    if not (config.exists() or config.is_symlink()):
        config.write_text(made.settings_text(), encoding="utf-8")
    status, lines, out = command("check", config)
    lines = [line.replace(str(tmp_path), "~") for line in lines]
    assert (status, len(lines), out) == (2, 1, ""), lines
    assert re.fullmatch(pattern, lines[0]), lines[0]
    assert len(lines[0]) < 1000
