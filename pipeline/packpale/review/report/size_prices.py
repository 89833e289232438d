"""What each size costs, for the first page: price over size for all plots, what the next hectare costs, equal sizes.

A size's price is that of the cheapest line found for it; the curve of a plot ends at the largest that fits.
"""

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from packpale.review.words import MISSING, Wording
from packpale.review.words.quantities import ROUND
from packpale.units import HECTARE_M2

MOST_CURVES = 12
"""Plots in the chart, the best first: with more, nobody tells one curve from the next."""
MOST_SIZES = 5
"""Sizes in the tables."""
COLOURS = ("#1d2a2a", "#8f1233", "#1a5a72", "#7a5a00", "#2f5d50", "#6b3fa0")
DASHES = ("none", "9 4", "2 3", "12 3 2 3", "5 2", "14 5")
"""A curve is told by its letter and its dash; colour only helps."""
WIDTH, HEIGHT = 860.0, 400.0
LEFT, RIGHT, TOP, BOTTOM = 96.0, 40.0, 16.0, 52.0
"""Of the chart and of the margins round its field. [px]"""
LETTER_STEP = 15.0
"""Least distance between two letters above each other. [px]"""


@dataclass(frozen=True)
class Tick:
    """A mark on an axis."""

    at: float
    """[px]"""
    text: str


@dataclass(frozen=True)
class Curve:
    """One plot in the chart. Lengths in pixels."""

    letter: str
    plot_id: str
    points: tuple[tuple[float, float], ...]
    letter_at: tuple[float, float]
    colour: str
    dash: str

    @property
    def path(self) -> str:
        """Its points as SVG takes them."""
        return " ".join(f"{x:.1f},{y:.1f}" for x, y in self.points)


@dataclass(frozen=True)
class SizePrices:
    """All that the section shows."""

    curves: tuple[Curve, ...]
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    unit: str
    """Of area, on the pages."""
    alt: str
    """The chart in words."""
    sizes: tuple[str, ...]
    """Heads of the columns of equal sizes."""
    equal: tuple[tuple[str, str, tuple[str, ...], str, str], ...]
    """Letter, plot, price of each of these sizes, the largest that fits and its price."""
    steps: tuple[str, ...]
    """Heads of the columns of what more costs."""
    more: tuple[tuple[str, str, tuple[str, ...]], ...]
    """Letter, plot, price of each further unit of area between two sizes."""
    left_out: int
    """Plots with prices that the chart leaves out."""
    share: str
    """Largest share of the line over limits that holds for sizes."""

    width, height, left, right, top, bottom = WIDTH, HEIGHT, LEFT, WIDTH - RIGHT, TOP, HEIGHT - BOTTOM


@dataclass(frozen=True)
class _Menu:
    plot_id: str
    by_size: Mapping[float, Mapping[str, Any]]
    """Rows with a line, by size in hectares, ascending."""
    largest: Mapping[str, Any]


def size_prices(
    plots: Sequence[tuple[str, Sequence[Mapping[str, Any]]]], *, share: float, wording: Wording
) -> SizePrices | None:
    """The section for plots in the order of the ranking, each with its rows of alternatives; None without any line.

    ``share`` is the largest share of the line over limits that the settings allow.
    """
    menus = [m for plot_id, rows in plots if (m := _menu(plot_id, rows, share)) is not None]
    if not menus:
        return None
    drawn = menus[:MOST_CURVES]
    unit_m2 = wording.unit("area").size
    sizes = _common(menus)
    steps = list(itertools.pairwise(sizes))
    letters = [_letter(k) for k in range(len(menus))]
    return SizePrices(
        curves=tuple(_curves(drawn)),
        across=tuple(_ticks(_most(drawn, "area_m2"), unit_m2, LEFT, WIDTH - RIGHT)),
        up=tuple(_ticks(_most(drawn, "price_likely"), 1.0, HEIGHT - BOTTOM, TOP)),
        unit=wording.area_name,
        alt="Likely price over enclosed area. "
        + " ".join(_in_words(m, k, wording) for k, m in zip(letters, drawn, strict=False)),
        sizes=tuple(wording.area(s * HECTARE_M2) for s in sizes),
        equal=tuple(
            (
                letter,
                m.plot_id,
                tuple(_price(m, s, wording) for s in sizes),
                wording.area(m.largest["area_m2"]),
                wording.price(m.largest["price_likely"]),
            )
            for letter, m in zip(letters, menus, strict=True)
        ),
        steps=tuple(f"{wording.area(a * HECTARE_M2)} to {wording.area(b * HECTARE_M2)}" for a, b in steps),
        more=tuple(
            (letter, m.plot_id, tuple(_next(m, a, b, wording) for a, b in steps))
            for letter, m in zip(letters, menus, strict=True)
            if any(b in m.by_size for _, b in steps)
        ),
        left_out=len(menus) - len(drawn),
        share=wording.percent(share),
    )


def _menu(plot_id: str, rows: Sequence[Mapping[str, Any]], share: float) -> _Menu | None:
    there = [r for r in rows if r["feasible"]]
    by_size = {r["value"]: r for r in sorted(there, key=lambda r: float(r["value"])) if r["aim"] == "size"}
    allowed = [*by_size.values(), *(r for r in there if r["aim"] == "share" and r["value"] <= share)]
    if not allowed:
        return None
    return _Menu(plot_id, by_size, max(allowed, key=lambda r: float(r["area_m2"])))


def _common(menus: Sequence[_Menu]) -> list[float]:
    """The largest sizes that at least half of the plots have; ascending. [ha]"""
    counts: dict[float, int] = {}
    for menu in menus:
        for size in menu.by_size:
            counts[size] = counts.get(size, 0) + 1
    # One that a single plot has compares nothing, unless there is a single plot.
    enough = max(len(menus) / 2, min(len(menus), 2))
    return sorted(s for s, n in counts.items() if n >= enough)[-MOST_SIZES:]


def _price(menu: _Menu, size: float, wording: Wording) -> str:
    """Price of a size; with what its line encloses where that is more than was asked for."""
    row = menu.by_size.get(size)
    if row is None:
        return MISSING
    larger = _larger(size, row)
    return wording.price(row["price_likely"]) + (f" ({wording.area(row['area_m2'])})" if larger else "")


def _larger(size: float, row: Mapping[str, Any]) -> bool:
    """Whether the line encloses clearly more than was asked for. [ha]"""
    return bool(row["area_m2"] > 1.01 * size * HECTARE_M2)


def _next(menu: _Menu, size: float, larger: float, wording: Wording) -> str:
    """Price of each further unit of area between two sizes; with what the lines enclose where that is more."""
    a, b = menu.by_size.get(size), menu.by_size.get(larger)
    if a is None or b is None or not b["area_m2"] > a["area_m2"]:
        return MISSING
    more = (b["price_likely"] - a["price_likely"]) / (b["area_m2"] - a["area_m2"]) * wording.unit("area").size
    between = f" ({wording.area(a['area_m2'])} to {wording.area(b['area_m2'])})"
    return wording.price(more) + (between if _larger(size, a) or _larger(larger, b) else "")


def _points(menu: _Menu) -> list[tuple[float, float]]:
    """Area [m2] and price, ascending by area; level from a size to what its line encloses, where that is more."""
    rows = [*menu.by_size.values(), menu.largest]
    asked = [(s * HECTARE_M2, r["price_likely"]) for s, r in menu.by_size.items() if _larger(s, r)]
    return sorted({*((r["area_m2"], r["price_likely"]) for r in rows), *asked})


def _most(menus: Sequence[_Menu], name: str) -> float:
    at = 0 if name == "area_m2" else 1
    return max(point[at] for menu in menus for point in _points(menu))


def _curves(menus: Sequence[_Menu]) -> Iterator[Curve]:
    widest, dearest = _most(menus, "area_m2"), _most(menus, "price_likely")
    taken: list[tuple[float, float]] = []
    for k, menu in enumerate(menus):
        points = tuple(
            (
                LEFT + (WIDTH - LEFT - RIGHT) * area / widest,
                HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * price / dearest,
            )
            for area, price in _points(menu)
        )
        x, y = points[-1][0] + 8, points[-1][1] + 4
        while any(abs(x - u) < LETTER_STEP and abs(y - v) < LETTER_STEP for u, v in taken):
            y += LETTER_STEP
        taken.append((x, y))
        yield Curve(_letter(k), menu.plot_id, points, (x, y), COLOURS[k % len(COLOURS)], DASHES[k % len(DASHES)])


def _ticks(most: float, unit: float, start: float, end: float) -> Iterator[Tick]:
    """From zero to the largest value in round steps, at most six of them."""
    step = next((s for s in ROUND if most / unit / s <= 6), ROUND[-1])
    for k in range(int(most / unit / step + 1e-9) + 1):
        yield Tick(start + (end - start) * k * step * unit / most, f"{k * step:,.10g}")


def _letter(k: int) -> str:
    """A, B ... Z, AA, AB ..."""
    return ("" if k < 26 else _letter(k // 26 - 1)) + chr(ord("A") + k % 26)


def _in_words(menu: _Menu, letter: str, wording: Wording) -> str:
    told = ", ".join(f"{wording.area(area)} {wording.money(price)}" for area, price in _points(menu))
    return f"{letter}, {menu.plot_id}: {told}."
