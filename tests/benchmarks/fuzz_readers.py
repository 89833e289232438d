"""Coverage-guided fuzzing of the readers: whatever the bytes, a reader gives values or one line for each fault.

    pip install -e ".[fuzz]"
    export PYTHONPATH=tests
    nice -n 15 python tests/benchmarks/fuzz_readers.py all 10      10 minutes of processor time over every reader
    nice -n 15 python tests/benchmarks/fuzz_readers.py settings -max_total_time=120

The readers: settings, raster, grid (a raster as text), vrt, las, laz, pits, corners, text (outlines in a table), wkt,
geojson, topojson, geopackage, flatgeobuf, shapefile, dbf, mapinfo, dxf, kml, gpx, soil, soil_columns, culverts,
standing, lines, prices. Those of plots take a first look at the file, as `packpale start` does, and read it.

What is found becomes a case in `tests/faults/test_hostile.py`. A reader fails here when it raises anything but Faults,
when a fault is not one printable line, or when it takes longer than libFuzzer's -timeout. Libraries in C are not
instrumented: what their formats hold is changed without looking where that leads.
"""

import atexit
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
import warnings
from pathlib import Path
from typing import Any

import atheris
import fiona
import laspy
import numpy as np
import rasterio
from affine import Affine
from shapely.geometry import MultiPolygon, box, mapping

with atheris.instrument_imports(
    include=["packpale.site", "packpale.settings", "packpale.faults", "tomllib", "csv"],
):
    from packpale.faults import Faults, Gathering
    from packpale.settings import Project, read_settings
    from packpale.settings.columns import TheirColumn
    from packpale.site import crs as crs_
    from packpale.site import ground_points
    from packpale.site.coverage import blank_implausible, check_cells, check_windows
    from packpale.site.elevations import read_elevation
    from packpale.site.first_look import look_at_plots, look_at_soil
    from packpale.site.grid import Grid
    from packpale.site.lines import read_fence_lines
    from packpale.site.model import Plot
    from packpale.site.outlines import NUMBER
    from packpale.site.plots import read_outlines, to_plots
    from packpale.site.prices import with_prices
    from packpale.site.raster_files import open_elevation, stated_unit
    from packpale.site.rasters import cell_size
    from packpale.site.soil import read_pits, read_soil_areas
    from packpale.site.standing import read_standing
    from packpale.site.vectors import read_surroundings

from made_drawings import drawing, old_polyline, polyline, text

UTM = crs_.parse("EPSG:25832", "crs")
WEST, NORTH = 600_000.0, 5_600_000.0
PLOT = box(WEST + 2, NORTH - 18, WEST + 18, NORTH - 2)
FOLDER = Path(tempfile.mkdtemp(prefix="fuzz-"))
atexit.register(shutil.rmtree, FOLDER, ignore_errors=True)


def rasters() -> list[bytes]:
    """Small GeoTIFFs: in strips, in packed tiles, in degrees with a nodata value."""
    values = np.arange(400, dtype="float32").reshape(20, 20)
    placed = Affine(1, 0, WEST, 0, -1, NORTH)
    out = []
    for more in (
        {"crs": "EPSG:25832", "transform": placed},
        {
            "crs": "EPSG:25832",
            "transform": placed,
            "tiled": True,
            "blockxsize": 16,
            "blockysize": 16,
            "compress": "lzw",
        },
        {"crs": "EPSG:4326", "transform": Affine(1e-5, 0, 10.4115, 0, -1e-5, 50.5413), "nodata": 7},
    ):
        with rasterio.MemoryFile() as memory:
            shape = {"width": 20, "height": 20, "count": 1, "dtype": "float32"}
            with memory.open(driver="GTiff", **shape, **more) as raster:
                raster.write(values, 1)
            out.append(memory.read())
    return out


def drawn(driver: str, name: str, *, others: bool = False) -> list[bytes]:
    """A file of one plot in the format of a driver; with ``others``, those beside it stay, named as the input is."""
    path = FOLDER / name
    schema = {"geometry": "Polygon", "properties": {"name": "str"}}
    with fiona.open(path, "w", driver=driver, crs="EPSG:25832", schema=schema, layer=path.stem) as out:
        out.write({"geometry": mapping(PLOT), "properties": {"name": "a"}})
    found = path.read_bytes()
    path.unlink()
    for part in FOLDER.glob(f"{path.stem}.*"):
        if others:
            part.rename(FOLDER / f"input{part.suffix}")
        else:
            part.unlink()
    return [found]


def shapefile() -> list[bytes]:
    """The places of a shapefile; its other files stay."""
    return drawn("ESRI Shapefile", "seed.shp", others=True)


def table_of_shapefile() -> list[bytes]:
    """The table of a shapefile; its other files stay."""
    (FOLDER / "input.shp").write_bytes(shapefile()[0])
    return [(FOLDER / "input.dbf").read_bytes()]


def virtual_rasters() -> list[bytes]:
    """Virtual rasters over a tile that lies beside them."""
    (FOLDER / "tile.tif").write_bytes(rasters()[0])
    (FOLDER / "empty.tif").write_bytes(b"")
    grid = f"<SRS>{UTM.to_wkt()}</SRS><GeoTransform>{WEST}, 1, 0, {NORTH}, 0, -1</GeoTransform>".replace('"', "&quot;")
    piece = '<SrcRect xOff="0" yOff="0" xSize="20" ySize="20"/><DstRect xOff="0" yOff="0" xSize="20" ySize="20"/>'
    source = f'<SourceFilename relativeToVRT="1">tile.tif</SourceFilename><SourceBand>1</SourceBand>{piece}'
    return [
        f'<VRTDataset rasterXSize="20" rasterYSize="20">{grid}<VRTRasterBand dataType="Float32" band="1">'
        f"<{kind}>{source}</{kind}>{more}</VRTRasterBand></VRTDataset>".encode()
        for kind, more in (("SimpleSource", ""), ("ComplexSource", f"<SimpleSource>{source}</SimpleSource>"))
    ]


def clouds(suffix: str) -> list[bytes]:
    """A few points of ground, water and trees, with a CRS and without."""
    rng = np.random.default_rng(1)
    out = []
    for coordinates, point_format in ((True, 6), (False, 1)):
        header = laspy.LasHeader(point_format=point_format, version="1.4" if coordinates else "1.2")
        header.scales, header.offsets = [0.001] * 3, [WEST, NORTH, 300]
        if coordinates:
            header.add_crs(UTM)
        cloud = laspy.LasData(header)
        cloud.x, cloud.y, cloud.z = WEST + rng.uniform(0, 20, 40), NORTH - rng.uniform(0, 20, 40), np.full(40, 310.0)
        cloud.classification = rng.choice([2, 2, 9, 5], 40)
        path = FOLDER / f"seed{suffix}"
        cloud.write(path)
        out.append(path.read_bytes())
        path.unlink()
    return out


def drawings() -> list[bytes]:
    """Closed lines of both kinds, filled areas, texts, a block."""
    ring = list(PLOT.exterior.coords)[:-1]
    more = polyline("HOUSES", [(x + 30, y) for x, y in ring])
    return [
        drawing(polyline("PLOTS", ring), text(WEST + 9, NORTH - 9, "north"), more).encode(),
        drawing(old_polyline("PLOTS", ring), text(WEST + 9, NORTH - 9, "n"), text(WEST + 8, NORTH - 8, "m")).encode(),
    ]


SEEDS = {
    "settings": [
        b'crs = "EPSG:25832"\n[inputs]\nelevation = "a.tif"\nplots = "b.gpkg"\nplot_id = "name"\n[land]\n'
        b'margin_m = 10\nkeep_away_m = {dwellings = 5}\n[rates]\n[enclosure]\narea_ha = "largest"\ntaper = [0.5, 0.9]\n'
    ],
    "pits": [
        b"x,y,crs,depth_to_rock_m,drainage_class\n600000,5600000,EPSG:25832,1.5,well\n",
        b"lon;lat;clay_percent\n10,4;50,5;20\n",
    ],
    "corners": [
        b'name,x,y\na,600000,5600000\na,600090,5600000\n"a",600090,5600090\n',
        b"name;lon;lat\na;10,41;50,54\na;10,42;50,54\na;10,42;50,55\n",
    ],
    "text": [
        b'wkt,name,crs\n"POLYGON ((600000 5600000, 600090 5600000, 600090 5600090, 600000 5600000))",a,EPSG:25832\n',
        b'name,geom\na,"SRID=4326;MULTIPOLYGON (((10.41 50.54, 10.42 50.54, 10.42 50.55, 10.41 50.54)))"\n',
    ],
    "wkt": [
        b"POLYGON ((600000 5600000, 600090 5600000, 600090 5600090, 600000 5600000))\n",
        b"SRID=4326;POLYGON Z ((10.41 50.54 1, 10.42 50.54 1, 10.42 50.55 1, 10.41 50.54 1))\n",
    ],
    "prices": [
        b"key,low,likely,high,unit,currency,source,date\n"
        b"erect_fence_per_m,20,30,40,m,EUR,Acme,2026-03\ngate_each,,9,,each,EUR,b,2026\n",
        b"key;what;low;likely;high;unit;currency;source;date\nexcavate_rock_per_m3;;1,5;2;3;yd3;EUR;c;2026-03-01\n",
    ],
    "topojson": [
        b'{"type":"Topology","arcs":[[[10.41,50.54],[10.42,50.54],[10.42,50.55],[10.41,50.54]]],"objects":{"a":{"type":'
        b'"GeometryCollection","geometries":[{"type":"Polygon","arcs":[[0]],"properties":{"name":"a"}}]}}}'
    ],
    "mapinfo": [
        b'Version 300\nCharset "Neutral"\nDelimiter ","\n'
        b'CoordSys Earth Projection 8, 115, "m", 9, 0, 0.9996, 500000, 0\n'
        b"Columns 1\n  name Char(20)\nData\n\nRegion 1\n  4\n600002 5599982\n600018 5599982\n600018 5599998\n"
        b"600002 5599982\n    Pen (1,2,0)\n"
    ],
    "soil_columns": [
        b'{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"ROCK":120,"TEX":"sandy loam",'
        b'"drainagecl":"Well drained","wtdepannmin":80,"STONES":0.2},"geometry":{"type":"Polygon","coordinates":'
        b"[[[10.41,50.54],[10.42,50.54],[10.42,50.55],[10.41,50.54]]]}}]}"
    ],
    "culverts": [
        b'{"type":"FeatureCollection","features":[{"type":"Feature","properties":{},"geometry":{"type":"LineString",'
        b'"coordinates":[[10.41,50.54],[10.4101,50.5401]]}},{"type":"Feature","properties":{},"geometry":{"type":'
        b'"GeometryCollection","geometries":[{"type":"Point","coordinates":[10.41,50.54,3]}]}}]}'
    ],
    "geojson": [
        b'{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"name":"a"},"geometry":{"type":"Polygon",'
        b'"coordinates":[[[10.41,50.54],[10.42,50.54],[10.42,50.55],[10.41,50.54]]]}}]}'
    ],
    "grid": [
        b"ncols 4\nnrows 3\nxllcorner 600000\nyllcorner 5599980\ncellsize 5\nNODATA_value -9\n"
        b"1 2 3 4\n5 6 7 8\n9 1 -9 3\n"
    ],
    "standing": [
        b'{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"height_m":20,"kind":"oak"},'
        b'"geometry":{"type":"Point","coordinates":[10.41,50.54]}}]}'
    ],
    "lines": [
        b'{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"EPSG:25832"}},"features":[{"type":'
        b'"Feature","properties":{"name":"a"},"geometry":{"type":"LineString","coordinates":[[600003,5599990],'
        b"[600010,5599996],[600016,5599990],[600010,5599984],[600003,5599990]]}}]}"
    ],
    "soil": [
        b'{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"clay_percent":20,"drainage_class":"well"},'
        b'"geometry":{"type":"Polygon","coordinates":[[[10.41,50.54],[10.42,50.54],[10.42,50.55],[10.41,50.54]]]}}]}'
    ],
    "kml": [
        b'<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>a</name><Polygon>'
        b"<outerBoundaryIs><LinearRing><coordinates>10.41,50.54 10.42,50.54 10.42,50.55 10.41,50.54</coordinates>"
        b"</LinearRing></outerBoundaryIs></Polygon></Placemark></Document></kml>"
    ],
    "gpx": [
        b'<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><name>a</name>'
        b'<trkseg><trkpt lat="50.54" lon="10.41"/><trkpt lat="50.54" lon="10.42"/><trkpt lat="50.55" lon="10.42"/>'
        b"</trkseg></trk></gpx>"
    ],
}
MADE = {
    "raster": rasters,
    "geopackage": lambda: drawn("GPKG", "seed.gpkg"),
    "flatgeobuf": lambda: drawn("FlatGeobuf", "seed.fgb"),
    "shapefile": shapefile,
    "dbf": table_of_shapefile,
    "vrt": virtual_rasters,
    "las": lambda: clouds(".las"),
    "laz": lambda: clouds(".laz"),
    "dxf": drawings,
}
BESIDE = {"mapinfo": {"input.mid": '"a"\n'}, "grid": {"input.prj": UTM.to_wkt("WKT1_ESRI")}}
"""Files that lie beside the input."""
SUFFIX = {
    "settings": "toml",
    "pits": "csv",
    "corners": "csv",
    "text": "csv",
    "prices": "csv",
    "shapefile": "shp",
    "mapinfo": "mif",
    "soil": "geojson",
    "soil_columns": "geojson",
    "culverts": "geojson",
    "standing": "geojson",
    "lines": "geojson",
    "raster": "tif",
    "grid": "asc",
    "geopackage": "gpkg",
    "flatgeobuf": "fgb",
}


def outlines(file: Path, column: str) -> Gathering:
    faults = Gathering()
    shown = file.with_suffix(".shp") if file.suffix == ".dbf" else file
    with faults.gather():
        look_at_plots(shown, None, None)
    to_plots(read_outlines(shown, None, column, UTM, faults), UTM, faults)
    return faults


def pits(file: Path) -> Gathering:
    faults = Gathering()
    read_pits(file, UTM, UTM, faults, [])
    return faults


def soil(file: Path) -> Gathering:
    faults = Gathering()
    read_soil_areas(file, UTM, faults, [])
    return faults


def soil_columns(file: Path) -> Gathering:
    faults = Gathering()
    with faults.gather():
        theirs = {
            "depth_to_rock_m": TheirColumn(column="ROCK", unit="cm"),
            "stones_percent": TheirColumn(column="STONES", unit="fraction"),
        }
        read_soil_areas(file, UTM, faults, [], look_at_soil(file) | theirs)
    return faults


def culverts(file: Path) -> Gathering:
    faults = Gathering()
    read_surroundings(file, UTM, faults, [])
    return faults


def prices(file: Path) -> Gathering:
    faults = Gathering()
    given = {"inputs": {"elevation": "a.tif", "plots": "b.gpkg", "plot_id": "name"}, "rates": {"file": file}}
    with faults.gather():
        with_prices(Project.model_validate(given))
    return faults


def cloud(file: Path) -> Gathering:
    faults = Gathering()
    # A grid as large as allowed takes a minute.
    ground_points.MOST_CELLS = 1_000_000
    with faults.gather():
        ground_points.ground_from_points([file], 5.0, UTM)
    return faults


def raster(file: Path) -> Gathering:
    faults = Gathering()
    if file.suffix != ".vrt":
        with faults.gather():
            stated_unit(file)
    elevation = open_elevation([file], "m", faults)
    if elevation is None:
        return faults
    with faults.gather():
        cell = cell_size(elevation, UTM, 1.0, (WEST + 10, NORTH - 10), [])
        plots = check_windows(elevation, UTM, [("a", PLOT)], cell=cell, margin=5.0, faults=faults)
        check_cells(elevation, UTM, plots, cell=cell, faults=faults, notes=[])
        blank_implausible(read_elevation(elevation, UTM, Grid(WEST - 5, NORTH + 5, 1.0, 30, 30)))
    return faults


def standing(file: Path) -> Gathering:
    faults = Gathering()
    read_standing(file, UTM, faults, [])
    return faults


def lines(file: Path) -> Gathering:
    faults = Gathering()
    read_fence_lines(
        file, None, crs=UTM, plots=[Plot("a", MultiPolygon([PLOT]), ())], plot_id="name", packs=1, faults=faults
    )
    return faults


READERS = {
    "settings": lambda file: read_settings(file) and Gathering(),
    "raster": raster,
    "grid": raster,
    "pits": pits,
    "corners": lambda file: outlines(file, "name"),
    "geojson": lambda file: outlines(file, "name"),
    "geopackage": lambda file: outlines(file, "name"),
    "flatgeobuf": lambda file: outlines(file, "name"),
    "text": lambda file: outlines(file, "name"),
    "wkt": lambda file: outlines(file, NUMBER),
    "topojson": lambda file: outlines(file, "name"),
    "shapefile": lambda file: outlines(file, "name"),
    "dbf": lambda file: outlines(file, "name"),
    "mapinfo": lambda file: outlines(file, "name"),
    "dxf": lambda file: outlines(file, "Text"),
    "vrt": raster,
    "las": cloud,
    "laz": cloud,
    "soil": soil,
    "soil_columns": soil_columns,
    "culverts": culverts,
    "standing": standing,
    "lines": lines,
    "prices": prices,
    "kml": lambda file: outlines(file, "Name"),
    "gpx": lambda file: outlines(file, "name"),
}


def all_readers(minutes: float) -> None:
    """Every reader in a process of its own, each for the same part of that processor time."""
    failed = []
    for kind in READERS:
        done = subprocess.run(
            [sys.executable, __file__, kind, "-timeout=60", "-rss_limit_mb=4096", "-print_final_stats=1"],
            env={**os.environ, "PACKPALE_FUZZ_S": str(60 * minutes / len(READERS))},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",
            check=False,
        )
        print(done.stdout[-3000:] if done.returncode else done.stdout.splitlines()[-1], flush=True)  # noqa: T201
        failed += [kind] * (done.returncode != 0)
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    print(f"{used.ru_utime + used.ru_stime:.0f} s of processor time; failed: {failed or 'none'}")  # noqa: T201
    sys.exit(bool(failed))


def main() -> None:
    """Fuzz the reader that the first argument names; the others go to libFuzzer."""
    kind = sys.argv.pop(1)
    if kind == "all":
        all_readers(float(sys.argv[1]))
    reader = READERS[kind]
    file = FOLDER / f"input.{SUFFIX.get(kind, kind)}"
    corpus = FOLDER / "corpus"
    corpus.mkdir()
    seeds = MADE[kind]() if kind in MADE else SEEDS[kind]
    for n, seed in enumerate(seeds):
        (corpus / str(n)).write_bytes(seed)
    for beside, text_beside in BESIDE.get(kind, {}).items():
        (FOLDER / beside).write_text(text_beside, encoding="utf-8")
    until = float(os.environ.get("PACKPALE_FUZZ_S", "inf"))
    inputs, behind = 0, list[Any]()
    sys.unraisablehook = behind.append

    def once(data: bytes) -> None:
        nonlocal inputs
        # A new file each time: a raster may still be open.
        file.unlink(missing_ok=True)
        file.write_bytes(data)
        lines: tuple[str, ...] | list[str]
        try:
            lines = Faults(*reader(file).lines).lines
        except Faults as faults:
            lines = faults.lines
        if behind:
            raise AssertionError(f"an error that nobody could catch went to stderr: {behind[0].exc_value!r}")
        if not all(line.isprintable() for line in lines):
            raise AssertionError(f"a fault of more than one printable line: {lines}")
        inputs += 1
        if (used := time.process_time()) > until:
            print(f"{kind}: {inputs} inputs in {used:.0f} s of processor time, nothing found", flush=True)  # noqa: T201
            shutil.rmtree(FOLDER, ignore_errors=True)
            # libFuzzer knows no limit of processor time.
            os._exit(0)

    warnings.simplefilter("error")
    # Inputs that fail are written to where we are.
    for seed in seeds:
        # Libraries are loaded on first use, which would count as the time of an input.
        once(seed)
    atheris.Setup([sys.argv[0], *sys.argv[1:], str(corpus)], once)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
