"""A CRS that names a file is refused wherever it comes from, and the file is never opened.

The file named is a pipe that nobody writes to: whoever opens it waits for ever. So each check runs in a process of its
own that is ended after a while.
"""

import json
import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from xml.sax.saxutils import escape

import pyproj
import pytest

from made_inputs import NORTH_PLOT, Made, write_raster, write_vector
from packpale.site import carried_crs
from packpale.site.crs import names_a_file

LONGEST_S = 60
"""Of one check. A whole one takes about 3 s."""
UTM, HEIGHT, WGS84 = (pyproj.CRS(code).to_wkt() for code in ("EPSG:25832", "EPSG:5703", "EPSG:4326"))
BASE = pyproj.CRS("EPSG:4258").to_wkt().replace("GEOGCRS", "BASEGEOGCRS", 1)
PLANE = 'CS[Cartesian,2],AXIS["e",east],AXIS["n",north],LENGTHUNIT["metre",1]'
OLD = (
    'PROJCS["a",GEOGCS["b",DATUM["c",SPHEROID["GRS 1980",6378137,298.257222101]{datum}],PRIMEM["Greenwich",0],'
    'UNIT["degree",0.0174532925199433]],PROJECTION["Transverse_Mercator"],PARAMETER["latitude_of_origin",0],'
    'PARAMETER["central_meridian",9],PARAMETER["scale_factor",0.9996],PARAMETER["false_easting",500000],'
    'PARAMETER["false_northing",0],UNIT["metre",1]{whole}]'
)
FILE = '{method}PARAMETERFILE["Latitude and longitude difference file","PIPE",ID["EPSG",8656]]'.format
NTV2 = FILE(method='METHOD["NTv2",ID["EPSG",9615]],')
GEOID = (
    f'BOUNDCRS[SOURCECRS[{HEIGHT}],TARGETCRS[{pyproj.CRS("EPSG:4979").to_wkt()}],ABRIDGEDTRANSFORMATION["x",'
    'METHOD["GravityRelatedHeight to Geographic3D"],PARAMETERFILE["Geoid (height correction) model file","PIPE"]]]'
)
BOUND = f'BOUNDCRS[SOURCECRS[{UTM}],TARGETCRS[{WGS84}],ABRIDGEDTRANSFORMATION["x",{NTV2}]]'
WKT = {
    "bound": BOUND,
    "a bound part": f'COMPOUNDCRS["c",{BOUND},{HEIGHT}]',
    "bound as a whole": BOUND.replace(UTM, pyproj.CRS("EPSG:25832+5703").to_wkt()),
    "old and bound": OLD.format(datum=',EXTENSION["PROJ4_GRIDS","PIPE"]', whole=""),
    "with a PROJ string": OLD.format(datum="", whole=',EXTENSION["PROJ4","+proj=utm +zone=32 +nadgrids=PIPE"]'),
    "derived by a file": f'PROJCRS["x",{BASE},CONVERSION["c",{NTV2}],{PLANE}]',
    "derived by a pipeline": f'PROJCRS["x",{BASE},CONVERSION["c",METHOD["PROJ-based operation method: +proj=pipeline '
    f'+step +proj=hgridshift +grids=PIPE +step +proj=utm +zone=32"]],{PLANE}]',
}
PROJ = {
    "grids": "+proj=utm +zone=32 +ellps=GRS80 +nadgrids=PIPE +units=m",
    "grids behind none": "+proj=utm +zone=32 +ellps=GRS80 +nadgrids=@null,PIPE +units=m",
    "grids with blanks": "+proj=utm +zone=32 +ellps=GRS80 +nadgrids = PIPE +units=m",
    "geoid": "+proj=utm +zone=32 +ellps=GRS80 +geoidgrids=PIPE +units=m +type=crs",
    "pipeline": "+proj=pipeline +step +proj=utm +zone=32 +step +proj=hgridshift +grids=PIPE",
    "one step": "+proj=vgridshift +grids=PIPE +type=crs",
    "deformation": "+proj=deformation +xy_grids=PIPE +z_grids=PIPE +ellps=GRS80 +dt=1",
    "triangles": "+proj=tinshift +file=PIPE",
    "model": "+proj=defmodel +model=PIPE",
    "register": "+init=PIPE:25832",
    "register without a sign": "init=PIPE:25832",
}
BOUND_JSON = json.dumps(pyproj.CRS(BOUND).to_json_dict())
VERTICAL = {
    "bound height": f'COMPOUNDCRS["c",{UTM},{GEOID}]',
    "old bound height": f'COMPD_CS["c",{OLD.format(datum="", whole="")},VERT_CS["h",VERT_DATUM["d",2005,'
    'EXTENSION["PROJ4_GRIDS","PIPE"]],UNIT["metre",1],AXIS["Up",UP]]]',
}
"""Horizontal part of the register, heights bound to the file: as many elevation models have it."""


@pytest.fixture
def made(tmp_path):
    return Made(tmp_path)


@pytest.fixture
def pipe(tmp_path):
    """A pipe that keeps whoever opens it waiting."""
    (tmp_path / "elsewhere").mkdir()
    os.mkfifo(tmp_path / "elsewhere" / "shift.gsb")
    return str(tmp_path / "elsewhere" / "shift.gsb")


def checked(made):
    """What ``check`` says: exit status and lines. Fails if it waits."""
    config = made.text(made.settings_text(), "land.toml")
    command = [sys.executable, "-m", "packpale.cli", "check", str(config)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=LONGEST_S, check=False)
    return done.returncode, done.stderr.splitlines()


def refused(made, beginning):
    status, lines = checked(made)
    assert (status, len(lines)) == (2, 1), lines
    assert lines[0].startswith(beginning), lines[0]
    assert "names a file" in lines[0]


PARSES = """
import json, sys
from packpale.faults import Faults
from packpale.site.crs import given_run_crs
for text in json.load(sys.stdin):
    try:
        given_run_crs(text)
    except Faults as faults:
        print(*faults.lines)
    else:
        print("taken")
"""


def test_settings(pipe):
    """All in one process, since starting it takes longer than what it does."""
    texts = [text.replace("PIPE", pipe) for text in (*WKT.values(), *PROJ.values(), BOUND_JSON)]
    done = subprocess.run(
        [sys.executable, "-c", PARSES],
        input=json.dumps(texts),
        capture_output=True,
        text=True,
        timeout=LONGEST_S,
        check=True,
    )
    lines = done.stdout.splitlines()
    assert len(lines) == len(texts) > 15
    for line in lines:
        assert line.startswith("crs: ")
        assert "names a file, which is not read; write an EPSG code" in line


@pytest.mark.parametrize("text", [BOUND, PROJ["grids"], PROJ["pipeline"]], ids=["WKT", "grids", "pipeline"])
def test_a_column_of_a_table(made, pipe, text):
    quoted = text.replace("PIPE", pipe).replace("\n", " ").replace('"', '""')
    made.pits(f'x,y,crs,clay_percent\n1,2,"{quoted}",20\n')
    refused(made, "pits.csv, row 2: ")


@pytest.mark.parametrize("text", ["PIPE", "PIPE:25832", "@PIPE", "file://PIPE", "EPSG:PIPE"])
def test_names_that_are_paths(made, pipe, text):
    made.settings["crs"] = text.replace("PIPE", pipe)
    status, lines = checked(made)
    assert (status, len(lines)) == (2, 1), lines
    assert "is no CRS" in lines[0]


ANY = {**WKT, **{k: PROJ[k] for k in ("grids", "geoid", "pipeline", "triangles", "register")}, "JSON": BOUND_JSON}


@pytest.mark.parametrize("text", ANY.values(), ids=ANY)
def test_what_stands_beside_a_raster(made, pipe, text):
    made.raster(crs=None)
    srs = escape(text.replace("PIPE", pipe))
    (made.folder / "own.tif.aux.xml").write_text(f"<PAMDataset><SRS>{srs}</SRS></PAMDataset>", encoding="utf-8")
    refused(made, "own.tif (own.tif.aux.xml): its coordinate reference system names a file ")


def test_letters_written_as_numbers(made, pipe):
    made.raster(crs=None)
    srs = escape(BOUND.replace("PIPE", pipe)).replace("PARAMETERFILE", "&#80;ARAMETERFILE")
    (made.folder / "own.tif.aux.xml").write_text(f"<PAMDataset><SRS>{srs}</SRS></PAMDataset>", encoding="utf-8")
    refused(made, "own.tif (own.tif.aux.xml): ")


@pytest.mark.parametrize("name", ["old and bound", "with a PROJ string", "bound"])
def test_the_prj_of_a_text_raster(made, pipe, name):
    head = "ncols 2\nnrows 2\nxllcorner 600000\nyllcorner 5600000\ncellsize 1\n1 2\n3 4\n"
    made.inputs["elevation"] = [made.text(head, "dem.asc")]
    made.text(WKT[name].replace("PIPE", pipe), "dem.prj")
    refused(made, "dem.asc (dem.prj): ")


@pytest.mark.parametrize("name", WKT)
def test_the_prj_of_a_shapefile(made, pipe, name):
    made.plots(("a", NORTH_PLOT), file="own.shp", driver="ESRI Shapefile", geometry="Polygon")
    made.text(WKT[name].replace("PIPE", pipe), "own.prj")
    refused(made, "own.shp (own.prj): ")


@pytest.mark.parametrize("text", WKT.values(), ids=WKT)
def test_a_geopackage(made, pipe, text):
    with closing(sqlite3.connect(made.inputs["plots"])) as base:
        base.execute(
            "update gpkg_spatial_ref_sys set definition = ?, organization = 'NONE', organization_coordsys_id = 1 "
            "where srs_id = 25832",
            (text.replace("PIPE", pipe),),
        )
        base.commit()
    refused(made, "plots.gpkg: ")


@pytest.mark.parametrize("text", ANY.values(), ids=ANY)
def test_a_geojson(made, pipe, text):
    # Letters may be written as numbers there.
    name = json.dumps(text.replace("PIPE", pipe)).replace("P", "\\u0050").replace("g", "\\u0067")
    path = write_vector(made.folder / "p.geojson", [({"name": "a"}, NORTH_PLOT)], driver="GeoJSON")
    content = path.read_text(encoding="utf-8").partition('"features"')
    crs = f'"crs": {{"type": "name", "properties": {{"name": {name}}}}}, '
    path.write_text(f'{{"type": "FeatureCollection", {crs}{content[1]}{content[2]}', encoding="utf-8")
    made.inputs["plots"] = path
    refused(made, "p.geojson: ")


def test_the_middle_of_a_large_geojson(made, pipe):
    name = json.dumps(PROJ["grids"].replace("PIPE", pipe))
    path = write_vector(made.folder / "p.geojson", [({"name": "a"}, NORTH_PLOT)], driver="GeoJSON")
    content = path.read_text(encoding="utf-8").partition('"features"')
    for letters in (2 * carried_crs.ENDS - 60, 1_000_000):
        crs = f'"a": "{"x" * letters}", "crs": {{"type": "name", "properties": {{"name": {name}}}}}, '
        more = f'"b": "{"x" * 1_000_000}", '
        path.write_text(f'{{"type": "FeatureCollection", {crs}{more}{content[1]}{content[2]}', encoding="utf-8")
        made.inputs["plots"] = path
        refused(made, "p.geojson: ")


def test_a_flatgeobuf(made, pipe):
    """The CRS in its head, changed in place."""
    wkt = OLD.format(datum="", whole="").replace('"c"', '"' + "c" * 300 + '"')
    path = write_vector(
        made.folder / "f.fgb", [({"name": "a"}, NORTH_PLOT)], crs=wkt, driver="FlatGeobuf", geometry="Polygon"
    )
    data = path.read_bytes()
    grid = f'"c",EXTENSION["PROJ4_GRIDS","{pipe}"]'
    place = data.index(b'"' + b"c" * 300)
    assert len(grid) < 300
    blanks = (grid + " " * (302 - len(grid))).encode()
    path.write_bytes(data[:place] + blanks + data[place + 302 :])
    made.inputs["plots"] = path
    refused(made, "f.fgb: ")


@pytest.mark.parametrize("name", VERTICAL)
def test_heights_bound_to_a_file_do_no_harm(made, pipe, name):
    made.raster(crs=None)
    srs = escape(VERTICAL[name].replace("PIPE", pipe))
    (made.folder / "own.tif.aux.xml").write_text(f"<PAMDataset><SRS>{srs}</SRS></PAMDataset>", encoding="utf-8")
    status, lines = checked(made)
    assert status == 0, lines


@pytest.mark.parametrize("name", VERTICAL)
def test_heights_bound_to_a_file_do_no_harm_in_the_settings(made, pipe, name):
    made.settings["crs"] = VERTICAL[name].replace("PIPE", pipe).replace("\n", " ")
    assert checked(made)[0] == 0


@pytest.mark.parametrize(
    "crs", ["EPSG:3857", "+proj=tmerc +lat_0=0 +lon_0=9 +k=1 +x_0=500000 +ellps=bessel +towgs84=598,73,418,0,0,0,7"]
)
def test_shifts_without_a_file_are_read(made, crs):
    """One with the grid that shifts nothing, as many files have it, and one with seven parameters."""
    made.raster(crs=None)
    wkt = pyproj.CRS(crs).to_wkt("WKT1_GDAL")
    assert ("@null" in wkt) or ("TOWGS84" in wkt)
    (made.folder / "own.tif.aux.xml").write_text(f"<PAMDataset><SRS>{escape(wkt)}</SRS></PAMDataset>", encoding="utf-8")
    status, lines = checked(made)
    assert not any("names a file" in line for line in lines), lines
    assert not any("no coordinate reference system" in line for line in lines), lines
    assert status in (0, 2)


def test_the_grid_that_shifts_nothing_is_no_file():
    assert not names_a_file("+proj=merc +a=6378137 +b=6378137 +nadgrids=@null +wktext +no_defs")
    assert not names_a_file('EXTENSION["PROJ4","+proj=merc +nadgrids=@null"]')
    assert not names_a_file("EPSG:25832")


@pytest.mark.parametrize("name", ["own.tif.aux.xml", "own.prj", "own.tfw"])
def test_a_file_beside_a_raster_that_is_itself_a_pipe(made, name):
    made.inputs["elevation"] = [write_raster(made.folder / "own.tif")]
    os.mkfifo(made.folder / name)
    status, lines = checked(made)
    assert (status, len(lines)) == (2, 1), lines
    assert f"{name}: is a device or pipe" in lines[0]


def test_a_damaged_crs_beside_a_raster(made):
    made.raster(crs=None)
    (made.folder / "own.tif.aux.xml").write_text("<PAMDataset><SRS>PROJCS[&quot;x</SRS></PAMDataset>", encoding="utf-8")
    status, lines = checked(made)
    assert (status, len(lines)) == (2, 1), lines
    assert lines[0].startswith("own.tif: has no coordinate reference system on the Earth")


def test_the_pipe_does_keep_its_readers_waiting(made, pipe):
    """Else the tests above would say nothing: what they refuse, the library opens."""
    made.plots(("a", NORTH_PLOT), file="own.shp", driver="ESRI Shapefile", geometry="Polygon")
    made.text(WKT["old and bound"].replace("PIPE", pipe), "own.prj")
    script = f"import fiona; fiona.open({str(made.folder / 'own.shp')!r}).crs_wkt"
    with pytest.raises(subprocess.TimeoutExpired):
        subprocess.run([sys.executable, "-c", script], timeout=6, check=False)
