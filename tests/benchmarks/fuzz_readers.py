"""Coverage-guided fuzzing of the readers: whatever the bytes, a reader gives values or one line for each fault.

    pip install -e ".[fuzz]"
    nice -n 15 python tests/benchmarks/fuzz_readers.py settings -max_total_time=120
    nice -n 15 python tests/benchmarks/fuzz_readers.py pits -max_total_time=120

The readers: settings, pits, corners, geojson, kml, gpx, soil.

What is found becomes a case in `tests/faults/test_hostile.py`. A reader fails here when it raises anything but Faults,
when a fault is not one printable line, or when it takes longer than libFuzzer's -timeout.
"""

import atexit
import shutil
import sys
import tempfile
import warnings
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["packpale.site", "packpale.settings", "packpale.faults", "tomllib", "csv"]):
    from packpale.faults import Faults, Gathering
    from packpale.settings import read_settings
    from packpale.site import crs as crs_
    from packpale.site.plots import read_outlines, to_plots
    from packpale.site.soil import read_pits, read_soil_areas

UTM = crs_.parse("EPSG:25832", "crs")
FOLDER = Path(tempfile.mkdtemp(prefix="fuzz-"))
atexit.register(shutil.rmtree, FOLDER, ignore_errors=True)
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
SUFFIX = {"settings": "toml", "pits": "csv", "corners": "csv", "soil": "geojson"}


def outlines(file: Path, column: str) -> Gathering:
    faults = Gathering()
    to_plots(read_outlines(file, None, column, UTM, faults), UTM, faults)
    return faults


def pits(file: Path) -> Gathering:
    faults = Gathering()
    read_pits(file, UTM, UTM, faults)
    return faults


def soil(file: Path) -> Gathering:
    faults = Gathering()
    read_soil_areas(file, UTM, faults, [])
    return faults


READERS = {
    "settings": lambda file: read_settings(file) and Gathering(),
    "pits": pits,
    "corners": lambda file: outlines(file, "name"),
    "geojson": lambda file: outlines(file, "name"),
    "soil": soil,
    "kml": lambda file: outlines(file, "Name"),
    "gpx": lambda file: outlines(file, "name"),
}


def main() -> None:
    """Fuzz the reader that the first argument names; the others go to libFuzzer."""
    kind = sys.argv.pop(1)
    reader = READERS[kind]
    file = FOLDER / f"input.{SUFFIX.get(kind, kind)}"
    corpus = FOLDER / "corpus"
    corpus.mkdir()
    for n, seed in enumerate(SEEDS[kind]):
        (corpus / str(n)).write_bytes(seed)

    def once(data: bytes) -> None:
        file.write_bytes(data)
        lines: tuple[str, ...] | list[str]
        try:
            lines = Faults(reader(file).lines).lines
        except Faults as faults:
            lines = faults.lines
        if not all(line.isprintable() for line in lines):
            raise AssertionError(f"a fault of more than one printable line: {lines}")

    warnings.simplefilter("error")
    # Inputs that fail are written to where we are.
    for seed in SEEDS[kind]:
        # Libraries are loaded on first use, which would count as the time of an input.
        once(seed)
    atheris.Setup([sys.argv[0], *sys.argv[1:], str(corpus)], once)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
