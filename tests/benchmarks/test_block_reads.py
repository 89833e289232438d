"""How often a county's raster blocks are read, and cells brought to the run's grid, for 20 plots beside each other.

    pytest -s tests/benchmarks/test_block_reads.py

A run reads all that its plots need once, keeps it, and plots take it from there. Beside it: plots that each read for
themselves in one process, which has the last blocks still in memory, and one read of all blocks, the machine's limit.
"""

import sys
import time
from pathlib import Path

import numpy as np
import pytest
import rasterio

from counted_reads import CountedReads
from packpale.settings import read_settings
from packpale.site import elevations, read_once
from packpale.site.inputs import open_inputs, plot_window, read_site
from packpale.site.read_once import keep_cells, look_at_cells

sys.path.append(str(Path(__file__).parent))
import county

SIDE, PLOTS = 5000, 20


@pytest.fixture(scope="module")
def terrain(tmp_path_factory):
    path = tmp_path_factory.mktemp("county") / "terrain.tif"
    county.write_terrain(path, SIDE)
    return path


@pytest.mark.parametrize(("crs", "margin"), [(c, m) for c in ("EPSG:25832", "EPSG:25833") for m in (100, 250)])
def test_blocks_are_read_once(terrain, tmp_path, monkeypatch, crs, margin):
    (tmp_path / "terrain.tif").symlink_to(terrain)
    county.write_plots(tmp_path / "plots.gpkg", SIDE, PLOTS)
    settings = county.write_settings(tmp_path)
    text = settings.read_text(encoding="utf-8").replace(county.CRS, crs)
    settings.write_text(f"{text}[land]\nmargin_m = {margin}\ncell_m = 1.0\n", encoding="utf-8")
    reads = CountedReads(tmp_path / "terrain.tif", monkeypatch)
    project = read_settings(settings)
    inputs = open_inputs(project, cells="left for later")
    assert not reads.reads
    names = [plot.plot_id for plot in inputs.plots]
    grids = [plot_window(inputs, plot, project) for plot in inputs.plots]
    # Once for the kernels, which are compiled or loaded by then.
    read_site(inputs, names[0], project)
    reads.as_new_worker()
    cells = []
    real = elevations.read_part

    def counting(elevation, run_crs, cell, part):
        cells.append(part.cells)
        return real(elevation, run_crs, cell, part)

    monkeypatch.setattr(elevations, "read_part", counting)
    monkeypatch.setattr(read_once, "read_part", counting)
    keeping, kept = timed(lambda: keep_cells(inputs, names, project, tmp_path / "cells", lambda part: None))
    looking, _ = timed(lambda: look_at_cells(kept, names))
    from_kept, sites = timed(lambda: [read_site(kept, name, project).elevation for name in names])
    assert set(reads.reads.values()) == {1}
    blocks, computed = len(reads.reads), sum(cells)
    size = sum(f.stat().st_size for f in (tmp_path / "cells").iterdir())
    reads.as_new_worker()
    cells.clear()
    alone, again = timed(lambda: [read_site(inputs, name, project).elevation for name in names])
    assert all(np.array_equal(a, b, equal_nan=True) for a, b in zip(sites, again, strict=True))
    with rasterio.open(terrain) as source:
        limit, _ = timed(lambda: [source.read(1, window=source.block_window(1, *block)) for block in reads.reads])
    print(  # noqa: T201 - the figures are what the benchmark is for
        f"\n{crs}, margin {margin} m: {blocks} blocks once, {computed / 1e6:.1f} million cells once, "
        f"{_distinct(grids) / 1e6:.1f} million under windows, {size / 1e6:.0f} MB kept: {keeping:.2f} s, "
        f"looked at {looking:.2f} s, plots read from it {from_kept:.2f} s. Each plot for itself: "
        f"{sum(reads.reads.values())} reads, {sum(cells) / 1e6:.1f} million cells, {alone:.2f} s. "
        f"One read of the blocks: {limit:.2f} s"
    )


def timed(call):
    """Processor time of a call [s], and what it gives."""
    started = time.process_time()
    value = call()
    return time.process_time() - started, value


def _distinct(grids):
    """How many cells the windows have, those that several share counted once."""
    first = [(round(-g.north / g.cell), round(g.west / g.cell)) for g in grids]
    top, left = min(r for r, _ in first), min(c for _, c in first)
    bottom = max(r + g.rows for (r, _), g in zip(first, grids, strict=True))
    right = max(c + g.cols for (_, c), g in zip(first, grids, strict=True))
    seen = np.zeros((bottom - top, right - left), dtype=bool)
    for (r, c), g in zip(first, grids, strict=True):
        seen[r - top : r - top + g.rows, c - left : c - left + g.cols] = True
    return int(seen.sum())
