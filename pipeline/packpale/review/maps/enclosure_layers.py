"""The enclosures of a plot on its map: fence line, apron, posts, gates, stations, and the lines to build instead."""

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from packpale.enclosure.model import Alternative
from packpale.review.map_styles import APRON, FENCE, GATE, OVER, TOUCH, Style
from packpale.review.maps.construction import ARC_LEGEND, CONSTRUCTION, construction, touching
from packpale.review.maps.map_page import Shape, VectorLayer
from packpale.review.maps.source import MapSource
from packpale.review.subjects.line import ALTERNATIVES, APRONS, FENCE_LINES, looked_for
from packpale.review.subjects.setting_out import AIRLOCKS, POSTS
from packpale.review.subjects.stations import GATES, STATIONS
from packpale.review.subjects.stretches import OVER_LIMITS

CHORD_ERROR_M = 0.005
"""Largest distance between an arc and its chord on the map. [m]"""
STATION_STEP_M = 20.0
"""Distance between the stations shown. [m]"""
POST = Style("#a3123a", "#fffdf8", 1.0, width=1.2, radius=2.5)
AIRLOCK = Style("#a3123a", "#f2c230", 0.35, width=1.5)
STATION = Style("#1d2a2a", "#1d2a2a", 1.0, width=1, radius=2.5)
OTHER_LINES = "Other lines"
ALTERNATIVE_STYLES = {
    "size": (Style("#1a5a72", width=2.0, dash="8 4", halo=True), "cheapest for a size"),
    "share": (Style("#6b3fa0", width=2.0, dash="2 4", halo=True), "largest for a share over limits"),
    "budget": (Style("#7a5a00", width=2.5, dash="12 4 2 4", halo=True), "largest within the budget"),
}
"""By aim, with what it stands for."""


def enclosure_layers(source: MapSource) -> Iterator[VectorLayer]:
    """Layers of all packs, the lowest first."""
    show = source.show
    aprons = source.shapes(APRONS, lambda row: f"Apron of pack {row['pack']}")
    fences = source.shapes(FENCE_LINES, lambda found: f"Fence line of pack {found.pack}")
    arcs = [shape for pack in source.result.enclosure.packs for shape in construction(pack, source)]
    yield VectorLayer(
        "Earthworks",
        "Apron of buried mesh",
        aprons,
        APRON,
        explanation="Mesh laid flat under the ground, against digging.",
    )
    yield VectorLayer("Enclosure", "Fence line", fences, FENCE)
    yield VectorLayer("Enclosure", "Axis, arcs and centres", arcs, CONSTRUCTION, show=False, legend=ARC_LEGEND)
    yield VectorLayer(
        "Enclosure",
        "What holds the fence line",
        list(touching(source)),
        TOUCH,
        explanation="Where the line, with the strip it needs, comes up against a limit.",
    )
    yield VectorLayer(
        "Enclosure",
        "Airlocks",
        source.shapes(AIRLOCKS, lambda row: f"Airlock of gate {row['gate']}, pack {row['pack']}"),
        AIRLOCK,
        explanation="The room between a gate and a second one inside it; one of the two is always shut.",
    )
    posts = source.shapes(POSTS, lambda row: f"Post {row['post']} of pack {row['pack']}")
    yield VectorLayer("Enclosure", "Posts", posts, POST, show=False)
    gates = source.shapes(GATES, lambda row: f"Gate {row['gate']} of pack {row['pack']}")
    yield VectorLayer("Enclosure", "Gates", gates, GATE)
    stations = source.shapes(
        STATIONS,
        lambda row: f"Chainage {show.dimension(row['chainage_m'])} of pack {row['pack']}",
        _coarse(source.found(STATIONS)),
    )
    yield VectorLayer("Enclosure", f"Stations every {show.length(STATION_STEP_M)}", stations, STATION, show=False)


def over_limits_layer(source: MapSource) -> VectorLayer:
    """The line where it runs over a limit, as a wide line under the fence line."""
    return VectorLayer(
        "Enclosure",
        "Fence line over a limit",
        source.shapes(OVER_LIMITS, lambda over: f"Fence line of pack {over.pack} over a limit"),
        OVER,
        explanation="Its strip touches ground that may lie inside the fence and does not carry it as it is.",
    )


def alternatives_layer(source: MapSource) -> VectorLayer:
    """The lines that could be built instead, switched off at first."""
    found = [one for one in source.result.enclosure.alternatives if one.egg is not None]
    return VectorLayer(
        "Enclosure",
        OTHER_LINES,
        [_alternative(one, source) for one in found],
        ALTERNATIVE_STYLES["size"][0],
        show=False,
        explanation="Lines that could be built instead, each with its likely price.",
        legend=[entry for aim, entry in ALTERNATIVE_STYLES.items() if any(one.aim == aim for one in found)],
    )


def _alternative(one: Alternative, source: MapSource) -> Shape:
    show = source.show
    rows = [*ALTERNATIVES.popup(one, show), ("For each unit of area", show.money_per_area(one.price_per_ha))]
    outline = source.degrees(one.egg.polygon(CHORD_ERROR_M)) if one.egg else {}
    return Shape(outline, show.say(looked_for(one)), rows, style=ALTERNATIVE_STYLES[one.aim][0])


def _coarse(stations: Sequence[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    """The station nearest to each multiple of the step shown, pack by pack."""
    for pack in dict.fromkeys(row["pack"] for row in stations):
        own = [row for row in stations if row["pack"] == pack]
        chainage = np.array([row["chainage_m"] for row in own])
        at = np.arange(0, chainage[-1], STATION_STEP_M)
        yield from (own[k] for k in sorted({int(np.argmin(np.abs(chainage - s))) for s in at}))
