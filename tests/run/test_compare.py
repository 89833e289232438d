"""Two runs side by side: what changed, as values, as a page, as a map and as a table."""

import csv
import dataclasses
import json
import shutil

import pytest
from click.testing import CliRunner

from packpale.cli import commands
from packpale.faults import Faults
from packpale.review.plot import REPORT
from packpale.review.plot_layers import PLOT_LAYERS
from packpale.review.run import write_run
from packpale.review.summary import write_summary
from packpale.run.compare import FigureChange, compare, read_finished_run
from packpale.run.ranking import rank
from packpale.settings import Project
from review import factory

NOTHING_TOLD = '{"sheet": {"kind": "section", "title": "A plot", "blocks": []}, "sections": []}'


@pytest.fixture(scope="module")
def summary():
    from packpale.review.summary import summarise

    return summarise(factory.result(), factory.project(), "plot-0", None)


@pytest.fixture(scope="module")
def layers(tmp_path_factory):
    return factory.write_layers(tmp_path_factory.mktemp("plots"), [factory.result()]) / "plot-0" / PLOT_LAYERS


@pytest.fixture
def left(tmp_path, summary, layers):
    """Write what a run leaves, from summaries alone."""

    def write(name, *changes, plots=(), hashes=None, failed=None, **sections):
        out, project = tmp_path / name, factory.project(**sections)
        summaries = []
        for k, figures in enumerate(changes):
            plot_id = plots[k] if plots else f"plot {k}"
            one = dataclasses.replace(
                summary, plot_id=plot_id, folder=f"plot-{k}", figures={**summary.figures, **figures}
            )
            (out / "plots" / one.folder).mkdir(parents=True)
            write_summary(one, out / "plots" / one.folder / "result.json")
            (out / "plots" / one.folder / REPORT).write_text(NOTHING_TOLD, encoding="utf-8")
            shutil.copy(layers, out / "plots" / one.folder)
            summaries.append(one)
        record = {
            "version": "0.1.0", "crs": factory.CRS, "seed": 1, "warnings": [],
            "settings": Project.model_dump(project, mode="json", exclude={"inputs"}),
            "input_hashes": hashes or {"ground.tif": "a" * 64},
            "plots": {s.plot_id: {"status": "done", "reason": "", "seconds": 1.0} for s in summaries}
            | {k: {"status": "failed", "reason": v, "seconds": 1.0} for k, v in (failed or {}).items()},
        }  # fmt: skip
        ranking = rank(summaries, project.ranking.weights, draws=50, seed=1)
        write_run(factory.finished(summaries), ranking, project, record, out)
        return out

    return write


def both(first, second):
    return compare(read_finished_run(first), read_finished_run(second))


def test_the_same_runs_differ_in_nothing(left):
    found = both(left("a", {}, {}), left("b", {}, {}))
    assert (found.settings, found.inputs) == ((), ())
    assert not any(p.changed for p in found.plots)


def test_settings_inputs_figures_and_ranks_that_changed(left):
    first = left(
        "a", {"cost_p50": 100_000.0}, {"cost_p50": 400_000.0}, hashes={"ground.tif": "a" * 64, "old": "c" * 64}
    )
    second = left(
        "b", {"cost_p50": 400_000.0}, {"cost_p50": 100_000.0},
        hashes={"ground.tif": "b" * 64, "new": "d" * 64}, trench={"depth_m": 1.4}, title="Another title",
    )  # fmt: skip
    found = both(first, second)
    assert {(c.name, c.first, c.second) for c in found.settings} == {
        ("title", "Invented estate", "Another title"),
        ("trench.depth_m", 1.2, 1.4),
    }
    assert {(c.name, c.first, c.second) for c in found.inputs} == {
        ("ground.tif", "a" * 64, "b" * 64),
        ("old", "c" * 64, None),
        ("new", None, "d" * 64),
    }
    plots = {p.plot_id: p for p in found.plots}
    assert plots["plot 0"].ranks == (1, 2)
    assert plots["plot 1"].ranks == (2, 1)
    price = next(f for f in plots["plot 0"].figures if f.name == "cost_p50")
    assert (price.difference, price.share) == (300_000.0, 3.0)
    # The second's ranking gives the order.
    assert [p.plot_id for p in found.plots] == ["plot 1", "plot 0"]


def test_plots_of_one_run_alone_and_failed_ones_are_there(left):
    found = both(left("a", {}, {}, plots=("p", "q")), left("b", {}, plots=("q",), failed={"r": "no ground"}))
    plots = {p.plot_id: p for p in found.plots}
    assert plots["p"].ranks == (1, None)
    assert plots["p"].reasons == ("", "not among the plots")
    assert plots["p"].lines[0]
    assert not plots["p"].lines[1]
    assert plots["p"].changed
    assert plots["r"].reasons == ("not among the plots", "failed: no ground")


def test_a_plot_left_over_from_an_earlier_run_is_not_taken(left):
    first = left("a", {}, {}, plots=("p", "q"))
    record = json.loads((first / "run.json").read_text(encoding="utf-8"))
    del record["plots"]["q"]
    (first / "run.json").write_text(json.dumps(record), encoding="utf-8")
    table = (first / "ranking.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    (first / "ranking.csv").write_text("".join(r for r in table if not r.startswith("2,q")), encoding="utf-8")
    assert list(read_finished_run(first).summaries) == ["p"]


def test_differences_of_single_figures():
    assert FigureChange("x", 10.0, 8.0).difference == -2.0
    assert FigureChange("x", 10.0, 8.0).share == pytest.approx(-0.2)
    assert FigureChange("x", 0.0, 8.0).share is None
    assert FigureChange("x", None, 8.0).difference is None
    assert FigureChange("x", None, 8.0).changed
    assert not FigureChange("x", None, None).changed
    assert not FigureChange("x", 0.0, 0.0).changed


def command(*arguments):
    return CliRunner().invoke(commands, ["compare", *map(str, arguments)])


def test_command_writes_page_map_and_table_with_hostile_names_as_text(left, tmp_path):
    names = (factory.HOSTILE, factory.FORMULA)
    first = left("a", {"cost_p50": 100_000.0}, {}, plots=names, title=factory.HOSTILE)
    second = left("b", {"cost_p50": 123_400.0}, {}, plots=names, units="imperial", currency="USD")
    done = command(first, second, "--out", tmp_path / "out")
    assert done.exit_code == 0, done.output
    page, web, table = (
        (tmp_path / "out" / n).read_text(encoding="utf-8") for n in ("index.html", "map.html", "comparison.csv")
    )
    assert factory.HOSTILE not in page + web
    assert "<img src=x" not in page + web.replace("\\u003c", "")
    rows = list(csv.DictReader(table.splitlines()))
    price = next(r for r in rows if r["figure"] == "cost_p50" and r["plot_id"] == factory.HOSTILE)
    assert (price["first"], price["second"], price["difference"]) == ("100000.00", "123400.00", "23400.00")
    assert {r["plot_id"] for r in rows} == {factory.HOSTILE, "'" + factory.FORMULA}
    assert "EUR\u00a0100,000" in page
    assert "USD\u00a0123,000" in page
    assert "+USD\u00a023,400 (+23.4 %)" in page
    assert not (tmp_path / "out" / ".partial").exists()
    # A second comparison into the same folder replaces the first.
    assert command(first, first, "--out", tmp_path / "out").exit_code == 0
    assert "No figure of any plot differs" in (tmp_path / "out" / "index.html").read_text(encoding="utf-8")


def test_what_is_no_finished_run_is_told_for_both_folders(left, tmp_path):
    good = left("a", {})
    (tmp_path / "empty").mkdir()
    done = command(tmp_path / "empty", tmp_path / "none", "--out", tmp_path / "out")
    assert done.exit_code == 2
    assert done.stderr.splitlines() == [
        f"{tmp_path / name}: holds no finished run (run.json is missing); give the folder of a run"
        for name in ("empty", "none")
    ]
    assert not (tmp_path / "out").exists()
    for text in ("{", "[]", '{"plots": {}}', '{"plots": 3, "settings": {}, "input_hashes": {}, "version": ""}'):
        (good / "run.json").write_text(text, encoding="utf-8")
        with pytest.raises(Faults, match="run the same settings again with this version"):
            read_finished_run(good)
