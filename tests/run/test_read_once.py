"""A run reads each block of a raster once for all its plots, and brings each cell to its grid once."""

import errno
from collections import Counter

import numpy as np
import pytest
from shapely.geometry import box

from counted_reads import CountedReads
from made_inputs import NORTH, NORTH_PLOT, WEST, Made, centres, in_crs, plane, write_vector
from packpale import run as runs
from packpale.holding import PARTIAL
from packpale.site import elevations, read_once
from packpale.site.inputs import open_inputs, plot_window, read_site
from packpale.site.read_once import keep_cells
from quick_runs import PLOTS, let_rooms_stand_aside, run

SIDE = 32
"""Of a block of the raster. [cells of 1 m]"""
CLOSE = {
    f"{row}{col}": box(WEST + 45 + 55 * col, NORTH - 95 - 55 * row, WEST + 95 + 55 * col, NORTH - 45 - 55 * row)
    for row in range(2)
    for col in range(2)
}
"""Plots whose margins overlap."""
OWN, OTHER = "EPSG:25832", "EPSG:25833"


@pytest.fixture
def made(tmp_path, monkeypatch):
    """Four plots over shared blocks, and rooms that only say how high the ground is."""
    let_rooms_stand_aside(monkeypatch)
    return with_plots(tmp_path)


def with_plots(folder, *, crs=OWN, cell=None):
    made = Made(folder)
    values = plane(*centres(200, 200)).astype("float32")
    rough = np.random.default_rng(8).normal(size=values.shape).astype("float32")
    made.raster(values + rough, tiled=True, blockxsize=SIDE, blockysize=SIDE, compress="deflate")
    made.plots(*CLOSE.items())
    made.settings = {"crs": crs, "land": {"margin_m": 20.0, **({"cell_m": cell} if cell else {})}}
    return made


@pytest.mark.parametrize("crs", [OWN, OTHER], ids=["its own CRS", "another CRS"])
def test_each_block_is_read_once_in_a_whole_run(tmp_path, monkeypatch, crs):
    let_rooms_stand_aside(monkeypatch)
    made = with_plots(tmp_path, crs=crs, cell=1.0)
    project = made.project()
    inputs = open_inputs(project)
    windows = [in_crs(box(*plot_window(inputs, p, project).bounds), OWN, source=crs).bounds for p in inputs.plots]
    touched = [blocks_under(window) for window in windows]
    # Otherwise nothing would be shared.
    assert len(set.intersection(*touched)) >= 1
    reads = CountedReads(made.inputs["elevation"][0], monkeypatch)
    done, statuses = run(made, more="cell_m = 1.0\n")
    assert set(statuses.values()) == {"done"}, done.output
    assert set(reads.reads) >= set.union(*touched)
    assert set(reads.reads.values()) == {1}


def blocks_under(bounds):
    """Rows and columns of the blocks under a window that lies well inside the raster."""
    west, south, east, north = bounds
    rows = range(int((NORTH - north) // SIDE), int((NORTH - south - 1e-6) // SIDE) + 1)
    cols = range(int((west - WEST) // SIDE), int((east - WEST - 1e-6) // SIDE) + 1)
    return {(row, col) for row in rows for col in cols}


@pytest.mark.parametrize("crs", [OWN, OTHER], ids=["its own CRS", "another CRS"])
def test_each_cell_is_brought_to_the_run_s_grid_once(tmp_path, monkeypatch, crs):
    let_rooms_stand_aside(monkeypatch)
    made = with_plots(tmp_path, crs=crs, cell=0.5)
    real, read = elevations.read_part, Counter()

    def counting(elevation, run_crs, cell, part):
        rows, cols = np.mgrid[part.top : part.bottom, part.left : part.right]
        read.update((part.square, r, c) for r, c in zip(rows.ravel().tolist(), cols.ravel().tolist(), strict=True))
        return real(elevation, run_crs, cell, part)

    monkeypatch.setattr(elevations, "read_part", counting)
    monkeypatch.setattr(read_once, "read_part", counting)
    done, _ = run(made, more="cell_m = 0.5\n")
    assert done.exit_code == 0, done.output
    assert len(read) > 50_000
    assert set(read.values()) == {1}


def test_workers_read_no_raster(tmp_path, monkeypatch):
    """Two processes compute while the raster is not there."""
    made = Made(tmp_path)
    made.plots(*list(PLOTS.items())[:2])
    config = made.text(made.settings_text() + "[run]\ndraws = 1000\n", "small.toml")
    raster, compute = made.folder / "dem.tif", runs.compute_here

    def without_the_raster(*given):
        raster.rename(made.folder / "away.tif")
        try:
            return compute(*given)
        finally:
            (made.folder / "away.tif").rename(raster)

    monkeypatch.setattr(runs, "compute_here", without_the_raster)
    outcome = runs.run(config, out=tmp_path / "out", workers=2)
    assert [(p.status, p.reason) for p in outcome.plots] == [("done", "")] * 2
    assert not (tmp_path / "out" / PARTIAL).exists()


@pytest.mark.parametrize("crs", [OWN, OTHER])
@pytest.mark.parametrize("cell", [0.3, 1.0, 3.0, 20.0])
def test_a_plot_reads_the_same_from_what_is_kept(tmp_path, crs, cell):
    made = with_plots(tmp_path, crs=crs, cell=cell)
    project = made.project()
    inputs = open_inputs(project)
    told = []
    kept = keep_cells(inputs, list(CLOSE), project, tmp_path / "cells", told.append)
    assert told == sorted(told)
    assert 0 <= told[0] <= told[-1] < 1
    sites = {name: read_site(inputs, name, project) for name in CLOSE}
    made.inputs["elevation"][0].unlink()
    for name, site in sites.items():
        again = read_site(kept, name, project)
        np.testing.assert_array_equal(again.elevation, site.elevation)
        assert again.notes == site.notes
        assert np.isfinite(site.elevation).mean() > 0.5


@pytest.mark.parametrize("trouble", ["no room", "full after all"])
def test_without_room_plots_read_for_themselves(made, monkeypatch, trouble):
    run(made)
    first = {f.name: f.read_bytes() for f in (made.folder / "out" / "plots").rglob("*.csv")}
    if trouble == "no room":
        monkeypatch.setattr(read_once, "MOST_OF_DISK", 0.0)
    else:

        def full(*_):
            raise OSError(errno.ENOSPC, "No space left on device")

        monkeypatch.setattr(np, "save", full)
    reads = CountedReads(made.inputs["elevation"][0], monkeypatch)
    done, statuses = run(made, "--fresh")
    assert set(statuses.values()) == {"done"}, done.output
    # By the check, and by the plots.
    assert max(reads.reads.values()) > 1
    assert {f.name: f.read_bytes() for f in (made.folder / "out" / "plots").rglob("*.csv")} == first


def test_what_is_kept_makes_room_before_the_files_of_the_run_are_written(made, monkeypatch):
    there = []
    partial, write = made.folder / "out" / PARTIAL, runs.write_run_files
    monkeypatch.setattr(runs, "look_at_cells", lambda *_: there.append(len(list(partial.glob("*/cells/*.npy")))))

    def writing(*given, **options):
        there.append(len(list(partial.glob("*/cells/*.npy"))))
        write(*given, **options)

    monkeypatch.setattr(runs, "write_run_files", writing)
    done, _ = run(made)
    assert done.exit_code == 0, done.output
    assert there[0] > 0
    assert there[1] == 0


def test_a_fault_of_the_ground_leaves_the_output_folder_as_it_was(made):
    run(made)
    out = made.folder / "out"
    before = {f: f.read_bytes() for f in out.rglob("*") if f.is_file()}
    half = box(WEST - 40, NORTH - 80, WEST + 40, NORTH - 20)
    made.plots(("half", half), *CLOSE.items())
    done, _ = run(made)
    assert done.exit_code == 2
    assert done.stderr.splitlines() == [
        'own.tif covers 50 % of plot "half"; scoring needs all of it (100 %); supply a larger raster or trim the plot'
    ]
    assert {f: f.read_bytes() for f in out.rglob("*") if f.is_file()} == before
    assert not (out / PARTIAL).exists()
    # Where there was no folder there is none, nor those above it.
    done, _ = run(made, "--out", str(made.folder / "new" / "out"))
    assert done.exit_code == 2
    assert not (made.folder / "new").exists()


def test_faults_of_the_ground_and_of_other_inputs_are_told_together(made):
    made.plots(("half", box(WEST - 40, NORTH - 80, WEST + 40, NORTH - 20)), ("good", NORTH_PLOT))
    made.inputs["soil"] = write_vector(made.folder / "soil.gpkg", [({"clay_percent": 101.0}, NORTH_PLOT)])
    done, _ = run(made)
    assert done.exit_code == 2
    assert len(done.stderr.splitlines()) == 2
    assert "soil.gpkg, feature 1" in done.stderr
    assert 'covers 50 % of plot "half"' in done.stderr
    assert not (made.folder / "out").exists()


def test_the_ground_of_plots_that_are_kept_is_not_read_again(made, monkeypatch):
    run(made)
    reads = CountedReads(made.inputs["elevation"][0], monkeypatch)
    done, statuses = run(made)
    assert set(statuses.values()) == {"kept"}, done.output
    assert not reads.reads
    # One that is to be computed again is read, and the others are not.
    (made.folder / "out" / "plots" / "00" / "key.txt").unlink()
    assert Counter(run(made)[1].values()) == {"kept": 3, "done": 1}
    west, south, east, north = CLOSE["00"].buffer(20).bounds
    assert set(reads.reads) == blocks_under((west, south, east, north))


def test_workers_of_a_cluster_read_for_themselves(made, monkeypatch):
    given = []

    def compute(address, jobs, files, progress, watch):
        given.extend(job.inputs.kept for job in jobs)
        return runs.compute_here(jobs, 1, progress, watch)

    monkeypatch.setattr(runs, "compute_on_cluster", compute)
    config = made.text(made.settings_text(), "land.toml")
    outcome = runs.run(config, out=made.folder / "out", cluster="tcp://192.0.2.7:8786")
    assert outcome.complete
    assert given == [None] * 4
