"""A. Thom, Megalithic Sites in Britain, Oxford 1967: perimeters of egg-shaped rings of Type I.

A Type I egg stands on two right-angled triangles back to back with the sides b (along the base), h and c: a half
circle of radius r1 on the base, two side arcs of radius r1 + b about the far ends of the base, a tip of radius
r1 + b - c about the point at height h. In our terms R = r1, d = h, F = r1 + b, r = r1 + b - c. Lengths in megalithic
yards.

Quoted by numbersciences.org (stone circles; Clava) and megalithicsites.co.uk (math6; Woodhenge).
"""

import math

import pytest

from packpale.enclosure.egg import Egg
from printed import printed


def type_one(r1, b, h):
    return Egg(0.0, 0.0, 0.0, r1, r1 + b - math.hypot(b, h), h)


def test_clava_north_east_ring():
    # B7/1, triangle 6, 8, 10 and r1 = 19: the perimeter is given as 125.36.
    egg = type_one(19, 6, 8)
    assert egg.perimeter == printed("125.36")
    assert egg.flank_radius == pytest.approx(25)
    assert egg.small_radius == 15


@pytest.mark.parametrize("nominal", [40, 60, 80, 100, 140, 160])
def test_woodhenge_rings(nominal):
    # Triangle 12, 35, 37 in half yards. All rings are struck about the same centres, so each is a parallel curve of the
    # smallest, and its perimeter differs by 2 pi times the offset. The radii that make the perimeters whole, by
    # P = 2 pi r1 + pi b - (pi - 2 atan(h / b)) c:
    b, h, c = 17.5, 6.0, 18.5
    r1 = (nominal - math.pi * b + (math.pi - 2 * math.atan2(h, b)) * c) / (2 * math.pi)
    egg = type_one(r1, b, h)
    assert egg.small_radius == pytest.approx(r1 - 1)
    assert egg.perimeter == pytest.approx(nominal, rel=1e-12)
    smallest = type_one(4.921, b, h)
    assert smallest.parallel(r1 - 4.921).perimeter == pytest.approx(nominal, rel=1e-12)
