"""Files of a run of many plots: what is in memory while they are written."""

import dataclasses
import pickle
import shutil
import sqlite3
import weakref

import pytest
from shapely.affinity import translate

from packpale.review.layers import geopackage
from packpale.review.layers.geopackage import write_plot_layers
from packpale.review.maps import overview_map
from packpale.review.model import FinishedPlots
from packpale.review.plot_layers import PLOT_LAYERS
from packpale.review.run import write_run
from packpale.review.summary import layer_rows, read_summary
from packpale.run.ranking import rank
from review import factory

BRIEF_BYTES = 20_000
"""What a run may keep of a plot while others are computed."""


@pytest.fixture(scope="module")
def many(run, tmp_path_factory):
    """Seven plots, all but two with the same enclosure: what a run keeps of them, and their folders."""
    folder, plots = tmp_path_factory.mktemp("many"), {}
    for n in range(7):
        home = folder / f"plot-{n}"
        shutil.copytree(run.folder / f"plots/plot-{n if n < 3 else 0}", home)
        summary = read_summary(home / "result.json")
        if n > 2:
            summary = dataclasses.replace(summary, plot_id=f"copy {n}")
            layers = layer_rows(factory.renamed(run.plots[0], f"copy {n}"), run.settings)
            (home / PLOT_LAYERS).unlink()
            write_plot_layers(layers, factory.CRS, home / PLOT_LAYERS)
        plots[summary.plot_id] = dataclasses.replace(summary, folder=f"plot-{n}")
    return plots, folder


@pytest.fixture(scope="module")
def summaries(many):
    return many[0]


def test_what_a_run_keeps_of_a_plot_is_small(summaries):
    for summary in summaries.values():
        assert summary.brief.figures == summary.figures
        assert len(pickle.dumps(summary.brief)) < BRIEF_BYTES


def test_outlines_on_the_map_of_all_plots_are_as_fine_as_its_pixels(run, summaries):
    """From the plots' bounds, which are at hand without reading a summary again."""
    near, *_ = summaries.values()
    outline = run.plots[0].site.outline
    assert near.brief.bounds == outline.bounds
    far = translate(outline, 3000, -40_000)
    nowhere = dataclasses.replace(near, bounds=())
    south = dataclasses.replace(near, bounds=far.bounds)
    width, height = outline.union(far).bounds[2] - outline.bounds[0], outline.bounds[3] - far.bounds[1]
    assert height > width > 3000
    coarse = overview_map._tolerance([near.brief, nowhere.brief, south.brief])
    assert coarse == pytest.approx(height * overview_map.TOLERANCE_SHARE)
    assert coarse > 10
    assert overview_map._tolerance([near.brief]) == overview_map._tolerance([nowhere.brief]) == overview_map.TOLERANCE_M


def test_few_plots_are_in_memory_while_the_files_of_all_are_written(run, many, tmp_path, monkeypatch):
    summaries, folder = many
    monkeypatch.setattr(geopackage, "WAITING_ROWS", 600)
    written, write = [], geopackage.write_layer
    kept: weakref.WeakValueDictionary[int, object] = weakref.WeakValueDictionary()
    at_once, frames, read_layers = 0, 0, geopackage.read_layers

    def writing(path, layer, *given, **rest):
        written.append(layer)
        write(path, layer, *given, **rest)

    def reading(path):
        nonlocal at_once, frames
        layers = read_layers(path)
        for layer in layers.values():
            kept[frames] = layer
            frames += 1
        at_once = max(at_once, sum(len(f) for f in kept.values()))
        return layers

    monkeypatch.setattr(geopackage, "write_layer", writing)
    monkeypatch.setattr(geopackage, "read_layers", reading)
    settings = factory.project(ranking={"told_in_full": 1})
    alive: weakref.WeakValueDictionary[int, object] = weakref.WeakValueDictionary()
    most, read = 0, []

    def read_again(plot_id):
        nonlocal most
        # Another one each time, as from disk; the texts and rows inside are the same ones here.
        summary = dataclasses.replace(summaries[plot_id])
        alive[len(read)] = summary
        read.append(plot_id)
        most = max(most, len(alive))
        return summary

    finished = FinishedPlots({name: s.brief for name, s in summaries.items()}, read_again)
    ranking = rank(list(finished.briefs.values()), settings.ranking.weights, draws=50, seed=1)
    record = {"version": "0", "seed": 1, "crs": factory.CRS}
    write_run(finished, ranking, settings, record, tmp_path, plots=folder)
    assert set(read) == set(summaries)
    assert most <= 4
    assert not alive
    # Stations of each plot already are more; the plots themselves are written with the first of them, and at the end.
    assert written.count("plots") == 2
    assert written.count("stations") > 2
    with sqlite3.connect(tmp_path / "packpale.gpkg") as package:
        found = [plot_id for (plot_id,) in package.execute("SELECT plot_id FROM fence_lines ORDER BY fid")]
        names = [name for (name,) in package.execute("SELECT table_name FROM gpkg_contents ORDER BY rowid")]
        rows = sum(package.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for name in names)  # noqa: S608
    assert found == [r.plot_id for r in ranking.rows if r.feasible]
    assert names == list(geopackage.LAYERS)
    assert at_once < rows / 2


def test_a_layer_s_rows_do_not_depend_on_how_many_wait(many, tmp_path, monkeypatch):
    summaries, folder = many
    ranking = rank([s.brief for s in summaries.values()], factory.project().ranking.weights, draws=50, seed=1)
    finished = factory.finished(list(summaries.values()))
    contents = []
    for size in (1, 2_000, 10**9):
        monkeypatch.setattr(geopackage, "WAITING_ROWS", size)
        path = tmp_path / f"{size}.gpkg"
        geopackage.write_geopackage(finished, ranking, factory.CRS, path, plots=folder)
        with sqlite3.connect(path) as package:
            # Layers have names of our own.
            queries = {name: f"SELECT * FROM {name} ORDER BY fid" for name in geopackage.LAYERS}  # noqa: S608
            contents.append({name: package.execute(query).fetchall() for name, query in queries.items()})
    assert contents[0] == contents[1] == contents[2]
    assert sum(map(len, contents[0].values())) > 1000
