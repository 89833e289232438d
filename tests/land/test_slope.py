"""Slope, aspect and shading: planes in closed form, a plain twin, and an independent library on real ground."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from packpale.land import slope as slope_module
from packpale.land.slope import aspect_deg, hillshade, slope, slope_of_planes

ALL = (slope, aspect_deg, hillshade)
HEIGHTS = st.one_of(st.integers(0, 5).map(float), st.just(math.nan), st.floats(-50, 50, width=32))


def plane(falls_toward_deg, gradient, *, shape=(7, 9), dx=2.0, dy=2.0):
    """Ground that falls by ``gradient`` metres in each metre toward a bearing."""
    bearing = math.radians(falls_toward_deg)
    rows, cols = np.mgrid[: shape[0], : shape[1]]
    return 100.0 - gradient * (cols * dx * math.sin(bearing) - rows * dy * math.cos(bearing))


@pytest.mark.parametrize("bearing", np.arange(16) * 22.5)
@pytest.mark.parametrize("cell_size", [(2.0, 2.0), (1.5, 4.0)])
def test_inclined_plane_is_exact(bearing, cell_size):
    z = plane(bearing, 0.3, dx=cell_size[0], dy=cell_size[1])
    inner = (slice(1, -1), slice(1, -1))
    assert slope(z, cell_size=cell_size)[inner] == pytest.approx(np.full((5, 7), 0.3), rel=1e-12)
    turned = (aspect_deg(z, cell_size=cell_size)[inner] - bearing + 180) % 360 - 180
    assert turned == pytest.approx(np.zeros((5, 7)), abs=1e-10)


@pytest.mark.parametrize("bearing", np.arange(16) * 22.5)
def test_shade_of_a_plane_is_the_cosine_between_its_normal_and_the_light(bearing):
    """Tilted by b toward bearing t, lit from altitude h and azimuth a: sin h cos b + cos h sin b cos(a - t)."""
    z = plane(bearing, 0.5)
    tilt, height = math.atan(0.5), math.radians(45)
    expected = math.sin(height) * math.cos(tilt) + math.cos(height) * math.sin(tilt) * math.cos(
        math.radians(315 - bearing)
    )
    assert hillshade(z, cell_size=(2, 2))[3, 4] == pytest.approx(expected, rel=1e-12)


def test_shade_ends_at_dark_and_level_ground_has_the_sine_of_the_altitude():
    assert hillshade(plane(135, 1.5), cell_size=(2, 2))[3, 4] == 0  # turned away by more than 90 degrees
    assert hillshade(plane(315, 1.0), cell_size=(2, 2))[3, 4] == pytest.approx(1)  # square to the light
    assert hillshade(plane(0, 0.0), cell_size=(2, 2))[3, 4] == pytest.approx(math.sqrt(0.5))


def test_level_ground_faces_nowhere():
    z = np.full((5, 5), 7.0)
    assert (slope(z, cell_size=(1, 1))[1:-1, 1:-1] == 0).all()
    assert np.isnan(aspect_deg(z, cell_size=(1, 1))).all()


@pytest.mark.parametrize("function", ALL)
def test_a_missing_cell_takes_its_whole_window_with_it(function):
    z = plane(30, 0.2)
    z[3, 4] = np.nan
    found = np.isnan(function(z, cell_size=(2, 2)))
    expected = np.ones(z.shape, bool)
    expected[1:-1, 1:-1] = False
    expected[2:5, 3:6] = True  # the missing cell itself among them, though Horn's weights never read the centre
    assert (found == expected).all()


@pytest.mark.parametrize("function", ALL)
@pytest.mark.parametrize(
    ("shape", "cell_size"), [((2, 9), (1, 1)), ((5, 5), (0, 1)), ((5, 5), (1, -1)), ((5, 5), (math.nan, 1))]
)
def test_impossible_grids_are_refused(function, shape, cell_size):
    with pytest.raises(ValueError, match=r"3 x 3|positive metres"):
        function(np.zeros(shape), cell_size=cell_size)


@pytest.mark.parametrize("function", ALL)
def test_single_precision_stays_single_and_agrees(function):
    z = plane(200, 0.3) + 800
    single = function(z.astype(np.float32), cell_size=(2, 2))
    assert single.dtype == np.float32
    # 1,000 m in single precision is good to 6e-5 m, over eight cells of 2 m to about 1e-5 of slope.
    assert single[1:-1, 1:-1] == pytest.approx(function(z, cell_size=(2, 2))[1:-1, 1:-1], abs=3e-3)


def test_large_elevations_cost_no_precision():
    z = plane(77, 0.123)
    assert slope(z + 2**20, cell_size=(2, 2))[3, 4] == pytest.approx(0.123, rel=1e-9)


def plain_gradient(z, row, col, dx, dy):
    """Horn's differences as the paper writes them, north up."""
    a, b, c = z[row - 1, col - 1 : col + 2]
    d, _, f = z[row, col - 1 : col + 2]
    g, h, i = z[row + 1, col - 1 : col + 2]
    return ((c + 2 * f + i) - (a + 2 * d + g)) / (8 * dx), ((a + 2 * b + c) - (g + 2 * h + i)) / (8 * dy)


@settings(deadline=None, max_examples=60)
@given(arrays(np.float64, array_shapes(min_dims=2, max_dims=2, min_side=3, max_side=8), elements=HEIGHTS))
def test_kernels_match_their_plain_twins(z):
    dx, dy = 1.0, 2.0
    found = {function: function(z, cell_size=(dx, dy)) for function in ALL}
    for row in range(1, z.shape[0] - 1):
        for col in range(1, z.shape[1] - 1):
            east, north = plain_gradient(z, row, col, dx, dy)
            if math.isnan(east + north + z[row, col]):
                assert all(math.isnan(values[row, col]) for values in found.values())
                continue
            assert found[slope][row, col] == pytest.approx(math.hypot(east, north), rel=1e-9, abs=1e-12)
            if math.hypot(east, north) > 1e-9:
                away = found[aspect_deg][row, col] - math.degrees(math.atan2(-east, -north))
                assert abs((away + 180) % 360 - 180) < 1e-4
            normal = np.array([-east, -north, 1]) / math.sqrt(1 + east**2 + north**2)
            light = np.array([-0.5, 0.5, math.sqrt(0.5)])
            assert found[hillshade][row, col] == pytest.approx(max(normal @ light, 0), abs=1e-9)


def test_real_ground_matches_an_independent_library(real_ground):
    """The slope of pyflwdir is Horn's; it guesses beyond the window's edge, so the outer ring is left out."""
    from pyflwdir import dem

    theirs = dem.slope(real_ground, nodata=-9999.0, latlon=False, transform=(1.0, 0.0, 0.0, 0.0, -1.0, 0.0))
    ours = slope(real_ground, cell_size=(1.0, 1.0))
    # It returns single precision.
    assert np.abs(theirs - ours)[1:-1, 1:-1].max() < 1e-6
    assert 0.6 < np.nanmax(ours) < 1.5  # there is something to compare


@pytest.mark.parametrize(("footprint", "cell", "side"), [(4.0, 1.0, 5), (4.0, 2.0, 3), (3.0, 0.5, 7), (6.0, 2.5, 3)])
def test_a_plane_under_a_footprint_is_the_one_of_least_squares(monkeypatch, footprint, cell, side):
    """Against numpy's least squares in every window; the rim keeps each cell's own slope, and no band of rows shows."""
    monkeypatch.setattr(slope_module, "BAND", 2)
    rng = np.random.default_rng(7)
    z = 1200 + rng.normal(0, 0.4, (11, 14)).cumsum(axis=0)
    own = rng.random(z.shape)
    z[2, 11] = np.nan
    found = slope_of_planes(z, own, cell=cell, footprint=footprint)
    half = side // 2
    steps = (np.arange(side) - half) * cell
    east, south = np.meshgrid(steps, steps)
    columns = np.column_stack([east.ravel(), south.ravel(), np.ones(side * side)])
    for r, c in np.ndindex(z.shape):
        window = z[max(r - half, 0) : r + half + 1, max(c - half, 0) : c + half + 1]
        if window.shape != (side, side) or np.isnan(window).any():
            assert found[r, c] == own[r, c]
        else:
            gx, gy, _ = np.linalg.lstsq(columns, window.ravel(), rcond=None)[0]
            assert found[r, c] == pytest.approx(np.hypot(gx, gy), rel=1e-6)


def test_a_footprint_within_one_cell_leaves_the_cells_own_slope():
    own = np.random.default_rng(1).random((6, 6))
    assert slope_of_planes(np.zeros((6, 6)), own, cell=30.0, footprint=4.0) is own
    assert slope_of_planes(np.zeros((6, 6)), own, cell=1.0, footprint=0.0) is own
