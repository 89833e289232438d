"""Whether the fence holds: each figure is that of other files, each place lies on the line, each source is there."""

import csv
import dataclasses
import io
import math
import re

import fiona
import numpy as np
import pytest
import shapely
from defusedxml.ElementTree import parse

from packpale.earthworks.model import Stretch
from packpale.review.drawings.holds_sheet import DASHES, SHAPES
from packpale.review.report.holds import holds_section, ring_words, ways_out
from packpale.review.subjects.holds import LETTERS, places
from packpale.review.words import Wording, plain
from packpale.values.table import rows_of
from review import factory, html_pages

SVG = "{http://www.w3.org/2000/svg}"
METRIC = Wording(imperial=False, currency="EUR")


def read(path):
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))


@pytest.fixture(scope="module")
def table(run):
    return read(run.folder / "plots/plot-0/holds.csv")


def row(table, measure):
    (found,) = [r for r in table if r["measure"].startswith(measure)]
    return found


def layer(run, name):
    with fiona.open(run.folder / "packpale.gpkg", layer=name) as file:
        return [r.properties for r in file if r.properties["plot_id"] == run.plots[0].site.plot_id]


def test_way_under_is_that_of_the_stations_and_of_the_ranking(run, table):
    stations = layer(run, "stations")
    least = min(stations, key=lambda s: s["tunnel_m"])
    way = row(table, "shortest way under the mesh")
    assert float(way["value"]) == pytest.approx(least["tunnel_m"], abs=1e-4)
    assert float(way["chainage_m"]) == pytest.approx(least["chainage_m"], abs=1e-3)
    rate = row(table, "digging rate")
    (ranked, _, _) = read(run.folder / "ranking.csv")
    assert float(rate["value"]) == pytest.approx(float(ranked["escape_dig_rate_m_per_h"]), abs=6e-4)
    # A rate is a way over the hours that nobody looks.
    unwatched = row(table, "longest time that nobody looks")
    assert float(rate["value"]) * float(unwatched["value"]) == pytest.approx(float(way["value"]), abs=2e-3)


def test_height_is_that_of_the_stations(run, table):
    least = min(layer(run, "stations"), key=lambda s: s["height_inside_m"])
    way = row(table, "height over the ground inside")
    assert float(way["value"]) == pytest.approx(least["height_inside_m"], abs=1e-4)
    assert float(way["chainage_m"]) == pytest.approx(least["chainage_m"], abs=1e-3)


def test_water_is_that_of_the_crossings_and_of_the_stations(run, table):
    crossings = layer(run, "crossings")
    largest = max((c for c in crossings if c["contributing_area_m2"]), key=lambda c: c["contributing_area_m2"])
    way = row(table, "ground that drains")
    assert float(way["value"]) == pytest.approx(largest["contributing_area_m2"], abs=1e-3)
    assert float(way["chainage_m"]) == pytest.approx(largest["chainage_m"], abs=1e-3)
    assert int(float(row(table, "places where water crosses")["value"])) == len(crossings)
    deepest = max(s["depth_m"] - s["water_depth_m"] for s in layer(run, "stations"))
    assert float(row(table, "highest water table")["value"]) == pytest.approx(max(deepest, 0), abs=1e-4)


def test_round_and_gates_are_those_of_their_layers(run, table):
    checks = layer(run, "patrol_checks")
    way = row(table, "longest walk between two places")
    last = run.plots[0].care.rounds[0].last_leg
    assert float(way["value"]) == pytest.approx(max(*(c["leg_m"] for c in checks), last), abs=1e-3)
    assert row(table, "gates, of")["measure"].startswith(f"gates, of {len(layer(run, 'gates'))},")
    assert float(row(table, "gates, of")["value"]) == 0
    single = factory.project(fence={"airlock_length_m": 0.0})
    plot = factory.result(settings=single)
    (way,) = [w for w in ways_out(factory.source(plot, single)) if w.measure.startswith("gates, of")]
    assert (way.value, way.chainage) == (2, plot.enclosure.packs[0].gates.chainage[0])


def test_every_place_lies_on_the_line(run, table):
    line = run.plots[0].enclosure.packs[0].line
    stated = [float(r["chainage_m"]) for r in table if r["chainage_m"]]
    found = places(run.plots[0], run.settings, run.plots[0].enclosure.packs[0])
    assert len(stated) >= 6
    assert {p.letter for p in found} >= set("GUOWLP")
    assert all(0 <= c < line.perimeter for c in [*stated, *(p.chainage for p in found)])
    assert all(0 <= p.length <= line.perimeter + 1e-6 for p in found)
    for letter in LETTERS:
        of_it = [p for p in found if p.letter == letter]
        assert [p.number for p in of_it] == list(range(1, len(of_it) + 1))
    for letter in "UO":
        figures = [p.figure.value for p in found if p.letter == letter]
        assert figures == sorted(figures)


def test_what_is_published_stands_in_the_values_with_its_source(table):
    of_source = {}
    for rule in rows_of("guidance.csv"):
        if rule["source"]:
            of_source.setdefault(rule["source"], []).append(rule)
    told = [r for r in table if r["source"]]
    assert {r["way"] for r in told} == {"under", "over", "through", "gate", "unwatched"}
    for one in told:
        assert one["published"]
        told_sources = [s for s in of_source if f"{s} (" in one["source"]]
        # Each with its edition, and whether it was read second-hand.
        for source in told_sources:
            assert f"{source} ({of_source[source][0]['edition']}" in one["source"]
        assert one["source"].count("; ") == len(told_sources) - 1 + one["source"].count("; read second-hand")
    # As the sources print them.
    assert "2.87 mm" in row(table, "wire of the mesh")["published"]
    assert "3.8 mm" in row(table, "wire of the mesh")["published"]
    assert "at least 50 cm" in row(table, "depth of the skirt")["published"]
    assert "3 ft" in row(table, "overhang")["published"]
    assert "maintained daily" in row(table, "longest time")["published"]
    assert not [r for r in table if bool(r["source"]) != bool(r["published"])]


def test_what_nobody_looked_at_has_no_figure(table):
    blank = {"not checked", "not set"}
    for one in table:
        assert (one["value"] == "") == (one["checked"] in blank), one
    ways = {way: {r["checked"] for r in table if r["way"] == way} for way in {r["way"] for r in table}}
    assert ways["fire"] == ways["power"] == {"not checked"}
    assert list(dict.fromkeys(r["way"] for r in table)) == [
        "under", "over", "through", "gate", "water", "unwatched", "fire", "power"
    ]  # fmt: skip


def test_a_rule_is_judged_by_the_lowest_place():
    # 2.5 m and 1.0 m of overhang at 45 degrees meet Victoria's second way, whose height is 2.0 m.
    low = factory.project(fence={"height_m": 2.3, "overhang_m": 1.0})
    plot = factory.result(settings=low)
    assert plot.care.climbs[0].least < 2.0 - 0.005
    (way,) = [w for w in ways_out(factory.source(plot, low)) if w.measure.startswith("height over the ground")]
    assert "45° (falls short), for dingos" in way.beside.text
    assert "bavaria" not in way.beside.text.lower()


def test_the_mesh_as_set(fitting):
    project = factory.project(mesh={"wire_mm": 3.8, "opening_mm": 45.0})
    ways = {w.measure: w for w in ways_out(factory.source(fitting, project))}
    wire = ways["wire of the mesh"]
    assert (wire.value, wire.unit, wire.checked) == (pytest.approx(3.8), "mm", "as set")
    told = plain(wire.beside.text)
    assert "bitten through: wire of the mesh more than 3.8 mm (falls short)" in told
    assert "2.87 mm (meets)" in told


def changed(fitting):
    """The same plot dug under in time over the start of its line, with its skirt on rock."""
    (held,) = fitting.care.holdings
    depth = held.skirt_depth.copy()
    depth[40] = 0.35
    new = dataclasses.replace(
        held,
        skirt_depth=depth,
        too_short=(Stretch(500.0, 10.0, 49.0, -1.5),),
        on_rock=(Stretch(39.5, 40.5, 1.0, 0.35),),
    )
    return dataclasses.replace(fitting, care=dataclasses.replace(fitting.care, holdings=(new,)))


def test_stretches_dug_under_and_on_rock_are_told(fitting):
    plot, project = changed(fitting), factory.project()
    found = {p.letter: p for p in places(plot, project, plot.enclosure.packs[0])}
    assert (found["D"].chainage, found["D"].length) == (500.0, 49.0)
    assert found["D"].figure.value == -1.5 * 3600
    assert found["R"].figure.value == 0.35
    (way,) = [w for w in ways_out(factory.source(plot)) if w.measure.startswith("depth of the skirt")]
    assert (way.value, way.chainage) == (0.35, plot.enclosure.packs[0].alignment.chainage[40])


def points(path):
    numbers = re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", path.get("d"))
    return np.array(numbers, float)


@pytest.mark.parametrize("name", ["holds", "holds_small"])
def test_signs_and_stretches_measured_back_on_the_ring(run, name):
    root = parse(run.folder / f"plots/plot-0/{name}.svg").getroot()
    paths = {p.get("id"): p for p in root.iter(f"{SVG}path") if p.get("id")}
    pack = run.plots[0].enclosure.packs[0]
    ring, perimeter = shapely.LinearRing(points(paths["ring-1"])), pack.line.perimeter
    # The drawn outline need not begin where chainage does: its first point is looked up on the line.
    outline = pack.line.polygon(0.001).exterior
    found = places(run.plots[0], run.settings, pack)
    signs = [p for p in found if not p.length]
    assert {p.letter for p in signs} <= set(SHAPES)
    scale = outline.length / ring.length

    def drawn(chainage):
        """Where a chainage lies on paper: the ring is the outline, moved, shrunk and turned upside down."""
        at = pack.line.points_at(chainage % perimeter)
        west, _, _, north = outline.bounds
        left, top, _, _ = ring.bounds
        return left + (float(at.x) - west) / scale, top + (north - float(at.y)) / scale

    for place in signs:
        start, end = points(paths[f"place-1-{place.name}"])
        assert math.dist(start, drawn(place.chainage)) < 0.1, place.name
        assert not shapely.Polygon(ring).contains(shapely.Point(end))
    for place in (p for p in found if p.length):
        middle = points(paths[f"stretch-1-{place.name}"])
        begin = drawn(place.chainage)
        assert math.dist(middle[0], begin) < 15
        assert all(shapely.Polygon(ring).contains(shapely.Point(p)) for p in middle)
    said = [g.get("aria-label") for g in root.iter(f"{SVG}g")]
    assert [p.name for p in found if p.name not in said] == []


def test_stretches_differ_without_colour(run):
    assert len(set(DASHES.values())) == len(DASHES)
    root = parse(run.folder / "plots/plot-0/holds_small.svg").getroot()
    colours = {p.get("stroke") for p in root.iter(f"{SVG}path") if p.get("id", "").startswith(("stretch", "place"))}
    assert len(colours) == 1


def test_no_sign_covers_another(run):
    root = parse(run.folder / "plots/plot-0/holds_small.svg").getroot()
    ends = [points(p)[1] for p in root.iter(f"{SVG}path") if p.get("id", "").startswith("place-")]
    assert len(ends) > 8
    assert min(math.dist(a, b) for k, a in enumerate(ends) for b in ends[:k]) > 5


def test_picture_is_told_in_words(run):
    words = ring_words(run.plots[0], run.settings, METRIC)
    for letter in "GUOWLP":
        assert LETTERS[letter] in words
    page = html_pages.read(run.folder / "plots/plot-0/index.html")
    (dug,) = run.plots[0].care.dig_out
    assert f"{LETTERS['U']}: {dug.weakest_chainage:,.0f}" in words.replace("\u00a0m", "")
    assert "holds_small" in (run.folder / "plots/plot-0/index.html").read_text(encoding="utf-8") or words[:60] in (
        run.folder / "plots/plot-0/index.html"
    ).read_text(encoding="utf-8")
    assert page.text.count("Will it hold?") >= 1


def test_section_comes_first_and_once(run):
    html = (run.folder / "plots/plot-0/index.html").read_text(encoding="utf-8")
    assert html.count('id="holding"') == 1
    assert html.index('id="holding"') < html.index('id="cautions"')
    assert "Not checked: fire, power" in html
    assert 'id="holding"' not in (run.folder / "plots/plot-2/index.html").read_text(encoding="utf-8")


def test_several_packs_are_told_apart():
    from packpale.enclosure.egg import Egg

    west, north = 500_000.0, 5_500_000.0
    eggs = (
        Egg(west + 110.0, north - 90.0, 95.0, 40.0, 26.0, 60.0),
        Egg(west + 200.0, north - 200.0, 300.0, 40.0, 25.0, 70.0),
    )
    plot = factory.result(lines=eggs)
    ways = ways_out(factory.source(plot))
    assert [w.pack for w in ways] == sorted(w.pack for w in ways)
    one, two = ([w.measure for w in ways if w.pack == k] for k in (1, 2))
    # Water crosses one of the fences alone; which gate has the greatest gap differs.
    apart = {m.partition(",")[0] for m in {*one} ^ {*two}}
    assert apart == {"ground that drains through the largest crossing", "greatest gap below a leaf"}
    said = factory.words_of(holds_section(factory.source(plot)))
    assert "under, pack 1" in said
    assert "under, pack 2" in said
