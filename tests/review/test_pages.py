"""Pages: nothing is loaded from outside, no name becomes markup, and they can be read by everybody."""

import dataclasses
import itertools
import json
import re
from collections import Counter

import pytest

from packpale.earthworks.work_out import work_out
from packpale.review.assumed import assumptions
from packpale.values.notes import Note
from review import factory, pages
from review.factory import SAID

PAGES = ("index.html", "map.html", "plots/plot-0/map.html", "plots/plot-1/map.html", "plots/plot-2/map.html")


@pytest.mark.parametrize("name", PAGES)
def test_a_page_loads_nothing_but_what_it_carries(run, name):
    page = pages.read(run.folder / name)
    assert all(address.startswith("data:") for address in page.loaded())
    assert page.imports() == []


@pytest.mark.parametrize("name", PAGES)
def test_links_lead_to_files_of_the_run(run, name):
    page = pages.read(run.folder / name)
    ids = {attributes["id"] for _, attributes in page.elements if attributes.get("id")}
    links = [attributes["href"] for attributes in page.named("a")]
    assert links
    for link in links:
        if link.startswith("#"):
            assert link[1:] in ids
        else:
            assert ((run.folder / name).parent / link).exists(), link


@pytest.mark.parametrize("name", PAGES)
def test_no_name_becomes_markup(run, name):
    page = pages.read(run.folder / name)
    assert not [a for a in page.named("img") if a.get("src") == "x"]
    assert not [a for _, a in page.elements if any(key.startswith("on") for key in a)]
    raw = (run.folder / name).read_text(encoding="utf-8")
    # Inside scripts names stand as JSON with escaped angle brackets; nowhere do they stand as they are.
    assert "<img src=x" not in raw
    assert "</script><script>alert(2)" not in raw


def test_hostile_names_are_there_as_text(run):
    assert factory.HOSTILE in pages.read(run.folder / "index.html").text
    assert factory.HOSTILE in pages.read(run.folder / "plots/plot-1/map.html").text
    assert factory.FORMULA in pages.read(run.folder / "index.html").text


@pytest.mark.parametrize("name", PAGES)
def test_a_map_of_a_plot_stays_small(run, name):
    assert (run.folder / name).stat().st_size < 6_000_000


@pytest.mark.parametrize("name", PAGES)
def test_language_title_and_zoom(run, name):
    page = pages.read(run.folder / name)
    assert page.named("html")[0]["lang"] == "en"
    assert len(page.named("title")) >= 1
    (viewport,) = (a["content"] for a in page.named("meta") if a.get("name") == "viewport")
    # WCAG 2.2, 1.4.4: the page may be enlarged.
    assert "user-scalable" not in viewport
    assert "maximum-scale" not in viewport


def test_headings_do_not_skip_a_level_and_pictures_have_texts(run):
    page = pages.read(run.folder / "index.html")
    levels = [int(tag[1]) for tag, _ in page.elements if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b <= a + 1 for a, b in itertools.pairwise(levels))
    alts = [a["alt"] for a in page.named("img")]
    # Map, section and profile of the two plots that fit; the map alone of the third.
    assert len(alts) == 7
    assert all(len(alt) > 20 for alt in alts)


def luminance(colour):
    """Relative luminance of WCAG 2.2."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_every_region_has_a_name_of_its_own(run):
    for page in (run.folder / "index.html", run.folder / "map.html"):
        regions = [e for _, e in pages.read(page).elements if e.get("role") == "region"]
        names = [e["aria-label"] for e in regions]
        assert len(names) == len(set(names)), [n for n, many in Counter(names).items() if many > 1]
        assert not {"Table", "Chart", ""} & set(names)
    # Those of a plot say which; the fixture has two plots with enclosures.
    named = [e["aria-label"] for _, e in pages.read(run.folder / "index.html").elements if e.get("role") == "region"]
    assert sum(name.startswith(f"Plot {factory.HOSTILE}: ") for name in named) > 8


def test_contrast_of_all_text_colours():
    # WCAG 2.2, 1.4.3: 4.5 to 1 for text.
    from importlib.resources import files

    room = files("packpale.review")
    for name, paper in (("templates/index.css", "#fffdf8"), ("static/map.css", "#fffdf8")):
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
    text = pages.read(run.folder / "index.html").text
    show = SAID
    plot = run.plots[0]
    assert show.area(plot.enclosure.packs[0].fit.egg.area) in text
    assert show.money(plot.earthworks.cost["p50"]) in text
    assert show.dimension(plot.care.dig_out[0].shortest) in text
    assert SAID.say(run.plots[2].enclosure.reason) in text
    assert "A warning." in text
    for item in plot.earthworks.items:
        assert item.text in text
    # The cautions that every report carries.
    for word in ("bury people", "pipes", "licence", "local authority", "trial pit", "survey"):
        assert word in text


def test_index_says_what_holds_each_line(run, fitting, tmp_path):
    text = pages.read(run.folder / "index.html").text
    sentence = (
        "The line is held by: plot boundary setback of 3 m (2 places), "
        f"steeper than 20 degrees and {factory.HOSTILE} (1 place)."
    )
    # On the two plots that fit, and on no other.
    assert text.count(sentence) == 2
    assert text.count("held by") == 2
    (pack,) = fitting.enclosure.packs
    free, nameless = (
        dataclasses.replace(pack, number=n, touches=touches)
        for n, touches in ((1, ()), (2, (dataclasses.replace(pack.touches[0], limits=()),)))
    )
    enclosure = dataclasses.replace(fitting.enclosure, packs=(free, nameless))
    works = work_out(fitting.site, enclosure, factory.project())
    factory.run_folder(tmp_path, [dataclasses.replace(fitting, enclosure=enclosure, earthworks=works)])
    text = pages.read(tmp_path / "index.html").text
    assert "Pack 1: the line has room on all sides." in text
    assert "Pack 2: the line is held by: edge of the usable land (1 place)." in text


def test_imperial_pages_show_no_metric_figures(fitting, tmp_path):
    settings = factory.project(units="imperial")
    factory.run_folder(tmp_path, [fitting], settings)
    text = pages.read(tmp_path / "index.html").text.split("What was assumed")[0]
    assert re.search(r"\d acres\b", text)
    assert re.search(r"\d ft\b", text)
    assert re.search(r"\d yd³", text)
    assert "plot boundary setback of 9.8 ft" in text
    # Published rules stand in the unit they were printed in.
    shown = re.sub(
        r"The settings beside published guidance.*?(?=Before anybody digs|Warnings of this run)", "", text, flags=re.S
    )
    shown = re.sub(r"\d mm \([\d.]+ in\)", "", shown)
    assert re.findall(r".{30}\d (?:m|m2|m3|m²|m³|ha|km|cm|mm)\b", shown) == []


def test_assumptions_are_the_defaults_nobody_set():
    keys = {a.key for a in assumptions(factory.project())}
    assert {"enclosure.min_radius_m", "land.keep_away_m.watercourses", "land.weights.slope"} <= keys
    # No such input is given; and a published default is no assumption.
    assert "land.keep_away_m.keep_out" not in keys
    assert "trench.side_slope" not in keys
    settings = factory.project(
        enclosure={"min_radius_m": 15.0}, land={"weights": {"slope": 1.0}, "keep_away_m": {"watercourses": 10.0}}
    )
    left = {a.key for a in assumptions(settings)}
    assert keys - left == {
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
    write_run(factory.finished(summaries), run.ranking, run.settings, record, tmp_path, plots=run.folder / "plots")
    names = [p.relative_to(tmp_path) for p in tmp_path.rglob("*") if p.is_file()]
    assert len(names) > 15
    for name in names:
        assert (tmp_path / name).read_bytes() == (run.folder / name).read_bytes(), name


def test_pictures_that_are_not_there_are_linked_to(run, tmp_path):
    from packpale.review.run import write_run
    from packpale.review.summary import read_summary

    summaries = [read_summary(run.folder / f"plots/plot-{k}/result.json") for k in range(3)]
    record = {"version": "0", "seed": 1, "crs": factory.CRS}
    write_run(factory.finished(summaries), run.ranking, run.settings, record, tmp_path)
    sources = {a["src"] for a in pages.read(tmp_path / "index.html").named("img")}
    assert "plots/plot-0/picture.png" in sources
    (tmp_path / "embedded").mkdir()
    write_run(
        factory.finished(summaries),
        run.ranking,
        run.settings,
        record,
        tmp_path / "embedded",
        plots=run.folder / "plots",
    )
    sources = {a["src"] for a in pages.read(tmp_path / "embedded/index.html").named("img")}
    assert all(s.startswith(("data:image/png", "data:image/svg+xml")) for s in sources)
    assert json.loads((tmp_path / "run.json").read_text()) == record


def test_plots_beyond_those_told_in_full_stand_in_the_tables_only(run, tmp_path):
    from packpale.review.run import write_run
    from packpale.review.summary import read_summary

    settings = factory.project(ranking={"told_in_full": 1})
    summaries = [read_summary(run.folder / f"plots/plot-{k}/result.json") for k in range(3)]
    first, second, last = (row.plot_id for row in run.ranking.rows)
    of_the_run = (Note("coordinates", "of all"), Note("coordinates", "of the first", plot=first))
    summaries = [
        dataclasses.replace(s, notes=(Note("corners", "all the same"), Note("corners", f"own {n}")))
        for n, s in enumerate(summaries)
    ]
    own = {s.plot_id: f"Own {n}." for n, s in enumerate(summaries)}
    record = {"version": "0", "seed": 1, "crs": factory.CRS}
    finished = dataclasses.replace(factory.finished(summaries), notes=of_the_run)
    write_run(finished, run.ranking, settings, record, tmp_path, plots=run.folder / "plots")
    page = pages.read(tmp_path / "index.html")
    assert [a["aria-labelledby"] for a in page.named("article")] == ["plot-1"]
    links = {a["href"] for a in page.named("a")}
    assert "#plot-1" in links
    assert not {"#plot-2", "#plot-3"} & links
    assert {f"plots/{s.folder}/map.html" for s in summaries} <= links
    text = (tmp_path / "index.html").read_text(encoding="utf-8")
    assert "The 2 others stand in the tables" in text
    # What concerns all plots is said once, whether the run says it or each of them.
    assert text.count("Of all.") == 1
    assert text.count("All the same.") == 1
    assert "Of the first." in text
    assert own[first] in text
    assert own[second] not in text
    assert own[last] not in text
