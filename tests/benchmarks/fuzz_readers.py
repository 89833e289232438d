"""Coverage-guided fuzzing of the readers: whatever the bytes, a reader gives values or one line for each fault.

    pip install -e ".[fuzz]"
    nice -n 15 python tests/benchmarks/fuzz_readers.py all 10      10 minutes of processor time over every reader
    nice -n 15 python tests/benchmarks/fuzz_readers.py settings -max_total_time=120

The readers: settings, raster, grid (a raster as text), pits, corners, geojson, geopackage, flatgeobuf, kml, gpx, soil,
standing, lines.

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

import atheris
import fiona
import numpy as np
import rasterio
from affine import Affine
from shapely.geometry import MultiPolygon, box, mapping

with atheris.instrument_imports(
    include=["packpale.site", "packpale.settings", "packpale.faults", "tomllib", "csv"],
):
    from packpale.faults import Faults, Gathering
    from packpale.settings import read_settings
    from packpale.site import crs as crs_
    from packpale.site.coverage import blank_implausible, check_cells, check_windows
    from packpale.site.elevations import read_elevation
    from packpale.site.grid import Grid
    from packpale.site.lines import read_fence_lines
    from packpale.site.model import Plot
    from packpale.site.plots import read_outlines, to_plots
    from packpale.site.raster_files import open_elevation
    from packpale.site.rasters import cell_size
    from packpale.site.soil import read_pits, read_soil_areas
    from packpale.site.standing import read_standing

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


def drawn(driver: str, name: str) -> list[bytes]:
    """A file of one plot in the format of a driver."""
    path = FOLDER / name
    schema = {"geometry": "Polygon", "properties": {"name": "str"}}
    with fiona.open(path, "w", driver=driver, crs="EPSG:25832", schema=schema, layer="seed") as out:
        out.write({"geometry": mapping(PLOT), "properties": {"name": "a"}})
    found = path.read_bytes()
    path.unlink()
    return [found]


SEEDS = {
    "settings": [
        b'crs = "EPSG:25832"\n[inputs]\nelevation = "a.tif"\nplots = "b.gpkg"\nplot_id = "name"\n[land]\n'
        b'margin_m = 10\nkeep_away_m = {dwellings = 5}\n[rates]\n[enclosure]\narea_ha = "largest"\ntaper = [0.5, 0.9]\n'
    ],
    "pits": [
        b"x,y,crs,depth_to_rock_m,drainage_class\n600000,5600000,EPSG:25832,1.5,well\n",
        b"lon;lat;clay_percent\n10,4;50,5;20\n",
    ],
    "corners": [b'name,x,y\na,600000,5600000\na,600090,5600000\n"a",600090,5600090\n'],
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
}
SUFFIX = {
    "settings": "toml",
    "pits": "csv",
    "corners": "csv",
    "soil": "geojson",
    "standing": "geojson",
    "lines": "geojson",
    "raster": "tif",
    "grid": "asc",
    "geopackage": "gpkg",
    "flatgeobuf": "fgb",
}


def outlines(file: Path, column: str) -> Gathering:
    faults = Gathering()
    to_plots(read_outlines(file, None, column, UTM, faults), UTM, faults)
    return faults


def pits(file: Path) -> Gathering:
    faults = Gathering()
    read_pits(file, UTM, UTM, faults, [])
    return faults


def soil(file: Path) -> Gathering:
    faults = Gathering()
    read_soil_areas(file, UTM, faults, [])
    return faults


def raster(file: Path) -> Gathering:
    faults = Gathering()
    elevation = open_elevation([file], "m", faults)
    if elevation is None:
        return faults
    with faults.gather():
        cell = cell_size(elevation, UTM, 1.0, (WEST + 10, NORTH - 10), [])
        plots = check_windows(elevation, UTM, [("a", PLOT)], cell=cell, margin=5.0, faults=faults)
        check_cells(elevation, UTM, plots, cell=cell, faults=faults)
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
    "soil": soil,
    "standing": standing,
    "lines": lines,
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
    if kind == "grid":
        file.with_suffix(".prj").write_text(UTM.to_wkt("WKT1_ESRI"), encoding="utf-8")
    until = float(os.environ.get("PACKPALE_FUZZ_S", "inf"))
    inputs = 0

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
