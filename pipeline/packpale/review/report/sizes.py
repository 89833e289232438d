"""What each size costs: price over size for all plots, the same sizes on each, and the next hectare.

A size's price is that of the cheapest line found for it; the curve of a plot ends at the largest that fits.
"""

import itertools
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from packpale.review.report.blocks import (
    Block,
    Chart,
    Head,
    Section,
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
from packpale.review.words import MISSING, Wording
from packpale.review.words.quantities import ROUND
from packpale.units import HECTARE_M2
from packpale.values.quantity import given

MOST_CURVES = 12
"""Plots in the chart, the best first: with more, nobody tells one curve from the next."""
MOST_SIZES = 5
"""Sizes in the tables."""
COLOURS = ("#1d2a2a", "#8f1233", "#1a5a72", "#7a5a00", "#2f5d50", "#6b3fa0")
DASHES = ("none", "9 4", "2 3", "12 3 2 3", "5 2", "14 5")
"""A curve is told by its letter and its dash; colour only helps."""
WIDTH, HEIGHT = 860.0, 400.0
LEFT, RIGHT, TOP, BOTTOM = 96.0, 820.0, 16.0, 348.0
"""Of the chart, and where its field begins and ends. [px]"""
LETTER_STEP = 15.0
"""Least distance between two letters above each other. [px]"""


@dataclass(frozen=True)
class _Menu:
    """The lines of one plot that could be built."""

    letter: str
    plot_id: str
    by_size: Mapping[float, Mapping[str, Any]]
    """Rows of alternatives.csv with a line, by size in hectares, ascending."""
    largest: Mapping[str, Any]

    @property
    def name(self) -> Words:
        return words(strong(self.letter), f" {self.plot_id}")

    @property
    def points(self) -> list[tuple[float, float]]:
        """Area [m2] and price, ascending; level from a size to what its line encloses, where that is more."""
        asked = [(s * HECTARE_M2, r["price_likely"]) for s, r in self.by_size.items() if _larger(s, r)]
        rows = (*self.by_size.values(), self.largest)
        return sorted({*((r["area_m2"], r["price_likely"]) for r in rows), *asked})


def sizes(source: RunSource) -> Section | None:
    """The section; None where no plot has a line."""
    plots = [(row.plot_id, source.brief(row).alternatives) for row in source.ranking.rows]
    return size_prices(plots, source.project.enclosure.line_over_limits, source.show)


def size_prices(
    plots: Sequence[tuple[str, Sequence[Mapping[str, Any]]]], share: float, show: Wording
) -> Section | None:
    """The same of plots in the order of the ranking, each with its rows of alternatives.csv.

    ``share`` is the largest share of the line over limits that the settings allow.
    """
    menus: list[_Menu] = []
    for plot_id, rows in plots:
        by_size, allowed = _lines(rows, share)
        if allowed:
            largest = max(allowed, key=lambda r: float(r["area_m2"]))
            menus.append(_Menu(_letter(len(menus)), plot_id, by_size, largest))
    if not menus:
        return None
    common = _common(menus)
    blocks: list[Block] = [
        paragraph(
            f"For each size, the cheapest fence line found on each plot, with at most {show.percent(share)} of it over "
            "ground past a limit. These prices are the bill as drawn at likely rates. The middle estimates above "
            "reckon also with digging too deep, with rock and water, and with rates that can rise further than they "
            "can fall."
        ),
        _chart(menus, show),
        _equal(menus, common, show),
        *_more(menus, list(itertools.pairwise(common)), show),
        small(
            "Where the cheapest line for a size encloses more, what it encloses stands in brackets, and the curve runs "
            "level up to it; where no price stands, no line of that size or more was found. All of them: ",
            link("alternatives.csv", "alternatives.csv"),
            ', and the layer "Other lines" on each plot’s map.',
        ),
    ]
    return Section("What each size costs", tuple(blocks), f"{PAGE}#sizes")


def _lines(
    rows: Sequence[Mapping[str, Any]], share: float
) -> tuple[dict[float, Mapping[str, Any]], list[Mapping[str, Any]]]:
    """Lines of a plot by size, and all that the settings allow."""
    there = [r for r in rows if r["feasible"]]
    by_size = {r["value"]: r for r in sorted(there, key=lambda r: float(r["value"])) if r["aim"] == "size"}
    return by_size, [*by_size.values(), *(r for r in there if r["aim"] == "share" and r["value"] <= share)]


def _common(menus: Sequence[_Menu]) -> list[float]:
    """The largest sizes that at least half of the plots have; ascending. [ha]"""
    counts = Counter(size for menu in menus for size in menu.by_size)
    # One that a single plot has compares nothing, unless there is a single plot.
    enough = max(len(menus) / 2, min(len(menus), 2))
    return sorted(s for s, n in counts.items() if n >= enough)[-MOST_SIZES:]


def _equal(menus: Sequence[_Menu], common: Sequence[float], show: Wording) -> Block:
    of_sizes = (f"{_size(size, show)}, {show.currency}" for size in common)
    heads: list[Head] = [("Plot", "name"), *of_sizes, "Largest found", f"for {show.currency}"]
    rows: list[tuple[str | Words, ...]] = [
        (
            m.name,
            *(_price(m, size, show) for size in common),
            show.area(m.largest["area_m2"]),
            show.price(m.largest["price_likely"]),
        )
        for m in menus
    ]
    return table("The same size on each plot", heads, rows)


def _size(hectares: float, show: Wording) -> str:
    return show.say(given(hectares * HECTARE_M2, "area"))


def _price(menu: _Menu, size: float, show: Wording) -> str:
    """Price of a size; with what its line encloses where that is more than was asked for."""
    row = menu.by_size.get(size)
    if row is None:
        return MISSING
    return show.price(row["price_likely"]) + (f" ({show.area(row['area_m2'])})" if _larger(size, row) else "")


def _larger(size: float, row: Mapping[str, Any]) -> bool:
    """Whether the line encloses clearly more than was asked for. [ha]"""
    return bool(row["area_m2"] > 1.01 * size * HECTARE_M2)


def _more(menus: Sequence[_Menu], steps: Sequence[tuple[float, float]], show: Wording) -> list[Block]:
    """What each further unit of area costs between two sizes, of the plots that have any of the larger ones."""
    menus = [m for m in menus if any(b in m.by_size for _, b in steps)]
    if not menus:
        return []
    title = f"What each {show.area_name} more costs, in {show.currency}"
    ends = (f"From {_size(a, show)} to {_size(b, show)}" for a, b in steps)
    rows: list[tuple[str | Words, ...]] = [(m.name, *(_next(m, a, b, show) for a, b in steps)) for m in menus]
    return [Section(title, (table(title, [("Plot", "name"), *ends], rows),))]


def _next(menu: _Menu, size: float, larger: float, show: Wording) -> str:
    """Price of each further unit of area between two sizes; with what the lines enclose where that is more."""
    a, b = menu.by_size.get(size), menu.by_size.get(larger)
    if a is None or b is None or not b["area_m2"] > a["area_m2"]:
        return MISSING
    more = show.per_area(b["price_likely"] - a["price_likely"], b["area_m2"] - a["area_m2"])
    between = f" ({show.area(a['area_m2'])} to {show.area(b['area_m2'])})"
    return show.price(more) + (between if _larger(size, a) or _larger(larger, b) else "")


def _chart(menus: Sequence[_Menu], show: Wording) -> Chart:
    drawn = menus[:MOST_CURVES]
    widest, dearest = (max(point[k] for m in drawn for point in m.points) for k in (0, 1))

    def at(area: float, price: float) -> tuple[float, float]:
        return LEFT + (RIGHT - LEFT) * area / widest, BOTTOM - (BOTTOM - TOP) * price / dearest

    svg = drawing(WIDTH, HEIGHT)
    svg.set("font-size", "13")
    for price in _ticks(dearest):
        _, y = at(0.0, price)
        add(svg, "line", x1=LEFT, x2=RIGHT, y1=y, y2=y, stroke=HAIR)
        add(svg, "text", f"{price:,.10g}", x=LEFT - 8, y=y + 4, text_anchor="end", fill=INK)
    unit_m2 = show.unit("area").size
    for area in _ticks(widest / unit_m2):
        x, _ = at(area * unit_m2, 0.0)
        add(svg, "line", x1=x, x2=x, y1=BOTTOM, y2=BOTTOM + 5, stroke=INK)
        add(svg, "text", f"{area:,.10g}", x=x, y=BOTTOM + 20, text_anchor="middle", fill=INK)
    add(svg, "line", x1=LEFT, x2=RIGHT, y1=BOTTOM, y2=BOTTOM, stroke=INK)
    add(svg, "text", f"Enclosed, {show.area_name}s", x=RIGHT, y=HEIGHT - 8, text_anchor="end", fill=INK)
    add(svg, "text", f"Likely price, {show.currency}", x=6.0, y=HEIGHT - 8, fill=INK)
    for menu, colour, dash in zip(drawn, itertools.cycle(COLOURS), itertools.cycle(DASHES), strict=False):
        points = [at(*point) for point in menu.points]
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        add(svg, "polyline", points=path, fill="none", stroke=colour, stroke_width="2", stroke_dasharray=dash)
        for x, y in points:
            add(svg, "circle", cx=x, cy=y, r=3.0, fill=colour)
    taken: list[tuple[float, float]] = []
    for menu, colour in zip(drawn, itertools.cycle(COLOURS), strict=False):
        x, y = at(*menu.points[-1])
        x, y = x + 8, y + 4
        while any(abs(x - u) < LETTER_STEP and abs(y - v) < LETTER_STEP for u, v in taken):
            y += LETTER_STEP
        taken.append((x, y))
        # A light edge round the letter, drawn first: not every reader knows which of the two comes on top.
        edge: dict[str, str | float] = {"fill": "none", "stroke": "#fffdf8", "stroke_width": 4.0}
        for look in (edge, {"fill": colour}):
            add(svg, "text", menu.letter, x=x, y=y, font_weight="700", **look)
    said = "Letters are those of the table below; each curve ends at the largest enclosure found."
    if len(menus) > len(drawn):
        left_out = len(menus) - len(drawn)
        said += f" It shows the first {len(drawn)} plots of the ranking; {left_out} more stand in the table."
    alt = "Likely price over enclosed area. " + " ".join(_in_words(m, show) for m in drawn)
    return Chart(markup(svg), alt, words(said))


def _ticks(most: float) -> list[float]:
    """Round figures from zero to the largest, at most six steps."""
    step = next((s for s in ROUND if most / s <= 6), ROUND[-1])
    return [k * step for k in range(int(most / step + 1e-9) + 1)]


def _letter(k: int) -> str:
    """A, B ... Z, AA, AB ..."""
    return ("" if k < 26 else _letter(k // 26 - 1)) + chr(ord("A") + k % 26)


def _in_words(menu: _Menu, show: Wording) -> str:
    told = ", ".join(f"{show.area(area)} {show.money(price)}" for area, price in menu.points)
    return f"{menu.letter}, {menu.plot_id}: {told}."
