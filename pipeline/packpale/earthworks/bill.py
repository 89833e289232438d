"""The bill: quantities as drawn at given rates, and the bridge from there to the middle estimate."""

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
    """One item, and what its quantity is likely to be beyond what is drawn."""

    item: Item
    """With its quantity as drawn."""
    over_dig: float
    """Change of the quantity where the machine digs deeper than drawn."""
    ground: float
    """Change of the quantity by rock and water that are not where they are drawn."""
    reckoned: Range
    """P10, P50 and P90 of the draws where the ground makes the quantity uncertain; elsewhere three times as drawn."""


@dataclass(frozen=True)
class Step:
    """One amount on the way from the bill as drawn to the middle estimate, in the run's currency."""

    text: str
    amount: float


@dataclass(frozen=True)
class Bill:
    """All items of one plot."""

    lines: tuple[BillLine, ...]
    total: Range
    """Quantities as drawn, every rate at the same end at once."""
    bridge: tuple[Step, ...]
    """From the likely total to the middle estimate, which comes last and is the sum of the others; empty where
    nothing was drawn at random."""


def bill(works: Earthworks) -> Bill:
    """The priced list of one plot.

    The bridge splits the middle estimate's quantities, the medians of the draws: what grows in the ratio of the median
    cut to the cut as drawn is over-dig; what an item changes beyond that is rock and water. The rest of the way to the
    middle estimate is made by rates whose range is not even about the likely one, and by medians that do not add up.
    """
    drawn = works.uncertainty.volumes if works.uncertainty else {}
    cut = sum(v.cut for v in works.volumes)
    deeper = drawn["cut"][1] / cut - 1 if "cut" in drawn and cut > 0 else 0.0
    lines = []
    for item in works.items:
        found = drawn.get(DRAWN_VOLUMES.get(item.key, ""))
        if found is None:
            lines.append(BillLine(item, 0.0, 0.0, (item.quantity,) * 3))
            continue
        over_dig = deeper * item.quantity
        lines.append(BillLine(item, over_dig, found[1] - item.quantity - over_dig, found))
    low, likely, high = (sum(item.price[k] for item in works.items) for k in range(3))
    return Bill(tuple(lines), (low, likely, high), _bridge(works, lines, likely))


def _bridge(works: Earthworks, lines: list[BillLine], likely: float) -> tuple[Step, ...]:
    if works.uncertainty is None:
        return ()
    over_dig = sum(line.over_dig * line.item.rate[1] for line in lines)
    ground = sum(line.ground * line.item.rate[1] for line in lines)
    middle = works.uncertainty.price[1]
    return (
        Step("Quantities as drawn at likely rates", likely),
        Step("Dug deeper than drawn", over_dig),
        Step("Rock and water where they are not drawn", ground),
        Step("Rates that can rise further than they can fall", middle - likely - over_dig - ground),
        Step("Middle estimate", middle),
    )
