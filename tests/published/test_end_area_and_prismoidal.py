"""Earthwork volumes by end areas and by the prismoidal formula, as surveying books work them out.

Sources beside each check. The formulas themselves: V = L (A1 + A2) / 2 and V = L (A1 + 4 Am + A2) / 6.
"""

import math

import numpy as np
import pytest

from packpale.earthworks.volume import along_curve, average_end_area, prismoidal
from packpale.units import FOOT_M
from printed import printed

CUBIC_YARD_M3 = (3 * FOOT_M) ** 3


def end_area(*areas, spacing):
    return average_end_area(np.array(areas, float), spacing=spacing, closed=False)


def test_end_areas_of_a_surveying_textbook():
    # From memory (surveying textbook, Example 26.1): end areas of 711 and 515 sq ft, 100 ft apart, hold 2270 cu yd.
    volume = end_area(711 * FOOT_M**2, 515 * FOOT_M**2, spacing=100 * FOOT_M)
    assert volume / CUBIC_YARD_M3 == printed("2270")


def test_seabee_rule_of_thumb_is_the_end_area_formula():
    # NAVEDTRA 14080, Engineering Aid 3, p. 121: cu yd = (A1 + A2) 1.85 L / 100 with sq ft and ft; 1.85 is rounded.
    volume = end_area(FOOT_M**2, 0.0, spacing=100 * FOOT_M) / CUBIC_YARD_M3
    assert volume == printed("1.85")


def test_two_sections_of_a_trench():
    # Widely printed example: 12 and 20 m2, 10 m apart, hold 160 m3.
    assert end_area(12, 20, spacing=10) == printed("160")


def test_closed_line_counts_the_stretch_back_to_its_start():
    # Three stretches of 10 m: (1 + 2) / 2 + (2 + 6) / 2 + (6 + 1) / 2 = 9.
    assert average_end_area(np.array([1.0, 2.0, 6.0]), spacing=10, closed=True) == pytest.approx(90.0)


def test_frustum_of_a_cone():
    # Radii 3 and 1, height 6. Volume pi h (R^2 + R r + r^2) / 3 (Euclid, Elements, book XII): 26 pi = 81.6814.
    first, middle, last = (math.pi * r**2 for r in (3, 2, 1))
    assert prismoidal(first, middle, last, length=6) == printed("81.6814")
    assert end_area(first, last, spacing=6) == printed("94.2478")


def test_pyramid():
    # Base 10 m2, height 30 m: a third of 300 m3. Half way up, half the breadth leaves a quarter of the area.
    assert prismoidal(10, 2.5, 0, length=30) == pytest.approx(100)
    assert end_area(10, 0, spacing=30) == pytest.approx(150)


@pytest.mark.parametrize(("first", "last"), [(12.0, 20.0), (5.0, 0.5)])
def test_mean_of_the_end_areas_in_place_of_the_middle_section_falls_back_to_end_areas(first, last):
    assert prismoidal(first, (first + last) / 2, last, length=7) == pytest.approx(end_area(first, last, spacing=7))


def test_end_area_can_be_too_small_as_well():
    # R. E. Deakin and M. N. Hunter, "The prismoidal correction revisited", 2009: the error has either sign. A wedge of
    # one height turned against another: breadth 1 to 3 while height falls from 3 to 1, so the middle is 2 x 2.
    assert end_area(3, 3, spacing=6) < prismoidal(3, 4, 3, length=6)


def test_widening_on_a_curve():
    # From memory (surveying textbook, cutting on a curve): centre line of 120 m radius, 300 m long, formation widened
    # on the inside; depth h from 2.4 to 5.1 m, area 3 h, centroid 4.5 + 0.75 h inside the centre line. With the
    # curve 3166 m3, without it 3375 m3.
    depth = np.array([2.4, 3.75, 5.1])
    area = 3 * depth
    centroid = -(4.5 + 0.75 * depth)
    parts = np.column_stack([area, area * centroid])
    per_metre = [along_curve(part[None, :], np.array([1 / 120]), step=1.0) for part in parts]
    assert prismoidal(*per_metre, length=300) == printed("3166")
    assert prismoidal(*area, length=300) == printed("3375")


@pytest.mark.parametrize("first", [(2.4, 1.8, 3.3), (0.6, 0.9, 0.4)])
@pytest.mark.parametrize("last", [(3.1, 2.2, 4.5), (0.0, 0.0, 0.0)])
def test_prismoidal_correction_of_three_level_sections(first, last):
    """C = L (c1 - c2) (w1 - w2) / 12, taken off the average end area (surveying textbooks, from memory).

    Of sections with a base of 6 m, walls 1.5 in 1, and the cut on the centre line and at both slope stakes; their
    area is c w / 2 + b (hl + hr) / 4 with the width w between the stakes.
    """
    base, slope, length = 6.0, 1.5, 30.0

    def section(centre, left, right):
        width = base + slope * (left + right)
        return centre * width / 2 + base * (left + right) / 4, width

    middle = [(a + b) / 2 for a, b in zip(first, last, strict=True)]
    (a1, w1), (am, _), (a2, w2) = section(*first), section(*middle), section(*last)
    correction = length * (first[0] - last[0]) * (w1 - w2) / 12
    end_area = average_end_area(np.array([a1, a2]), spacing=length, closed=False)
    assert prismoidal(a1, am, a2, length=length) == pytest.approx(end_area - correction, rel=1e-12)
    assert abs(correction) > 0.1
