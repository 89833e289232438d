"""Blocks of a raster that several plots share are read once by the process that reads those plots."""

import numpy as np
import pytest
from shapely.geometry import box

from counted_reads import CountedReads
from made_inputs import NORTH, WEST, Made, centres, in_crs, plane
from packpale.site.inputs import open_inputs, read_site

SIDE = 32
"""Of a block. [cells of 1 m]"""
PLOTS = {
    f"{row}{col}": box(WEST + 45 + 55 * col, NORTH - 95 - 55 * row, WEST + 95 + 55 * col, NORTH - 45 - 55 * row)
    for row in range(2)
    for col in range(2)
}


@pytest.mark.parametrize("crs", ["EPSG:25832", "EPSG:25833"], ids=["its own CRS", "another CRS"])
def test_each_block_is_read_once_for_all_plots(tmp_path, monkeypatch, crs):
    made = Made(tmp_path)
    values = plane(*centres(200, 200)).astype("float32")
    made.raster(values, tiled=True, blockxsize=SIDE, blockysize=SIDE, compress="deflate")
    made.plots(*PLOTS.items())
    made.settings = {"crs": crs, "land": {"margin_m": 20.0, "cell_m": 1.0}}
    reads = CountedReads(made.inputs["elevation"][0], monkeypatch)
    project = made.project()
    inputs = open_inputs(project)
    assert set(reads.reads.values()) == {1}
    reads.as_new_worker()
    sites = [read_site(inputs, name, project) for name in PLOTS]
    assert all(np.isfinite(site.elevation).all() for site in sites)
    windows = [in_crs(box(*site.grid.bounds), "EPSG:25832", source=crs).bounds for site in sites]
    touched = [_blocks(window) for window in windows]
    # Otherwise nothing would be shared.
    assert len(set.intersection(*touched)) >= 1
    assert set(reads.reads) >= set.union(*touched)
    assert set(reads.reads.values()) == {1}


def _blocks(bounds):
    """Rows and columns of the blocks under a window that lies well inside the raster."""
    west, south, east, north = bounds
    rows = range(int((NORTH - north) // SIDE), int((NORTH - south - 1e-6) // SIDE) + 1)
    cols = range(int((west - WEST) // SIDE), int((east - WEST - 1e-6) // SIDE) + 1)
    return {(row, col) for row in rows for col in cols}
