"""How often a county's raster blocks are read, and its cells computed, for 20 plots beside each other.

    pytest -s tests/benchmarks/test_block_reads.py

The parent of a run reads each block under the plots once to check them; every worker reads for itself. Counted are
reads of blocks in the file, by one worker that takes all plots and by two that each take neighbours.
"""

import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from counted_reads import CountedReads
from packpale.crew import in_shares
from packpale.settings import read_settings
from packpale.site.inputs import open_inputs, plot_window, read_site
from packpale.site.neighbourhood import near_after_near

sys.path.append(str(Path(__file__).parent))
import county

SIDE, PLOTS = 5000, 20


@pytest.fixture(scope="module")
def terrain(tmp_path_factory):
    path = tmp_path_factory.mktemp("county") / "terrain.tif"
    county.write_terrain(path, SIDE)
    return path


@pytest.mark.parametrize(("crs", "margin"), [(c, m) for c in ("EPSG:25832", "EPSG:25833") for m in (100, 250)])
def test_blocks_are_read_hardly_more_than_once(terrain, tmp_path, monkeypatch, crs, margin):
    (tmp_path / "terrain.tif").symlink_to(terrain)
    county.write_plots(tmp_path / "plots.gpkg", SIDE, PLOTS)
    settings = county.write_settings(tmp_path)
    text = settings.read_text(encoding="utf-8").replace(county.CRS, crs)
    settings.write_text(f"{text}[land]\nmargin_m = {margin}\ncell_m = 1.0\n", encoding="utf-8")
    reads = CountedReads(tmp_path / "terrain.tif", monkeypatch)
    project = read_settings(settings)
    inputs = open_inputs(project)
    assert set(reads.reads.values()) == {1}
    plots = near_after_near(inputs.plots)
    grids = [plot_window(inputs, plot, project) for plot in plots]
    computed = sum(grid.rows * grid.cols for grid in grids)
    lines = []
    for workers in (1, 2):
        found: Counter[tuple[int, int]] = Counter()
        started = time.process_time()
        for n in range(workers):
            reads.as_new_worker()
            for plot in in_shares(plots, workers)[n]:
                read_site(inputs, plot.plot_id, project)
            found += reads.reads
        seconds = time.process_time() - started
        lines.append(
            f"{workers} workers: {len(found)} blocks, {sum(found.values())} reads, {seconds:.1f} s of processor time"
        )
        # Blocks of earlier neighbours may have made way for others, but few.
        assert sum(found.values()) <= (1.15 if workers == 1 else 1.25) * len(found)
        if workers == 1 and margin == 100:
            assert set(found.values()) == {1}
    print(  # noqa: T201 - the figures are what the benchmark is for
        f"\n{crs}, margin {margin} m: {'; '.join(lines)}; "
        f"{computed / 1e6:.1f} million cells computed, {_distinct(grids) / 1e6:.1f} million different ones"
    )


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
