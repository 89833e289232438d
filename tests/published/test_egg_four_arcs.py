"""Four-arc eggs with published figures.

Sources: A. Thom's survey of Clava NE (B7/1) as quoted on numbersciences.org (perimeter 125.36 megalithic yards, Type I
egg on a 6-8-10 triangle, r1 = 19); Moss's egg, construction in en.wikipedia.org/wiki/Moss's_egg (closed forms derived
here); A. Thom, Megalithic Sites in Britain (1967) pp. 73-74, Woodhenge, as quoted on megalithicsites.co.uk.
"""

import math

import pytest

from packpale.enclosure.egg import Egg
from printed import printed


def egg(big, small, spacing):
    return Egg(0.0, 0.0, 0.0, big, small, spacing)


def test_clava_north_east():
    ring = egg(19.0, 15.0, 8.0)
    assert ring.flank_radius == pytest.approx(25.0)
    assert ring.perimeter == printed("125.36")


def test_moss_egg_has_the_closed_forms_of_its_construction():
    a = 3.0
    moss = egg(a, (2 - math.sqrt(2)) * a, a)
    assert moss.flank_radius == pytest.approx(2 * a)
    assert moss.perimeter == pytest.approx(math.pi * (3 - math.sqrt(2) / 2) * a)
    assert moss.area == pytest.approx((3 * math.pi - math.sqrt(2) * math.pi - 1) * a * a)


@pytest.mark.parametrize(
    ("big", "perimeter"),
    [(4.921, 40), (8.104, 60), (11.287, 80), (14.470, 100), (20.837, 140), (24.020, 160)],
)
def test_woodhenge_rings_have_their_nominal_perimeters(big, perimeter):
    # Radii to three decimals: the perimeter is known to 2 pi times half a thousandth.
    assert egg(big, big - 1, 6.0).perimeter == pytest.approx(perimeter, abs=2 * math.pi * 0.0005 + 1e-6)
