"""A picture of all plots: where they lie, what is enclosed, which is which."""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from packpale.review.lettering import MM_PER_POINT, printable, text_width
from packpale.review.report.blocks import Chart, link, words
from packpale.review.report.charts import HAIR, INK, add, drawing, markup
from packpale.review.words.quantities import longest_round
from packpale.review.words.wording import Wording

WIDE, HIGH, PAD = 420.0, 400.0, 26.0
"""Of the whole drawing, and what stays free at its edges."""
FENCE, LAND = "#8f1233", "#efe8d4"
EDGE = {"stroke": "#fffdf8", "stroke-width": "4", "stroke-linejoin": "round"}
"""A light edge round letters, so that they can be read on any line."""
BOLD = {"font-weight": "bold"}
MOST_NAMED = 40
"""So many plots have their name in the picture."""
LETTERS, LINE, GAP = 13.0, 17.0, 8.0
"""Size of the letters of names, from one line of them to the next, and what stays free between two in one line. [px]"""
ASIDE = (0, 1, -1, 2, -2)
"""Lines by which a name gives way to those of better plots, tried in turn, while every plot has its name."""
FINEST_PX = 0.3
"""Corners that move a line by less are left out. [px]"""


@dataclass(frozen=True)
class PlotShape:
    """One plot as it is drawn; geometry in the run's CRS."""

    name: str
    rank: int | None
    outline: BaseGeometry
    lines: Sequence[BaseGeometry]


def overview(shapes: Sequence[PlotShape], show: Wording) -> Chart | None:
    """Outlines, fence lines, ranks, a scale and north; None where no plot has an outline."""
    if not shapes:
        return None
    west, south, east, north = shapely.total_bounds([s.outline for s in shapes]).tolist()
    scale = min((WIDE - 2 * PAD) / (east - west), (HIGH - 2 * PAD - 20) / (north - south))
    height = (north - south) * scale + 2 * PAD + 24
    left = (WIDE - (east - west) * scale) / 2

    def at(points: np.ndarray) -> np.ndarray:
        return np.column_stack([left + (points[:, 0] - west) * scale, PAD + (north - points[:, 1]) * scale])

    svg = drawing(WIDE, height)
    coarse = FINEST_PX / scale
    for shape in shapes:
        fill, dash = (LAND, {}) if shape.rank is not None else ("#ffffff", {"stroke_dasharray": "4 3"})
        for ring in _rings(shape.outline.simplify(coarse)):
            add(svg, "path", d=_path(at(ring)), fill=fill, stroke=INK, stroke_width=1.0, **dash)
        for line in shape.lines:
            for ring in _rings(line.simplify(coarse)):
                add(svg, "path", d=_path(at(ring)), fill=FENCE, fill_opacity=0.15, stroke=FENCE, stroke_width=2.0)
    # The last are the first in the ranking.
    named = shapes[-MOST_NAMED:]
    centres = at(np.array([shape.outline.centroid.coords[0] for shape in named]))
    for x, y, text in _names(named, centres, all_of_them=len(named) == len(shapes)):
        for look in (EDGE, {}):
            add(svg, "text", text, x=x, y=y + 4, text_anchor="middle", font_size=LETTERS, fill=INK, **BOLD, **look)
    _scale(svg, scale, height, show)
    told = "; ".join(_label(s) + ("" if s.rank is not None else ", where nothing fits") for s in named)
    if len(named) < len(shapes):
        told = f"{len(shapes)} plots, of which the first are {told}"
    return Chart(
        markup(svg),
        f"All plots with their ranks, fence lines inside, north of the grid up: {told}.",
        words(link("Open the map of all plots", "map.html")),
    )


def _names(named: Sequence[PlotShape], centres: np.ndarray, *, all_of_them: bool) -> list[tuple[float, float, str]]:
    """Middle and text of the names that keep clear of those of better plots; one that cannot is left out."""
    placed: list[tuple[float, float, str]] = []
    for shape, (x, y) in zip(reversed(named), centres[::-1].tolist(), strict=True):
        text = _label(shape)
        half = _wide(text) / 2
        within = float(np.clip(x, 4 + half, WIDE - 4 - half))
        lines = (y + LINE * aside for aside in (ASIDE if all_of_them else ASIDE[:1]))
        clear = (v for v in lines if not any(_meet(within - u, v - w, text, other) for u, w, other in placed))
        placed += [(within, v, text) for v in itertools.islice(clear, 1)]
    return placed[::-1]


def _meet(right: float, down: float, text: str, other: str) -> bool:
    """Whether two names come too near to one another, middles so far apart. [px]"""
    return abs(right) < (_wide(text) + _wide(other)) / 2 + GAP and abs(down) < LINE - 0.5


def _wide(text: str) -> float:
    """Width of a name in the font of the print, which is wider than most. [px]"""
    return text_width(printable(text), LETTERS, bold=True) / MM_PER_POINT


def _label(shape: PlotShape) -> str:
    name = shape.name if len(shape.name) <= 24 else f"{shape.name[:23]}…"
    return f"{shape.rank}. {name}" if shape.rank is not None else name


def _rings(geometry: BaseGeometry) -> Iterator[np.ndarray]:
    for part in shapely.get_parts(geometry):
        yield shapely.get_coordinates(part.exterior)


def _path(points: np.ndarray) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points.tolist()) + "Z"


def _scale(svg: Element, scale: float, height: float, show: Wording) -> None:
    unit = show.unit("length").size
    length = longest_round(0.3 * WIDE / scale / unit)
    x, y, wide = PAD, height - 14, length * unit * scale
    add(svg, "path", d=f"M{x:.1f} {y - 4:.1f}v4h{wide:.1f}v-4", fill="none", stroke=INK, stroke_width=1.5)
    add(svg, "text", show.length(length * unit), x=x + wide + 6, y=y, font_size=12.0, fill=INK)
    add(svg, "path", d=f"M{WIDE - 30:.1f} {y:.1f}l6 -16l6 16l-6 -4z", fill=INK)
    add(svg, "text", "N", x=WIDE - 10, y=y, font_size=12.0, fill=INK)
    add(svg, "line", x1=0.0, x2=WIDE, y1=height - 34, y2=height - 34, stroke=HAIR)
