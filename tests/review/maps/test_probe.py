"""Figures of cells in a page: the digit shown is the digit meant, packed and unpacked, and small enough."""

import base64
import zlib

import numpy as np
import pytest
from pyproj import Transformer

from packpale.review.maps import probe
from packpale.review.maps.placing import placing, widened
from packpale.review.maps.readings import plot_probe
from packpale.review.words import Wording
from packpale.site import Grid
from review import factory

METRIC = Wording(imperial=False, currency="EUR")


def unpacked(reading):
    """The codes back from the text in the page: sums along each row, the first cell from the row above."""
    raw = np.frombuffer(zlib.decompress(base64.b64decode(reading.packed)), np.uint8).astype(np.int64)
    n = reading.codes.size
    steps = (raw[:n] + (256 * raw[n:] if reading.wide else 0)).reshape(reading.codes.shape)
    steps[:, 0] = np.cumsum(steps[:, 0])
    return np.cumsum(steps, axis=1) % (65536 if reading.wide else 256)


def shown(reading, codes):
    return (codes + reading.least) / 10.0**reading.digits


@pytest.mark.parametrize(("low", "high", "digits"), [(0, 45, 1), (-12.3, 31.0, 1), (0, 100, 0), (-430.0, 220.0, 2)])
def test_a_figure_is_the_value_rounded_to_the_digit_shown(low, high, digits):
    values = np.random.default_rng(5).uniform(low, high, (40, 57))
    values[3, 4] = np.nan
    reading = probe.number("k", "K", values, digits=digits)
    codes = unpacked(reading)
    known = np.isfinite(values)
    assert np.abs(shown(reading, codes) - values)[known].max() <= 0.5 * 10.0**-digits + 1e-9
    assert codes[3, 4] == (65535 if reading.wide else 255)
    assert (codes[known] != codes[3, 4]).all()


def test_one_byte_is_enough_for_a_hundred_steps_and_two_for_more():
    values = np.linspace(0, 100, 400).reshape(20, 20)
    narrow, wide = (probe.number("k", "K", values, digits=digits) for digits in (0, 2))
    assert (narrow.wide, wide.wide) == (False, True)
    assert len(narrow.packed) < len(wide.packed)


def test_what_lies_beyond_the_steps_is_said_to_be_cut():
    values = np.array([[0.0, 1.0, 700.0], [np.inf, 655.34, np.nan]])
    reading = probe.number("k", "K", values, digits=2)
    assert reading.cut_at_top
    assert shown(reading, unpacked(reading))[:, :2] == pytest.approx(np.array([[0, 1], [655.34, 655.34]]))
    assert unpacked(reading)[1, 2] == 65535
    assert not probe.number("k", "K", np.array([[0.0, 655.34, np.nan]]), digits=2).cut_at_top


def test_words_and_flags():
    index = np.array([[0, 2, -1], [1, -1, 0]])
    known = np.array([[True, True, True], [True, False, True]])
    reading = probe.words("k", "K", index, ["a", "b", "c"], none="nothing", known=known)
    codes = unpacked(reading)
    assert [reading.words[c] for c in codes[known]] == ["a", "c", "nothing", "b", "a"]
    assert codes[1, 1] == 255
    masks = [np.eye(3, dtype=bool), np.ones((3, 3), bool)]
    both = unpacked(probe.flags("k", "K", masks, ["one", "two"], none="none"))
    assert (both == masks[0] * 1 + masks[1] * 2).all()


def test_many_flags_share_the_last():
    masks = [np.full((2, 2), k == 18) for k in range(20)]
    reading = probe.flags("k", "K", masks, [f"n{k}" for k in range(20)], none="none")
    assert len(reading.words) == 15
    assert (unpacked(reading) == 1 << 14).all()
    assert "n18" in reading.words[14]


def test_a_plot_that_is_too_large_keeps_its_own_ground_first_and_then_coarser_cells(fitting):
    site, whole = fitting.site, plot_probe(fitting, METRIC)
    within = probe.fitting(whole, site.inside, most_bytes=whole.size - 1)
    assert (within.stride, within.whole_window) == (1, False)
    rows, cols = np.nonzero(site.inside)
    assert within.grid.shape == (np.ptp(rows) + 1, np.ptp(cols) + 1)
    coarse = probe.fitting(whole, site.inside, most_bytes=whole.size // 6)
    assert coarse.size <= whole.size // 6
    assert coarse.stride > 1
    assert coarse.grid.cell == coarse.stride * site.grid.cell
    assert probe.fitting(whole, site.inside, most_bytes=whole.size) is whole


@pytest.mark.parametrize("stride", [3, 7])
def test_a_larger_square_tells_the_cell_in_its_middle(fitting, stride):
    coarse = probe.thinned(plot_probe(fitting, METRIC), stride)
    x, y = np.meshgrid(*coarse.grid.centres())
    held = fitting.site.grid.nearest(np.degrees(np.arctan(fitting.land.slope)), x, y)
    slope = next(r for r in coarse.readings if r.key == "slope")
    # The last squares stick out of the grid.
    whole = np.s_[: fitting.site.grid.rows // stride, : fitting.site.grid.cols // stride]
    known = np.isfinite(held[whole])
    assert known.mean() > 0.9
    assert (np.abs(shown(slope, slope.codes.astype(float)) - held)[whole][known] <= 0.05 + 1e-9).all()


def test_a_cell_says_every_limit_that_holds_there(fitting):
    import shapely

    reading = next(r for r in plot_probe(fitting, METRIC).readings if r.key == "not_usable")
    site, land = fitting.site, fitting.land
    x, y = (side.ravel() for side in np.meshgrid(*site.grid.centres()))
    codes = reading.codes.ravel()
    for bit, limit in enumerate(land.limits):
        assert reading.words[bit] == METRIC.say(limit.name)
        held = shapely.contains_xy(limit.area, x, y) & site.inside.ravel()
        near = shapely.distance(limit.area.boundary, shapely.points(x, y)) < 1e-6
        assert ((codes >> bit & 1).astype(bool) == held)[~near].all()
    usable = shapely.contains_xy(land.usable, x, y)
    off = shapely.distance(land.usable.boundary, shapely.points(x, y)) < 1e-6
    assert ((codes == 0) == usable)[~off].all()


def test_in_feet(fitting):
    readings = {r.key: r for r in plot_probe(fitting, Wording(imperial=True, currency="USD")).readings}
    rock = readings["rock"]
    # 0.7 m / 0.3048 = 2.297 ft.
    assert (rock.unit, shown(rock, float(rock.codes[50, 0]))) == ("ft", 2.3)


@pytest.mark.parametrize("crs", ["EPSG:32632", "EPSG:3035", "EPSG:32760", "EPSG:2154", "EPSG:32616"])
@pytest.mark.parametrize("size_m", [400.0, 25_000.0])
def test_placing_follows_the_projection(crs, size_m):
    west, south = {"EPSG:3035": (4.3e6, 3.2e6), "EPSG:32760": (5e5, 5e6), "EPSG:2154": (7e5, 6.6e6)}.get(
        crs, (35e4, 55e5)
    )
    back = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    w, s, e, n = back.transform_bounds(west, south, west + size_m, south + 0.7 * size_m)
    found = placing(crs, widened([[s, w], [n, e]], 1.0), tolerance=0.002)
    rng = np.random.default_rng(2)
    x, y = west + rng.uniform(-0.5, 1.5, 500) * size_m, south + rng.uniform(-0.3, 1.0, 500) * size_m
    px, py = found.plan(*back.transform(x, y))
    assert np.hypot(px - x, py - y).max() < 0.003


def test_no_placing_where_no_polynomial_will_do():
    assert placing("EPSG:32632", (-170.0, -60.0, 170.0, 70.0), tolerance=0.05) is None


def test_kept_within_nothing_keeps_all():
    grid = Grid(0.0, 10.0, 1.0, 2, 3)
    whole = probe.Probe(grid, (probe.number("k", "K", np.zeros((2, 3)), digits=0),))
    assert probe.kept_within(whole, np.zeros((2, 3), bool)) is whole


def test_the_window_of_the_factory_is_whole(fitting):
    assert plot_probe(fitting, METRIC).grid == factory.site().grid
