"""What pages and map show of price, machine, mounds and safety, against what the rooms found."""

import dataclasses
import itertools
import re
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from defusedxml.ElementTree import fromstring

from packpale.enclosure.drawn import DrawnLine
from packpale.review.maps.holding_layers import places_layer
from packpale.review.maps.plot_map import plot_map
from packpale.review.maps.themes import themes
from packpale.review.maps.trench_layers import STRETCHES
from packpale.review.report.charts import both_ways
from packpale.review.subjects.stretches import line_between
from packpale.review.words import Wording, plain
from review import factory, html_pages
from review.factory import SAID

PARTS = ("rect", "text", "line")
METRIC = Wording(imperial=False, currency="EUR")


@pytest.fixture(scope="module")
def page(run):
    return html_pages.read(run.folder / "plots/plot-0/index.html")


def test_price_and_what_spreads_it_are_told(run, page):
    found = run.plots[0].earthworks.uncertainty
    for share in found.price:
        assert SAID.money(share) in page.text
    assert found.narrowing in page.text
    assert found.class_reason in page.text
    assert (
        "the low end of one of this class lies 20 % to 50 % below it and the high end 30 % to 100 % above" in page.text
    )
    for pit in found.pits:
        assert f"chainage {SAID.length(pit.chainage)} on the {pit.flank} flank" in page.text
    for name in ("cut", "hard_rock", "wet", "import_compacted", "surplus_loose"):
        assert " ".join(SAID.volume(v) for v in found.volumes[name]) in page.text, name


def test_chart_of_drivers_says_in_words_what_it_draws(run, page):
    found = run.plots[0].earthworks.uncertainty.drivers[:10]
    texts = {f"rate: {i.key}": f"Rate: {i.text.split(',')[0]}" for i in run.plots[0].earthworks.items}
    charts = [a["aria-label"] for a in page.named("svg") if a.get("role") == "img"]
    (said,) = (alt for alt in charts if alt.startswith("How much dearer"))
    entries = [f"{texts.get(d.name, d.name[0].upper() + d.name[1:])} " + SAID.change(d.swing) for d in found]
    assert "; ".join(entries) in plain(said)


def bars(rows):
    """Rectangles, texts and the zero line of the chart, read back from its markup."""
    svg = fromstring(both_ways(rows, alt="All", caption="Said.").svg)
    tags = {
        name: [e.attrib | {"said": e.text} for e in svg if e.tag.endswith(name)] for name in ("rect", "text", "line")
    }
    width = float(svg.attrib["viewBox"].split()[2])
    return [{k: float(r[k]) for k in ("x", "y", "width")} for r in tags["rect"]], tags["text"], tags["line"], width


def test_bars_are_as_long_as_their_value_on_one_scale():
    drawn, texts, (zero,), width = bars([("a", -0.6, "less"), ("b", 0.3, "more"), ("c", 0.15, "some")])
    assert [bar["width"] / drawn[0]["width"] for bar in drawn] == pytest.approx([1.0, 0.5, 0.25], abs=1e-3)
    assert drawn[0]["x"] + drawn[0]["width"] == pytest.approx(float(zero["x1"]), abs=0.11)
    assert [bar["x"] for bar in drawn[1:]] == [float(zero["x1"])] * 2
    assert all(bar["x"] > 330 and bar["x"] + bar["width"] < width for bar in drawn)
    assert [t["said"] for t in texts] == ["a", "less", "b", "more", "c", "some"]
    assert all(b["y"] > a["y"] + 15 for a, b in itertools.pairwise(drawn))


@pytest.mark.parametrize("values", [[0.5, 0.2], [-0.5, -0.2], [0.0]])
def test_bars_to_one_side_fill_the_drawing(values):
    drawn, _, _, width = bars([("x", v, "") for v in values])
    assert all(bar["x"] >= 330 and bar["x"] + bar["width"] <= width - 40 for bar in drawn)


def test_a_long_name_ends_before_its_bar_and_is_told_in_full():
    long = "Rate: Extra for fence line over ground past a limit: digging by hand"
    chart = both_ways([(long, 0.5, "+1")], alt="All", caption="Said.")
    (drawn,) = (e.text for e in fromstring(chart.svg) if e.text and e.text.startswith("Rate"))
    assert drawn == "Rate: Extra for fence line over ground past a…"
    assert long in chart.alt


def test_a_name_in_a_chart_is_text_and_nothing_else():
    chart = both_ways([(factory.HOSTILE, 0.5, "+1")], alt="All", caption="Said.")
    assert "<img" not in chart.svg
    assert fromstring(chart.svg)[2].text.removesuffix("…") == factory.HOSTILE[:45]


def test_machine_hours_mounds_and_safety_are_told(run, page):
    works = run.plots[0].earthworks
    for task in works.plant.tasks:
        if task.quantity:
            row = f"{task.name.capitalize()} {SAID.volume(task.quantity)} {SAID.volume(task.output)} {task.hours:.0f}"
            assert row in page.text
    assert f"One machine, {works.plant.crew_days:.0f} days of 8 hours {works.plant.machine_hours:.0f}" in page.text
    assert f"a pump runs on about {works.plant.pump_days:.0f} days" in page.text
    (mound,) = works.haul.mounds
    assert f"{SAID.volume(mound.volume)} of loose rock are left over" in page.text
    assert f"{mound.truck_loads} truck loads" in page.text
    assert f"brought in with {works.haul.import_loads} truck loads" in page.text
    (safe,) = works.safety
    assert (
        f"from the higher edge of the cut straight down to the bottom beside it {SAID.dimension(safe.deepest)}"
        in page.text
    )
    assert f"nobody farther than 25 ft (7.62 m) from one {safe.ladders}" in page.text
    assert "1.5:1 (type unknown); 1:1" in page.text
    assert "3.00 m, too narrow" in page.text
    assert f"soil counts as Type C {SAID.length(safe.wet_length)}" in page.text


def test_nothing_dug_shows_nothing(run):
    text = html_pages.read(run.folder / "plots/plot-2/index.html").text
    for word in ("Bill of quantities", "excavator", "Safety of the open trench", "How sure"):
        assert word not in text


def test_stretch_through_the_lines_beginning_is_drawn_through_it(run):
    pack = run.plots[0].enclosure.packs[0]
    perimeter = pack.line.perimeter
    line = line_between(pack, perimeter - 6.0, 10.0)
    assert line.length == pytest.approx(10.0, abs=0.01)
    start = pack.line.points_at([0.0])
    assert line.distance(shapely.Point(start.x[0], start.y[0])) < 0.01


def test_stretch_round_a_corner_goes_round_it():
    line = DrawnLine.from_polygon(shapely.box(0, 0, 40, 30), corner_deg=10.0)
    corner = float(line.breaks[1])
    drawn = line_between(SimpleNamespace(line=line), corner - 3.3, 7.7)
    assert drawn.length == pytest.approx(7.7, rel=1e-9)
    # And through the line's own beginning.
    drawn = line_between(SimpleNamespace(line=line), 138.0, 2.5 + corner)
    assert drawn.length == pytest.approx(2.5 + corner, rel=1e-9)


def test_map_shows_stretches_under_the_fence_line_and_where_pits_would_help(run):
    shown = plot_map(run.plots[0], factory.project(), METRIC)
    titles = [layer.title for layer in shown.vectors]
    wet = titles.index("Trench stands in water")
    assert wet < titles.index("Fence line")
    rows = dict(shown.vectors[wet].shapes[0].rows)
    assert plain(rows["At the worst place"]) == "0.10 m, water over the bottom"
    assert shown.vectors[wet].show
    help_ = shown.vectors[titles.index("Where a trial pit would help most")]
    assert len(help_.shapes) == len(run.plots[0].earthworks.uncertainty.pits)
    # Every kind of stretch has a look of its own.
    looks = [(style.colour, style.dash) for _, style, *_ in STRETCHES]
    assert len(set(looks)) == len(looks)


def test_distance_to_the_nearest_pit_is_a_picture_where_there_are_pits(run):
    plot = run.plots[0]
    without = [t.key for t in themes(plot, factory.project(), METRIC)]
    assert "pit_distance" not in without
    grid = plot.site.grid
    x, y = np.meshgrid(*grid.centres())
    away = np.hypot(x - x.mean(), y - y.mean())
    soil = dataclasses.replace(plot.site.soil, pit_distance=away)
    near = dataclasses.replace(plot, site=dataclasses.replace(plot.site, soil=soil))
    (theme,) = [t for t in themes(near, factory.project(), METRIC) if t.key == "pit_distance"]
    classes = theme.classes(np.array([0.0, 12.0, 30.0, 60.0, 150.0, 300.0, np.nan]))
    assert classes.tolist() == [1, 2, 3, 4, 5, 6, 0]
    assert [plain(text) for _, text in theme.legend()] == [
        "under 10 m", "10 m to 25 m", "25 m to 50 m", "50 m to 100 m", "100 m to 200 m", "over 200 m"
    ]  # fmt: skip
    assert [t for _, t in _imperial(near)] != [t for _, t in theme.legend()]


def _imperial(plot):
    wording = Wording(imperial=True, currency="EUR")
    (theme,) = [t for t in themes(plot, factory.project(), wording) if t.key == "pit_distance"]
    assert all(re.search(r"ft$", text) for _, text in theme.legend())
    return theme.legend()


def test_each_advised_pit_has_its_sign_on_the_map(fitting):
    signs = [s.sign for s in places_layer(factory.map_source(fitting)).shapes]
    pits = fitting.earthworks.uncertainty.pits
    assert pits
    assert signs[-len(pits) :] == [f"pit {k}" for k in range(1, len(pits) + 1)]
