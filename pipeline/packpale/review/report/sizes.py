"""What each size costs: price over size for all plots, the same sizes on each, and the next hectare."""

from packpale.review.report.blocks import (
    Block,
    Chart,
    Head,
    Section,
    Table,
    Words,
    link,
    paragraph,
    small,
    strong,
    table,
    words,
)
from packpale.review.report.charts import HAIR, INK, add, drawing, markup
from packpale.review.report.front import PAGE, RunSource
from packpale.review.report.size_prices import SizePrices, size_prices


def sizes(source: RunSource) -> Section | None:
    """The section; None where no plot has a line."""
    found = size_prices(
        [(row.plot_id, source.brief(row).alternatives) for row in source.ranking.rows],
        share=source.project.enclosure.line_over_limits,
        wording=source.show,
    )
    if found is None:
        return None
    currency = source.project.currency
    blocks: list[Block] = [
        paragraph(
            f"For each size, the cheapest fence line found on each plot, with at most {found.share} of it over ground "
            "past a limit. These prices are the bill as drawn at likely rates. The middle estimates above reckon also "
            "with digging too deep, with rock and water, and with rates that can rise further than they can fall."
        ),
        _chart(found, currency),
        _equal(found, currency),
    ]
    if found.steps and found.more:
        title = f"What each {found.unit} more costs, in {currency}"
        heads: list[Head] = [("Plot", "name"), *(f"From {step}" for step in found.steps)]
        rows: list[tuple[str | Words, ...]] = [
            (words(strong(letter), f" {plot}"), *prices) for letter, plot, prices in found.more
        ]
        blocks.append(Section(title, (table(title, heads, rows),)))
    blocks.append(
        small(
            "Where the cheapest line for a size encloses more, what it encloses stands in brackets, and the curve runs "
            "level up to it; where no price stands, no line of that size or more was found. All of them: ",
            link("alternatives.csv", "alternatives.csv"),
            ', and the layer "Other lines" on each plot’s map.',
        )
    )
    return Section("What each size costs", tuple(blocks), f"{PAGE}#sizes")


def _equal(found: SizePrices, currency: str) -> Table:
    of_sizes = (f"{size}, {currency}" for size in found.sizes)
    heads: list[Head] = [("Plot", "name"), *of_sizes, "Largest found", f"for {currency}"]
    rows: list[tuple[str | Words, ...]] = [
        (words(strong(letter), f" {plot}"), *prices, area, price) for letter, plot, prices, area, price in found.equal
    ]
    return table("The same size on each plot", heads, rows)


def _chart(found: SizePrices, currency: str) -> Chart:
    svg = drawing(found.width, found.height)
    svg.set("font-size", "13")
    for tick in found.up:
        add(svg, "line", x1=found.left, x2=found.right, y1=tick.at, y2=tick.at, stroke=HAIR)
        add(svg, "text", tick.text, x=found.left - 8, y=tick.at + 4, text_anchor="end", fill=INK)
    for tick in found.across:
        add(svg, "line", x1=tick.at, x2=tick.at, y1=found.bottom, y2=found.bottom + 5, stroke=INK)
        add(svg, "text", tick.text, x=tick.at, y=found.bottom + 20, text_anchor="middle", fill=INK)
    add(svg, "line", x1=found.left, x2=found.right, y1=found.bottom, y2=found.bottom, stroke=INK)
    foot = found.height - 8
    add(svg, "text", f"Enclosed, {found.unit}s", x=found.right, y=foot, text_anchor="end", fill=INK)
    add(svg, "text", f"Likely price, {currency}", x=6.0, y=foot, fill=INK)
    for curve in found.curves:
        line = {"fill": "none", "stroke": curve.colour, "stroke-width": "2", "stroke-dasharray": curve.dash}
        add(svg, "polyline", points=curve.path, **line)
        for x, y in curve.points:
            add(svg, "circle", cx=x, cy=y, r=3.0, fill=curve.colour)
    for curve in found.curves:
        x, y = curve.letter_at
        bold = {"font-weight": "700"}
        # A light edge round the letter, drawn first: not every reader knows which of the two comes on top.
        add(svg, "text", curve.letter, x=x, y=y, fill="none", stroke="#fffdf8", stroke_width=4.0, **bold)
        add(svg, "text", curve.letter, x=x, y=y, fill=curve.colour, **bold)
    said = "Letters are those of the table below; each curve ends at the largest enclosure found."
    if found.left_out:
        said += (
            f" It shows the first {len(found.curves)} plots of the ranking; {found.left_out} more stand in the table."
        )
    return Chart(markup(svg), found.alt, words(said))
