"""A window in larger squares: middles and means stay where they are on the ground."""

import math

import numpy as np
import pytest

from packpale.site import Grid
from packpale.site.spread import every, spread

GRID = Grid(500.0, 900.0, 2.0, 23, 31)


@pytest.mark.parametrize("most", [1, 20, 60, 150, 713, 10_000])
def test_squares_are_few_enough_and_the_middle_of_each_is_a_cell(most):
    some = spread(GRID, most_cells=most)
    assert some.stride % 2 == 1
    # Squares that stick out come on top.
    assert (GRID.rows / some.stride) * (GRID.cols / some.stride) <= most
    x, y = GRID.centres()
    for middle, centre, across in ((some.cols, some.grid.centres()[0], x), (some.rows, some.grid.centres()[1], y)):
        whole = slice(None, -1 if across.size % some.stride else None)
        np.testing.assert_allclose(across[middle][whole], centre[whole])


def test_means_are_those_of_the_cells_in_each_square_and_unknown_where_one_is():
    values = np.random.default_rng(3).normal(size=GRID.shape)
    values[4, 7] = math.nan
    some = every(GRID, 5)
    means = some.mean(values)
    assert means.shape == some.grid.shape == (5, 7)
    for r in range(5):
        for c in range(7):
            square = values[5 * r : 5 * r + 5, 5 * c : 5 * c + 5]
            np.testing.assert_allclose(means[r, c], square.mean())
    assert np.isnan(means).sum() == 1
    assert some.mean(values.astype(np.float32)).dtype == np.float32


def test_some_squares_take_what_all_take_there():
    values = np.arange(GRID.rows * GRID.cols).reshape(GRID.shape)
    for stride in (1, 3):
        whole = every(GRID, stride)
        part = whole.part(slice(1, 4), slice(2, 6))
        np.testing.assert_array_equal(part.of(values), whole.of(values)[1:4, 2:6])
        x, y = whole.grid.centres()
        np.testing.assert_allclose(part.grid.centres()[0], x[2:6])
        np.testing.assert_allclose(part.grid.centres()[1], y[1:4])
