"""The plan of a run: what it concludes from the plots measured. The benchmarks compare whole plans with runs."""

from concurrent.futures import ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool

import pytest
from click.testing import CliRunner
from pyproj import CRS

from made_inputs import NORTH, WEST, Made, write_raster
from packpale import cli, planning
from packpale.faults import Faults, Gathering
from packpale.planning import Line, Plan, Sample, line_through, lines, read_bytes, to_compute
from packpale.site.grid import Grid
from packpale.site.inputs import open_inputs
from packpale.site.raster_files import open_elevation


@pytest.fixture
def made_plan():
    """A plan of ten equal plots of two seconds each, and changes to it."""

    def build(**changes):
        sample = Sample("a", 1000, 2.0, 50_000, 300_000_000, True)
        given = {
            "cells": {f"p{n}": 1000 for n in range(10)},
            "read": 4_000_000,
            "samples": (sample,),
            "seconds": Line(1.0, 0.001),
            "written": Line(0.0, 50.0),
            "memory": Line(2e8, 1e5),
            "most_in_memory": 10_000_000,
            "starting": 5.0,
            "before": 60.0,
            "finishing": 0.5,
        }
        return Plan(**(given | changes))

    return build


def test_ten_plots_over_four_workers_take_three_rounds(made_plan):
    # Checked, a worker started, 3 plots one after the other on two of the workers, then the files of the whole run.
    assert made_plan().minutes(4) == pytest.approx((60 + 5 + 3 * 2 + 10 * 0.5) / 60)
    assert made_plan().minutes(1) == pytest.approx((60 + 5 + 10 * 2 + 10 * 0.5) / 60)
    assert made_plan().minutes(99) == made_plan().minutes(10) == pytest.approx((60 + 5 + 2 + 5) / 60)


def test_a_worker_that_gets_free_takes_the_largest_plot_left(made_plan):
    # 9 s on one worker, meanwhile 5 + 3 + 2 s on the other.
    plan = made_plan(cells={"a": 2, "b": 3, "c": 5, "d": 9}, seconds=Line(0, 1), starting=0, before=0, finishing=0)
    assert plan.minutes(2) == pytest.approx(10 / 60)


def test_a_line_is_found_where_samples_tell_it_and_is_never_below_zero():
    line = line_through([1000, 2000, 4000], [3.0, 5.0, 9.0])
    assert (line.fixed, line.per_cell) == (pytest.approx(1), pytest.approx(0.002))
    for cells, values in (([1000, 4000], [9.0, 1.0]), ([1000, 4000], [1.0, 9.0]), ([1000, 1000], [2.0, 4.0])):
        line = line_through(cells, values)
        assert line.fixed == 0
        # Through the origin, least squares: sum(x y) / sum(x x).
        expected = sum(x * y for x, y in zip(cells, values, strict=True)) / sum(x * x for x in cells)
        assert line.per_cell == pytest.approx(expected)


def test_the_smallest_a_middle_and_the_largest_quick_plot_are_computed(monkeypatch):
    monkeypatch.setattr(planning, "SAMPLE_CELLS", 50)
    assert to_compute({"e": 51, "d": 50, "a": 10, "c": 30, "b": 20}) in (["a", "b", "d"], ["a", "c", "d"])
    assert to_compute({"b": 70, "a": 60}) == ["a"]
    assert to_compute({"only": 10}) == ["only"]
    assert to_compute({"b": 10, "a": 10}) == ["a", "b"]


def test_what_is_read_is_the_windows_part_of_the_files(tmp_path):
    tiles = [write_raster(tmp_path / f"{n}.tif", west=WEST + 200 * n) for n in range(2)]
    elevation = open_elevation(tiles, "m", Gathering())
    crs = CRS.from_epsg(25832)
    size = tiles[0].stat().st_size
    whole, half_of_each = Grid(WEST, NORTH, 1, 200, 400), Grid(WEST + 100, NORTH, 1, 200, 200)
    assert read_bytes(elevation, crs, [whole]) == pytest.approx(2 * size, abs=1)
    assert read_bytes(elevation, crs, [half_of_each]) == pytest.approx(size, abs=1)
    assert read_bytes(elevation, crs, [whole, half_of_each]) == pytest.approx(3 * size, abs=1)
    assert read_bytes(elevation, crs, [Grid(WEST - 100, NORTH + 50, 1, 40, 90)]) == 0


def test_a_plan_names_the_largest_plot_and_the_worker_numbers(made_plan):
    text = "\n".join(lines(made_plan(cells={"a": 1000, "b": 3_000_000}), workers=None))
    assert "cells: 3,001,000, in 2 windows of 1,000 to 3,000,000" in text
    # 50 bytes a cell
    assert "writes: about 150 MB in the plots' folders\n" in text
    assert "about 300 GB for a worker" in text  # 100 kB a cell and a little
    assert "1 worker " in text
    assert "2 workers " in text
    assert "4 workers" not in text
    assert "a (1,000 cells, 2.0 s)" in text
    text = "\n".join(lines(made_plan(cells={"a": 1000, "b": 3_000, "c": 4_000}, most_in_memory=2_000), workers=None))
    assert "memory: about 400 MB for a worker with the largest plot; 2 of more than 2,000 cells with arrays" in text
    told = lines(made_plan(memory=None), workers=3)
    assert not any(line.startswith("memory") for line in told)
    assert any("time: 3 workers 1.3 min" in line for line in told)  # (60 + 5 + 4 x 2 + 5) s


def test_a_plan_of_plots_that_fail_names_them(tmp_path, monkeypatch):
    monkeypatch.setattr(planning, "OneProcess", lambda: ThreadPoolExecutor(1))
    made = Made(tmp_path)
    project = made.project()
    inputs = open_inputs(project)
    made.inputs["elevation"][0].unlink()
    with pytest.raises(Faults, match=r"plot north: failed: .*there is no such file"):
        planning.plan(project, inputs, before=0.0)


def test_a_process_that_is_ended_while_a_plan_is_made_is_told(tmp_path, monkeypatch):
    class Ended(ThreadPoolExecutor):
        def submit(self, *_call):
            raise BrokenProcessPool

    monkeypatch.setattr(planning, "OneProcess", lambda: Ended(1))
    made = Made(tmp_path)
    project = made.project()
    with pytest.raises(
        Faults, match="one of the plots north, south was ended from outside, perhaps for lack of memory"
    ):
        planning.plan(project, open_inputs(project), before=0.0)


def test_a_number_of_workers_without_a_plan_is_refused():
    done = CliRunner().invoke(cli.commands, ["check", "demo.toml", "--workers", "2"])
    assert done.exit_code == 2
    assert "--workers: has no effect without --plan" in done.stderr
