"""Pages of a run in which most plots were only screened: no dead links, a ranking that can be sorted and cut down."""

import csv
import dataclasses
import re

import fiona
import pytest
from shapely.affinity import translate

from packpale.review.model import FinishedPlots
from packpale.review.plot import write_screened_plot
from packpale.review.run import write_run
from packpale.review.summary import read_summary
from packpale.run.ranking import rank
from review import factory

pytestmark = pytest.mark.browser

COUNT = 30
ROWS = """() => [...document.querySelectorAll('table.cards tbody tr')].filter(r => !r.hidden)
    .map(r => r.cells[1].textContent.trim())"""
PRICES = """() => [...document.querySelectorAll('table.cards tbody tr')]
    .map(r => Number(r.cells[5].textContent.replace(/[^0-9]/g, '')))"""


@pytest.fixture(scope="module")
def screened(tmp_path_factory, fitting):
    """One plot in full and thirty that were screened; one of them under a hostile name, one where nothing fits."""
    folder = tmp_path_factory.mktemp("county")
    settings = factory.project(title="County", ranking={"told_in_full": 1}, run={"detail": 1})
    factory.run_folder(folder, [fitting], settings)
    first = read_summary(folder / "plots/plot-0/result.json")
    plots = {first.plot_id: first}
    for k in range(COUNT):
        name = factory.HOSTILE if k == 3 else f"field {k:02}"
        home = folder / f"plots/field-{k:02}"
        home.mkdir()
        moved = dataclasses.replace(
            factory.renamed(fitting, name),
            site=dataclasses.replace(
                fitting.site, plot_id=name, outline=translate(fitting.site.outline, 300 * (k % 6 + 1), -300 * (k // 6))
            ),
        )
        if k == 5:
            moved = factory.nothing_fits(west=500_400.0)
        summary = write_screened_plot(moved, settings, home)
        figures = dict(summary.figures)
        if figures["feasible"]:
            figures["cost_p50"] *= 1 + ((7 * k) % COUNT) / 100
        plots[summary.plot_id] = dataclasses.replace(summary, figures=figures, folder=home.name)
    finished = FinishedPlots({name: s.brief for name, s in plots.items()}, plots.__getitem__)
    ranking = rank(list(finished.briefs.values()), settings.ranking.weights, draws=100, seed=1)
    write_run(finished, ranking, settings, {"version": "0", "seed": 1, "crs": factory.CRS}, folder)
    return folder


def test_tables_and_layers_have_all_plots(screened):
    with (screened / "ranking.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["screened"] for row in rows].count("true") == COUNT
    with fiona.open(screened / "packpale.gpkg", layer="plots") as layer:
        assert len(layer) == COUNT + 1
    with fiona.open(screened / "packpale.gpkg", layer="fence_lines") as layer:
        assert len(layer) == COUNT


@pytest.mark.parametrize("page", ["index.html", "map.html"])
def test_no_link_leads_nowhere(watched, screened, page):
    opened = watched.open(screened / page)
    found = opened.evaluate("() => [...document.querySelectorAll('a[href]')].map(a => a.getAttribute('href'))")
    files = {re.sub("#.*", "", href) for href in found} - {""}
    assert files
    assert [f for f in files if not (screened / f).exists()] == []


def test_screened_plots_are_told_as_such(watched, screened):
    text = watched.open(screened / "index.html").inner_text("body")
    assert f"{COUNT} of {COUNT + 1} plots were only screened" in text
    assert "packpale run SETTINGS --plot NAME" in text


def test_the_ranking_is_sorted_by_its_heads_and_cut_down_by_words(watched, screened):
    page = watched.open(screened / "index.html")
    ranked = page.evaluate(ROWS)
    assert len(ranked) == COUNT
    page.locator("table.cards thead th", has_text="Plot").locator("button").click()
    by_name = page.evaluate(ROWS)
    assert by_name != ranked
    assert [name for name in by_name if name.startswith("field")] == sorted(n for n in ranked if n.startswith("field"))
    head = page.locator("table.cards thead th", has_text="Middle")
    head.locator("button").focus()
    page.keyboard.press("Enter")
    cheapest = page.evaluate(ROWS)
    assert sorted(cheapest) == sorted(ranked)
    assert cheapest != by_name
    prices = page.evaluate(PRICES)
    assert prices == sorted(prices)
    page.keyboard.press("Enter")
    assert page.evaluate(PRICES) == sorted(prices, reverse=True)
    assert head.get_attribute("aria-sort") == "descending"
    page.fill(".filter input", "field 1")
    assert set(page.evaluate(ROWS)) == {f"field {k}" for k in range(10, 20)}
    page.fill(".filter input", "nowhere")
    assert page.evaluate(ROWS) == []


@pytest.mark.parametrize("watched", [(1280, 800), (390, 844)], ids=["desktop", "phone"], indirect=True)
def test_everybody_can_use_it(watched, screened):
    from axe_playwright_python.sync_playwright import Axe

    page = watched.open(screened / "index.html")
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
    assert [(v["id"], v["nodes"][0]["html"][:100]) for v in found if v["impact"] in ("serious", "critical")] == []
