"""What a plot is said to take is what a run of it takes: small plots, by what the program needs, and large ones."""

import resource
import subprocess
import sys

import county
import pytest

from packpale.run.memory import worker_bytes
from packpale.run.run import read_and_open


def peak_of_a_run(folder, side):
    """Most memory that a run of one plot in one process has held [bytes], and the cells of its window."""
    county.write_terrain(folder / "terrain.tif", side)
    county.write_plots(folder / "plots.gpkg", side, 1)
    settings = county.write_settings(folder)
    (cells,) = read_and_open(settings).cells.values()
    command = [sys.executable, "-m", "packpale.cli", "run", str(settings), "--out", str(folder / "out")]
    process = subprocess.Popen([*command, "--workers", "1"], stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
    # Of this process alone: the largest of all children is no answer where a test before had a larger one.
    peak, status = _waited(process)
    assert status == 0
    return peak, cells


def _waited(process):
    import os

    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    return used.ru_maxrss * (1024 if sys.platform == "linux" else 1), process.returncode


@pytest.mark.skipif(not hasattr(resource, "RUSAGE_CHILDREN"), reason="the system does not tell")
@pytest.mark.parametrize("side", [500, 2000])
def test_a_plot_takes_what_is_said_and_not_much_less(tmp_path, side):
    peak, cells = peak_of_a_run(tmp_path, side)
    said = worker_bytes(cells)
    print(f"\n{cells:,} cells: {peak / 1e6:.0f} MB held, {said / 1e6:.0f} MB said")  # noqa: T201 - what the benchmark is for
    assert peak <= said <= 2 * peak
