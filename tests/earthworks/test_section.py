"""The united section against closed forms and against the larger of two trapezoids taken point by point."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packpale.earthworks.section import TrenchSection


def larger_of_two(section, offset):
    """The contract's section, written a second time: for each offset the deeper of the two trapezoids."""
    depths = np.zeros_like(offset)
    for left, right, depth in (
        (-section.bottom_width / 2, section.bottom_width / 2, section.depth),
        (0.0, section.apron_reach, section.apron_cover),
    ):
        for i, o in enumerate(offset):
            away = left - o if o < left else o - right if o > right else 0.0
            wall = 0.0 if away == 0 else away / section.side_slope if section.side_slope else np.inf
            depths[i] = max(depths[i], depth - wall, 0.0)
    return depths


SECTIONS = st.builds(
    lambda depth, width, reach, share, slope: TrenchSection(depth, width, reach, share * depth, slope),
    st.floats(0.1, 3),
    st.floats(0.05, 3),
    st.floats(0, 5),
    st.floats(0, 1),
    st.sampled_from([0.0, 0.25, 1.0, 1.5]) | st.floats(0.05, 3),
)


@settings(deadline=None, max_examples=60)
@given(SECTIONS)
def test_profile_area_and_centroid_are_those_of_the_two_trapezoids(section):
    left, right = -section.bottom_width / 2 - 3 * section.depth - 0.1, section.bottom_width / 2 + 5 + 9.1
    n = 4000
    step = (right - left) / n
    o = left + (np.arange(n) + 0.5) * step
    depth = larger_of_two(section, o)
    np.testing.assert_allclose(section.depth_at(o), depth, atol=1e-12)
    # Midpoint sums are off by at most a step times the jumps of c(o), which add up to 2 depths for each trapezoid.
    within = step * 4 * section.depth
    assert section.area == pytest.approx(depth.sum() * step, abs=within)
    assert section.moment == pytest.approx((o * depth).sum() * step, abs=within * right)
    assert section.edges[0] <= o[depth > 0].min()
    assert section.edges[1] >= o[depth > 0].max()


@settings(deadline=None, max_examples=60)
@given(SECTIONS)
def test_pieces_join_up_and_lie_on_the_profile(section):
    inner, outer, a, b = section.pieces.T
    np.testing.assert_array_equal(inner[1:], outer[:-1])
    assert (outer > inner).all()
    for share in (0.25, 0.5, 0.75):
        on = inner + share * (outer - inner)
        np.testing.assert_allclose(section.depth_at(on), a + share * (b - a), atol=1e-9)


def test_vertical_walls_make_two_rectangles():
    # Skirt 0.6 x 1.2 about the fence; beyond it the bench from 0.3 to 1.8, 0.3 deep.
    section = TrenchSection(1.2, 0.6, 1.8, 0.3, 0.0)
    assert section.area == pytest.approx(0.6 * 1.2 + 1.5 * 0.3)
    assert section.moment == pytest.approx(1.5 * 0.3 * (0.3 + 1.8) / 2)
    assert section.edges == (-0.3, 1.8)


def test_sloped_walls_make_a_trapezoid_with_a_bench():
    # Walls 1:1. Skirt: bottom 0.6 at 1.2, so 3.0 wide at the top. Its outer wall meets the floor of the bench, 0.3
    # deep, at 0.3 + 0.9 = 1.2; from there the bench adds a parallelogram 1.8 - 1.2 = 0.6 wide and 0.3 high, whose
    # sides lean outward by 0.3 over its height: centroid at (1.2 + 1.8) / 2 + 0.15.
    section = TrenchSection(1.2, 0.6, 1.8, 0.3, 1.0)
    assert section.area == pytest.approx((0.6 + 3.0) / 2 * 1.2 + 0.6 * 0.3)
    assert section.moment == pytest.approx(0.6 * 0.3 * 1.65)
    assert section.centroid_offset == pytest.approx(0.18 * 1.65 / 2.34)
    assert section.edges == pytest.approx((-1.5, 2.1))
    assert [w.direction for w in section.walls] == [-1, 1]


@pytest.mark.parametrize(("reach", "cover"), [(0.0, 0.3), (1.8, 0.0), (0.9, 0.5)])
def test_bench_that_adds_nothing_leaves_the_skirt_trench(reach, cover):
    section = TrenchSection(1.2, 0.6, reach, cover, 1.0)
    assert section.area == pytest.approx(1.8 * 1.2)
    assert section.centroid_offset == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    "wrong",
    [
        (0.0, 0.6, 1.8, 0.0, 1.0),
        (1.2, 0.0, 1.8, 0.3, 1.0),
        (1.2, 0.6, -0.1, 0.3, 1.0),
        (1.2, 0.6, 1.8, 1.3, 1.0),
        (1.2, 0.6, 1.8, -0.1, 1.0),
        (1.2, 0.6, 1.8, 0.3, -1.0),
        (float("nan"), 0.6, 1.8, 0.3, 1.0),
    ],
)
def test_impossible_section_is_refused(wrong):
    with pytest.raises(ValueError, match=r"no such trench|the apron lies"):
        TrenchSection(*wrong)
