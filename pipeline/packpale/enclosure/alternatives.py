"""The menu of a plot: the cheapest fence line for each size, the largest for each share of line over limits.

A line's price here is its own bill's, not the sum that the search goes by. Prices of sizes never fall: where a larger
enclosure was found for less, the smaller is looked for again inside it, and if that is dearer still, the larger one
stands for both, since it encloses at least what was asked for.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Protocol

from packpale.enclosure.egg import Egg
from packpale.enclosure.model import Aim, Alternative, Fit
from packpale.faults import Faults
from packpale.units import HECTARE_M2

SHARES = (0.0, 0.02, 0.05, 0.1, 0.2)
"""Shares of the line over limits for which the largest enclosure is told."""
SMALLEST_ROUND_HA = 0.1
"""Round sizes begin here: about what one small pen takes."""
MOST_ROUND = 8
"""Round sizes at most, the largest of them."""
BUDGET_ROUNDS = 8
"""Sizes that are tried for a budget, at most."""
CLOSE_TO_BUDGET = 0.002
"""Part of the budget that may be left."""


class Lines(Protocol):
    """Searches for fence lines on one plot; every egg that they return is feasible for the share."""

    def largest(self, share: float) -> Fit | None:
        """The largest whose line runs over limits for at most this share."""

    def cheapest(self, area: float, share: float) -> Egg | None:
        """Of all of an area [m2] one whose line costs little."""

    def over(self, egg: Egg) -> float:
        """Length of an egg's line over limits. [m]"""

    def holds(self, egg: Egg, share: float) -> bool:
        """Whether an egg that lies inside a feasible one is feasible itself."""

    @property
    def least_area(self) -> float:
        """Of the smallest egg that the ranges of shape allow. [m2]"""


def round_sizes(largest: float) -> tuple[float, ...]:
    """Round areas, 1-2-5, up to the largest [m2] that fits; ascending. [ha]"""
    steps = (m * 10.0**e for e in range(-1, 6) for m in (1, 2, 5))
    sizes = [round(s, 1) for s in steps if SMALLEST_ROUND_HA <= s <= largest / HECTARE_M2]
    return tuple(sizes[-MOST_ROUND:])


def alternatives(
    lines: Lines,
    likely: Callable[[Egg], float],
    *,
    share: float,
    sizes: Sequence[float] | None = None,
    also: Sequence[float] = (),
    budget: float | None = None,
) -> tuple[Alternative, ...]:
    """The menu of one plot: sizes ascending, then shares ascending, then the budget if there is one.

    Parameters
    ----------
    lines
        Searches on the plot.
    likely
        Likely price of a line, as its bill has it; a line for which it raises Faults is none.
    share
        Largest share of the line that may run over limits, for sizes and budget.
    sizes
        In hectares; round ones up to the largest that fits where none are given.
    also
        Sizes beside those. [ha]
    budget
        In the currency of the prices.
    """
    fits = _largest(lines, sorted({*SHARES, share}))
    largest = fits[share]
    bound = max((f.area_bound_m2 for f in fits.values() if f), default=0.0)

    def priced(aim: Aim, value: float, egg: Egg | None) -> Alternative:
        with suppress(Faults):
            if egg is not None:
                return Alternative(aim, value, bound, egg, lines.over(egg), likely(egg))
        return Alternative(aim, value, bound)

    if largest is None:
        of_size = [priced("size", size, None) for size in sorted({*(sizes or ()), *also})]
    else:
        wanted = round_sizes(largest.egg.area) if sizes is None else sizes
        of_size = _by_size(lines, priced, {*wanted, *also}, share, priced("size", 0.0, largest.egg))
        fits = _raised(lines, fits, [a.egg for a in of_size if a.egg is not None])
    menu = [*of_size, *(priced("share", s, fit.egg if fit else None) for s, fit in fits.items() if s in SHARES)]
    if budget is not None:
        known = [*of_size, priced("share", share, largest.egg if largest else None)]
        menu.append(_in_budget(lines, priced, budget, share, known) if largest else priced("budget", budget, None))
    return tuple(menu)


def _largest(lines: Lines, shares: Sequence[float]) -> dict[float, Fit | None]:
    """The largest for each of some ascending shares; one for a larger share is never smaller."""
    # Where the most generous share has none, no other has, and such searches take longest.
    most = lines.largest(shares[-1])
    if most is None:
        return dict.fromkeys(shares)
    fits = {s: lines.largest(s) for s in shares[:-1]}
    last = max((f for f in fits.values() if f), key=lambda f: f.egg.area, default=most)
    return fits | {shares[-1]: most if most.egg.area >= last.egg.area else last}


def _raised(lines: Lines, fits: dict[float, Fit | None], eggs: Sequence[Egg]) -> dict[float, Fit | None]:
    """The fits, looked for once more where a line of some size or of a smaller share shows that they were missed.

    Shares ascend.
    """
    raised: dict[float, Fit | None] = {}
    before: Fit | None = None
    for share, fit in fits.items():
        least = max((f.egg.area for f in (fit, before) if f), default=0.0)
        missed = (fit is None and before is not None) or any(e.area > least and lines.holds(e, share) for e in eggs)
        again = lines.largest(share) if missed else None
        before = max((f for f in (fit, again, before) if f), key=lambda f: f.egg.area, default=None)
        raised[share] = before
    return raised


_Priced = Callable[[Aim, float, Egg | None], Alternative]


def _by_size(
    lines: Lines, priced: _Priced, sizes: Iterable[float], share: float, largest: Alternative
) -> list[Alternative]:
    """The cheapest for each size, from the largest size down; ``largest`` is the largest that fits, priced."""
    found: list[Alternative] = []
    above = largest
    most = largest.egg.area if largest.egg else 0.0
    for size in sorted(sizes, reverse=True):
        area = size * HECTARE_M2
        if area > most:
            found.append(priced("size", size, None))
            continue
        candidates = [priced("size", size, lines.cheapest(area, share))]
        if above.egg is not None and not candidates[0].price < above.price:
            candidates += [priced("size", size, egg) for egg in shrunk(above.egg, area) if lines.holds(egg, share)]
        # The larger one encloses what was asked for too.
        candidates.append(replace(above, aim="size", value=size))
        best = min((c for c in candidates if c.egg), key=lambda c: c.price, default=candidates[-1])
        found.append(best)
        above = best
    return found[::-1]


def shrunk(egg: Egg, area: float) -> list[Egg]:
    """Eggs of a smaller area [m2] and the same shape inside an egg: about its big end's centre and points round it."""
    if area >= egg.area:
        return []
    scale = math.sqrt(area / egg.area)
    points = egg.points_at([k / 8 * egg.perimeter for k in range(8)])
    about = [(egg.big_x, egg.big_y), *zip(points.x.tolist(), points.y.tolist(), strict=True)]
    return [
        Egg(
            x + scale * (egg.big_x - x),
            y + scale * (egg.big_y - y),
            egg.axis_bearing_deg,
            scale * egg.big_radius,
            scale * egg.small_radius,
            scale * egg.centre_spacing,
        )
        for x, y in about
    ]


def _in_budget(lines: Lines, priced: _Priced, budget: float, share: float, known: Sequence[Alternative]) -> Alternative:
    """The largest whose bill keeps the budget; none where even a line of the least area does not.

    Sizes between the largest that is known to keep it and the next that does not are tried, where the budget would
    lie if the price rose evenly between the two.
    """

    def sought(area: float) -> Alternative:
        return priced("budget", budget, lines.cheapest(area, share))

    lines_known = sorted((replace(a, aim="budget", value=budget) for a in known if a.egg), key=_area)
    within = [a for a in lines_known if a.price <= budget]
    best = within[-1] if within else sought(lines.least_area)
    if best.egg is None or best.price > budget:
        return priced("budget", budget, None)
    beyond = next((a for a in lines_known if a.price > budget and _area(a) > _area(best)), None)
    if beyond is None:
        return best
    too_large, too_dear = _area(beyond), beyond.price
    for _ in range(BUDGET_ROUNDS):
        if best.price >= (1 - CLOSE_TO_BUDGET) * budget:
            break
        part = (budget - best.price) / (too_dear - best.price)
        area = _area(best) + (too_large - _area(best)) * min(max(part, 0.1), 0.95)
        tried = sought(area)
        if tried.egg is not None and tried.price <= budget:
            best = tried
        else:
            # Where no line of that size is found, one a little smaller may be.
            too_large = area
            too_dear = tried.price if tried.egg is not None else too_dear
    return best


def cheapest_of_all(lines: Lines, likely: Callable[[Egg], float], share: float) -> tuple[float, float] | None:
    """Area [m2] and price of about the cheapest line on a plot, that of the least area; None where there is none."""
    with suppress(Faults):
        egg = lines.cheapest(lines.least_area, share)
        return None if egg is None else (egg.area, likely(egg))
    return None


def _area(alternative: Alternative) -> float:
    return alternative.egg.area if alternative.egg else 0.0
