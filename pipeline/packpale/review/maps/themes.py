"""What the coloured pictures of a plot's map show, and in which words."""

import math
from collections.abc import Callable, Iterator

import numpy as np

from packpale.land.diggability import FEATURES
from packpale.land.surroundings import cells_within
from packpale.review.class_picture import ramp
from packpale.review.maps.people_layers import seen_themes
from packpale.review.maps.theme import (
    DIG_RAMP,
    HEIGHT_RAMP,
    PIT_RAMP,
    SCORE_RAMP,
    SEVERAL,
    SLOPE_RAMP,
    WATER_RAMP,
    Theme,
    categories,
    ends,
    even_edges,
    spans,
)
from packpale.review.model import PlotResult
from packpale.review.relief import GREY_RAMP, relief
from packpale.review.words import Wording
from packpale.settings import Project
from packpale.site import Array, Cells
from packpale.units import FOOT_M

GREYS = 40


def hillshade(result: PlotResult) -> Theme:
    """The ground lit from the north-west: the picture under all others."""
    edges = tuple(np.linspace(0, 1, GREYS + 1)[1:-1])
    shaded, stretch = relief(result.site)
    return Theme(
        "hillshade",
        "Ground",
        "Relief",
        "",
        shaded,
        edges,
        tuple(ramp(GREY_RAMP, GREYS)),
        ("",) * GREYS,
        read=stretch,
    )


def themes(result: PlotResult, project: Project, wording: Wording) -> list[Theme]:
    """All pictures of one plot's map, in the order in which the panel lists them."""
    return [
        *_ground(result, project, wording),
        *_drainage(result, project, wording),
        *_digging(result, project, wording),
        _suitability(result),
        not_usable(result, wording),
        *seen_themes(result),
    ]


def _ground(result: PlotResult, project: Project, wording: Wording) -> Iterator[Theme]:
    unit, size, _ = wording.dimension_unit()
    elevation, steepest = result.site.elevation, project.land.max_slope_deg
    # fmin and fmax pass over NaN.
    lowest, highest = (float(end.reduce(elevation, axis=None)) * size for end in (np.fmin, np.fmax))
    heights = even_edges(lowest, highest) if math.isfinite(lowest + highest) else [0.0]
    yield Theme(
        "height",
        "Ground",
        "Height of the ground",
        "Above the zero level of the elevation model.",
        elevation,
        *spans([height / size for height in heights], HEIGHT_RAMP, lambda e: f"{e * size:,g} {unit}"),
    )
    yield Theme(
        "slope",
        "Ground",
        "Slope of the ground",
        f"Degrees from the horizontal. The settings allow up to {steepest:g}°.",
        result.land.slope,
        *spans(
            (2.0, 5.0, 10.0, 15.0, 30.0, steepest),
            SLOPE_RAMP,
            lambda e: f"{e:g}°",
            lambda low, _: ": too steep here" if low >= steepest else "",
        ),
        read=degrees,
    )


def _drainage(result: PlotResult, project: Project, wording: Wording) -> Iterator[Theme]:
    show, deepest, trench = _depths(wording), project.land.max_ponding_m, project.trench.depth_m
    depth = "Upper limit: depth" if project.land.pond_rain_mm is None else "After the rain set, at most the depth"
    yield Theme(
        "wetness",
        "Drainage",
        "Wetness index",
        "How much ground drains through a place compared with how fast it runs off: ln(a / tan slope), a in metres.",
        result.land.wetness,
        *spans((4.0, 6.0, 8.0, 10.0, 12.0), WATER_RAMP, "{:g}".format, ends(": sheds water", ": gathers water")),
    )
    yield Theme(
        "ponding",
        "Drainage",
        "Hollows that can fill with water",
        f"{depth} of water when a hollow is full. The settings allow up to {show(deepest)}.",
        result.land.ponding,
        *spans(
            (0.02, 0.1, 1.0, deepest),
            WATER_RAMP[1:],
            show,
            lambda low, _: ": too deep here" if low >= deepest else "",
            bare=1,
        ),
    )
    yield Theme(
        "water_table",
        "Drainage",
        "Depth to the water table",
        f"At its shallowest in the year, from soil data and pits. The trench is {show(trench)} deep.",
        result.site.soil.water_table,
        *spans((0.3, 0.6, 2.0, trench), WATER_RAMP[::-1], show),
    )


def _digging(result: PlotResult, project: Project, wording: Wording) -> Iterator[Theme]:
    show, nearest, trench = _depths(wording), project.land.min_depth_to_rock_m, project.trench.depth_m
    texts = ("very limited", "0 to 25 of 100", "25 to 50", "50 to 75", "75 to 100", "not limited")
    yield Theme(
        "diggability",
        "Digging",
        "Diggability",
        "How well the ground suits a trench, 0 to 100; the feature that limits most decides.",
        result.land.diggability,
        (1e-6, 25.0, 50.0, 75.0, 100 - 1e-6),
        tuple(ramp(DIG_RAMP, len(texts))),
        texts,
        read=hundredths,
    )
    # Where nothing limits the digging no feature decides.
    decides = np.where(result.land.limitation > 0, result.land.limiting_feature, np.int8(-1))
    yield categories(
        "limiting",
        "Digging",
        "What limits digging most",
        "Blank where nothing does.",
        cells=decides,
        named=[(k, str(FEATURES[k])) for k in np.unique(decides).tolist() if k >= 0],
    )
    yield Theme(
        "rock",
        "Digging",
        "Depth to rock",
        f"From soil data and pits. The trench is {show(trench)} deep; the settings ask for rock at least "
        f"{show(nearest)} down.",
        result.site.soil.depth_to_rock,
        *spans(
            {0.6, 2.0, trench, nearest} - {0.0},
            DIG_RAMP,
            show,
            lambda _, high: ": too near here" if high <= nearest else "",
        ),
    )
    away = result.site.soil.pit_distance
    # How far the ground is from what anybody has seen of it, where there are pits.
    if np.isfinite(away).any():
        yield Theme(
            "pit_distance",
            "Digging",
            "Distance to the nearest trial pit",
            "The farther, the more what lies below ground is a guess.",
            away,
            *spans((10.0, 25.0, 50.0, 100.0, 200.0), PIT_RAMP, wording.length),
        )


def _suitability(result: PlotResult) -> Theme:
    weights = ", ".join(f"{name} {100 * weight:.0f} %" for name, weight in result.land.weights.items())
    return Theme(
        "suitability",
        "Score",
        "Suitability",
        f"0 to 100, weighted from {weights}.",
        result.land.suitability,
        *spans(range(10, 100, 10), SCORE_RAMP, "{:g}".format, ends(": worst", ": best")),
        read=hundredths,
    )


def not_usable(result: PlotResult, wording: Wording) -> Theme:
    """Why a cell of the plot cannot carry the fence; blank where it can."""
    site = result.site
    limits = [limit for limit in result.land.limits if not limit.area.is_empty]
    several = len(limits)
    cells = np.full(site.grid.shape, -1, np.int8)
    for k, limit in enumerate(limits):
        held = cells_within([limit.area], site.grid)
        cells[held] = np.where(cells[held] < 0, k, several)
    present = set(np.unique(cells).tolist()) - {-1}
    named = [(k, wording.say(limit.name)) for k, limit in enumerate(limits) if k in present]
    if several in present:
        named.append((several, "more than one of these"))
    return categories(
        "not_usable",
        "Score",
        "Why land is not usable",
        "Blank inside the plot means usable." if named else "All of the plot is usable.",
        cells=cells,
        named=named,
        last=SEVERAL if several in present else None,
    )


def degrees(slope: Cells) -> Cells:
    """Of a slope in m/m. [deg]"""
    return np.degrees(np.arctan(slope))


def hundredths(share: Array) -> Array:
    """Of a share from 0 to 1."""
    return 100 * share


def _depths(wording: Wording) -> Callable[[float], str]:
    """What says a depth as short as it can be said."""
    return lambda depth: f"{depth / FOOT_M:.1f} ft" if wording.imperial else f"{depth:g} m"
