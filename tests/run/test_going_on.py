"""Runs that repeat, go on, or meet trouble."""

import json
import multiprocessing
import shutil
from pathlib import Path

import pytest

from made_inputs import NORTH_PLOT, SOUTH_PLOT, Made
from packpale import crew as crews
from packpale import many_plots, one_plot
from packpale import run as runs
from packpale.crew import Apart, Crew
from packpale.faults import Faults
from packpale.run import folder_names, run
from packpale.settings import read_settings
from packpale.site.inputs import open_inputs

ROOT = Path(__file__).parents[2]


def csv_files(folder):
    return {f.relative_to(folder).as_posix(): f.read_bytes() for f in sorted(folder.rglob("*.csv"))}


@pytest.fixture
def config(tmp_path):
    """The real-ground settings, so that a test may change them."""
    shutil.copytree(ROOT / "data_samples" / "real", tmp_path / "data_samples" / "real")
    (tmp_path / "config").mkdir()
    return Path(shutil.copy(ROOT / "config" / "real_ground.toml", tmp_path / "config"))


def test_same_input_same_bytes_whatever_the_number_of_workers(real_ground, run_command, config, tmp_path):
    again = tmp_path / "again"
    done = run_command(config, again, "--workers", "1")
    assert done.returncode == 0, done.stderr
    assert csv_files(again) == csv_files(real_ground)
    assert len(csv_files(again)) > 2


def test_a_second_run_keeps_what_is_complete_and_a_change_of_settings_does_not(run_command, config, tmp_path):
    out = tmp_path / "out"
    plot = "--plot"
    first = run_command(config, out, plot, some_plot(config))
    assert first.returncode == 0, first.stderr
    assert statuses(out) == {"done"}
    files = csv_files(out)
    assert run_command(config, out, plot, some_plot(config)).returncode == 0
    assert statuses(out) == {"kept"}
    assert csv_files(out) == files
    assert run_command(config, out, plot, some_plot(config), "--fresh").returncode == 0
    assert statuses(out) == {"done"}
    with config.open("a", encoding="utf-8") as text:
        text.write("\n[ranking]\nweights = {land = 1, space = 0, price = 0}\n")
    assert run_command(config, out, plot, some_plot(config)).returncode == 0
    assert statuses(out) == {"done"}
    assert not (out / ".partial").exists()


@pytest.mark.parametrize("forked", [True, False])
def test_no_worker_outlives_inputs_at_fault(forked, config, tmp_path, monkeypatch):
    """Workers that load for themselves start while the inputs are looked at; a fault ends them, whatever they load."""
    monkeypatch.setattr(crews, "FORKED", forked and crews.FORKED)
    others = multiprocessing.active_children()
    config.write_text(config.read_text(encoding="utf-8").replace(".tif", ".none"), encoding="utf-8")
    crew = Crew(2)
    crew.get_ready()
    assert len([p for p in multiprocessing.active_children() if p not in others]) == (0 if crews.FORKED else 2)
    with pytest.raises(Faults):
        run(config, out=tmp_path / "out", workers=2, crew=crew)
    assert [p for p in multiprocessing.active_children() if p not in others] == []
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(("most", "by", "stay"), [(1, Apart, 0), (2, Crew, 2)])
def test_workers_stay_for_the_run_s_files_unless_there_are_many_plots(tmp_path, monkeypatch, most, by, stay):
    """Pages and workers both need much memory: with many plots there is never both."""
    made = Made(tmp_path)
    text = 'crs = "EPSG:25832"\n[inputs]\nelevation = "dem.tif"\nplots = "own.gpkg"\nplot_id = "name"\n'
    made.plots(("north", NORTH_PLOT), ("south", SOUTH_PLOT))
    settings = made.text(text + "[land]\nmargin_m = 10\n[run]\ndraws = 1000\n", "small.toml")
    seen = []

    def look(outcomes, *_, executor, page_last):
        assert page_last is (by is Apart)
        seen.append((len(outcomes), type(executor), len(multiprocessing.active_children()) - before))

    monkeypatch.setattr(runs, "PAGES_BESIDE_WORKERS", most)
    monkeypatch.setattr(runs, "write_run_files", look)
    before = len(multiprocessing.active_children())
    run(settings, out=tmp_path / "out", workers=2)
    assert seen == [(2, by, stay)]


@pytest.mark.parametrize("case", [(1, True, "P"), (2, True, "pP"), (2, False, "P")])
def test_the_pages_are_loaded_while_workers_start(config, tmp_path, monkeypatch, case):
    """Where there are workers to wait for, and the pages are written beside them."""
    most, ready, order = case
    done = []

    def compute(jobs, *_):
        done.append("P")
        return {job.plot_id: one_plot.PlotOutcome(job.plot_id, "failed", "", 0.0, None) for job in jobs}

    monkeypatch.setattr(runs, "PAGES_BESIDE_WORKERS", most)
    monkeypatch.setattr(runs, "compute_here", compute)
    monkeypatch.setattr(runs, "write_run_files", lambda *_, **_how: None)
    monkeypatch.setattr("packpale.review.run.load_pages", lambda: done.append("p"))
    crew = Crew(2)
    if ready:
        crew.get_ready()
    chosen = [p.plot_id for p in open_inputs(read_settings(config)).plots][:2]
    run(config, out=tmp_path / "out", plots=chosen, workers=2, crew=crew)
    assert "".join(done) == order


def test_what_all_plots_rest_on_is_worked_out_once_for_all_workers(tmp_path, monkeypatch):
    made = Made(tmp_path)
    made.plots(("north", NORTH_PLOT), ("south", SOUTH_PLOT))
    settings = made.text(made.settings_text() + "[enclosure]\naspect = [1.2, 1.5]\n[run]\ndraws = 1000\n", "small.toml")
    handed_on = []
    share = many_plots._shared_in_a_file
    monkeypatch.setattr(many_plots, "_shared_in_a_file", lambda jobs, made: handed_on.append(made) or share(jobs, made))
    outcome = run(settings, out=tmp_path / "out", workers=2)
    assert outcome.complete
    assert [made.q for made in handed_on] == [pytest.approx((0.4, 1.0))]


def statuses(out):
    return {p["status"] for p in json.loads((out / "run.json").read_text(encoding="utf-8"))["plots"].values()}


def some_plot(config):
    return open_inputs(read_settings(config)).plots[0].plot_id


def test_an_unknown_plot_is_named_with_those_there_are(run_command, config, tmp_path):
    done = run_command(config, tmp_path / "out", "--plot", "nowhere")
    assert done.returncode == 2
    assert "--plot nowhere: no such plot; the plots are" in done.stderr
    assert not (tmp_path / "out").exists()


def test_a_failed_plot_is_named_and_the_others_are_complete(config, tmp_path, monkeypatch):
    broken = some_plot(config)
    whole = one_plot._through_the_rooms

    def breaking(job):
        if job.plot_id == broken:
            raise RuntimeError("the ground opened")
        return whole(job)

    monkeypatch.setattr(one_plot, "_through_the_rooms", breaking)
    outcome = run(config, out=tmp_path / "out", workers=1)
    assert not outcome.complete
    failed = [p for p in outcome.plots if p.status == "failed"]
    assert [(p.plot_id, p.reason) for p in failed] == [(broken, "RuntimeError: the ground opened")]
    assert not (tmp_path / "out" / "plots" / broken).exists()
    page = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert "1 plot is missing here: computing failed" in page
    assert f"<li>{broken}: RuntimeError: the ground opened</li>" in page
    assert len(list((tmp_path / "out" / "plots").iterdir())) == len(outcome.plots) - 1
    monkeypatch.undo()
    assert run(config, out=tmp_path / "out", workers=1).complete
    assert "computing failed" not in (tmp_path / "out" / "index.html").read_text(encoding="utf-8")


def test_a_run_without_a_plot_computed_says_so_and_not_that_nothing_fits(config, tmp_path, monkeypatch):
    def breaking(_job):
        raise RuntimeError("the ground opened")

    monkeypatch.setattr(one_plot, "_through_the_rooms", breaking)
    run(config, out=tmp_path / "out", workers=1)
    page = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert "No plot could be computed." in page
    assert "does an enclosure fit" not in page


def test_folder_names_are_safe_and_never_shared():
    ids = ["north", "North", "nOrth", "../../etc", "a/b", "a:b", "con", "ü", "", "x" * 200, ".", "..", "a b", "a-b"]
    names = folder_names(ids)
    assert len({n.lower() for n in names.values()}) == len(ids)
    assert names["a-b"] == "a-b"
    for name in names.values():
        assert set(name) <= set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-")
        assert 0 < len(name) <= 70
    assert names["con"] != "con"
    assert folder_names(ids[::-1]) == names
