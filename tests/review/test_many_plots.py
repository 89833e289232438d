"""Files of a run of many plots: what is in memory while they are written."""

import dataclasses
import pickle
import sqlite3
import weakref

import pytest
import shapely
from shapely.affinity import translate

from packpale.review import geopackage, overview_map
from packpale.review.model import FinishedPlots
from packpale.review.plot import read_report
from packpale.review.run import write_run
from packpale.review.summary import read_summary
from packpale.run.ranking import rank
from review import factory

BRIEF_BYTES = 20_000
"""What a run may keep of a plot while others are computed."""
LAYERS = ("plots", "usable_land", "fence_lines", "posts", "stations")
"""Enough of them to see."""


@pytest.fixture(scope="module")
def summaries(run):
    """Seven plots, all but two with the same enclosure."""
    known = [read_summary(run.folder / f"plots/plot-{k}/result.json") for k in range(3)]
    fitting = next(s for s in known if s.layers["fence_lines"])
    return {s.plot_id: s for s in [*known, *(_copy(fitting, f"copy {n}") for n in range(4))]}


def _copy(summary, plot_id):
    layers = {name: tuple({**row, "plot_id": plot_id} for row in summary.layers[name]) for name in LAYERS}
    return dataclasses.replace(summary, plot_id=plot_id, layers=layers)


def test_what_a_run_keeps_of_a_plot_is_small(summaries):
    for summary in summaries.values():
        assert summary.brief.figures == summary.figures
        assert len(pickle.dumps(summary.brief)) < BRIEF_BYTES


def test_outlines_on_the_map_of_all_plots_are_as_fine_as_its_pixels(summaries):
    """From the plots' bounds, which are at hand without reading a summary again."""
    near, *_ = summaries.values()
    (outline,) = [shapely.from_wkb(row["geometry"]) for row in near.layers["plots"]]
    assert near.brief.bounds == outline.bounds
    far = translate(outline, 3000, -40_000)
    layers = {**near.layers, "plots": ({**near.layers["plots"][0], "geometry": shapely.to_wkb(far, hex=True)},)}
    south = dataclasses.replace(near, layers=layers)
    nowhere = dataclasses.replace(near, layers={})
    width, height = outline.union(far).bounds[2] - outline.bounds[0], outline.bounds[3] - far.bounds[1]
    assert height > width > 3000
    coarse = overview_map._tolerance([near.brief, nowhere.brief, south.brief])
    assert coarse == pytest.approx(height * overview_map.TOLERANCE_SHARE)
    assert coarse > 10
    assert overview_map._tolerance([near.brief]) == overview_map._tolerance([nowhere.brief]) == overview_map.TOLERANCE_M


def test_few_plots_are_in_memory_while_the_files_of_all_are_written(run, summaries, tmp_path, monkeypatch):
    monkeypatch.setattr(geopackage, "WAITING_BYTES", 50_000)
    monkeypatch.setattr(geopackage, "LAYERS", {name: geopackage.LAYERS[name] for name in LAYERS})
    written, write = [], geopackage.write_layer

    def writing(path, layer, *given, **rest):
        written.append(layer)
        write(path, layer, *given, **rest)

    monkeypatch.setattr(geopackage, "write_layer", writing)
    # Those made of the reports of plots, which hold few of them whatever their number.
    monkeypatch.setattr("packpale.review.run._read_back", lambda _: read_report(run.folder / "plots/plot-0"))
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
    write_run(finished, ranking, settings, record, tmp_path, plots=run.folder / "plots")
    assert set(read) == set(summaries)
    assert most <= 4
    assert not alive
    with_rows = {n: len(s.layers["fence_lines"]) for n, s in summaries.items()}
    # Stations of each plot already take more; the plots themselves are written with the first of them, and at the end.
    assert written.count("plots") == 2
    assert written.count("stations") > 2
    with sqlite3.connect(tmp_path / "packpale.gpkg") as package:
        found = [plot_id for (plot_id,) in package.execute("SELECT plot_id FROM fence_lines ORDER BY fid")]
        names = [name for (name,) in package.execute("SELECT table_name FROM gpkg_contents ORDER BY rowid")]
    assert found == [r.plot_id for r in ranking.rows for _ in range(with_rows[r.plot_id])]
    assert names == list(LAYERS)


def test_a_layer_s_rows_do_not_depend_on_how_many_wait(summaries, tmp_path, monkeypatch):
    ranking = rank([s.brief for s in summaries.values()], factory.project().ranking.weights, draws=50, seed=1)
    finished = FinishedPlots({}, summaries.__getitem__)
    contents = []
    for size in (1, 300_000, 10**9):
        monkeypatch.setattr(geopackage, "WAITING_BYTES", size)
        path = tmp_path / f"{size}.gpkg"
        geopackage.write_geopackage(finished, ranking, factory.CRS, path)
        with sqlite3.connect(path) as package:
            # Layers have names of our own.
            queries = {name: f"SELECT * FROM {name} ORDER BY fid" for name in geopackage.LAYERS}  # noqa: S608
            contents.append({name: package.execute(query).fetchall() for name, query in queries.items()})
    assert contents[0] == contents[1] == contents[2]
    assert sum(map(len, contents[0].values())) > 1000
