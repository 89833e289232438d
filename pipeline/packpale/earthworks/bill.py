"""The bill with its ranges: each item's quantity and price, low, likely and high."""

from dataclasses import dataclass

from packpale.earthworks.model import Earthworks, Item

DRAWN_VOLUMES = {
    "excavate_soil_per_m3": "soil",
    "excavate_soft_rock_per_m3": "soft_rock",
    "excavate_rock_per_m3": "hard_rock",
    "extra_over_wet_per_m3": "wet",
    "backfill_and_compact_per_m3": "cut",
    "import_fill_per_m3": "import_compacted",
    "place_surplus_per_m3": "surplus_loose",
}
"""Name of the volume that each rate pays for, among those drawn at random; filled again is all that was dug."""

Range = tuple[float, float, float]
"""Low, likely, high."""


@dataclass(frozen=True)
class BillLine:
    """One item; ``item.quantity`` is its quantity as drawn."""

    item: Item
    quantity: Range
    """P10, P50 and P90 of the draws where the ground makes it uncertain; elsewhere three times as drawn."""
    price: Range
    """Each quantity at the rate of the same end, in the run's currency."""


@dataclass(frozen=True)
class Bill:
    """All items of one plot. Totals take every quantity and every rate at that end at once: the truth lies within."""

    lines: tuple[BillLine, ...]
    total: Range
    as_drawn: float
    """Quantities as drawn at likely rates."""


def bill(works: Earthworks) -> Bill:
    """The priced list of one plot with the ranges of its quantities."""
    drawn = works.uncertainty.volumes if works.uncertainty else {}
    lines = []
    for item in works.items:
        low, likely, high = drawn.get(DRAWN_VOLUMES.get(item.key, ""), (item.quantity,) * 3)
        prices = (low * item.rate[0], likely * item.rate[1], high * item.rate[2])
        lines.append(BillLine(item, (low, likely, high), prices))
    low, likely, high = (sum(line.price[k] for line in lines) for k in range(3))
    return Bill(tuple(lines), (low, likely, high), sum(item.price[1] for item in works.items))
