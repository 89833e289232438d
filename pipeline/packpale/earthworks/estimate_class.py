"""Which published class of estimate the price belongs to. Never better than class 4: no design stands behind it."""

from collections.abc import Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass

from packpale.earthworks.model import Item
from packpale.values.estimate_classes import estimate_classes

BEST = 4
NEAR_PITS = 0.5
"""Part of the fence line within one correlation length of a pit that tells of rock, from which the ground counts as
looked at. Our own threshold: the practice sets the class by the maturity of what is known and not by a number."""


@dataclass(frozen=True)
class Stated:
    """The class, why it is no better, and the published ranges that go with it."""

    number: int
    reason: str
    low: tuple[float, float]
    high: tuple[float, float]


def estimate_class(items: Sequence[Item], *, near_pits: float, rates_set: AbstractSet[str]) -> Stated:
    """Class 4 where rates are the user's own and pits stand along the line, else class 5.

    ``near_pits`` is the part of the fence line near a pit, ``rates_set`` the names of the rates that the settings
    give themselves.
    """
    lacking = []
    invented = sum(1 for i in items if i.quantity > 0 and i.key not in rates_set)
    if invented:
        lacking.append(f"{invented} of the rates are the programme's own and invented")
    if near_pits < NEAR_PITS:
        lacking.append(
            f"only {100 * near_pits:.0f} % of the fence line has a trial pit nearby that tells of rock"
            if near_pits
            else "no trial pit near the fence line tells of rock"
        )
    number = 5 if lacking else BEST
    found = estimate_classes()[number]
    why = (
        f"{' and '.join(lacking)}"
        if lacking
        else "rates are given and pits stand along the line, but nothing is designed yet"
    )
    return Stated(number, f"Class {number}: {why}.", found.low, found.high)
