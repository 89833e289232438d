"""What the coloured pictures of a plot's map show: classes, their colours and their words.

Every ramp grows steadily darker or lighter, so that it can be read without telling hues apart and in grey print.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from packpale.result import PlotResult
from packpale.review.overlay import Classes, ramp
from packpale.review.wording import Wording
from packpale.settings import Project
from packpale.site import Array, Grid
from packpale.units import FOOT_M

SLOPE_RAMP = ("#fdf6d8", "#f0b860", "#b5502a", "#4a1420")
WATER_RAMP = ("#f2f6ee", "#8fc6cf", "#2f78a8", "#12284f")
DIG_RAMP = ("#2b1d33", "#7a3f6d", "#d98a6a", "#fbeecb")
SCORE_RAMP = ("#2c1e52", "#2f6488", "#3fa07f", "#e9e36a")
DISTINCT = ("#0072b2", "#e69f00", "#009e73", "#cc79a7", "#56b4e9", "#d55e00", "#f0e442", "#8c6d46")
"""Colours told apart by most people with a colour vision deficiency: M. Okabe and K. Ito, Color Universal Design
(2008), without black, and one brown of our own."""
SEVERAL = "#3a3a3a"
GREY_RAMP = ("#6d6a63", "#fbfaf7")
GREYS = 40
FLAT = math.sin(math.radians(45))
"""Brightness of flat ground under a light 45 degrees high."""


@dataclass(frozen=True)
class Theme:
    """One coloured picture: ``values`` fall into classes between ascending ``edges``, one colour and text for each.

    A class without colour is not painted. ``legend`` lists the classes to explain, by number from 0.
    """

    key: str
    group: str
    title: str
    explanation: str
    values: Array
    edges: tuple[float, ...]
    colours: tuple[str, ...]
    texts: tuple[str, ...]
    mean: bool = True
    """Whether values may be averaged where a pixel covers several cells."""

    def classes(self, values: Array) -> Classes:
        """Number of the class of each value, from 1; 0 where there is no value."""
        numbers = np.digitize(np.where(np.isnan(values), np.inf, values), self.edges) + 1
        return np.where(np.isnan(values), 0, numbers).astype(np.uint8)

    def legend(self) -> list[tuple[str, str]]:
        """Colour and text of every painted class."""
        return [(c, t) for c, t in zip(self.colours, self.texts, strict=True) if c]


def hillshade(result: PlotResult) -> Theme:
    """The ground lit from the north-west: the picture under all others."""
    edges = tuple(np.linspace(0, 1, GREYS + 1)[1:-1])
    seen = result.land.hillshade[np.isfinite(result.land.hillshade)]
    darkest, brightest = np.percentile(seen, [1, 99]) if seen.size else (FLAT, FLAT)
    # Flat ground always looks the same; gentle relief is stretched, but not so far that every wrinkle is a hill.
    known = [min(darkest, FLAT - 0.12), FLAT, max(brightest, FLAT + 0.08)]
    stretched = np.interp(result.land.hillshade, known, [0.0, 0.78, 1.0])
    return Theme("hillshade", "", "Ground", "", stretched, edges, tuple(ramp(GREY_RAMP, GREYS)), ("",) * GREYS)


def themes(result: PlotResult, project: Project, wording: Wording) -> list[Theme]:
    """All pictures of one plot's map, in the order in which the panel lists them."""
    return [
        _slope(result, project),
        _wetness(result),
        _ponding(result, project, wording),
        _diggability(result),
        _limiting(result),
        _suitability(result),
        not_usable(result),
    ]


def _slope(result: PlotResult, project: Project) -> Theme:
    limit = project.land.max_slope_deg
    edges = sorted({2.0, 5.0, 10.0, 15.0, 30.0, limit})
    texts = _spans([f"{e:g}°" for e in edges])
    texts = [f"{t}: too steep here" if e >= limit else t for t, e in zip(texts, [-1.0, *edges], strict=True)]
    return Theme(
        "slope",
        "Ground",
        "Slope of the ground",
        f"Degrees from the horizontal. The settings allow up to {limit:g}°.",
        np.degrees(np.arctan(result.land.slope)),
        tuple(edges),
        tuple(ramp(SLOPE_RAMP, len(texts))),
        tuple(texts),
    )


def _wetness(result: PlotResult) -> Theme:
    edges = (4.0, 6.0, 8.0, 10.0, 12.0)
    texts = _spans([f"{e:g}" for e in edges])
    texts[0] += ": sheds water"
    texts[-1] += ": gathers water"
    return Theme(
        "wetness",
        "Drainage",
        "Wetness index",
        "How much ground drains through a place compared with how fast it runs off: ln(a / tan slope), a in metres.",
        result.land.wetness,
        edges,
        tuple(ramp(WATER_RAMP, len(texts))),
        tuple(texts),
    )


def _ponding(result: PlotResult, project: Project, wording: Wording) -> Theme:
    limit = project.land.max_ponding_m
    edges = sorted({0.02, 0.1, 1.0, limit})

    def unit(depth: float) -> str:
        return f"{depth / FOOT_M:.1f} ft" if wording.imperial else f"{depth:g} m"

    texts = _spans([unit(e) for e in edges])
    texts = [f"{t}: too deep here" if e >= limit else t for t, e in zip(texts, [-1.0, *edges], strict=True)]
    return Theme(
        "ponding",
        "Drainage",
        "Hollows that can fill with water",
        f"Depth of water when a hollow is full. The settings allow up to {unit(limit)}.",
        result.land.ponding,
        tuple(edges),
        ("", *ramp(WATER_RAMP[1:], len(texts) - 1)),
        tuple(texts),
    )


def _diggability(result: PlotResult) -> Theme:
    texts = ("very limited", "0 to 25 of 100", "25 to 50", "50 to 75", "75 to 100", "not limited")
    return Theme(
        "diggability",
        "Digging",
        "Diggability",
        "How well the ground suits a trench, 0 to 100; the feature that limits most decides.",
        100 * result.land.diggability,
        (1e-6, 25.0, 50.0, 75.0, 100 - 1e-6),
        tuple(ramp(DIG_RAMP, len(texts))),
        texts,
    )


def _limiting(result: PlotResult) -> Theme:
    from packpale.land.diggability import FEATURES

    # Where nothing limits the digging no feature decides.
    decides = np.where(result.land.limitation > 0, result.land.limiting_feature, -1).astype(float)
    present = [k for k in range(len(FEATURES)) if (decides == k).any()]
    return _categories(
        "limiting",
        "Digging",
        "What limits digging most",
        "Blank where nothing does.",
        values=decides,
        named=[(k, str(FEATURES[k])) for k in present],
    )


def _suitability(result: PlotResult) -> Theme:
    edges = tuple(float(e) for e in range(10, 100, 10))
    weights = ", ".join(f"{name} {100 * weight:.0f} %" for name, weight in result.land.weights.items())
    texts = _spans([f"{e:g}" for e in edges])
    texts[0] += ": worst"
    texts[-1] += ": best"
    return Theme(
        "suitability",
        "Score",
        "Suitability",
        f"0 to 100, weighted from {weights}.",
        100 * result.land.suitability,
        edges,
        tuple(ramp(SCORE_RAMP, len(texts))),
        tuple(texts),
    )


def not_usable(result: PlotResult) -> Theme:
    """Why a cell of the plot cannot carry the fence; blank where it can."""
    limits = [limit for limit in result.land.limits if not limit.area.is_empty]
    count, first = np.zeros(result.site.grid.shape, int), np.full(result.site.grid.shape, -1)
    for k, limit in enumerate(limits):
        held = _cells(limit.area, result.site.grid)
        first[held & (count == 0)] = k
        count += held
    several = len(limits)
    first[count > 1] = several
    named = [(k, limit.name) for k, limit in enumerate(limits) if (first == k).any()]
    if (first == several).any():
        named.append((several, "more than one of these"))
    return _categories(
        "not_usable",
        "Score",
        "Why land is not usable",
        "Blank inside the plot means usable." if named else "All of the plot is usable.",
        values=first.astype(float),
        named=named,
        last=SEVERAL if (first == several).any() else None,
    )


def _categories(
    key: str,
    group: str,
    title: str,
    explanation: str,
    *,
    values: Array,
    named: Sequence[tuple[int, str]],
    last: str | None = None,
) -> Theme:
    colours = [DISTINCT[k % len(DISTINCT)] for k, _ in named]
    if last:
        colours[-1] = last
    numbers = np.full(values.shape, np.nan)
    for place, (k, _) in enumerate(named):
        numbers[values == k] = place
    return Theme(
        key,
        group,
        title,
        explanation,
        numbers,
        tuple(k + 0.5 for k in range(len(named) - 1)),
        tuple(colours) or ("",),
        tuple(text for _, text in named) or ("",),
        mean=False,
    )


def _cells(area: object, grid: Grid) -> npt.NDArray[np.bool_]:
    """Cells whose centre lies in an area."""
    import shapely

    x, y = grid.centres()
    shapely.prepare(area)
    return np.asarray(shapely.contains_xy(area, *np.meshgrid(x, y)), bool)


def _spans(edges: Sequence[str]) -> list[str]:
    """Words for the classes below, between and above the edges."""
    between = [f"{a} to {b}" for a, b in itertools.pairwise(edges)]
    return [f"under {edges[0]}", *between, f"over {edges[-1]}"]
