"""A plot too large for the memory it may take is worked through in strips, and its files are the same byte for byte."""

import re
from pathlib import Path

import pytest

from packpale import one_plot
from packpale.holding import held
from packpale.keys import plot_key, run_key
from packpale.one_plot import Job, compute_plot
from packpale.run import read_and_open
from packpale.site.inputs import plot_window, read_site
from packpale.site.storage import Storage

CONFIG = Path(__file__).parents[2] / "config" / "demo.toml"
PLOT = "tessel-halves"


def files(folder):
    """Content of a plot's files, without its keys and without how long the fit took."""
    found = {p.name: p.read_bytes() for p in folder.iterdir() if p.name != "key.txt"}
    found["result.json"] = re.sub(rb'"fit_s": [\d.e-]+', b"", found["result.json"])
    return found


def test_every_file_of_a_plot_is_the_same(demo, tmp_path, monkeypatch):
    project, inputs = read_and_open(CONFIG)
    grid = plot_window(inputs, inputs.plot(PLOT), project)
    made = []

    def small_strips(folder):
        made.append(folder)
        return Storage(folder, strip_cells=10_000)

    assert grid.rows * grid.cols > 5 * 10_000
    monkeypatch.setattr(one_plot, "Storage", small_strips)
    # As much as it would take, and a byte less.
    needed = grid.rows * grid.cols * one_plot.CELL_BYTES / 1e6
    with held(tmp_path) as name:
        for memory, in_files in ((needed, False), (needed - 1e-6, True)):
            allowed = project.model_copy(update={"run": project.run.model_copy(update={"memory_mb": memory})})
            job = Job(inputs, allowed, PLOT, PLOT, tmp_path, "key", name)
            assert isinstance(one_plot._storage(inputs, job).folder, Path) == in_files
        made.clear()
        outcome = compute_plot(job)
        assert (outcome.status, outcome.reason) == ("done", "")
        assert made == [job.building.parent]
        # The arrays' files have no names: nothing is left of them.
        assert list(job.building.parent.iterdir()) == []
    assert files(job.finished) == files(demo / "plots" / PLOT)


def test_a_plot_is_not_computed_again_because_it_may_take_less_memory():
    project, inputs = read_and_open(CONFIG)
    less = project.model_copy(update={"run": project.run.model_copy(update={"memory_mb": 100.0})})
    more_draws = project.model_copy(update={"run": project.run.model_copy(update={"draws": 200})})
    site = read_site(inputs, PLOT, project)
    assert plot_key(less, site) == plot_key(project, site) != plot_key(more_draws, site)
    assert run_key(less, {}) == run_key(project, {}) != run_key(more_draws, {})


def test_without_room_for_the_arrays_a_plot_fails_in_one_line(tmp_path, monkeypatch):
    project, inputs = read_and_open(CONFIG)

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.posix_fallocate", full)
    monkeypatch.setattr(one_plot, "CELL_BYTES", 1e9)
    (tmp_path / ".partial").mkdir()
    outcome = compute_plot(Job(inputs, project, PLOT, PLOT, tmp_path, "key"))
    assert outcome.status == "failed"
    assert "No space left" in outcome.reason
    assert not (tmp_path / "plots").exists()


@pytest.mark.parametrize("shape", [(0, 5), (3, 0), (7, 4)])
def test_arrays_in_files_hold_what_is_put_in_them(tmp_path, shape):
    array = Storage(tmp_path).empty(shape, "int16")
    array[:] = 7
    assert array.shape == shape
    assert (array == 7).all()
    assert array.flags.writeable
