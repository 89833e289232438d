"""Where a footing stands in the dig: three holes by hand."""

import math

import pytest

from packpale.earthworks.fence_take_off import fence_take_off
from packpale.earthworks.footing import footing
from packpale.settings import FenceSettings, MeshSettings, TrenchSettings
from review import factory

CASES = {
    # hole, trench: top, bottom, below the trench, in a form, how it stands
    "shallower": (0.8, 1.2, 0.4, 1.2, 0.0, 0.8, "stand wholly in"),
    "as deep": (1.0, 1.0, 0.0, 1.0, 0.0, 1.0, "stand wholly in"),
    "deeper": (1.5, 1.2, 0.0, 1.5, 0.3, 1.2, "reach through"),
}


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_footing_in_the_dig(case):
    hole, trench, top, bottom, below, formed, how = case
    found = footing(FenceSettings(hole_depth_m=hole), trench)
    assert (found.top, found.bottom, found.below_trench, found.formed) == pytest.approx((top, bottom, below, formed))
    assert found.height == pytest.approx(hole)
    assert found.made_ground == how


def test_concrete_drawn_is_concrete_in_the_bill():
    settings = factory.project()
    fence = FenceSettings(hole_diameter_m=0.4, hole_depth_m=0.8)
    bill = fence_take_off(
        factory.pack(factory.site(), settings), fence=fence, trench=TrenchSettings(), mesh=MeshSettings()
    )
    one = footing(fence, TrenchSettings().depth_m)
    assert bill.concrete == pytest.approx(bill.holes * math.pi / 4 * one.diameter**2 * one.height)


def test_without_a_trench_it_is_the_hole():
    found = footing(FenceSettings(hole_depth_m=0.8), 0.0)
    assert (found.top, found.bottom, found.formed) == (0.0, 0.8, 0.0)
    with pytest.raises(ValueError, match="negative"):
        footing(FenceSettings(), -0.1)
