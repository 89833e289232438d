"""Runs that repeat, go on, or meet trouble."""

import json
import shutil
from pathlib import Path

import pytest

from packpale.run import plot
from packpale.run.run import ERRORS, run
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


@pytest.fixture
def quick(config):
    """The same by the strict rules, which take a tenth of the time to search and prove."""
    text = config.read_text(encoding="utf-8")
    config.write_text(text.replace("[land]\n", "[land]\nmay_lie_inside = []\n"), encoding="utf-8")
    return config


def test_a_second_run_keeps_what_is_complete_and_a_change_of_settings_does_not(run_command, quick, tmp_path):
    out = tmp_path / "out"
    plot = "--plot"
    first = run_command(quick, out, plot, some_plot(quick))
    assert first.returncode == 0, first.stderr
    assert statuses(out) == {"done"}
    files = csv_files(out)
    assert run_command(quick, out, plot, some_plot(quick)).returncode == 0
    assert statuses(out) == {"kept"}
    assert csv_files(out) == files
    assert run_command(quick, out, plot, some_plot(quick), "--fresh").returncode == 0
    assert statuses(out) == {"done"}
    with quick.open("a", encoding="utf-8") as text:
        text.write("\n[ranking]\nweights = {land = 1, space = 0, price = 0}\n")
    assert run_command(quick, out, plot, some_plot(quick)).returncode == 0
    assert statuses(out) == {"kept"}
    assert json.loads((out / "run.json").read_text(encoding="utf-8"))["settings"]["ranking"]["weights"]["space"] == 0
    with quick.open("a", encoding="utf-8") as text:
        text.write("\n[fence]\nheight_m = 2.6\n")
    assert run_command(quick, out, plot, some_plot(quick)).returncode == 0
    assert statuses(out) == {"done"}
    assert not (out / ".partial").exists()


def statuses(out):
    return {p["status"] for p in json.loads((out / "run.json").read_text(encoding="utf-8"))["plots"].values()}


def some_plot(config):
    return open_inputs(read_settings(config)).plots[0].plot_id


def test_an_unknown_plot_is_named_with_those_there_are(run_command, config, tmp_path):
    done = run_command(config, tmp_path / "out", "--plot", "nowhere")
    assert done.returncode == 2
    assert "--plot nowhere: no such plot; the plots are" in done.stderr
    assert not (tmp_path / "out").exists()


def test_a_failed_plot_is_named_and_the_others_are_complete(quick, tmp_path, monkeypatch):
    broken = some_plot(quick)
    whole = plot._through_the_rooms

    def breaking(job):
        if job.plot_id == broken:
            raise RuntimeError("the ground opened")
        return whole(job)

    monkeypatch.setattr(plot, "_through_the_rooms", breaking)
    outcome = run(quick, out=tmp_path / "out", workers=1)
    assert not outcome.complete
    failed = [p for p in outcome.plots if p.status == "failed"]
    assert [(p.plot_id, p.reason) for p in failed] == [(broken, "RuntimeError: the ground opened")]
    assert not (tmp_path / "out" / "plots" / broken).exists()
    log = (tmp_path / "out" / ERRORS).read_text(encoding="utf-8")
    assert log.startswith(f"plot {broken}\nTraceback (most recent call last)")
    assert "in breaking" in log
    page = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert "1 plot is missing here: computing failed" in page
    assert f"<li>{broken}: RuntimeError: the ground opened</li>" in page
    assert len(list((tmp_path / "out" / "plots").iterdir())) == len(outcome.plots) - 1
    monkeypatch.undo()
    assert run(quick, out=tmp_path / "out", workers=1).complete
    assert "computing failed" not in (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert not (tmp_path / "out" / ERRORS).exists()


def test_a_run_without_a_plot_computed_says_so_and_not_that_nothing_fits(config, tmp_path, monkeypatch):
    def breaking(_job):
        raise RuntimeError("the ground opened")

    monkeypatch.setattr(plot, "_through_the_rooms", breaking)
    run(config, out=tmp_path / "out", workers=1)
    page = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert "No plot could be computed." in page
    assert "does an enclosure fit" not in page
