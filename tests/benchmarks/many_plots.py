"""The files of a run with thousands of plots, measured: time, memory, bytes, and how long its pages take to open.

python tests/benchmarks/many_plots.py FOLDER 1000 5000      # FOLDER is made, or used again

A county of 60 plots is computed, 20 of them in full. Its screened plots are then copied, moved and given other prices
until there are enough; the files of the run are written over all of them, and its pages opened in Chromium.
"""

import argparse
import dataclasses
import json
import math
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import county
import numpy as np
import psutil
from shapely.affinity import translate

from packpale.review.layers.geopackage import write_screened_layers
from packpale.review.plot_layers import PLOT_LAYERS, read_layers
from packpale.review.summary import read_summary, write_summary
from packpale.run.plot import PlotOutcome
from packpale.run.run import read_and_open, write_run_files

PLOTS, PITCH_M = 60, 600.0
FILES = ("index.html", "map.html", "report.pdf", "quantities.xlsx", "packpale.gpkg", "ranking.csv", "run.json")
SIZES = {"desktop": (1280, 800), "phone": (390, 844)}


def computed(folder: Path) -> None:
    """The county's plots as a run leaves them, in ``folder``/few, unless they are there."""
    folder.mkdir(exist_ok=True)
    if (folder / "few" / "run.json").exists():
        return
    side = 510 * math.ceil(math.sqrt(PLOTS))
    county.write_terrain(folder / "terrain.tif", side)
    county.write_plots(folder / "plots.gpkg", side, PLOTS, plot_side=300.0)
    settings = county.write_settings(folder)
    subprocess.run(
        [sys.executable, "-m", "packpale.cli", "run", str(settings), "--out", str(folder / "few")], check=True
    )


def copied(folder: Path, count: int) -> tuple[Path, list[PlotOutcome]]:
    """So many plots in a folder of their own: those computed in full as they are, the others moved."""
    out = folder / f"many-{count}"
    shutil.rmtree(out, ignore_errors=True)
    (out / "plots").mkdir(parents=True)
    summaries = [read_summary(file) for file in sorted((folder / "few" / "plots").glob("*/result.json"))]
    outcomes = []
    for summary in summaries:
        if not summary.screened:
            shutil.copytree(folder / "few" / "plots" / summary.folder, out / "plots" / summary.folder)
            outcomes.append(PlotOutcome(summary.plot_id, "done", "", 1.0, summary.brief))
    screened = [s for s in summaries if s.screened]
    layers = {s.plot_id: read_layers(folder / "few" / "plots" / s.folder / PLOT_LAYERS) for s in screened}
    across = math.ceil(math.sqrt(count))
    draw = np.random.default_rng(3)
    for k in range(count - len(outcomes)):
        of = screened[k % len(screened)]
        name = f"parcel-{k:04d}"
        home = out / "plots" / name
        home.mkdir()
        west, south, east, north = of.bounds
        dx, dy = county.WEST + k % across * PITCH_M - west, county.NORTH - 6000.0 - k // across * PITCH_M - south
        figures = dict(of.figures)
        if figures["feasible"]:
            figures["cost_p50"] *= 1 + draw.uniform(0.0, 0.5)
        bounds = (west + dx, south + dy, east + dx, north + dy)
        summary = dataclasses.replace(of, plot_id=name, folder=name, figures=figures, bounds=bounds)
        write_summary(summary, home / "result.json")
        moved = {
            layer: [_known(r) | {"plot_id": name, "geometry": translate(r["geometry"], dx, dy)} for r in rows.rows()]
            for layer, rows in layers[of.plot_id].items()
        }
        write_screened_layers(moved, of.crs, home / PLOT_LAYERS)
        outcomes.append(PlotOutcome(name, "done", "", 0.1, summary.brief))
    return out, outcomes


def _known(row: dict[str, Any]) -> dict[str, Any]:
    """A row with None in place of the NaN that missing whole numbers are read back as."""
    return {key: None if isinstance(value, float) and math.isnan(value) else value for key, value in row.items()}


def written(folder: Path, count: int) -> Path:
    """Write the files of all plots together, and tell what that took."""
    out, outcomes = copied(folder, count)
    opened = read_and_open(folder / "county.toml")
    before, started = psutil.Process().memory_info().rss, time.process_time()
    write_run_files(outcomes, opened.project, {}, opened.inputs, out)
    spent = time.process_time() - started
    more = _peak() - before
    sizes = "; ".join(f"{name} {(out / name).stat().st_size / 1e6:.2f}" for name in FILES)
    tell(f"{count:,} plots: {spent:.1f} s of processor time, {more / 2**20:.0f} MiB more memory; MB: {sizes}")
    return out


def _peak() -> int:
    """Most memory of this process so far. [bytes]"""
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def opened_in_browser(out: Path) -> None:
    """Open the pages and tell how long that took, with a picture of each beside them."""
    from playwright.sync_api import sync_playwright

    program = next(p for name in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(name)))
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program, args=["--no-sandbox", "--disable-gpu"])
        for page_name in ("map.html", "index.html"):
            for size, (width, height) in SIZES.items():
                page = browser.new_page(viewport={"width": width, "height": height})
                started = time.monotonic()
                page.goto((out / page_name).as_uri())
                loaded = time.monotonic() - started
                # Two frames: what has been put on the page has then been drawn.
                page.evaluate("() => new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r)))")
                drawn = time.monotonic() - started
                used = page.evaluate("() => document.querySelectorAll('*').length")
                picture = out / f"{page_name.removesuffix('.html')}-{size}.png"
                page.screenshot(path=picture)
                tell(f"{page_name}, {size}: loaded in {loaded:.2f} s, drawn in {drawn:.2f} s, {used:,} elements")
                tell(f"  load: {json.dumps(os.getloadavg())}")
                page.close()
        browser.close()


def main() -> None:
    """Measure the numbers of plots asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("counts", type=int, nargs="+")
    given = parser.parse_args()
    computed(given.folder)
    for count in given.counts:
        opened_in_browser(written(given.folder, count))


def tell(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
