"""Squares of cells at the same places for every plot, and what is kept of them in files."""

import numpy as np
import pytest

from packpale.site.grid import Grid
from packpale.site.squares import SIDE, KeptCells, Part, all_parts, file_of, parts

ORIGIN = (600_000.0, 5_600_000.0)


def numbered(grid):
    """Row and column of each cell, counted from the origin."""
    x, y = grid.centres()
    cols, rows = np.floor((x - ORIGIN[0]) / grid.cell), np.floor((ORIGIN[1] - y) / grid.cell)
    return np.stack(np.broadcast_arrays(rows[:, None], cols[None, :]), axis=-1)


@pytest.mark.parametrize("cell", [1.0, 0.25, 7.0])
@pytest.mark.parametrize(
    ("row", "col", "rows", "cols"),
    [(0, 0, 1, 1), (0, 0, SIDE, SIDE), (SIDE - 1, -1, 2, 2), (-700, -1300, 1500, 900), (5 * SIDE, 3, 3 * SIDE, 2000)],
)
def test_each_cell_of_a_grid_lies_in_one_part_at_its_own_place(cell, row, col, rows, cols):
    grid = Grid(ORIGIN[0] + col * cell, ORIGIN[1] - row * cell, cell, rows, cols)
    found = np.full((rows, cols, 2), np.nan)
    for part, place in parts(grid, ORIGIN):
        assert np.isnan(found[place]).all()
        square = numbered(part.whole(ORIGIN, cell))
        np.testing.assert_array_equal(numbered(part.grid(ORIGIN, cell)), numbered(grid)[place])
        assert tuple(square[0, 0]) == (part.square[0] * SIDE, part.square[1] * SIDE)
        found[place] = square[part.within(Part(part.square, 0, SIDE, 0, SIDE))]
    np.testing.assert_array_equal(found, numbered(grid))


def test_parts_of_several_grids_hold_no_cell_twice_and_rows_of_squares_come_in_order():
    grids = [
        Grid(ORIGIN[0] + 600, ORIGIN[1] - 10, 1.0, 20, 30),
        Grid(ORIGIN[0] + 100, ORIGIN[1] - 500, 1.0, 50, 40),
        Grid(ORIGIN[0] + 130, ORIGIN[1] - 490, 1.0, 15, 60),
    ]
    assert all_parts(grids, ORIGIN) == [
        Part((0, 0), 490, 512, 100, 190),
        Part((0, 1), 10, 30, 88, 118),
        Part((1, 0), 0, 38, 100, 140),
    ]
    assert all_parts([], ORIGIN) == []


def test_what_lies_between_plots_far_from_each_other_is_not_read():
    west, east, both = (Grid(ORIGIN[0] + x, ORIGIN[1] - 10, 1.0, 20, cols) for x, cols in ((5, 9), (300, 9), (8, 295)))
    apart = [Part((0, 0), 10, 30, 5, 14), Part((0, 0), 10, 30, 300, 309)]
    assert all_parts([east, west], ORIGIN) == apart
    # One that overlaps both makes them one.
    assert all_parts([east, west, both], ORIGIN) == [Part((0, 0), 10, 30, 5, 309)]


def test_parts_of_many_grids_hold_each_cell_of_theirs_once():
    rng = np.random.default_rng(3)
    grids = [
        Grid(ORIGIN[0] + x, ORIGIN[1] - y, 1.0, rows, cols)
        for x, y, rows, cols in rng.integers([0, 0, 1, 1], [900, 900, 90, 90], (60, 4)).tolist()
    ]
    times, wanted = np.zeros((1024, 1024), int), np.zeros((1024, 1024), bool)
    for part in all_parts(grids, ORIGIN):
        place = Part((0, 0), 0, 1024, 0, 1024)
        top, left = part.square[0] * SIDE, part.square[1] * SIDE
        times[Part((0, 0), top + part.top, top + part.bottom, left + part.left, left + part.right).within(place)] += 1
    for grid in grids:
        top, left = round(ORIGIN[1] - grid.north), round(grid.west - ORIGIN[0])
        wanted[top : top + grid.rows, left : left + grid.cols] = True
    assert times.max() == 1
    assert (times[wanted] == 1).all()


def test_kept_cells_are_found_as_far_as_they_are_there(tmp_path):
    kept = Part((3, -4), 10, 40, 100, 130)
    values = np.arange(900.0).reshape(30, 30)
    values[0, 0] = np.nan
    np.save(file_of(tmp_path, kept), values)
    cells = KeptCells(tmp_path, {kept.square: (Part((3, -4), 0, 5, 0, 5), kept)})
    np.testing.assert_array_equal(cells.find(kept), values)
    np.testing.assert_array_equal(cells.find(Part((3, -4), 12, 15, 100, 102)), values[2:5, :2])
    for beyond in (Part((3, -4), 9, 15, 100, 102), Part((3, -4), 12, 15, 120, 131), Part((3, 4), 12, 15, 100, 102)):
        assert cells.find(beyond) is None
    # A damaged file, and one that is gone: the raster is read instead.
    file_of(tmp_path, kept).write_bytes(file_of(tmp_path, kept).read_bytes()[:-8])
    assert cells.find(kept) is None
    file_of(tmp_path, kept).unlink()
    assert cells.find(kept) is None
