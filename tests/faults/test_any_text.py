"""Whatever stands in a file, a reader gives values or faults of one printable line each; drawn by hypothesis.

`tests/benchmarks/fuzz_readers.py` does the same for hours, guided by what of the code each input reaches.
"""

import json
import math
from xml.sax.saxutils import escape

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from packpale.faults import LONGEST_LINE, Faults, Gathering, one_line
from packpale.settings import Project, RateSettings, read_settings
from packpale.site import crs as crs_
from packpale.site.first_look import look_at_plots
from packpale.site.plots import read_outlines, to_plots
from packpale.site.prices import with_prices
from packpale.site.raster_files import open_elevation
from packpale.site.soil import COLUMNS, read_pits, read_soil_areas

UTM = crs_.parse("EPSG:25832", "crs")
FEW = settings(
    max_examples=20,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    derandomize=True,
)

ODD = st.sampled_from(
    ["", "nan", "inf", "-0", "1e400", "1,5", "1.5", "=1+1", "a\nb", '"', "\0", "\x1b[2J", "\u202e", "٢"]
)
CELL = st.one_of(ODD, st.text(max_size=6), st.integers().map(str), st.floats().map(str))
NUMBER = st.one_of(
    st.floats(allow_nan=True), st.integers(-(10**25), 10**25), st.floats(10.4, 10.5), st.floats(50.5, 50.6)
)
VALUE = st.recursive(
    st.none() | st.booleans() | NUMBER | ODD, lambda v: st.lists(v, max_size=3) | st.dictionaries(ODD, v, max_size=2)
)


def faults_of(read):
    """The lines of what ``read`` raises or gathers, each checked to be one."""
    gathered = Gathering()
    try:
        read(gathered)
        lines = Faults(*gathered.lines).lines
    except Faults as faults:
        lines = faults.lines
    for line in lines:
        assert line.isprintable()
        assert 10 < len(line) < 10 * LONGEST_LINE
    return lines


@FEW
@given(table=st.lists(st.lists(CELL, min_size=1, max_size=4), max_size=4), comma=st.sampled_from(",;"))
def test_any_table_of_pits_is_read_or_refused(tmp_path, table, comma):
    file = tmp_path / "pits.csv"
    rows = [["x", "y", "depth_to_rock_m", "drainage_class"][: len(table[0])] if table else []]
    text = "\n".join(comma.join(row) for row in [*rows, *table])
    file.write_text(text, encoding="utf-8", errors="replace")
    pits = []
    faults_of(lambda faults: pits.extend(read_pits(file, UTM, UTM, faults, [])))
    for pit in pits:
        assert math.isfinite(pit.x + pit.y)
        assert set(pit.values) <= set(COLUMNS)


@FEW
@given(rings=st.lists(st.lists(st.lists(NUMBER, min_size=1, max_size=3), max_size=5), max_size=3), name=VALUE)
def test_any_polygon_is_a_plot_or_refused(tmp_path, rings, name):
    file = tmp_path / "p.geojson"
    geometry = {"type": "Polygon", "coordinates": rings}
    features = [{"type": "Feature", "properties": {"name": name, "clay_percent": name}, "geometry": geometry}]
    file.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    plots = []
    faults = faults_of(lambda f: plots.extend(to_plots(read_outlines(file, None, "name", UTM, f), UTM, f)))
    assert plots or faults
    for plot in plots:
        assert plot.outline.is_valid
        assert plot.outline.area >= 1
        assert plot.plot_id.isprintable()
    areas = []
    faults_of(lambda f: areas.extend(read_soil_areas(file, UTM, f, [])))
    assert all(0 <= a.values.get("clay_percent", 0) <= 100 for a in areas)


@FEW
@given(places=st.lists(st.tuples(CELL, CELL), max_size=5), name=st.text(max_size=5))
def test_any_track_or_ring_is_a_plot_or_refused(tmp_path, places, name):
    from xml.sax.saxutils import quoteattr

    points = "".join(f"<trkpt lat={quoteattr(y)} lon={quoteattr(x)}/>" for x, y in places)
    track = f"<trk><name>{escape(name)}</name><trkseg>{points}</trkseg></trk>"
    ring = " ".join(f"{x},{y}" for x, y in places)
    place = f"<Placemark><name>{escape(name)}</name><LinearRing><coordinates>{escape(ring)}</coordinates></LinearRing>"
    texts = {
        "w.gpx": f'<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">{track}</gpx>',
        "p.kml": f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{place}</Placemark></Document></kml>',
    }
    for (file, text), column in zip(texts.items(), ("name", "Name"), strict=True):
        (tmp_path / file).write_text(text, encoding="utf-8", errors="replace")
        plots = []

        def read(faults, file=file, column=column, plots=plots):
            plots.extend(to_plots(read_outlines(tmp_path / file, None, column, UTM, faults), UTM, faults))

        assert faults_of(read) or plots


WKT = st.one_of(
    CELL,
    st.sampled_from(
        ["POLYGON EMPTY", "SRID=4326;POLYGON ((10 50, 11 50, 11 51, 10 50))", "SRID=x;POINT (1 2)", "LINESTRING"]
    ),
    st.lists(st.tuples(CELL, CELL), max_size=5).map(lambda p: f"POLYGON (({', '.join(f'{x} {y}' for x, y in p)}))"),
)


@FEW
@given(outlines=st.lists(WKT, max_size=4), crs=st.sampled_from(["", "EPSG:4326", "EPSG:25832", "x"]))
def test_any_well_known_text_is_a_plot_or_refused(tmp_path, outlines, crs):
    lines = [text.replace("\n", " ") for text in outlines]
    (tmp_path / "p.wkt").write_text("\n".join(lines), encoding="utf-8", errors="replace")
    rows = "".join(f'{i},"{text.replace(chr(34), chr(39))}",{crs}\n' for i, text in enumerate(outlines))
    (tmp_path / "p.csv").write_text(f"name,wkt,crs\n{rows}", encoding="utf-8", errors="replace")
    for file, column in (("p.wkt", "number"), ("p.csv", "name")):
        plots, looks = [], []

        def read(faults, file=file, column=column, plots=plots):
            plots.extend(to_plots(read_outlines(tmp_path / file, None, column, UTM, faults), UTM, faults))

        assert faults_of(read) or plots or not outlines
        faults = faults_of(lambda _, file=file, looks=looks: looks.append(look_at_plots(tmp_path / file, None, None)))
        assert faults or looks


@FEW
@given(
    groups=st.lists(st.tuples(st.sampled_from(["0", "8", "10", "20", "70", "90", "1", "66", "42"]), CELL), max_size=30)
)
def test_any_drawing_is_plots_or_refused(tmp_path, groups):
    head, end = "0\nSECTION\n2\nENTITIES\n0\nLWPOLYLINE\n8\nP\n70\n1\n", "0\nENDSEC\n0\nEOF\n"
    body = "".join(f"{code}\n{value}\n" for code, value in groups)
    (tmp_path / "d.dxf").write_text(head + body + end, encoding="utf-8", errors="replace")
    plots, looks = [], []

    def read(faults):
        plots.extend(to_plots(read_outlines(tmp_path / "d.dxf", None, "number", UTM, faults), UTM, faults))

    assert faults_of(read) or plots
    assert faults_of(lambda _: looks.append(look_at_plots(tmp_path / "d.dxf", None, None))) or looks


@FEW
@given(
    cells=st.lists(st.tuples(st.sampled_from(["gate_each", "post_each", "x", ""]), CELL, CELL, CELL, CELL), max_size=4),
    units=st.sampled_from(["each", "m", ""]),
)
def test_any_table_of_prices_is_read_or_refused(tmp_path, cells, units):
    rows = "".join(f"{key},{low},{likely},{high},{units},EUR,{said},2026\n" for key, low, likely, high, said in cells)
    text = f"key,low,likely,high,unit,currency,source,date\n{rows}"
    (tmp_path / "prices.csv").write_text(text, encoding="utf-8", errors="replace")
    given = {"elevation": "e", "plots": "p", "plot_id": "n"}
    project = Project.model_validate({"inputs": given, "rates": {"file": str(tmp_path / "prices.csv")}})
    priced = []
    assert faults_of(lambda _: priced.append(with_prices(project))) or priced
    for one in priced:
        for key in RateSettings.model_fields:
            low, likely, high = getattr(one.rates, key)
            assert 0 <= low <= likely <= high < math.inf


TAGS = st.sampled_from(
    ["VRTDataset", "VRTRasterBand", "SimpleSource", "ComplexSource", "SourceFilename", "SrcRect", "LUT"]
)
TREE = st.recursive(
    st.tuples(TAGS, CELL).map(lambda t: f"<{t[0]}>{escape(t[1])}</{t[0]}>"),
    lambda inner: st.tuples(TAGS, st.lists(inner, max_size=3)).map(lambda t: f"<{t[0]}>{''.join(t[1])}</{t[0]}>"),
    max_leaves=8,
)


@FEW
@given(tree=TREE)
def test_any_virtual_raster_is_tiles_or_refused(tmp_path, tree):
    (tmp_path / "v.vrt").write_text(tree, encoding="utf-8", errors="replace")
    found = []
    assert faults_of(lambda faults: found.append(open_elevation([tmp_path / "v.vrt"], "m", faults))) or found[0]


SECTIONS = sorted(Project.model_fields)
KEYS = sorted({k for f in Project.model_fields.values() for k in getattr(f.annotation, "model_fields", {})})


@FEW
@given(
    data=st.dictionaries(st.sampled_from(SECTIONS), st.dictionaries(st.sampled_from(KEYS), VALUE, max_size=3) | VALUE)
)
def test_any_settings_are_read_or_refused(tmp_path, data):
    file = tmp_path / "land.toml"
    lines = ["", "[inputs]", 'elevation = "a.tif"', 'plots = "b.gpkg"', 'plot_id = "name"']
    for section, content in data.items():
        if isinstance(content, dict) and section != "inputs":
            lines += [f"[{section}]", *(f"{json.dumps(k)} = {toml(v)}" for k, v in content.items())]
        elif section != "inputs":
            lines.insert(0, f"{section} = {toml(content)}")
    file.write_text("\n".join(lines), encoding="utf-8", errors="replace")
    faults_of(lambda _: read_settings(file))


def toml(value):
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    if isinstance(value, float):
        return repr(value)
    return '""' if value is None else json.dumps(value)


@given(st.text())
def test_a_line_is_one_line_and_keeps_its_ends(text):
    line = one_line(text)
    assert line.isprintable()
    if text.isprintable() and len(text) <= LONGEST_LINE:
        assert line == text
    long = one_line(f"start {'x' * 10_000} end")
    assert long.startswith("start x")
    assert long.endswith("x end")
    assert len(long) <= LONGEST_LINE
