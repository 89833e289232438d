"""Plots that need more memory than there is are refused with the cell size that fits."""

import re

import pytest
from click.testing import CliRunner

from made_inputs import Made
from packpale.cli import commands
from packpale.faults import Faults
from packpale.run.memory import CELL_BYTES, WORKER_BYTES, check_memory, disk_bytes, most_cells, worker_bytes
from packpale.settings import Project

INPUTS = {"elevation": ["dem.tif"], "plots": "plots.gpkg", "plot_id": "name"}


def project(**run):
    return Project.model_validate({"inputs": INPUTS, "run": run})


def test_a_plot_that_fits_is_no_fault():
    check_memory({"north": 1_000_000}, project(), cell_m=1.0, memory=worker_bytes(1_000_000))


@pytest.mark.parametrize("cells", [1, 250_000, 4_000_000, 4_000_001, 25_000_000])
def test_the_largest_plot_of_a_worker_takes_its_memory(cells):
    assert most_cells(worker_bytes(cells)) == pytest.approx(cells, abs=1)


def test_each_plot_that_does_not_fit_is_told_with_the_cell_size_that_does():
    memory = worker_bytes(4_000_000)
    with pytest.raises(Faults) as refused:
        check_memory({"a": 16_000_000, "b": 1, "c": 9_000_000}, project(), cell_m=0.5, memory=memory)
    assert len(refused.value.lines) == 2
    first, last = refused.value.lines
    assert first.startswith('plot "a": its window of 16,000,000 cells of 0.5 m takes about ')
    assert "GB are free; " in first
    # Four times the cells: twice the cell size, and a little more for whole cells.
    assert first.endswith("set land.cell_m = 1.1 or a smaller land.margin_m")
    assert last.endswith("set land.cell_m = 0.76 or a smaller land.margin_m")
    for line, cells in ((first, 16_000_000), (last, 9_000_000)):
        cell = float(re.search(r"land.cell_m = (\S+)", line).group(1))
        assert worker_bytes(int(cells * (0.5 / cell) ** 2)) <= memory


def test_where_not_even_a_worker_has_room_no_cell_size_is_named():
    with pytest.raises(Faults, match=r"are allowed by run\.memory_mb; free some memory, or"):
        check_memory({"a": 10}, project(memory_mb=500), cell_m=1.0, memory=WORKER_BYTES / 2)


def test_run_and_check_refuse_such_a_plot_before_anything_is_computed(tmp_path, monkeypatch):
    made = Made(tmp_path)
    monkeypatch.setattr("packpale.run.memory.free_memory", lambda: WORKER_BYTES + 100 * CELL_BYTES)
    config, out = made.text(made.settings_text(), "land.toml"), tmp_path / "out"
    for command in (["check", str(config)], ["run", str(config), "--out", str(out)]):
        done = CliRunner().invoke(commands, command)
        assert done.exit_code == 2
        assert re.match(r'plot ".*": its window of [\d,]+ cells of 1 m takes about', done.stderr), done.stderr
    assert not out.exists()


@pytest.mark.parametrize(
    ("megabytes", "said"), [(100_000, "100.0 GB may be used, enough for 3"), (1900, "1.9 GB may be used, enough for 2")]
)
def test_check_tells_windows_memory_and_disk(tmp_path, monkeypatch, megabytes, said):
    made = Made(tmp_path)
    monkeypatch.setattr("packpale.cli.check.cores", lambda: 3)
    text = f"{made.settings_text()}[run]\nmemory_mb = {megabytes}\n"
    done = CliRunner().invoke(commands, ["check", str(made.text(text, "land.toml"))])
    assert done.exit_code == 0, done.stderr
    lines = [line for line in done.stdout.splitlines() if not line.startswith("note: ")]
    assert len(lines) == 5
    cells = [int(n.replace(",", "")) for n in re.findall(r"[\d,]+\d", lines[1])]
    assert cells[0] == sum(cells[2:]) if cells[1] == 2 else cells[0] > 0
    assert lines[2] == f"memory: about 0.9 GB for a worker with the largest plot; {said} at one time on 3 cores"
    assert lines[3].startswith("disk: about ")


def test_disk_grows_with_plots_and_cells():
    assert disk_bytes({"a": 1, "b": 1}) == 2 * disk_bytes({"a": 1})
    assert disk_bytes({"a": 9, "b": 1}) > disk_bytes({"a": 9, "b": 1}, 1) > disk_bytes({"a": 9})
    assert disk_bytes({"a": 1_000_000}) > disk_bytes({"a": 1}) + 10_000_000
