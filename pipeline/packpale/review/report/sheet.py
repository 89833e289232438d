"""One plot on one sheet: its map, its main figures, what it is like for the animals, and whether it will hold."""

import math
from collections.abc import Iterator
from dataclasses import replace

from packpale.care.inside import Inside
from packpale.review.report.blocks import (
    Block,
    Columns,
    Picture,
    Section,
    figures,
    link,
    paragraph,
    text_of,
    words,
)
from packpale.review.report.holding import holding_section
from packpale.review.report.price import honest_range
from packpale.review.report.source import PlotSource
from packpale.review.subjects.field import told
from packpale.review.subjects.tables import RANKING, Whole
from packpale.review.words import begun, counted
from packpale.values.quantity import Span

ANIMALS = "For the animals"
"""How the line on the ground inside begins."""


def plot_sheet(source: PlotSource) -> Section:
    """The sheet, without a rank and notes: a plot does not know the others, nor what it has in common with them."""
    pictured = Columns(((_map(source),), (main_figures(source),)), "map")
    held: tuple[Block, ...] = ()
    if source.result.enclosure.packs and source.result.earthworks:
        held = (paragraph(source.see(ANIMALS, "inside"), f": {animals(source)}."), holding_section(source))
    return Section(source.plot_id, (*_verdict(source), pictured, *held), look="sheet")


def on_paper(sheet: Section) -> Section:
    """A sheet for print, where two stand on a page: what is inside is told with the plot's details alone."""
    return replace(sheet, blocks=tuple(b for b in sheet.blocks if not text_of(b).startswith(ANIMALS)))


def _verdict(source: PlotSource) -> Iterator[Block]:
    if not source.result.enclosure.feasible:
        reason = source.show.say(source.result.enclosure.reason or "")
        yield paragraph("No enclosure fits here.", look="verdict")
        yield paragraph(f"{begun(reason)}.")


def _map(source: PlotSource) -> Picture:
    fits = source.result.enclosure.feasible
    alt = f"Map of plot {source.plot_id}: relief, usable land" + (
        ", fence line, apron and gates; north of the grid is up." if fits else "; no enclosure fits."
    )
    map_page, own_page = link("Open the map", source.file("map.html")), link("All of it", source.file("index.html"))
    return Picture(source.file("picture.png"), alt, words(map_page, " · ", own_page), source.file("map.html"))


def animals(source: PlotSource) -> str:
    """What the ground inside holds, and what of it nobody sees; what is not known is left to the page."""
    of_packs = (
        source.of_pack(ground.pack) + ", ".join([*_ground(source, ground), *_company(source, ground.pack)])
        for ground in source.care.insides
    )
    return "; ".join(of_packs)


def _ground(source: PlotSource, ground: Inside) -> Iterator[str]:
    show = source.show
    for share, what in ((ground.wood, "woodland"), (ground.mapped_water, "water"), (ground.wet, "wet ground")):
        if share is not None:
            yield f"{show.percent(share)} {what}" if share else f"no {what}"
    if ground.hollows:
        yield f"{show.percent(ground.hollows)} hollows that can stand in water"
    if ground.streams:
        yield f"{show.length(ground.streams)} of streams"
    if ground.relief is not None:
        yield f"{show.length(ground.relief)} from the lowest to the highest ground"


def _company(source: PlotSource, pack: int) -> Iterator[str]:
    """Dens, and who is near."""
    care = source.care
    if source.project.dens.count:
        count = sum(den.pack == pack for den in care.dens)
        yield f"{counted(count, 'place') if count else 'no places'} found for a den"
    for seen in care.viewing.packs if care.viewing else ():
        if seen.pack == pack and math.isfinite(seen.refuge_share):
            most = "at most " if seen.is_bound else ""
            yield f"{most}{source.show.percent(seen.refuge_share)} out of sight of the viewing points"
    for two in care.neighbours:
        if two.packs[0] == pack:
            heard = "howls are heard" if min(two.excess) >= 0 else "not all howls are heard"
            yield f"{heard} between it and pack {two.packs[1]}"


def main_figures(source: PlotSource) -> Block:
    """What decides between plots, and what is built."""
    result, show = source.result, source.show
    whole = Whole(result, source.project)

    def of(*keys: str) -> list[tuple[str, str]]:
        return told(RANKING.of(*keys), whole, show)

    rows = of("plot_area_m2", "usable_area_m2")
    packs = result.enclosure.packs
    if packs:
        rows += of("enclosed_area_m2")
        rows += [(f"of it pack {p.number}", show.area(p.line.area)) for p in packs if source.several]
        for p in packs:
            if p.fit:
                whose = f" pack {p.number}" if source.several else ""
                rows.append((f"No larger one fits{whose} than", show.area(p.fit.area_bound_m2)))
        rows += of("fence_length_m", "fence_length_3d_m", "over_limits_m", "cut_bank_m3", "rock_bank_m3")
        found = source.works.uncertainty
        if found:
            low, _, high = found.volumes["rock"]
            rows.append(("rock to reckon with", show.say(Span(low, high, "volume"))))
            rows.append(("Price to reckon with", honest_range(found, show)))
        rows += of("cost_p50")
        rows.append(
            (f"for each {show.area_name}", show.money(show.per_area(source.works.cost["p50"], sum(whole.areas))))
        )
        rows += of("escape_dig_rate_m_per_h")
    return figures(rows)
