"""Inputs cut to one plot, as they go to a worker: the same is read from them."""

import pickle
from pathlib import Path

import numpy as np
import pytest
from shapely.geometry import Point, box

from made_inputs import NORTH, NORTH_PLOT, SOUTH_PLOT, WEST, Made, write_vector
from packpale.run.cache_key import site_digest
from packpale.run.run import read_and_open
from packpale.site.inputs import cut_to, open_inputs, read_site
from told import told

CONFIG = Path(__file__).parents[2] / "config"


def check(inputs, project):
    for plot in inputs.plots:
        cut = cut_to(inputs, plot.plot_id, project)
        assert [p.plot_id for p in cut.plots] == [plot.plot_id]
        assert set(cut.fence_lines) <= {plot.plot_id}
        sent = pickle.loads(pickle.dumps(cut))  # noqa: S301 - our own
        whole = read_site(inputs, plot.plot_id, project)
        assert site_digest(read_site(sent, plot.plot_id, project)) == site_digest(whole)


@pytest.mark.parametrize("name", ["demo", "real_ground"])
def test_an_example_s_plots_are_read_the_same(name):
    opened = read_and_open(CONFIG / f"{name}.toml")
    project, inputs = opened.project, opened.inputs
    assert len(inputs.plots) > 1
    check(inputs, project)


@pytest.fixture
def scattered(tmp_path):
    """Two plots among many pits, soil areas, trees and woods, most of them far from one or both."""
    made = Made(tmp_path)
    made.plots(("north", NORTH_PLOT), ("south", SOUTH_PLOT))
    rng = np.random.default_rng(2)
    xy = np.column_stack([rng.uniform(WEST - 400, WEST + 600, 60), rng.uniform(NORTH - 600, NORTH + 400, 60)])
    # Some where the plots are.
    xy[:6] = [(WEST + 30 + 20 * i, NORTH - 30 - 25 * i) for i in range(6)]
    rows = [f"{x},{y},{5 + i % 30},{'well' * (i % 2)}" for i, (x, y) in enumerate(xy)]
    made.pits("x,y,clay_percent,drainage_class\n" + "\n".join(rows) + "\n")
    squares = [({"clay_percent": 10.0 + i}, box(x, y, x + 90, y + 90)) for i, (x, y) in enumerate(xy[:40])]
    made.inputs["soil"] = write_vector(tmp_path / "soil.gpkg", squares)
    things = [({"height_m": 5.0}, Point(x, y)) for x, y in xy]
    made.inputs["trees_and_boulders"] = write_vector(tmp_path / "trees.gpkg", things)
    made.inputs["services"] = write_vector(tmp_path / "lines.gpkg", things)
    made.settings["soil"] = {"pit_range_m": 2.0}
    return made


def test_what_lies_far_away_is_left_out_and_changes_nothing(scattered):
    project = scattered.project()
    inputs = open_inputs(project)
    check(inputs, project)
    cut = cut_to(inputs, "north", project)
    for name in ("pits", "soil", "standing"):
        assert 0 < len(getattr(cut, name)) < len(getattr(inputs, name)), name
    assert 0 < len(cut.features["services"]) < len(inputs.features["services"])


def test_a_plot_without_soil_near_it_still_says_so(tmp_path):
    made = Made(tmp_path)
    far = box(WEST + 5000, NORTH, WEST + 5100, NORTH + 100)
    made.inputs["soil"] = write_vector(tmp_path / "soil.gpkg", [({"clay_percent": 10.0}, far)] * 3)
    project = made.project()
    inputs = open_inputs(project)
    check(inputs, project)
    site = read_site(cut_to(inputs, "north", project), "north", project)
    assert any("100 % of the plot lies under no soil polygon" in note for note in told(site.notes))


def test_the_nearest_pit_stays_however_far_it_is(tmp_path):
    """Pits too far away to say anything still tell how far away the next one is."""
    made = Made(tmp_path)
    rng = np.random.default_rng(5)
    angle, away = rng.uniform(0, 2 * np.pi, 300), rng.uniform(300, 400, 300)
    rows = [f"{WEST + 55 + r * np.cos(a)},{NORTH - 50 + r * np.sin(a)},20" for a, r in zip(angle, away, strict=True)]
    made.pits("x,y,clay_percent\n" + "\n".join(rows) + "\n")
    made.settings["soil"] = {"pit_range_m": 2.0}
    project = made.project()
    inputs = open_inputs(project)
    check(inputs, project)
    site = read_site(inputs, "north", project)
    assert site.pits == ()
    assert 150 < site.soil.pit_distance.min() < site.soil.pit_distance.max() < 400
