"""Means over squares of cells: the same for every plot, read once, and never those of a file that has changed."""

import numpy as np
import pytest
from pyproj import CRS
from shapely.geometry import box

from made_inputs import NORTH, WEST, Made, write_raster
from packpale.site import Grid, means
from packpale.site.crs import moved
from packpale.site.inputs import open_inputs
from packpale.site.means import read_mean
from packpale.site.raster_files import Unreadable, read_lattice

SIZE = 300
UTM = CRS.from_epsg(25832)
OTHER = CRS.from_epsg(25833)


@pytest.fixture(autouse=True)
def small_tiles(monkeypatch):
    monkeypatch.setattr(means, "SIDE", 16)


@pytest.fixture
def ground():
    z = 100 + np.random.default_rng(8).normal(size=(SIZE, SIZE))
    z[40:50, 60:75] = np.nan
    return z


@pytest.fixture
def made(tmp_path, ground):
    made = Made(tmp_path)
    made.inputs["elevation"] = [write_raster(tmp_path / "ground.tif", ground)]
    made.plots(("north", box(WEST + 140, NORTH - 160, WEST + 170, NORTH - 140)))
    return made


@pytest.fixture
def elevation(made):
    return open_inputs(made.project()).elevation


@pytest.fixture
def reads(monkeypatch):
    """Cells of each window of the files that is read."""
    windows = []

    def counted(elevation, col, row, cols, rows):
        windows.append(cols * rows)
        return read_lattice(elevation, col, row, cols, rows)

    monkeypatch.setattr("packpale.site.elevations.read_lattice", counted)
    return windows


def squares(factor, left, top, cols, rows):
    """A grid that begins so many squares from the raster's corner."""
    size = float(factor)
    return Grid(WEST + left * size, NORTH - top * size, size, rows, cols)


def by_hand(ground, factor, grid):
    """Means of what there is, nothing beyond the raster."""
    top, left = round(NORTH - grid.north), round(grid.west - WEST)
    wide = np.full((SIZE + 200, SIZE + 200), np.nan)
    wide[100 : 100 + SIZE, 100 : 100 + SIZE] = ground
    cells = wide[top + 100 :, left + 100 :][: grid.rows * factor, : grid.cols * factor]
    of = cells.reshape(grid.rows, factor, grid.cols, factor).transpose(0, 2, 1, 3).reshape(*grid.shape, -1)
    with np.errstate(invalid="ignore"):
        return np.nansum(of, axis=2) / np.isfinite(of).sum(axis=2)


@pytest.mark.parametrize("factor", [2, 3, 7])
def test_each_is_the_mean_of_the_cells_it_spans_that_have_an_elevation(elevation, ground, factor):
    for place in ((0, 0, 20, 30), (-3, -2, 20, 9), (5, 16, 16, 16), (10, 3, SIZE // factor, SIZE // factor)):
        grid = squares(factor, *place)
        found = read_mean(elevation, UTM, grid, factor)
        np.testing.assert_allclose(found, by_hand(ground, factor, grid), rtol=1e-12)


@pytest.mark.parametrize("crs", [UTM, OTHER], ids=["own cells", "other CRS"])
def test_bytes_do_not_hang_on_what_was_read_before(elevation, crs):
    # Counted from the origin of the other CRS, which is far away; there 100 m east and south of the raster's corner.
    size = 3.0 if crs == UTM else 2.1
    x, y = (WEST, NORTH) if crs == UTM else (size * (v // size) for v in moved(WEST + 100, NORTH - 100, UTM, crs))
    first = Grid(x + 10 * size, y - 10 * size, size, 40, 50)
    second = Grid(x + 30 * size, y - 20 * size, size, 45, 50)
    one = read_mean(elevation, crs, first, 3)
    after = read_mean(elevation, crs, second, 3)
    means._tiles_of.cache_clear()
    alone = read_mean(elevation, crs, second, 3)
    assert np.isfinite(alone).any()
    np.testing.assert_array_equal(after, alone)
    np.testing.assert_array_equal(one[10:, 20:], alone[:30, :30])


def test_ground_that_plots_have_in_common_is_read_once(elevation, reads):
    grid = squares(2, 8, 8, 60, 60)
    read_mean(elevation, UTM, grid, 2)
    assert len(reads) == 5  # rows of tiles
    read_mean(elevation, UTM, grid, 2)
    assert len(reads) == 5
    # One column of tiles more.
    read_mean(elevation, UTM, squares(2, 20, 8, 64, 60), 2)
    assert reads[5:] == [32 * 32] * 5


def test_no_more_tiles_are_kept_than_are_allowed(elevation, ground, reads, monkeypatch):
    monkeypatch.setattr(means, "MOST_KEPT", 12)
    grid = squares(2, 0, 0, 100, 100)
    np.testing.assert_allclose(read_mean(elevation, UTM, grid, 2), by_hand(ground, 2, grid))
    before = len(reads)
    # The last row of tiles is there still, the first is not.
    read_mean(elevation, UTM, squares(2, 0, 96, 100, 4), 2)
    assert len(reads) == before
    read_mean(elevation, UTM, squares(2, 0, 0, 100, 4), 2)
    assert len(reads) == before + 1


def test_a_file_that_has_changed_is_read_anew(made, elevation, ground, tmp_path):
    grid = squares(2, 10, 10, 30, 30)
    read_mean(elevation, UTM, grid, 2)
    write_raster(tmp_path / "ground.tif", ground + 5)
    again = open_inputs(made.project()).elevation
    np.testing.assert_allclose(read_mean(again, UTM, grid, 2), by_hand(ground + 5, 2, grid))


def test_what_cannot_be_read_costs_only_those_whose_ground_it_is(made, tmp_path, ground):
    broken = write_raster(tmp_path / "beside.tif", np.random.default_rng(1).normal(size=(SIZE, SIZE)), west=WEST + SIZE)
    broken.write_bytes(broken.read_bytes()[: broken.stat().st_size // 2])
    made.inputs["elevation"].append(broken)
    elevation = open_inputs(made.project()).elevation
    # The last tile of its row reaches over the broken file.
    grid = squares(3, 80, 60, 20, 40)
    np.testing.assert_allclose(read_mean(elevation, UTM, grid, 3), by_hand(ground, 3, grid))
    with pytest.raises(Unreadable):
        read_mean(elevation, UTM, squares(3, 80, 60, 22, 40), 3)
