"""How long the buried mesh holds: on the map along the line, in the GeoPackage, on the first page."""

import itertools
from collections.abc import Callable, Iterable, Iterator
from typing import Any

import numpy as np

from packpale.care.holding import Holding
from packpale.earthworks.model import Stretch
from packpale.earthworks.stretches import stretches
from packpale.review.maps.map_page import Shape, Style, VectorLayer
from packpale.review.model import PlotResult
from packpale.review.projecting import Degrees
from packpale.review.stretch_shapes import BAND, from_to, stretch_line
from packpale.review.words import Wording
from packpale.site import Array

COLOURS = ("#5c0a2e", "#c8501e", "#e3b23c", "#b9d7c9")
"""From the weakest stretches to the best, lighter and lighter."""
ABOVE_WEAKEST = (1.02, 1.1, 1.25)
"""Limits between the classes of rates, as multiples of the plot's lowest."""
MARGINS_H = (0.0, 2.0, 6.0)
"""Limits between the classes of margins. [h]"""
RATE, MARGIN, ON_ROCK, TOO_SHORT = "digging rate", "margin", "mesh ends on rock", "dug through in time"
ROCK = Style("#1d2a2a", width=10, dash="2 12")


def holding_rows(result: PlotResult) -> Iterable[dict[str, Any]]:
    """Rows of the layer dig_stretches, but the plot's name."""
    packs = {pack.number: pack for pack in result.enclosure.packs}
    for found in _found(result):
        kinds: list[tuple[str, str, Iterable[Stretch]]] = [
            (RATE, "m/h", (s for _, s in _classes(result, found, found.rate, _rate_limits(result)))),
            (ON_ROCK, "m", found.on_rock),
            (TOO_SHORT, "h", found.too_short),
        ]
        if found.margin_h is not None:
            kinds.append((MARGIN, "h", (s for _, s in _classes(result, found, found.margin_h, MARGINS_H))))
        for kind, unit, runs in kinds:
            for s in runs:
                yield {
                    "pack": found.pack,
                    "kind": kind,
                    "start_chainage_m": s.start,
                    "end_chainage_m": s.end,
                    "length_m": s.length,
                    "worst": s.worst,
                    "unit": unit,
                    "geometry": stretch_line(packs[found.pack], s),
                }


def holding_layers(result: PlotResult, wording: Wording, degrees: Degrees) -> Iterator[VectorLayer]:
    """The line coloured by digging rate, by margin where a rate is given, and where the mesh ends on rock."""
    limits = _rate_limits(result)
    if limits:
        yield _coloured(
            result,
            {found.pack: found.rate for found in _found(result)},
            limits,
            title="Digging rate that gets out in time",
            explanation="What an animal has to dig to get under the mesh in the longest time between two rounds.",
            say=wording.speed,
            wording=wording,
            degrees=degrees,
        )
    margins = {found.pack: found.margin_h for found in _found(result) if found.margin_h is not None}
    if margins:
        yield _coloured(
            result,
            margins,
            MARGINS_H,
            title="Hours to spare before the mesh is dug under",
            explanation="At the digging rate given, beyond the hours nobody looks; below zero the animal is out first.",
            say=_hours,
            wording=wording,
            degrees=degrees,
        )
    packs = {pack.number: pack for pack in result.enclosure.packs}
    rock = [
        Shape(
            degrees(stretch_line(packs[found.pack], s)),
            f"Mesh of pack {found.pack} ends on rock",
            [*from_to(s, wording), ("Least depth", wording.dimension(s.worst))],
        )
        for found in _found(result)
        for s in found.on_rock
    ]
    yield VectorLayer("Pack and people", "Mesh ends on rock", rock, ROCK, show=False)


def _coloured(
    result: PlotResult,
    values: dict[int, Array],
    limits: tuple[float, ...],
    *,
    title: str,
    explanation: str,
    say: Callable[[float], str],
    wording: Wording,
    degrees: Degrees,
) -> VectorLayer:
    styles = [Style(colour, width=BAND) for colour in COLOURS]
    packs = {pack.number: pack for pack in result.enclosure.packs}
    shapes = [
        Shape(
            degrees(stretch_line(packs[found.pack], s)),
            f"{title}, pack {found.pack}",
            [*from_to(s, wording), ("At the weakest place", say(s.worst))],
            style=styles[k],
        )
        for found in _found(result)
        if found.pack in values
        for k, s in _classes(result, found, values[found.pack], limits)
    ]
    texts = [
        f"below {say(limits[0])}",
        *(f"{say(low)} to {say(high)}" for low, high in itertools.pairwise(limits)),
        f"{say(limits[-1])} and more",
    ]
    return VectorLayer(
        "Pack and people",
        title,
        shapes,
        styles[0],
        show=False,
        explanation=explanation,
        legend=list(zip(styles, texts, strict=True)),
    )


def _classes(
    result: PlotResult, found: Holding, values: Array, limits: tuple[float, ...]
) -> Iterator[tuple[int, Stretch]]:
    """Stretches of the line by class of their values, with the number of the class."""
    (line,) = (pack.alignment for pack in result.enclosure.packs if pack.number == found.pack)
    of = np.digitize(values, limits)
    for k in range(len(limits) + 1):
        for s in stretches(of == k, values, step=line.step, largest=False, first=float(line.chainage[0])):
            yield k, s


def _rate_limits(result: PlotResult) -> tuple[float, ...]:
    lowest = min((float(found.rate.min()) for found in _found(result)), default=0.0)
    return tuple(factor * lowest for factor in ABOVE_WEAKEST) if lowest > 0 else ()


def _found(result: PlotResult) -> tuple[Holding, ...]:
    return result.care.holdings if result.care else ()


def _hours(value: float) -> str:
    return f"{value:.1f} h"
