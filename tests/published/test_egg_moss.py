"""Moss's egg on a base AB = 2 a, as described in en.wikipedia.org/wiki/Moss's_egg and pythonturtle.academy.

A half circle of radius a on the base; two arcs of 45 degrees and radius 2 a about A and B; a quarter circle of radius
(2 - sqrt 2) a about the top of the half circle that completes the base circle.
"""

import math

import numpy as np
import pytest

from packpale.enclosure.egg import Egg

A = 7.0
MOSS = Egg(500_000.0, 5_400_000.0, 211.0, A, (2 - math.sqrt(2)) * A, A)


def test_its_four_arcs():
    big_1, flank_1, small, flank_2, big_2 = MOSS.arcs()
    assert [big_1.turn_deg + big_2.turn_deg, flank_1.turn_deg, small.turn_deg, flank_2.turn_deg] == pytest.approx(
        [180, 45, 90, 45]
    )
    assert [flank_1.radius, flank_2.radius, small.radius] == pytest.approx([2 * A, 2 * A, (2 - math.sqrt(2)) * A])
    # The side arcs are struck about the ends of the base: where the half circle ends on the other side.
    assert (flank_1.centre_x, flank_1.centre_y) == pytest.approx((flank_2.end_x, flank_2.end_y), abs=1e-8)
    assert (flank_2.centre_x, flank_2.centre_y) == pytest.approx((flank_1.start_x, flank_1.start_y), abs=1e-8)


def test_perimeter_and_area_in_closed_form():
    # Half circle pi a, two eighths of radius 2 a: pi a, quarter of radius (2 - sqrt 2) a.
    assert MOSS.perimeter == pytest.approx(math.pi * (3 - math.sqrt(0.5)) * A, rel=1e-14)
    # Half disc; two sectors of 45 degrees and radius 2 a that overlap in the right-angled triangle of area a^2 on the
    # base; quarter disc at the top: pi/2 + pi - 1 + pi (2 - sqrt 2)^2 / 4 = 3 pi - sqrt(2) pi - 1, times a^2.
    assert MOSS.area == pytest.approx((3 * math.pi - math.sqrt(2) * math.pi - 1) * A**2, rel=1e-14)


def test_points_lie_on_the_circles_of_the_construction():
    points = MOSS.points_at(np.linspace(0, MOSS.perimeter, 500))
    for arc, x, y in zip(points.arc, points.x, points.y, strict=True):
        struck = MOSS.arcs()[arc]
        assert math.hypot(x - struck.centre_x, y - struck.centre_y) == pytest.approx(struck.radius, abs=2e-9)
