"""What screening tells of plots beside what the full computation tells: figures, ranking, processor time.

With tests/ on PYTHONPATH:

python tests/benchmarks/screened_beside_full.py county 60       # plots of 9 ha on invented ground
python tests/benchmarks/screened_beside_full.py real 40         # plots drawn at random on the laser-scanned sample
python tests/benchmarks/screened_beside_full.py config/demo.toml

All is computed in this process, one plot after the other, as far as the ranking hangs on it: reading, scoring, fit,
menu, proof, earthworks and price. What a plot in full takes beside that, its care, drawings and pages, is not in the
time here.
"""

import argparse
import math
import statistics
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import county
import fiona
import numpy as np
import rasterio
from shapely.geometry import mapping

import real_grounds
from packpale.earthworks.work_out import work_out
from packpale.enclosure.menu import price_decides
from packpale.enclosure.place import place, screened
from packpale.land.assess import assess
from packpale.review.model import PlotResult
from packpale.review.subjects.tables import OF_A_PLOT, Whole
from packpale.run.plot import with_few_draws
from packpale.run.pricing import pricing_of
from packpale.run.ranking import RANKED_BY, rank
from packpale.run.run import Opened, read_and_open
from packpale.site.grid import Grid
from packpale.site.inputs import cut_to, read_site

FIRST = (1, 3, 5, 10, 20)


@dataclass(frozen=True)
class Ranked:
    """A plot as the ranking sees it."""

    plot_id: str
    figures: dict[str, Any]


def computed(opened: Opened, plot_id: str, *, screening: bool) -> Ranked:
    """What the ranking hangs on."""
    project = opened.project
    site = read_site(cut_to(opened.inputs, plot_id, project), plot_id, project, screening=screening)
    land = assess(site, project)
    pricing = None if screening and not price_decides(project) else pricing_of(site, land, project)
    enclosure = (screened if screening else place)(site, land, project, pricing)
    works = work_out(site, enclosure, with_few_draws(project) if screening else project) if enclosure.feasible else None
    whole = Whole(PlotResult(site, land, enclosure, works, None), project)
    wanted = {*RANKED_BY, "feasible"}
    return Ranked(plot_id, {f.key: f.value(whole) for f in OF_A_PLOT if f.key in wanted})


def compared(opened: Opened) -> None:
    """Compute every plot both ways and tell how they differ."""
    both: dict[bool, list[Ranked]] = {True: [], False: []}
    spent = {True: 0.0, False: 0.0}
    for k, plot in enumerate(opened.inputs.plots):
        for screening in (True, False):
            started = time.process_time()
            both[screening].append(computed(opened, plot.plot_id, screening=screening))
            # The first plot loads and compiles.
            spent[screening] += (time.process_time() - started) if k else 0.0
    tell(f"{len(both[True])} plots; processor time of screening {spent[True] / spent[False]:.1%} of the whole")
    pairs = list(zip(both[True], both[False], strict=True))
    odd = [b.plot_id for a, b in pairs if a.figures["feasible"] != b.figures["feasible"]]
    tell(f"something fits in one way and not in the other: {', '.join(odd) or 'on no plot'}")
    for name in RANKED_BY:
        errors = [
            a.figures[name] / b.figures[name] - 1 for a, b in pairs if a.figures["feasible"] and b.figures["feasible"]
        ]
        sizes = sorted(abs(e) for e in errors)
        most = sizes[math.ceil(0.9 * len(sizes)) - 1]
        tell(
            f"{name}: off by {statistics.median(sizes):.2%} in the median, {most:.2%} at nine in ten, "
            f"{sizes[-1]:.2%} at worst; {min(errors):+.2%} to {max(errors):+.2%}"
        )
    weights = opened.project.ranking.weights
    orders = {s: [r.plot_id for r in rank(both[s], weights, draws=1, seed=1).rows if r.feasible] for s in both}
    for first in (n for n in FIRST if n < len(orders[False])):
        true = orders[False][:first]
        late = [orders[True].index(p) + 1 - first for p in true if p in orders[True]]
        missed = sum(p not in orders[True][:first] for p in true)
        tell(
            f"first {first} of the full ranking: {missed} not among the first {first} as screened; the last of them "
            f"{max(0, *late)} places behind"
        )


def on_real_ground(folder: Path, count: int) -> Path:
    """Settings for plots drawn at random on the laser-scanned sample."""
    with rasterio.open(real_grounds.SAMPLE) as file:
        grid = Grid(file.transform.c, file.transform.f, file.transform.a, *file.shape)
        crs = file.crs.to_wkt()
    random = np.random.default_rng(5)
    schema = {"geometry": "Polygon", "properties": {"name": "str"}}
    with fiona.open(folder / "plots.gpkg", "w", driver="GPKG", crs_wkt=crs, schema=schema) as out:
        for k in range(count):
            outline = mapping(real_grounds.random_plot(random, grid))
            out.write({"geometry": outline, "properties": {"name": f"field-{k:02}"}})
    path = folder / "real.toml"
    inputs = f'elevation = "{real_grounds.SAMPLE}"\nplots = "plots.gpkg"\nplot_id = "name"\n'
    path.write_text("[inputs]\n" + inputs, encoding="utf-8")
    return path


def main() -> None:
    """Compare on the ground asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("ground", help="county, real, or a settings file")
    parser.add_argument("count", type=int, nargs="?", default=40)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="beside-") as name:
        folder = Path(name)
        if given.ground == "county":
            side = 510 * math.ceil(math.sqrt(given.count))
            county.write_terrain(folder / "terrain.tif", side)
            county.write_plots(folder / "plots.gpkg", side, given.count, plot_side=300.0)
            settings = county.write_settings(folder)
        elif given.ground == "real":
            settings = on_real_ground(folder, given.count)
        else:
            settings = Path(given.ground)
        compared(read_and_open(settings))


def tell(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
