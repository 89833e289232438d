"""What fence lines cost, as this room is told it: where prices come from is the business of a later one."""

from collections.abc import Callable
from dataclasses import dataclass

from packpale.enclosure.egg import Egg
from packpale.enclosure.line_ground import LineCost


@dataclass(frozen=True)
class Pricing:
    """Prices on one plot, in the run's currency."""

    cost: LineCost
    """Near the price of any line, and quick."""
    likely: Callable[[Egg], float]
    """Likely price of a line, as its bill has it. Raises Faults where the line cannot be dug."""
