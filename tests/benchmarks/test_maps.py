"""All of a plot's map beside packing its pictures alone with a general library; `-s` shows the figures.

The map warps the ground, classes it, draws outlines, and packs pictures and the figures of every cell; the library only
packs pictures that are there already.
"""

import io
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from packpale.care.assess import assess as assess_care
from packpale.earthworks.work_out import work_out
from packpale.enclosure.place import place
from packpale.land.assess import assess as assess_land
from packpale.review.maps.plot_map import plot_map, write_plot_map
from packpale.review.model import PlotResult
from packpale.review.words import Wording
from packpale.run.run import read_and_open
from packpale.site.inputs import read_site

sys.path.insert(0, str(Path(__file__).parent))
import county

METRIC = Wording(imperial=False, currency="EUR")


@pytest.fixture(scope="module", params=[500, 1500], ids=["0.25 million cells", "2.25 million cells"])
def plot(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("county")
    county.write_terrain(folder / "terrain.tif", request.param)
    county.write_plots(folder / "plots.gpkg", request.param, 1)
    opened = read_and_open(county.write_settings(folder))
    project, inputs = opened.project, opened.inputs
    site = read_site(inputs, "field-0000", project)
    land = assess_land(site, project)
    enclosure = place(site, land, project)
    works = work_out(site, enclosure, project)
    care = assess_care(site, land, enclosure, project, den_mounds=works.haul.den_mounds)
    return PlotResult(site, land, enclosure, works, care), project


def test_a_map_takes_no_longer_than_a_few_times_the_packing_of_its_pictures(plot, tmp_path):
    result, project = plot
    pictures = [np.array(Image.open(io.BytesIO(p.png))) for p in plot_map(result, project, METRIC).pictures]
    ours = processor_seconds(lambda: write_plot_map(result, project, METRIC, tmp_path / "map.html"))
    packing = processor_seconds(lambda: [pack(picture) for picture in pictures])
    size = (tmp_path / "map.html").stat().st_size
    print(  # noqa: T201 - what the benchmark is for
        f"\nmap of {result.site.elevation.size:,} cells: {ours:.2f} s, {size / 1e6:.1f} MB; packing its "
        f"{len(pictures)} pictures alone {packing:.2f} s, ratio {ours / packing:.1f}"
    )
    assert size < 6e6
    assert ours < 20 * packing


def pack(picture):
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "PNG", compress_level=6)
    return out.getvalue()


def processor_seconds(work, rounds=2):
    work()
    took = []
    for _ in range(rounds):
        started = time.process_time()
        work()
        took.append(time.process_time() - started)
    return min(took)
