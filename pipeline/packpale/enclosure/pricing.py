"""What a fence line costs, as the searches of this room are told it; where prices come from is not their business."""

from collections.abc import Callable
from dataclasses import dataclass

from packpale.enclosure.egg import Egg
from packpale.site.grid import Array, Grid


@dataclass(frozen=True)
class LineCost:
    """Likely price of an egg as a line integral, for searches that weigh many lines. In the run's currency."""

    raster: Array
    """For each metre of line by the cell under it, shape (rows, cols); never NaN."""
    grid: Grid
    """Where the cells lie."""
    per_over_limit_m: float
    """For each metre of line over a limit, on top."""
    fixed: float
    """For every line, whatever its length."""


@dataclass(frozen=True)
class Pricing:
    """Prices on one plot."""

    cost: LineCost
    """Near the price of any line, and quick."""
    likely: Callable[[Egg], float]
    """Likely price of a line, as its bill has it. Raises Faults where the line cannot be dug."""
