"""How sure the price is, and what it follows."""

from collections.abc import Sequence

from packpale.earthworks.model import Flank, Uncertainty
from packpale.review.report.blocks import Block, Columns, Section, Table, paragraph, table
from packpale.review.report.charts import both_ways
from packpale.review.report.source import PlotSource
from packpale.review.words import Wording, begun

PUBLISHED_CLASSES = "AACE International Recommended Practice 18R-97"
DRIVERS_SHOWN, FLANKS_SHOWN = 10, 4
VOLUMES = (
    ("cut", "Dug out, in the ground"),
    ("soft_rock", "of it soft rock"),
    ("hard_rock", "of it hard rock"),
    ("wet", "of it under water"),
    ("import_compacted", "Fill to bring in, compacted"),
    ("surplus_loose", "Left over, loose"),
)


def price_range(middle: float, low: float, high: float) -> tuple[float, float]:
    """Ends of the range that a published class of estimate leaves open; ``low`` and ``high`` are fractions."""
    return middle * (1 + low), middle * (1 + high)


def honest_range(found: Uncertainty, show: Wording) -> str:
    """The range of the estimate's class in words, wider than that of the draws."""
    low, high = price_range(found.price[1], found.class_low[1], found.class_high[1])
    return f"{show.money(low)} to {show.price(high)}"


def how_sure(source: PlotSource, found: Uncertainty) -> Section:
    """The class of the estimate, the draws, where the rock is, and what the price follows."""
    show = source.show
    p10, p50, p90 = (show.money(v) for v in found.price)
    blocks: list[Block] = [
        paragraph(
            f"Reckon with {honest_range(found, show)}. {found.class_reason} Estimates are classed from 1, the surest, "
            f"to 5, the roughest; this programme never claims a class better than 4. By {PUBLISHED_CLASSES}, the low "
            f"end of one of this class lies {show.percent(-found.class_low[0])} to "
            f"{show.percent(-found.class_low[1])} below it and the high end {show.percent(found.class_high[0])} to "
            f"{show.percent(found.class_high[1])} above."
        ),
        paragraph(
            f"Within it, half of {found.draws:,} random draws of rates and ground cost less than {p50}, eight in ten "
            f"between {p10} and {p90}. The draws leave out weather, changes of design, stops of work and rates that "
            f"rise together. {found.narrowing}"
        ),
    ]
    if found.pits:
        where = " and ".join(
            f"chainage {show.length(p.chainage)} on the {p.flank} flank"
            + (f" of pack {p.pack}" if source.several else "")
            for p in found.pits
        )
        blocks.append(paragraph(f"{'The pit' if len(found.pits) == 1 else 'The pits'} would go to {where}."))
    texts = {f"rate: {item.key}": f"Rate: {item.text.partition(',')[0]}" for item in source.works.items}
    drivers = [(texts.get(d.name, begun(d.name)), d.swing, show.change(d.swing)) for d in found.drivers[:DRIVERS_SHOWN]]
    if drivers:
        blocks.append(
            both_ways(
                drivers,
                alt="How much dearer the work is at the high end of each uncertain input than at its low end",
                caption="What the price follows: how much dearer the work is on average when one input is at its high "
                "end (one draw in ten is higher) instead of its low end (one in ten is lower), and all else as drawn.",
            )
        )
    blocks.append(Columns(((_volumes(source, found),), (_flanks(source, found.flanks[:FLANKS_SHOWN]),))))
    return Section("How sure is the price", tuple(blocks), source.section("price"))


def _volumes(source: PlotSource, found: Uncertainty) -> Table:
    rows = [(name, *(source.show.volume(v) for v in found.volumes[key])) for key, name in VOLUMES]
    heads = (("Volume", "name"), "One in ten below", "Half below", "One in ten above")
    return table("Spread of the volumes", heads, rows)


def _flanks(source: PlotSource, flanks: Sequence[Flank]) -> Table:
    show = source.show
    rows = [
        (
            f.name.capitalize() + (f", pack {f.pack}" if source.several else ""),
            show.percent(f.share),
            show.length(f.pit_distance) if f.pit_distance < float("inf") else "none",
        )
        for f in flanks
    ]
    heads = (("Flank", "name"), "Its rock’s part in the spread", "Nearest pit that tells of rock")
    return table("Rock and pits by flank", heads, rows)
