"""Charts as SVG. Names in them are escaped by the writer of the markup, never by hand."""

from collections.abc import Sequence
from xml.etree.ElementTree import Element, SubElement, tostring

from packpale.review.report.blocks import Chart, words
from packpale.review.words.quantities import ROUND

INK, HAIR, RISES, FALLS = "#1d2a2a", "#d8d4c6", "#b5502a", "#2f78a8"
WIDTH, NAMES_WIDTH, VALUE_WIDTH, STEP, BAR = 760.0, 330.0, 48.0, 24.0, 15.0
LONGEST_NAME = 46
"""Signs of a name that have room before its bar."""
MONEY_WIDTH = 110.0
"""Room for a value in words beside its bar. [px]"""


def drawing(width: float, height: float) -> Element:
    """An empty drawing."""
    return Element("svg", xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {_n(width)} {_n(height)}")


def add(parent: Element, tag: str, text: str = "", **attributes: float | str) -> Element:
    """A part of a drawing; numbers are rounded, so that the same chart has the same bytes everywhere."""
    made = {k.replace("_", "-"): v if isinstance(v, str) else _n(v) for k, v in attributes.items()}
    one = SubElement(parent, tag, made)
    one.text = text or None
    return one


def markup(svg: Element) -> str:
    return tostring(svg, encoding="unicode")


def both_ways(rows: Sequence[tuple[str, float, str]], *, alt: str, caption: str) -> Chart:
    """Values to both sides of a zero line, as horizontal bars with their names and the values in words."""
    values = [value for _, value, _ in rows]
    # One scale to both sides, so that bars can be compared by their length.
    below, above = max(0.0, -min(values)), max(0.0, *values)
    left = NAMES_WIDTH + (MONEY_WIDTH if below else 0.0)
    scale = (WIDTH - left - MONEY_WIDTH) / max(below + above, 1e-9)
    zero = left + below * scale
    svg = drawing(WIDTH, len(rows) * STEP + 8)
    add(svg, "line", x1=zero, x2=zero, y1=0.0, y2=len(rows) * STEP + 4, stroke=INK)
    told = []
    for k, (name, value, text) in enumerate(rows):
        y, end = 4 + k * STEP, zero + value * scale
        rises = value >= 0
        add(svg, "rect", x=min(zero, end), y=y, width=abs(value) * scale, height=BAR, fill=RISES if rises else FALLS)
        add(svg, "text", _short(name, LONGEST_NAME), x=0.0, y=y + 12, font_size=13.0, fill=INK)
        side = {"x": end + (5 if rises else -5), "text_anchor": "start" if rises else "end"}
        add(svg, "text", text, y=y + 12, font_size=13.0, font_weight="bold", fill=INK, **side)
        told.append(f"{name} {text}")
    return Chart(markup(svg), f"{alt}: {'; '.join(told)}.", words(caption))


def day_bars(rows: Sequence[tuple[str, int, int]], *, alt: str, caption: str) -> Chart:
    """Work as bars from its first day to its last, each with its days in figures."""
    left, after = 310.0, 115.0
    last = max(end for _, _, end in rows)
    scale = (WIDTH - left - after) / last
    foot = len(rows) * STEP + 6
    svg = drawing(WIDTH, foot + 22)
    every = next(int(s) for s in ROUND if s >= 1 and (s * scale >= 36 or s >= last))
    for day in range(0, last + 1, every):
        x = left + day * scale
        add(svg, "line", x1=x, x2=x, y1=0.0, y2=foot, stroke=HAIR)
        add(svg, "text", f"{day}", x=x, y=foot + 15, text_anchor="middle", font_size=12.0, fill=INK)
    told = []
    for k, (name, first, end) in enumerate(rows):
        y, x = 4 + k * STEP, left + (first - 1) * scale
        days = f"{first} to {end}" if end > first else f"{first}"
        wide = max((end - first + 1) * scale, 1.5)
        add(svg, "text", _short(name, 48), x=0.0, y=y + 12, font_size=13.0, fill=INK)
        add(svg, "rect", x=x, y=y, width=wide, height=BAR, fill=PARTS[0], stroke=INK, stroke_width=0.5)
        add(svg, "text", days, x=x + wide + 5, y=y + 12, font_size=13.0, font_weight="bold", fill=INK)
        told.append(f"{name}: day {days}")
    return Chart(markup(svg), f"{alt}. {'; '.join(told)}.", words(caption))


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


PARTS = ("#2f5d50", "#e2c9a4", "#7f9db0")
"""Fill of the parts of a score; each also carries its letter."""
LETTERS = "ABC"


def score_bars(rows: Sequence[tuple[str, Sequence[float]]], names: Sequence[str]) -> Chart:
    """Scores of 100 as bars made of parts; what each part is stands under them by its letter."""
    scale = (WIDTH - NAMES_WIDTH + 60 - VALUE_WIDTH) / 100
    left = NAMES_WIDTH - 60
    svg = drawing(WIDTH, len(rows) * STEP + 30)
    told = []
    for k, (plot, parts) in enumerate(rows):
        y, x = 4 + k * STEP, left
        add(svg, "text", _short(plot), x=0.0, y=y + 12, font_size=13.0, fill=INK)
        for letter, part, fill in zip(LETTERS, parts, PARTS, strict=False):
            wide = part * scale
            add(svg, "rect", x=x, y=y, width=wide, height=BAR, fill=fill, stroke=INK, stroke_width=0.5)
            if wide > 34:
                dark = fill == PARTS[0]
                text = f"{letter} {part:.0f}"
                add(svg, "text", text, x=x + 4, y=y + 12, font_size=12.0, fill="#ffffff" if dark else INK)
            x += wide
        add(svg, "text", f"{sum(parts):.0f}", x=x + 5, y=y + 12, font_size=13.0, font_weight="bold", fill=INK)
        told.append(
            f"{plot}: {sum(parts):.0f}, of it " + ", ".join(f"{n} {p:.0f}" for n, p in zip(names, parts, strict=True))
        )
    legend = "    ".join(f"{letter}: {name}" for letter, name in zip(LETTERS, names, strict=False))
    add(svg, "text", legend, x=left, y=len(rows) * STEP + 20, font_size=12.0, fill=INK)
    return Chart(markup(svg), f"Score of each plot and its parts. {'; '.join(told)}.")


def _short(name: str, most: int = 34) -> str:
    return name if len(name) <= most else f"{name[: most - 1]}…"
