"""Pages: nothing is loaded from outside, no name becomes markup, and they can be read by everybody."""

import dataclasses
import itertools
import json
import re
import shutil
from collections import Counter

import pytest

from packpale.faults import Faults
from packpale.review.assumed import settings_used
from packpale.review.pages import render
from packpale.review.report.limits import limits
from packpale.settings import RateSettings
from packpale.values.notes import Note
from review import factory, html_pages
from review.factory import SAID

OF_PLOTS = tuple(f"plots/plot-{k}/{name}.html" for k in range(3) for name in ("index", "map"))
PAGES = ("index.html", "basis.html", "map.html", *OF_PLOTS)
TOLD = ("index.html", "basis.html", "plots/plot-0/index.html", "plots/plot-1/index.html", "plots/plot-2/index.html")
"""Pages made from the report's blocks."""


@pytest.mark.parametrize("name", PAGES)
def test_a_page_loads_nothing_but_what_it_carries(run, name):
    page = html_pages.read(run.folder / name)
    assert all(address.startswith("data:") for address in page.loaded())
    assert page.imports() == []


@pytest.mark.parametrize("name", PAGES)
def test_links_lead_to_files_of_the_run(run, name):
    page = html_pages.read(run.folder / name)
    ids = {attributes["id"] for _, attributes in page.elements if attributes.get("id")}
    links = [attributes["href"] for attributes in page.named("a")]
    assert links
    for link in links:
        file, _, section = link.partition("#")
        there = (run.folder / name).parent / file if file else run.folder / name
        assert there.exists(), link
        if section:
            of_page = ids if not file else {a.get("id") for _, a in html_pages.read(there).elements}
            assert section in of_page, link


@pytest.mark.parametrize("name", PAGES)
def test_no_name_becomes_markup(run, name):
    page = html_pages.read(run.folder / name)
    assert not [a for a in page.named("img") if a.get("src") == "x"]
    assert not [a for _, a in page.elements if any(key.startswith("on") for key in a)]
    raw = (run.folder / name).read_text(encoding="utf-8")
    # Inside scripts names stand as JSON with escaped angle brackets; nowhere do they stand as they are.
    assert "<img src=x" not in raw
    assert "</script><script>alert(2)" not in raw


def test_hostile_names_are_there_as_text(run):
    assert factory.HOSTILE in html_pages.read(run.folder / "index.html").text
    assert factory.HOSTILE in html_pages.read(run.folder / "plots/plot-1/map.html").text
    assert factory.FORMULA in html_pages.read(run.folder / "index.html").text


@pytest.mark.parametrize("name", PAGES)
def test_a_map_of_a_plot_stays_small(run, name):
    assert (run.folder / name).stat().st_size < 6_000_000


@pytest.mark.parametrize("name", PAGES)
def test_language_title_and_zoom(run, name):
    page = html_pages.read(run.folder / name)
    assert page.named("html")[0]["lang"] == "en"
    assert len(page.named("title")) >= 1
    (viewport,) = (a["content"] for a in page.named("meta") if a.get("name") == "viewport")
    # WCAG 2.2, 1.4.4: the page may be enlarged.
    assert "user-scalable" not in viewport
    assert "maximum-scale" not in viewport


@pytest.mark.parametrize("name", TOLD)
def test_headings_do_not_skip_a_level_and_pictures_have_texts(run, name):
    page = html_pages.read(run.folder / name)
    levels = [int(tag[1]) for tag, _ in page.elements if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b <= a + 1 for a, b in itertools.pairwise(levels))
    alts = [a["alt"] for a in page.named("img")]
    # The map of each plot; on the page of one that fits ring, section and profile too.
    expected = {"index.html": 3, "basis.html": 0, "plots/plot-2/index.html": 1}
    assert len(alts) == expected.get(name, 4)
    assert all(len(alt) > 20 for alt in alts)


@pytest.mark.parametrize("name", TOLD)
def test_a_page_can_be_found_the_way_in(run, name):
    page = html_pages.read(run.folder / name)
    ids = [a["id"] for _, a in page.elements if "id" in a]
    assert len(ids) == len(set(ids))
    assert len(page.named("nav")) == 1
    # The first stop leads over all that pages have in common.
    assert page.named("a")[0] == {"class": "skip", "href": "#content"}
    assert "content" in ids
    # Whether something has to be scrolled is seen when the page is shown; nothing is a stop before that.
    assert [tag for tag, a in page.elements if a.get("tabindex", "-1") != "-1"] == []
    titles = [a["data-title"] for _, a in page.elements if "data-title" in a]
    assert len(titles) == len(set(titles)), [n for n, many in Counter(titles).items() if many > 1]
    assert all(len(title) > 4 for title in titles)


def luminance(colour):
    """Relative luminance of WCAG 2.2."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_every_region_of_a_map_has_a_name_of_its_own(run):
    regions = [e for _, e in html_pages.read(run.folder / "map.html").elements if e.get("role") == "region"]
    names = [e["aria-label"] for e in regions]
    assert len(names) == len(set(names))
    assert "" not in names


def test_contrast_of_all_text_colours():
    # WCAG 2.2, 1.4.3: 4.5 to 1 for text.
    from importlib.resources import files

    room = files("packpale.review")
    for name, paper in (("pages/page.css", "#fffdf8"), ("maps/static/map.css", "#fffdf8")):
        css = (room / name).read_text(encoding="utf-8")
        variables = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", css))
        used = re.findall(r"[ {;]color: (#[0-9a-f]{6}|var\(--\w+\))", css)
        colours = {variables[u[6:-1]] if u.startswith("var") else u for u in used} - {paper}
        assert len(colours) >= 3
        for colour in colours:
            assert (luminance(paper) + 0.05) / (luminance(colour) + 0.05) >= 4.5, colour
        if "sand" in variables:
            assert (luminance(variables["sand"]) + 0.05) / (luminance(variables["ink"]) + 0.05) >= 4.5


def test_index_holds_the_decision_and_the_figures(run):
    page = html_pages.read(run.folder / "index.html")
    plot = run.plots[0]
    area, middle = plot.enclosure.packs[0].fit.egg.area, plot.earthworks.cost["p50"]
    found = plot.earthworks.uncertainty
    low, high = middle * (1 + found.class_low[1]), middle * (1 + found.class_high[1])
    said = f"Reckon with {SAID.money(low)} to {SAID.price(high)} , a class {found.estimate_class} estimate"
    assert f"{said} (5 is the roughest)" in page.text
    assert f"{SAID.money(middle / area * 1e4)} for each hectare" in page.text
    assert "All the rates behind it are invented: put in those of your contractors" in page.text
    for said in (SAID.area(area), SAID.money(middle), SAID.dimension(plot.care.dig_out[0].shortest)):
        assert said in page.text
    assert SAID.say(run.plots[2].enclosure.reason) in page.text
    assert "A warning." in page.text
    assert "contingency" in page.text
    # The cautions that every report carries, and each plot's page too.
    for name in ("index.html", "plots/plot-0/index.html"):
        for word in ("bury people", "pipes", "licence", "local authority", "trial pit", "survey"):
            assert word in html_pages.read(run.folder / name).text


def test_rates_that_are_set_are_not_called_invented(fitting, tmp_path):
    some = factory.project(rates={"mesh_per_m2": [1, 2, 4]})
    factory.run_folder(tmp_path / "some", [fitting], some)
    count = len(RateSettings.model_fields)
    told = html_pages.read(tmp_path / "some/index.html").text
    assert f"{count - 1} of the {count} rates behind it are invented" in told
    rates = {name: [1, 2, 4] for name in RateSettings.model_fields}
    factory.run_folder(tmp_path / "all", [fitting], factory.project(rates=rates))
    assert "are invented" not in html_pages.read(tmp_path / "all/index.html").text


def test_a_sheet_answers_whether_it_will_hold(run):
    text = html_pages.read(run.folder / "index.html").text
    for way in ("Under it", "Over it", "Through it", "By a gate", "With the water", "Unwatched"):
        # On the sheets of the two plots that fit.
        assert text.count(way) == 2, way
    hours = run.settings.checks.unattended_h
    dug = run.plots[0].care.dig_out[0]
    assert f"if it digs faster than {SAID.speed(dug.shortest / hours)} for the {hours:g} h that nobody looks" in text
    gap, night = run.plots[0].care.gap, run.plots[0].care.night
    assert (gap.start, gap.end, night.hours) == ("07:00", "20:00", 11.0)
    assert "13 h at the longest, from 07:00 to 20:00; by night 11 h, from 20:00 to 07:00." in text


def test_a_plots_page_holds_its_bill_and_its_files(run):
    text = html_pages.read(run.folder / "plots/plot-0/index.html").text
    for item in run.plots[0].earthworks.items:
        assert item.text in text
    files = {a["href"] for a in html_pages.read(run.folder / "plots/plot-0/index.html").named("a")}
    there = {f.name for f in (run.folder / "plots/plot-0").iterdir()}
    small = {
        "section_small.svg",
        "holds_small.svg",
        "profile_small.svg",
        "picture.png",
        "index.html",
        "report.json",
        "result.json",
        "draws.npy",
    }
    assert there - small <= files


def test_the_page_says_what_holds_each_line(run, fitting):
    sentence = (
        "The line touches: plot boundary setback of 3 m (2 places), "
        f"steeper than 20 degrees and {factory.HOSTILE} (1 place)."
    )
    assert sentence in html_pages.read(run.folder / "plots/plot-0/index.html").text
    assert "line touches" not in html_pages.read(run.folder / "plots/plot-2/index.html").text
    (pack,) = fitting.enclosure.packs
    free, nameless = (
        dataclasses.replace(pack, number=n, touches=touches)
        for n, touches in ((1, ()), (2, (dataclasses.replace(pack.touches[0], limits=()),)))
    )
    enclosure = dataclasses.replace(fitting.enclosure, packs=(free, nameless))
    text = factory.words_of(limits(factory.source(dataclasses.replace(fitting, enclosure=enclosure))))
    assert "Pack 1: the line has room on all sides." in text
    assert "Pack 2: the line touches: edge of the usable land (1 place)." in text


def test_imperial_pages_show_no_metric_figures(fitting, tmp_path):
    settings = factory.project(units="imperial")
    factory.run_folder(tmp_path, [fitting], settings)
    text = " ".join(html_pages.read(tmp_path / name).text for name in ("index.html", "plots/plot-0/index.html"))
    assert re.search(r"\d acres\b", text)
    assert re.search(r"\d ft\b", text)
    assert re.search(r"\d yd³", text)
    assert "plot boundary setback of 9.8 ft" in text
    # A rule's own figure stands in the unit it was printed in, with the reader's beside it.
    shown = re.sub(r"[\d,.]+ c?m \([\d,.]+ (?:ft|in|miles)\)", "", text)
    shown = re.sub(r"\d mm \([\d.]+ in\)", "", shown)
    assert re.findall(r".{30}\d (?:m|m2|m3|m²|m³|ha|km|cm|mm)\b", shown) == []


def test_assumptions_are_the_defaults_nobody_set():
    def assumed(project):
        return {s.key for s in settings_used(project) if s.status == "assumption"}

    keys = assumed(factory.project())
    assert {"enclosure.min_radius_m", "land.keep_away_m.watercourses", "land.weights.slope"} <= keys
    # No such input is given; and a published default is no assumption.
    assert "land.keep_away_m.keep_out" not in keys
    assert "trench.side_slope" not in keys
    settings = factory.project(
        enclosure={"min_radius_m": 15.0}, land={"weights": {"slope": 1.0}, "keep_away_m": {"watercourses": 10.0}}
    )
    assert keys - assumed(settings) == {
        "enclosure.min_radius_m",
        "land.keep_away_m.watercourses",
        "land.weights.slope",
        "land.weights.drainage",
        "land.weights.diggability",
        "land.weights.variety",
    }


def test_the_same_run_gives_the_same_files(run, tmp_path):
    from packpale.review.plot import write_plot
    from packpale.review.run import write_run
    from packpale.review.summary import read_summary

    home = tmp_path / "plots/plot-0"
    home.mkdir(parents=True)
    summaries = [write_plot(run.plots[0], run.settings, home)]
    summaries += [read_summary(run.folder / f"plots/plot-{k}/result.json") for k in (1, 2)]
    record = json.loads((run.folder / "run.json").read_text())
    finished = dataclasses.replace(factory.finished(summaries), notes=(factory.OF_THE_RUN,))
    write_run(finished, run.ranking, run.settings, record, tmp_path, plots=run.folder / "plots")
    names = [p.relative_to(tmp_path) for p in tmp_path.rglob("*") if p.is_file()]
    assert len(names) > 15
    for name in names:
        assert (tmp_path / name).read_bytes() == (run.folder / name).read_bytes(), name


def test_pictures_are_put_into_the_page_as_far_as_there_is_room(run):
    file = run.folder / "plots/plot-0/picture.png"
    size = file.stat().st_size

    page = render.Page("index.html", "T", "K", (), pictures={"plots/plot-0/picture.png": file})
    page.left = size
    first, second = (page.source("plots/plot-0/picture.png") for _ in range(2))
    assert first.startswith("data:image/png;base64,")
    assert second == "plots/plot-0/picture.png"
    assert page.source("plots/plot-9/section small.svg") == "plots/plot-9/section%20small.svg"


def test_a_page_finds_its_way_to_others():
    page = render.Page("plots/a b/index.html", "T", "K", ())
    assert page.way_to("plots/a b/pegs.csv") == "pegs.csv"
    assert page.way_to("plots/a b/index.html#bill") == "#bill"
    assert page.way_to("basis.html#method") == "../../basis.html#method"
    assert page.way_to("plots/c/index.html") == "../c/index.html"
    assert render.Page("index.html", "T", "K", ()).way_to("plots/a b/index.html#x") == "plots/a%20b/index.html#x"


def test_plots_beyond_those_told_in_full_have_a_row_and_a_link(run, tmp_path):
    from packpale.review.run import write_run
    from packpale.review.summary import read_summary

    settings = factory.project(ranking={"told_in_full": 1})
    summaries = [read_summary(run.folder / f"plots/plot-{k}/result.json") for k in range(3)]
    folders = {s.plot_id: s.folder for s in summaries}
    first, second, last = (row.plot_id for row in run.ranking.rows)
    of_the_run = (Note("coordinates", "of all"), Note("coordinates", "of the first", plot=first))
    summaries = [
        dataclasses.replace(s, notes=(Note("corners", "all the same"), Note("corners", f"own {n}")))
        for n, s in enumerate(summaries)
    ]
    own = {s.plot_id: f"Own {n}" for n, s in enumerate(summaries)}
    record = {"version": "0", "seed": 1, "crs": factory.CRS}
    finished = dataclasses.replace(factory.finished(summaries), notes=of_the_run)
    write_run(finished, run.ranking, settings, record, tmp_path, plots=run.folder / "plots")
    page = html_pages.read(tmp_path / "index.html")
    assert [a["aria-labelledby"] for a in page.named("article")] == ["plot-1"]
    links = {a["href"] for a in page.named("a")}
    assert {"#plot-1", "#others", f"plots/{folders[second]}/index.html", f"plots/{folders[last]}/index.html"} <= links
    assert not {"#plot-2", "#plot-3"} & links
    assert "Only the first plots have one: the number of plots that are told of in full is 1" in page.text
    raw = (tmp_path / "index.html").read_text(encoding="utf-8")
    assert raw.index("These concern the whole run") < raw.index('id="plot-1"')
    # What concerns all plots is said once, whether the run says it or each of them.
    assert page.text.count("Of all.") == 1
    assert page.text.count("All the same.") == 1
    assert "Of the first" in page.text
    assert own[first] in page.text
    assert own[second] not in page.text
    assert own[last] not in page.text


def test_a_report_of_a_plot_that_cannot_be_read_back_is_a_fault(run, tmp_path):
    from packpale.review.run import write_run
    from packpale.review.summary import read_summary

    summaries = [read_summary(run.folder / f"plots/plot-{k}/result.json") for k in range(3)]
    record = {"version": "0", "seed": 1, "crs": factory.CRS}
    for name in ("layers.gpkg", "report.json"):
        with pytest.raises(Faults, match=rf"{name}: cannot be read back .*; remove the folder "):
            write_run(factory.finished(summaries), run.ranking, run.settings, record, tmp_path)
        for k in range(3):
            (tmp_path / f"plots/plot-{k}").mkdir(parents=True, exist_ok=True)
            shutil.copy(run.folder / f"plots/plot-{k}/layers.gpkg", tmp_path / f"plots/plot-{k}")
