"""Whole runs on a cluster of this machine that loses a worker, and one that loses its scheduler."""

import subprocess
import sys
import time

import pytest
from shapely.geometry import box

from made_cluster import Machine, wait_until
from made_inputs import NORTH, WEST, Made, centres, plane

PLOTS = 6


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """Settings with six small plots, and the CSV files of a run by one process of this machine."""
    made = Made(tmp_path_factory.mktemp("small"))
    x, y = centres(200, 340)
    made.raster(plane(x, y).astype("float32"), file="dem.tif")
    corners = [(WEST + 15 + 105 * i, NORTH - 95 - 90 * j) for i in range(3) for j in range(2)]
    made.plots(*((f"field-{n}", box(w, s, w + 95, s + 75 + n)) for n, (w, s) in enumerate(corners)))
    text = 'crs = "EPSG:25832"\n[inputs]\nelevation = "dem.tif"\nplots = "own.gpkg"\nplot_id = "name"\n'
    config = made.text(text + "[land]\nmargin_m = 10\n", "small.toml")
    packpale(config, made.folder / "here", "--workers", "1", check=True)
    return config, csv_files(made.folder / "here")


def packpale(config, out, *more, check=False, start=subprocess.run):
    command = [sys.executable, "-m", "packpale.cli", "run", str(config), "--out", str(out), *more]
    options = {"check": check} if start is subprocess.run else {}
    return start(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **options)


def csv_files(folder):
    return {f.relative_to(folder).as_posix(): f.read_bytes() for f in sorted(folder.rglob("*.csv"))}


@pytest.fixture
def machine(tmp_path):
    made = Machine(tmp_path)
    yield made
    made.stop()


def test_a_worker_ended_in_the_middle_costs_only_its_plot(small, machine, tmp_path):
    config, expected = small
    out = tmp_path / "out"
    going = packpale(config, out, "--cluster", machine.address, start=subprocess.Popen)
    wait_until(lambda: len(list((out / "plots").glob("*"))) >= 1, 300)
    time.sleep(0.5)
    machine.workers[0].kill()
    before = {f.name: (f / "key.txt").stat().st_mtime_ns for f in (out / "plots").iterdir()}
    _, said = going.communicate(timeout=600)
    assert going.returncode == 0, said
    assert said.count("done in") == PLOTS
    assert csv_files(out) == expected
    # What was complete when the worker ended was not computed again.
    assert {n: (out / "plots" / n / "key.txt").stat().st_mtime_ns for n in before} == before


def test_a_lost_scheduler_is_one_line_and_the_same_command_goes_on(small, machine, tmp_path):
    config, expected = small
    out = tmp_path / "out"
    going = packpale(config, out, "--cluster", machine.address, start=subprocess.Popen)
    wait_until(lambda: len(list((out / "plots").glob("*"))) >= 2, 300)
    machine.scheduler.kill()
    _, said = going.communicate(timeout=60)
    assert going.returncode == 2, said
    told = [line for line in said.splitlines() if not line.startswith("plot ")]
    assert len(told) == 1, said
    assert "connection to the scheduler was lost" in told[0]
    done = packpale(config, out, "--workers", "2")
    assert done.returncode == 0, done.stderr
    assert done.stderr.count("done in") <= PLOTS - 2
    assert csv_files(out) == expected
