"""One plot on one sheet: its map, its main figures, and whether it will hold."""

from collections.abc import Iterator

from packpale.review.report.blocks import (
    Block,
    Columns,
    Paragraph,
    Picture,
    Section,
    figures,
    link,
    words,
)
from packpale.review.report.holding import holding_section
from packpale.review.report.price import honest_range
from packpale.review.report.source import PlotSource
from packpale.values.quantity import Span


def plot_sheet(source: PlotSource) -> Section:
    """The sheet, without a rank and notes: a plot does not know the others, nor what it has in common with them."""
    pictured = Columns(((_map(source),), (main_figures(source),)), "map")
    held = (holding_section(source),) if source.result.enclosure.packs and source.result.earthworks else ()
    return Section(source.plot_id, (*_verdict(source), pictured, *held), look="sheet")


def _verdict(source: PlotSource) -> Iterator[Block]:
    if not source.result.enclosure.feasible:
        reason = source.show.say(source.result.enclosure.reason or "")
        yield Paragraph(words("No enclosure fits here."), "verdict")
        yield Paragraph(words(f"{reason[:1].upper()}{reason[1:]}."))


def _map(source: PlotSource) -> Picture:
    fits = source.result.enclosure.feasible
    alt = f"Map of plot {source.plot_id}: relief, usable land" + (
        ", fence line, apron and gates; north of the grid is up." if fits else "; no enclosure fits."
    )
    map_page, own_page = link("Open the map", source.file("map.html")), link("All of it", source.file("index.html"))
    return Picture(source.file("picture.png"), alt, words(map_page, " · ", own_page), source.file("map.html"))


def main_figures(source: PlotSource) -> Block:
    """What decides between plots, and what is built."""
    result, show = source.result, source.show
    rows: list[tuple[str, str] | None] = [
        ("Area of the plot", show.area(result.site.outline.area)),
        ("Usable for the fence line", show.area(result.land.usable.area)),
    ]
    packs = result.enclosure.packs
    if packs:
        works, care = source.works, source.care
        area = sum(pack.line.area for pack in packs)
        cost = works.cost
        rows += [
            ("Enclosed", show.area(area)),
            *((f"of it pack {p.number}", show.area(p.line.area)) for p in packs if source.several),
            *(
                (
                    "No larger one fits than" if not source.several else f"No larger one fits pack {p.number} than",
                    show.area(p.fit.area_bound_m2),
                )
                for p in packs
                if p.fit
            ),
            ("Fence in plan", show.length(sum(p.line.perimeter for p in packs))),
            ("of it over limits", show.length(sum(p.over_limits_m for p in packs))),
            ("Fence on the ground", show.length(sum(p.length_3d for p in packs))),
            ("Dug out, as drawn", show.volume(sum(v.cut for v in works.volumes))),
            ("of it rock, as drawn", show.volume(sum(v.rock for v in works.volumes))),
        ]
        found = works.uncertainty
        if found:
            low, _, high = found.volumes["rock"]
            rows.append(("rock to reckon with", show.say(Span(low, high, "volume"))))
            rows.append(("Price to reckon with", honest_range(found, show)))
        rows.append(("Middle estimate", show.money(cost["p50"])))
        rows.append(
            ("for each hectare" if not show.imperial else "for each acre", show.money(show.per_area(cost["p50"], area)))
        )
        if care.escape_dig_rate is not None:
            rows.append(("Gets out if it digs faster than", show.speed(care.escape_dig_rate)))
    return figures(rows)
