"""The grid of a plot: cell centres, and values between them."""

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from packpale.site import Grid, _kernels

GRID = Grid(west=1000.0, north=2000.0, cell=2.5, rows=6, cols=8)


def test_bounds_and_centres_belong_together():
    x, y = GRID.centres()
    assert GRID.bounds == (1000.0, 1985.0, 1020.0, 2000.0)
    assert (x[0], x[-1], y[0], y[-1]) == (1001.25, 1018.75, 1998.75, 1986.25)


def test_bilinear_against_scipy():
    rng = np.random.default_rng(2)
    values = rng.normal(size=GRID.shape)
    x, y = GRID.centres()
    px, py = rng.uniform(x[0], x[-1], 500), rng.uniform(y[-1], y[0], 500)
    expected = RegularGridInterpolator((y[::-1], x), values[::-1])((py, px))
    np.testing.assert_allclose(GRID.bilinear(values, px, py), expected, rtol=0, atol=1e-12)


def test_bilinear_is_exact_at_centres_and_nan_beyond_them():
    values = np.arange(48.0).reshape(6, 8)
    x, y = np.meshgrid(*GRID.centres())
    np.testing.assert_array_equal(GRID.bilinear(values, x, y), values)
    assert np.isnan(GRID.bilinear(values, [1001.2, 1018.8, 1010, 1010], [1990, 1990, 1998.8, 1986.2])).all()


def test_a_missing_neighbour_counts_only_with_weight():
    values = np.zeros(GRID.shape)
    values[2, 3] = np.nan
    x, y = GRID.centres()
    assert GRID.bilinear(values, x[2], y[2]) == 0
    assert np.isnan(GRID.bilinear(values, x[2] + 0.01, y[2]))


def test_bilinear_takes_points_of_any_shape_and_cells_in_single_precision():
    x, y = GRID.centres()
    plane = x + 2 * y[:, None]
    px, py = np.array([1002.0, 1003.5, 1018.0]), np.array([[1990.0], [1996.5]])
    np.testing.assert_allclose(GRID.bilinear(plane, px, py), px + 2 * py, rtol=1e-12)
    single = (plane - 5000).astype(np.float32)
    np.testing.assert_allclose(GRID.bilinear(single, px, py), px + 2 * py - 5000, atol=1e-3)
    assert GRID.bilinear(plane, 1002.0, 1990.0).shape == ()


def test_bilinear_is_compiled():
    GRID.bilinear(np.zeros(GRID.shape), 1010.0, 1990.0)
    assert _kernels.bilinear.signatures


@pytest.mark.parametrize(
    ("x", "y", "expected"), [(1000.1, 1999.9, 0), (1004.0, 1996.0, 9), (1019.9, 1985.1, 47), (900, 3000, 0)]
)
def test_nearest_takes_the_cell_that_holds_the_point(x, y, expected):
    assert GRID.nearest(np.arange(48).reshape(6, 8), x, y) == expected
