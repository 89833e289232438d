"""Hostile and broken files given to a first look: one line on stderr, status 2, and nothing written."""

import re
import struct

import laspy
import numpy as np
import pytest
from shapely.geometry import Point

from made_drawings import drawing, polyline
from made_inputs import CRS, NORTH, NORTH_PLOT, SOUTH_PLOT, WEST, write_raster, write_vector

CASES = {}


def case(pattern):
    """Register a way to spoil one of the files, which returns other options, and the one line it must give."""

    def register(spoil):
        CASES[spoil.__name__] = (spoil, pattern)
        return spoil

    return register


def cloud(folder, name="dem.las", version="1.4"):
    header = laspy.LasHeader(point_format=6 if version == "1.4" else 1, version=version)
    header.scales, header.offsets = [0.001] * 3, [WEST, NORTH, 300]
    data = laspy.LasData(header)
    rng = np.random.default_rng(1)
    data.x, data.y, data.z = WEST + rng.uniform(0, 200, 99), NORTH - rng.uniform(0, 200, 99), np.full(99, 310.0)
    data.classification = np.full(99, 2)
    data.write(folder / name)
    return folder / name


@case(r"plots\.dxf: holds no outline of a plot; draw each plot as a polygon and name that file")
def drawing_of_a_line_to_where_it_begins(here):
    # Found by fuzzing: what a double click leaves counts as a ring.
    (here / "plots.dxf").write_text(drawing(polyline("PLOTS", [(WEST, NORTH)] * 2, closed=False)), encoding="utf-8")
    return {"--plots": "plots.dxf", "--crs": CRS}


@case(r"prices\.csv, row 2: source: found 'b\\x00'; write one line of printable characters")
def price_of_a_nul(here):
    # Found by fuzzing.
    (here / "land").mkdir()
    head = "key,low,likely,high,unit,currency,source,date"
    (here / "land" / "prices.csv").write_bytes(f"{head}\ngate_each,,9,,each,EUR,b\0,2026-03\n".encode())
    return {}


@case(r"dem\.las: says that it has more parts than its [\d,]+ bytes hold; supply a whole file")
def point_cloud_of_four_thousand_million_records(here):
    # Found by fuzzing: the library looked for each of them.
    path = cloud(here)
    data = bytearray(path.read_bytes())
    # The same place of the head as the library has it.
    assert struct.unpack_from("<I", data, 100) == (len(laspy.read(path).header.vlrs),)
    struct.pack_into("<I", data, 100, 0xFFFFFFFF)
    path.write_bytes(data)
    return {"--elevation": "dem.las", "--crs": CRS}


@case(r"dem\.las: says that it has more parts than its [\d,]+ bytes hold; supply a whole file")
def point_cloud_of_four_thousand_million_later_records(here):
    path = cloud(here)
    data = bytearray(path.read_bytes())
    assert struct.unpack_from("<I", data, 243) == (laspy.read(path).header.number_of_evlrs,)
    struct.pack_into("<I", data, 243, 0xFFFFFFFF)
    path.write_bytes(data)
    return {"--elevation": "dem.las", "--crs": CRS}


@case(r"dem\.laz: says that it has more parts than its [\d,]+ bytes hold; supply a whole file")
def packed_points_of_two_thousand_million_pieces(here, *, last=False):
    # Found by fuzzing: the library asked for 31 GB, did not get them, and ended the program.
    path = cloud(here, "dem.laz")
    data = bytearray(path.read_bytes())
    (points,) = struct.unpack_from("<I", data, 96)
    (table,) = struct.unpack_from("<q", data, points)
    # Version and number of pieces, of which 99 points make one.
    assert struct.unpack_from("<II", data, table) == (0, 1)
    struct.pack_into("<I", data, table + 4, 0x7FFFFFFF)
    if last:
        struct.pack_into("<q", data, points, -1)
        data += struct.pack("<q", table)
    path.write_bytes(data)
    return {"--elevation": "dem.laz", "--crs": CRS}


@case(r"dem\.laz: cannot be read as a point cloud \(.+\); supply a whole file")
def packed_points_whose_table_lies_beyond_any_file(here):
    # Found by fuzzing.
    path = cloud(here, "dem.laz")
    data = bytearray(path.read_bytes())
    struct.pack_into("<q", data, *struct.unpack_from("<I", data, 96), 7 << 60)
    path.write_bytes(data)
    return {"--elevation": "dem.laz", "--crs": CRS}


@case(r"dem\.laz: says that it has more parts than its [\d,]+ bytes hold; supply a whole file")
def packed_points_written_in_one_go_of_as_many_pieces(here):
    return packed_points_of_two_thousand_million_pieces(here, last=True)


@case(r"page\.tif: is a page of the web in place of the file; download the file itself and name that")
def a_page_that_says_not_found(here):
    (here / "page.tif").write_text("<!DOCTYPE html><html><body>404</body></html>", encoding="utf-8")
    return {"--elevation": "page.tif"}


@case(r"page\.gpkg: is a page of the web in place of the file; download the file itself and name that")
def plots_that_are_a_page(here):
    (here / "page.gpkg").write_text("\n<HTML><body>Sign in</body></HTML>", encoding="utf-8")
    return {"--plots": "page.gpkg"}


@case(r"plots\.xlsx: is a workbook; save the sheet as CSV in UTF-8 and name that")
def plots_in_a_workbook(here):
    (here / "plots.xlsx").write_bytes(b"PK\x03\x04")
    return {"--plots": "plots.xlsx"}


@case(r"plots\.csv, row 2: has 4 cells, the header has 3; .+, or write semicolons between them if 1,5 is a number")
def decimal_commas_between_commas(here):
    (here / "plots.csv").write_text("name,x,y\na,600020,5,5599980\n", encoding="utf-8")
    return {"--plots": "plots.csv"}


@case(r"plots\.wkt: holds no outline as well-known text; write it as POLYGON \(\(0 0, 90 0, 90 60, 0 0\)\)")
def text_that_is_cut_off(here):
    (here / "plots.wkt").write_text("POLYGON ((0 0, 1 1", encoding="utf-8")
    return {"--plots": "plots.wkt"}


@case(r"plots\.gpkg: has no layer 'plot'; layers are 'plots'; did you mean 'plots'\?")
def a_layer_that_is_not_there(here):
    return {"--plots-layer": "plot"}


@case(r"soil\.gpkg: has none of the columns .+; columns are a; name those that say the same, as in --soil-column .+:cm")
def soil_without_a_column_that_is_known(here):
    write_vector(here / "soil.gpkg", [({"a": "x"}, NORTH_PLOT)])
    return {"--soil": "soil.gpkg"}


@case(r"pits\.csv: has none of the columns .+; columns are x, y, z; name those that say the same, as in --column .+")
def pits_without_a_column_that_is_known(here):
    (here / "pits.csv").write_text("x,y,z\n600030,5599950,2\n", encoding="utf-8")
    return {"--pits": "pits.csv"}


@case(r"pits\.csv, row 2: depth_to_rock_m is 200; .+ name its unit, as in .+ or --column pits\.depth_to_rock_m=ROCK:cm")
def pits_in_centimetres(here):
    (here / "pits.csv").write_text("x,y,depth_to_rock_m\n600030,5599950,200\n", encoding="utf-8")
    return {"--pits": "pits.csv"}


@case(r"\S*culverts\.gpkg: holds no line; draw each culvert as a line from end to end, or leave it out")
def culverts_as_points(here):
    write_vector(here / "culverts.gpkg", [({"a": "x"}, Point(WEST + 30, NORTH - 30))])
    return {"--culverts": "culverts.gpkg"}


@case(r"soil\.geojson, line 1: is not UTF-8 text; save it in UTF-8")
def text_behind_blanks_that_is_not_unicode(here):
    # Found by fuzzing: the reader took it for JSON, and its complaint could not be read either.
    text = b'\v{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"a":\xd0'
    (here / "soil.geojson").write_bytes(text)
    return {"--soil": "soil.geojson"}


@case(r"plots\.geojson: cannot be read as a vector file \(.+\); supply a whole GeoPackage, .+")
def json_with_curly_quotes(here):
    # Found by fuzzing: the library could not write its complaint, and a traceback went to stderr behind the line.
    (here / "plots.geojson").write_text(
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{“name”:"a"},"geometry":null}]}',
        encoding="utf-8",
    )
    return {"--plots": "plots.geojson"}


@pytest.mark.parametrize(("spoil", "pattern"), CASES.values(), ids=CASES.keys())
def test_a_file_that_cannot_serve_gives_its_line_and_nothing_is_written(tmp_path, monkeypatch, command, spoil, pattern):
    monkeypatch.chdir(tmp_path)
    write_raster(tmp_path / "dem.tif")
    write_vector(tmp_path / "plots.gpkg", [({"name": "north"}, NORTH_PLOT), ({"name": "south"}, SOUTH_PLOT)])
    options = {"--elevation": "dem.tif", "--plots": "plots.gpkg"} | spoil(tmp_path)
    before = sorted(tmp_path.rglob("*"))
    status, lines, out = command("start", "land", *(word for option in options.items() for word in option))
    assert (status, len(lines), out) == (2, 1, ""), lines
    assert re.fullmatch(pattern, lines[0]), lines[0]
    assert sorted(tmp_path.rglob("*")) == before
