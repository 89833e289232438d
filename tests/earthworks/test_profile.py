"""The smoothed bottom of the trench: never above what the ground asks, within its limits, and the nearest such."""

import math
import re

import numpy as np
import pytest
from scipy.optimize import nnls

from packpale.earthworks._kernels_profile import solve_closed
from packpale.earthworks.profile import gradient_notes, invert_at, profile_notes, smooth_invert, trench_profile
from packpale.settings import LandSettings, TrenchSettings
from told import told
from trench_cases import circle_line, length_of, pack_of, plane, site_of


def wavy(n, seed=0):
    r = np.random.default_rng(seed)
    t = 2 * np.pi * np.arange(n) / n
    return 30 + np.sin(t) + 0.4 * np.sin(5 * t + 1) + 0.1 * r.standard_normal(n)


def rise(z):
    return np.roll(z, -1) - z


def bend(z):
    return np.roll(z, -1) - 2 * z + np.roll(z, 1)


def test_bottom_runs_straight_from_station_to_station_and_from_the_last_to_the_first():
    line = circle_line(20.0, step=2.0)
    bottom, length = wavy(line.chainage.size), length_of(line)
    first, last = line.chainage[0], line.chainage[-1]
    quarter = line.chainage[:-1] + 0.25 * line.step
    straight = 0.75 * bottom[:-1] + 0.25 * bottom[1:]
    np.testing.assert_allclose(invert_at(quarter, line, bottom, perimeter=length), straight, atol=1e-12)
    # The stretch that closes the line, whose end is the first station again.
    closing = np.array([last + 0.25 * line.step, (last + 0.75 * line.step) % length, first + length])
    ends = [0.75 * bottom[-1] + 0.25 * bottom[0], 0.25 * bottom[-1] + 0.75 * bottom[0], bottom[0]]
    np.testing.assert_allclose(invert_at(closing, line, bottom, perimeter=length), ends, atol=1e-12)


def test_bottom_beside_a_station_without_elevation_is_not_known():
    line = circle_line(20.0, step=2.0)
    bottom = wavy(line.chainage.size)
    bottom[3] = np.nan
    beside = line.chainage[3] + np.array([-1.5, -0.5, 0.5, 1.5]) * line.step
    found = invert_at(beside, line, bottom, perimeter=length_of(line))
    np.testing.assert_array_equal(np.isnan(found), [False, True, True, False])


def test_without_limits_the_bottom_is_as_asked():
    top = wavy(50)
    np.testing.assert_array_equal(smooth_invert(top, step=1.0), top)


def test_line_that_keeps_the_limits_is_left_alone():
    top = wavy(50)
    np.testing.assert_array_equal(smooth_invert(top, step=1.0, max_gradient=2.0, vertical_curve=0.2), top)


@pytest.mark.parametrize(("step", "gradient"), [(1.0, 0.05), (2.0, 0.1), (0.5, 0.3)])
def test_gradient_alone_is_the_lower_envelope_of_cones(step, gradient):
    # The largest function below top whose slope is at most g: min over j of top_j + g |s_i - s_j|. Nothing below top
    # that keeps the limit is anywhere higher, so it is also the nearest.
    top = wavy(60)
    n = top.size
    apart = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    apart = step * np.minimum(apart, n - apart)
    envelope = (top[None, :] + gradient * apart).min(axis=1)
    got = smooth_invert(top, step=step, max_gradient=gradient)
    np.testing.assert_allclose(got, envelope, atol=2e-3)
    assert (got <= top + 1e-12).all()


@pytest.mark.parametrize(
    "limits", [{"max_gradient": 0.12, "vertical_curve": 12.0}, {"vertical_curve": 25.0}], ids=["both", "curve"]
)
@pytest.mark.parametrize("seed", [0, 1])
def test_nearest_within_the_limits_by_an_independent_solver(limits, seed):
    top = wavy(24, seed)
    rows = [np.eye(24)]
    ring = np.roll(np.eye(24), 1, axis=1)
    bounds = [top]
    if "max_gradient" in limits:
        rows += [ring - np.eye(24), np.eye(24) - ring]
        bounds += [np.full(24, limits["max_gradient"])] * 2
    curve = ring - 2 * np.eye(24) + ring.T
    rows += [curve, -curve]
    bounds += [np.full(24, 1 / limits["vertical_curve"])] * 2
    a, b = np.vstack(rows), np.concatenate(bounds)
    # Least distance by non-negative least squares: Lawson and Hanson, Solving Least Squares Problems (1974), chapter
    # 23 (from memory). For x = z - top and -A x >= A top - b.
    e = np.vstack([-a.T, (a @ top - b)[None, :]])
    f = np.append(np.zeros(24), 1.0)
    r = e @ nnls(e, f)[0] - f
    theirs = top - r[:-1] / r[-1]
    assert (a @ theirs <= b + 1e-9).all()
    got = smooth_invert(top, step=1.0, **limits)
    np.testing.assert_allclose(got, theirs, atol=5e-3)


@pytest.mark.parametrize(("n", "step"), [(6, 1.0), (7, 2.0), (500, 1.0), (3001, 0.7)])
def test_limits_are_kept_and_nothing_is_dug_less_deep(n, step):
    top = wavy(n)
    z = smooth_invert(top, step=step, max_gradient=0.04, vertical_curve=40.0)
    assert (z <= top + 1e-12).all()
    assert np.abs(rise(z)).max() <= 0.04 * step + 1e-9
    assert np.abs(bend(z)).max() <= step**2 / 40.0 + 1e-9
    # It touches what is asked somewhere, or all of it could be lifted.
    assert (top - z).min() < 5e-3


def test_turned_round_or_lifted_ground_has_the_same_profile():
    top = wavy(40)
    limits = {"step": 1.0, "max_gradient": 0.05, "vertical_curve": 20.0}
    z = smooth_invert(top, **limits)
    np.testing.assert_allclose(smooth_invert(np.roll(top, 13), **limits), np.roll(z, 13), atol=1e-3)
    np.testing.assert_allclose(smooth_invert(top[::-1], **limits), z[::-1], atol=1e-3)
    np.testing.assert_allclose(smooth_invert(top + 900, **limits), z + 900, atol=1e-3)


@pytest.mark.parametrize(
    ("top", "limits"),
    [
        (wavy(5), {"max_gradient": 0.1}),
        (np.append(wavy(9), np.nan), {"max_gradient": 0.1}),
        (wavy(9), {"max_gradient": 0.0}),
        (wavy(9), {"vertical_curve": -1.0}),
    ],
)
def test_what_is_no_profile_is_refused(top, limits):
    with pytest.raises(ValueError, match=r"profile needs|must be positive"):
        smooth_invert(top, step=1.0, **limits)


@pytest.mark.parametrize("n", [6, 7, 8, 31])
def test_ring_of_equations_against_a_dense_solver(n):
    r = np.random.default_rng(n)
    first, second = r.standard_normal(n), r.standard_normal(n)
    matrix = np.zeros((n, n))
    for i in range(n):
        for j, value in (((i + 1) % n, first[i]), ((i + 2) % n, second[i])):
            matrix[i, j] += value
            matrix[j, i] += value
    diagonal = np.abs(matrix).sum(axis=1) + r.random(n)
    right = r.standard_normal(n)
    expected = np.linalg.solve(matrix + np.diag(diagonal), right)
    np.testing.assert_allclose(solve_closed(diagonal, first, second, right), expected, rtol=1e-9, atol=1e-12)


# On a plot.


def test_profile_over_flat_ground_is_the_depth_set():
    line = circle_line(30.0, step=1.0, elevation=plane())
    found = trench_profile(pack_of(line), site_of(100.0, rock=0.7, water=0.9), TrenchSettings(max_gradient=0.1))
    np.testing.assert_allclose(found.depth, 1.2)
    np.testing.assert_allclose(found.rock_depth, 0.7)
    np.testing.assert_allclose(found.water_depth, 0.9)
    assert not found.smoothed
    assert found.deeper == found.shallower == ()
    assert profile_notes(found, TrenchSettings()) == []


def test_humps_and_hollows_between_stations_are_found():
    # Along the circle the ground waves with one period for each station: stations stand on crests, so that halfway
    # between them the ground is two amplitudes lower and the bottom, straight from crest to crest, that much less deep.
    radius, waves, amplitude = 60.0, 40, 0.3

    def ground(x, y, phase=0.0):
        angle = np.arctan2(-x, -y)  # clockwise from the southern tip
        return 100 + amplitude * np.cos(waves * angle + phase)

    step = 2 * math.pi * radius / waves
    trench = TrenchSettings(station_m=step, gap_limit_m=0.1)
    crest = circle_line(radius, step=step, elevation=ground)
    assert crest.chainage.size == waves
    found = trench_profile(pack_of(crest), site_of(ground, cell=0.25, half=70.0), trench)
    assert found.deeper == ()
    assert len(found.shallower) == waves
    assert min(s.worst for s in found.shallower) == pytest.approx(1.2 - 2 * amplitude, abs=0.02)
    # Less deep by over 0.1 m where 0.3 (1 - cos) > 0.1: angle over acos(2/3), 1 - 2 acos(2/3) / 2 pi of the line.
    share = 1 - math.acos(2 / 3) / math.pi
    assert sum(s.length for s in found.shallower) == pytest.approx(share * length_of(crest), rel=0.05)
    assert "only 0.6" in told(profile_notes(found, trench))[0]

    def hollow(x, y):
        return ground(x, y, math.pi)

    trough = circle_line(radius, step=step, elevation=hollow)
    found = trench_profile(pack_of(trough), site_of(hollow, cell=0.25, half=70.0), trench)
    assert found.shallower == ()
    assert max(s.worst for s in found.deeper) == pytest.approx(1.2 + 2 * amplitude, abs=0.02)
    assert "at most 1.8" in told(profile_notes(found, trench))[0]


def test_smoothed_bottom_on_a_plot_is_deeper_in_front_of_a_step():
    # A bank of 1 m in 2 m: dug at 10 %, the bottom starts to fall some 10 m before it.
    def bank(x, y):
        return 100 + np.clip(x / 2, 0.0, 1.0)

    line = circle_line(40.0, step=1.0, elevation=bank)
    site = site_of(bank, cell=0.5, half=60.0)
    found = trench_profile(pack_of(line), site, TrenchSettings(max_gradient=0.1))
    assert found.smoothed
    assert found.depth.min() >= 1.2 - 1e-9
    assert np.abs(rise(line.ground - found.depth)).max() <= 0.1 * line.step + 1e-9
    # Twice, where the circle crosses the bank: over 0.1 m deeper along about 9 m each, at most by about 1 m less the
    # rise of the bottom within the bank itself.
    assert len(found.deeper) == 2
    assert all(7.0 < s.length < 10.0 for s in found.deeper)
    assert max(s.worst for s in found.deeper) == pytest.approx(1.2 + 1.0 - 0.2, abs=0.05)


def bank(degrees, length=8.0):
    """Level ground, a bank that rises eastwards over a length, and level ground again."""
    return lambda x, y: 100 + math.tan(math.radians(degrees)) * np.clip(x, 0, length)


def gradient_said(ground, *, trench=None, **land):
    line = circle_line(200.0, step=0.5, elevation=ground)
    trench = TrenchSettings() if trench is None else trench
    pack = pack_of(line)
    found = trench_profile(pack, site_of(ground, half=210.0), trench)
    return told(gradient_notes(pack, found, LandSettings(**land)))


def test_a_bank_that_the_line_climbs_is_said_with_its_gradient_and_length():
    # Judged over 4 m, a bank of 30 degrees that fills the part q of them has q tan 30: past tan 20 from q = 0.63 on,
    # so that of 8 m the 4 m count whose ends stand 4 q m on the bank: 8 + 4 - 2 x 4 x 0.63 = 6.96 m. The line, round
    # a circle of 200 m, climbs it at its southern tip and comes down at the northern one, straight to within 0.1 %.
    (note,) = gradient_said(bank(30))
    q = math.tan(math.radians(20)) / math.tan(math.radians(30))
    # Half a metre from station to station: each end of each stretch is true to a quarter.
    said = float(re.search(r"more steeply than 20° along the line, over (\d+) m", note)[1])
    assert said == pytest.approx(2 * (8 + 4 - 8 * q), abs=1.5)
    assert "by 30.0° at the most" in note
    # Clockwise from the southern tip the line goes west: it meets the bank at its end and half way.
    half = math.pi * 200
    assert f"at chainage {half + 0.5:.0f} to {half + 7.5:.0f} m" in note


def test_no_note_where_the_bottom_is_even_enough():
    assert gradient_said(bank(19)) == []
    assert gradient_said(bank(30), max_slope_deg=31.0) == []
    # One boulder half a metre high and wide is no slope under four metres of ground.
    assert gradient_said(bank(45, length=0.5)) == []
    assert len(gradient_said(bank(45, length=0.5), footprint_m=0)) == 1
    # Smoothed to a gradient that a machine digs, the bottom is deep instead, and that is said by another note.
    assert gradient_said(bank(30), trench=TrenchSettings(max_gradient=0.3)) == []
