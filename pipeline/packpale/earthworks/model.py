"""Cut, fill and price of one plot's trenches."""

from collections.abc import Mapping
from dataclasses import dataclass

from packpale.site import Array


@dataclass(frozen=True)
class Volumes:
    """Volumes of one pack's trench, all in the ground (bank) unless the name says otherwise. [m3]"""

    pack: int
    fence_length: float
    """In plan. [m]"""
    section_area: float
    """Mean cut area of the section. [m2]"""
    cut: float
    rock: float
    """Part of the cut below depth to rock."""
    wet: float
    """Part of the cut below the water table."""
    average_end_area: float
    """The cut by averaging neighbouring end areas along the fence line, as a check."""
    backfill_compacted: float
    import_compacted: float
    """Part of the backfill that has to be brought in."""
    cut_loose: float
    surplus_loose: float
    stripped_area: float
    """Horizontal area of ground that is cut open. [m2]"""
    cut_at_station: Array
    """Cut area of the section at each station. [m2]"""
    invert: Array
    """Elevation of the skirt trench's bottom at each station. [m]"""


@dataclass(frozen=True)
class Item:
    """One line of the priced list."""

    key: str
    """Name of its rate in the settings."""
    text: str
    unit: str
    quantity: float
    rate: tuple[float, float, float]
    """Low, likely, high, in the run's currency per unit."""

    @property
    def price(self) -> tuple[float, float, float]:
        """Quantity times rate: low, likely, high, in the run's currency."""
        low, likely, high = self.rate
        return self.quantity * low, self.quantity * likely, self.quantity * high


@dataclass(frozen=True)
class Earthworks:
    """All trenches of one plot and what they cost."""

    volumes: tuple[Volumes, ...]
    items: tuple[Item, ...]
    cost: Mapping[str, float]
    """Total price: low, likely, high (all rates at once) and p10, p50, p90 of the random draws."""
    notes: tuple[str, ...] = ()
