"""Another line on the maps of demo and real ground: the page against the program, and quick figures against full ones.

pytest -s tests/benchmarks/test_another_line.py
"""

import shutil
from pathlib import Path

import numpy as np
import pytest

from other_lines import as_figures, figures_by_the_program, random_lines
from packpale.care.assess import assess as assess_care
from packpale.care.digout import shortest_tunnels
from packpale.care.holding import skirt_depths
from packpale.earthworks.work_out import work_out
from packpale.enclosure.alignment import stations
from packpale.enclosure.place import place
from packpale.land.assess import assess as assess_land
from packpale.review.maps.another_line import QUICK_PRICE_OFF, QUICK_TUNNEL_OFF
from packpale.review.maps.plot_map import write_plot_map
from packpale.review.model import PlotResult
from packpale.review.words import Wording
from packpale.run.pricing import pricing_of
from packpale.run.run import read_and_open
from packpale.site.inputs import cut_to, read_site

CONFIG = Path(__file__).parents[2] / "config"
PLOTS = [
    ("demo.toml", "larder-shelf"),
    ("demo.toml", "tarn-knapps"),
    ("demo.toml", "crooked-lot"),
    ("real_ground.toml", "north-east-rise"),
    ("real_ground.toml", "west-knolls"),
    ("real_ground.toml", "south-dog-leg"),
]
EVERY = """async lines => {
    const found = [];
    for (const line of lines) {
        const begun = performance.now(), one = await packpale.tryLine(line);
        found.push(Object.assign(one, {ms: performance.now() - begun}));
    }
    return found;
}"""


@pytest.fixture(scope="module")
def browser():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        opened = driver.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        yield opened
        opened.close()


def result_of(config, plot):
    opened = read_and_open(CONFIG / config)
    project = opened.project
    site = read_site(cut_to(opened.inputs, plot, project), plot, project)
    land = assess_land(site, project)
    enclosure = place(site, land, project, pricing_of(site, land, project))
    works = work_out(site, enclosure, project)
    care = assess_care(site, land, enclosure, project, den_mounds=works.haul.den_mounds if works.haul else 0)
    return PlotResult(site, land, enclosure, works, care), project


def shortest(egg, site, trench):
    line = stations(egg, step=trench.station_m, elevation=site.elevation, grid=site.grid)
    found = shortest_tunnels(
        line,
        site,
        depth=skirt_depths(line, site, trench),
        apron_reach=trench.apron_reach_m,
        apron_cover=trench.apron_cover_m,
        side=trench.side,
        formation=trench.formation,
    )
    return float(found.min())


@pytest.mark.parametrize(("config", "plot"), PLOTS)
def test_two_hundred_lines(browser, tmp_path, config, plot):
    result, project = result_of(config, plot)
    page_file = tmp_path / "map.html"
    write_plot_map(result, project, Wording.of(project), page_file)
    page = browser.new_page()
    page.goto(page_file.as_uri())
    eggs = random_lines(result.site.outline, 200, seed=7)
    got = page.evaluate(EVERY, [as_figures(egg) for egg in eggs])
    ours = [figures_by_the_program(egg, result, project) for egg in eggs]
    area = max(abs(g["area"] / e.area - 1) for g, e in zip(got, eggs, strict=True))
    length = max(abs(g["perimeter"] / e.perimeter - 1) for g, e in zip(got, eggs, strict=True))
    over = max(abs(g["over"]["metres"] - o.over) for g, o in zip(got, ours, strict=True))
    price = max(abs(g["price"] / o.price - 1) for g, o in zip(got, ours, strict=True))
    # Against what a full run says of lines that could be built.
    built = [(a.egg, a.price) for a in result.enclosure.alternatives if a.egg is not None]
    quick = page.evaluate(EVERY, [as_figures(egg) for egg, _ in built])
    bills = max(abs(q["price"] / bill - 1) for q, (_, bill) in zip(quick, built, strict=True))
    tunnels = max(
        abs(q["weakest"]["metres"] / shortest(egg, result.site, project.trench) - 1)
        for q, (egg, _) in zip(quick, built, strict=True)
    )
    ms = [g["ms"] for g in got]
    page.close()
    print(  # noqa: T201
        f"\n{plot}: page {page_file.stat().st_size / 1e6:.2f} MB; area {area:.0e}, length {length:.0e}, over limits "
        f"{over:.2f} m, price {price:.1e}; quick price {bills:.1%}, quick tunnel {tunnels:.1%} off at worst in "
        f"{len(built)} lines; {np.median(ms):.0f} ms, at worst {max(ms):.0f}"
    )
    assert area < 1e-6
    assert length < 1e-6
    assert over < 1
    assert price < 0.01
    assert bills <= QUICK_PRICE_OFF
    assert tunnels <= QUICK_TUNNEL_OFF
    assert page_file.stat().st_size < 6_000_000
