"""The bill: quantities as drawn at likely rates, and what leads from there to the middle estimate."""

from packpale.earthworks.bill import bill
from packpale.review.report.blocks import Block, Section, link, small, table
from packpale.review.report.source import PlotSource


def bill_section(source: PlotSource) -> Section:
    """Every item as drawn, and the bridge to the middle estimate."""
    show, works = source.show, source.works
    currency = source.project.currency
    priced = bill(works)
    heads = (("What", "name"), "Quantity as drawn", "Rate, likely", "Low", "Likely", "High")
    rows = [
        (i.text, show.quantity(i.quantity, i.unit), show.rate(i.rate[1], i.unit), *(show.amount(p) for p in i.price))
        for i in (line.item for line in priced.lines)
    ]
    total = (f"As drawn, in {currency}", "", "", *(show.amount(v) for v in priced.total))
    blocks: list[Block] = [
        table("Priced list", heads, rows, foot=[total]),
        small(
            "Low and high take every rate at that end at once. In the workbook ",
            link("quantities.xlsx", "quantities.xlsx"),
            " this list is live: change a rate, and every bill follows.",
        ),
    ]
    steps = priced.bridge
    if steps:
        blocks.append(
            table(
                "From the bill as drawn to the middle estimate",
                (("Why the middle estimate is another", "name"), f"Amount in {currency}"),
                [(step.text, show.amount(step.amount)) for step in steps[:-1]],
                foot=[(steps[-1].text, show.amount(steps[-1].amount))],
            )
        )
    return Section("Bill of quantities", tuple(blocks), source.section("bill"))
