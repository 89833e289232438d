"""The menu: sizes, shares and a budget, on ground where the best line has a closed form."""

import math
from dataclasses import dataclass, field

import pytest

from packpale.enclosure.alternatives import SHARES, alternatives, cheapest_of_all, round_sizes, shrunk
from packpale.enclosure.egg import Egg
from packpale.enclosure.model import Fit
from packpale.faults import Faults

PER_M, FIXED, PER_OVER_M = 200.0, 10_000.0, 60.0
LARGEST_M2 = 24_000.0


def round_egg(area):
    """The roundest egg of the usual ranges, which has the shortest line for its area."""
    return Egg.from_shape(0.9, 1.1, big_x=50.0, big_y=60.0, axis_bearing_deg=30.0, area=area)


@dataclass
class EvenLand:
    """Land that is the same everywhere, so that the cheapest line is the roundest egg; ``asked`` says what was sought.

    ``dear`` makes the search miss: for these areas it comes back with a long line.
    """

    most: float = LARGEST_M2
    dear: tuple = ()
    asked: list = field(default_factory=list)

    def largest(self, share):
        self.asked.append(("share", share))
        # A line may go over limits for more ground: by a tenth for each tenth of the share.
        area = self.most * (0.9 + share)
        return Fit(round_egg(area), 40_000.0, 0.0) if self.most else None

    def cheapest(self, area, share):
        self.asked.append(("size", area))
        if area in self.dear:
            return Egg.from_shape(0.5, 4.5, area=area)
        return round_egg(area)

    def over(self, egg):
        return 0.0

    def holds(self, egg, share):
        return True

    @property
    def least_area(self):
        return 900.0


def likely(egg):
    return FIXED + PER_M * egg.perimeter


def menu(land=None, **wanted):
    return alternatives(land or EvenLand(), likely, share=0.1, **wanted)


def of(found, aim):
    return [a for a in found if a.aim == aim]


def test_sizes_come_ascending_and_then_shares_and_the_budget():
    found = menu(sizes=(2.0, 0.5, 1.0), budget=90_000.0)
    assert [(a.aim, a.value) for a in found] == [
        ("size", 0.5), ("size", 1.0), ("size", 2.0),
        *(("share", s) for s in SHARES),
        ("budget", 90_000.0),
    ]  # fmt: skip
    assert all(a.area_bound == 40_000.0 for a in found)


def test_on_even_land_a_size_costs_what_the_roundest_egg_costs():
    one = round_egg(1.0).perimeter
    for a in of(menu(sizes=(0.5, 1.0, 2.0)), "size"):
        assert a.price == pytest.approx(FIXED + PER_M * one * math.sqrt(1e4 * a.value))
        assert a.egg.area == pytest.approx(1e4 * a.value)
        assert a.price_per_ha == pytest.approx(a.price / a.value)


def test_prices_rise_with_size():
    prices = [a.price for a in of(menu(sizes=(0.2, 0.5, 1.0, 1.5, 2.0)), "size")]
    assert prices == sorted(prices)
    assert len(set(prices)) == len(prices)


def test_where_a_larger_one_was_found_for_less_the_smaller_is_looked_for_inside_it():
    found = of(menu(EvenLand(dear=(1e4,)), sizes=(0.5, 1.0, 1.2, 2.0)), "size")
    prices = [a.price for a in found]
    assert prices == sorted(prices)
    assert found[1].egg.area == pytest.approx(1e4)
    # The line shrunk from that of 1.2 ha, itself the roundest.
    assert found[1].price == pytest.approx(likely(round_egg(1e4)))


def test_where_nothing_smaller_is_cheaper_the_larger_one_stands_for_both():
    class NothingInside(EvenLand):
        def holds(self, egg, share):
            return False

    found = of(menu(NothingInside(dear=(1e4,)), sizes=(1.0, 1.2)), "size")
    assert found[0].egg == found[1].egg
    assert found[0].value == 1.0


def test_a_size_that_does_not_fit_is_told_without_a_line():
    found = of(menu(sizes=(1.0, 5.0)), "size")
    assert [a.feasible for a in found] == [True, False]
    assert math.isnan(found[1].price)
    assert math.isnan(found[1].price_per_ha)


def test_round_sizes_reach_up_to_the_largest():
    assert round_sizes(24_000.0) == (0.1, 0.2, 0.5, 1.0, 2.0)
    assert round_sizes(20_000.0) == (0.1, 0.2, 0.5, 1.0, 2.0)
    assert round_sizes(19_999.0) == (0.1, 0.2, 0.5, 1.0)
    assert round_sizes(900.0) == ()
    assert round_sizes(2.3e7) == (10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0)
    assert [a.value for a in of(menu(), "size")] == [0.1, 0.2, 0.5, 1.0, 2.0]


def test_a_size_asked_for_stands_among_the_round_ones():
    assert [a.value for a in of(menu(also=(0.7, 1.0)), "size")] == [0.1, 0.2, 0.5, 0.7, 1.0, 2.0]


def test_shares_end_at_the_largest_for_each():
    assert [a.egg.area for a in of(menu(), "share")] == pytest.approx([LARGEST_M2 * (0.9 + s) for s in SHARES])


def test_a_share_for_which_a_size_is_larger_is_looked_for_again():
    class Nook(EvenLand):
        def largest(self, share):
            tries = self.asked.count(("share", share))
            found = super().largest(share)
            return found if share >= 0.1 or tries else None

    shares = of(menu(Nook(), sizes=(0.3,)), "share")
    assert [a.egg.area for a in shares] == pytest.approx([LARGEST_M2 * (0.9 + s) for s in SHARES])

    class OverLimits(Nook):
        def holds(self, egg, share):
            return share >= 0.05

    shares = of(menu(OverLimits(), sizes=(0.3,)), "share")
    assert [a.feasible for a in shares] == [False, False, True, True, True]


def test_a_share_of_ones_own_decides_sizes_and_is_not_told_twice():
    land = EvenLand()
    found = alternatives(land, likely, share=0.07, sizes=(2.3,))
    # 0.07 allows 24,000 (0.9 + 0.07) = 23,280 m2.
    assert found[0].feasible
    assert [a.value for a in of(found, "share")] == list(SHARES)
    assert ("share", 0.07) in land.asked


@pytest.mark.parametrize("sizes", [(0.5,), (0.1, 0.2, 0.5, 1.0, 2.0), (2.0,)])
@pytest.mark.parametrize("budget", [40_000.0, 90_000.0, 118_000.0])
def test_the_budget_buys_the_largest_whose_bill_keeps_it(sizes, budget):
    (found,) = of(menu(sizes=sizes, budget=budget), "budget")
    assert 0.998 * budget <= found.price <= budget
    # L = (budget - fixed) / rate, and the area goes with its square.
    exact = ((budget - FIXED) / PER_M / round_egg(1.0).perimeter) ** 2
    assert found.egg.area == pytest.approx(exact, rel=5e-3)


def test_a_size_that_has_no_line_does_not_end_the_search_for_the_budget():
    class Gap(EvenLand):
        def cheapest(self, area, share):
            return None if 12_000.0 < area < 14_900.0 else super().cheapest(area, share)

    # 94,000 would buy 14,000 m2, of which there is no line; 12,000 m2 there is.
    budget = likely(round_egg(14_000.0))
    (found,) = of(menu(Gap(), sizes=(1.0, 1.5), budget=budget), "budget")
    assert 11_500.0 < found.egg.area <= 12_000.0


def test_a_budget_for_more_than_fits_buys_the_largest():
    (found,) = of(menu(budget=1e6), "budget")
    assert found.egg.area == pytest.approx(LARGEST_M2)


def test_a_larger_budget_never_buys_less():
    areas = [of(menu(budget=b), "budget")[0].egg.area for b in (40_000.0, 60_000.0, 90_000.0, 120_000.0, 200_000.0)]
    assert areas == sorted(areas)


def test_a_budget_below_the_cheapest_line_buys_none():
    (found,) = of(menu(budget=15_000.0), "budget")
    assert not found.feasible


def test_the_least_price_is_that_of_the_smallest_egg():
    assert cheapest_of_all(EvenLand(), likely, 0.1) == (pytest.approx(900.0), pytest.approx(likely(round_egg(900.0))))


def test_land_without_any_line_has_a_menu_of_none():
    found = alternatives(EvenLand(most=0.0), likely, share=0.1, sizes=(1.0,), budget=5e4)
    assert [(a.aim, a.feasible) for a in found] == [
        ("size", False), *(("share", False) for _ in SHARES), ("budget", False),
    ]  # fmt: skip


def test_a_line_that_cannot_be_dug_is_none():
    def refuses(egg):
        if egg.area < 6_000.0:
            raise Faults("bends too tight")
        return likely(egg)

    found = of(alternatives(EvenLand(), refuses, share=0.1, sizes=(0.5, 1.0)), "size")
    # What encloses one hectare encloses half of one.
    assert found[0].egg.area == pytest.approx(1e4)
    assert found[1].egg.area == pytest.approx(1e4)


@pytest.mark.parametrize("area", [200.0, 3_000.0, 9_990.0])
def test_shrunk_eggs_lie_inside_and_have_the_area_asked_for(area):
    egg = round_egg(10_000.0)
    eggs = shrunk(egg, area)
    assert len(eggs) == 9
    for smaller in eggs:
        assert smaller.area == pytest.approx(area)
        assert egg.polygon(1e-4).buffer(1e-3).contains(smaller.polygon(1e-4))
    assert shrunk(egg, 10_001.0) == []
