"""Degrees between 0 and 1."""

import numpy as np
import pytest

from packpale.land.memberships import degree, linear, s_curve
from packpale.values.curves import Curve


def curve(shape, zero_at, one_at):
    return Curve("subject", "quantity", "-", shape, zero_at, one_at, None, "assumption", "none")


def test_linear_is_level_beyond_its_ends_and_falls_where_the_larger_end_is_zero():
    x = np.array([-1.0, 0.0, 1.0, 4.0, 9.0, np.inf])
    assert linear(x, zero_at=0, one_at=4) == pytest.approx([0, 0, 0.25, 1, 1, 1])
    assert linear(x, zero_at=4, one_at=0) == pytest.approx([1, 1, 0.75, 0, 0, 0])
    with pytest.raises(ValueError, match="two ends"):
        linear(x, zero_at=3, one_at=3)


def test_s_curve_is_two_parabolas_and_its_own_mirror_image():
    t = np.linspace(0, 1, 101)
    found = s_curve(t)
    assert found[[0, 25, 50, 75, 100]] == pytest.approx([0, 0.125, 0.5, 0.875, 1])
    assert found + found[::-1] == pytest.approx(np.ones(101))
    assert (np.diff(found) > 0).all()
    # Level at both ends: there the rise is of second order.
    assert found[1] == pytest.approx(2e-4)


@pytest.mark.parametrize("kind", [np.float32, np.float64])
@pytest.mark.parametrize(("zero_at", "one_at"), [(2.0, 5.0), (5.0, 2.0)])
def test_degrees_are_those_of_their_plain_twins(kind, zero_at, one_at):
    x = np.append(np.linspace(0, 8, 400), [np.inf, -np.inf, np.nan]).astype(kind).reshape(13, 31)
    along = linear(x, zero_at=zero_at, one_at=one_at)
    for shape, expected in (("linear", along), ("S", s_curve(along))):
        found = degree(x, curve(shape, zero_at, one_at))
        assert (found.dtype, found.shape) == (kind, x.shape)
        np.testing.assert_allclose(found, expected, atol=1e-6 if kind is np.float32 else 1e-15)


def test_what_is_the_same_everywhere_is_held_once():
    everywhere = degree(np.broadcast_to(3.5, (40, 30)), curve("linear", 2.0, 5.0))
    assert everywhere.shape == (40, 30)
    assert everywhere.strides == (0, 0)
    assert everywhere[7, 9] == pytest.approx(0.5)


def test_step_takes_its_own_end():
    assert degree(np.array([0.09, 0.1, 5.0]), curve("step", 0.1, 0.1)).tolist() == [0, 1, 1]


@pytest.mark.parametrize("shape", ["S", "linear", "step"])
def test_what_is_not_known_stays_unknown(shape):
    assert np.isnan(degree(np.array([np.nan]), curve(shape, 0.0, 0.0 if shape == "step" else 1.0))[0])
