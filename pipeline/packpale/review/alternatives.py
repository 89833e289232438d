"""The fence lines that could be built instead: their table, their layer, and what the map says of them."""

from collections.abc import Iterator
from typing import Any

from packpale.enclosure.model import Alternative
from packpale.review.maps.map_page import Shape, Style, VectorLayer
from packpale.review.model import PlotResult
from packpale.review.projecting import Degrees
from packpale.review.subjects import line
from packpale.review.words import Wording

COLUMNS = tuple(line.ALTERNATIVES.columns)
"""Of alternatives.csv. What no line has is empty."""
CHORD_ERROR_M = 0.005
"""Largest distance between an arc and its chord on the map. [m]"""
LAYER = "Other lines"
STYLES = {
    "size": (Style("#1a5a72", width=2.0, dash="8 4", halo=True), "cheapest for a size"),
    "share": (Style("#6b3fa0", width=2.0, dash="2 4", halo=True), "largest for a share over limits"),
    "budget": (Style("#7a5a00", width=2.5, dash="12 4 2 4", halo=True), "largest within the budget"),
}
"""By aim, with what it stands for."""


def alternative_rows(result: PlotResult, chord_error: float) -> Iterator[dict[str, Any]]:
    """Rows of the layer but the plot's name; geometry is None where no line was found."""
    for one in result.enclosure.alternatives:
        egg = one.egg
        yield {
            "aim": one.aim,
            "value": one.value,
            "feasible": one.feasible,
            "area_m2": egg and egg.area,
            "fence_length_m": egg and egg.perimeter,
            "over_limits_m": one.over_limits if egg else None,
            "price_likely": one.price if egg else None,
            "price_per_ha": one.price_per_ha if egg else None,
            "area_bound_m2": one.area_bound,
            "big_x": egg and egg.big_x,
            "big_y": egg and egg.big_y,
            "axis_bearing_deg": egg and egg.axis_bearing_deg,
            "big_radius_m": egg and egg.big_radius,
            "small_radius_m": egg and egg.small_radius,
            "flank_radius_m": egg and egg.flank_radius,
            "centre_spacing_m": egg and egg.centre_spacing,
            "geometry": egg and egg.polygon(chord_error),
        }


def alternatives_layer(result: PlotResult, wording: Wording, degrees: Degrees) -> VectorLayer:
    """The lines on the plot's map, switched off at first."""
    shapes = [
        Shape(
            degrees(one.egg.polygon(CHORD_ERROR_M)),
            aim_in_words(one.aim, one.value, wording),
            _popup(one, wording),
            style=STYLES[one.aim][0],
        )
        for one in result.enclosure.alternatives
        if one.egg is not None
    ]
    return VectorLayer(
        "Enclosure",
        LAYER,
        shapes,
        STYLES["size"][0],
        show=False,
        explanation="Lines that could be built instead, each with its likely price.",
        legend=[entry for aim, entry in STYLES.items() if any(a.aim == aim for a in result.enclosure.alternatives)],
    )


def aim_in_words(aim: str, value: float, wording: Wording) -> str:
    """What a line was looked for."""
    if aim == "size":
        return f"Cheapest line found for {wording.area(value * 1e4)}"
    if aim == "share":
        return f"Largest with at most {wording.percent(value)} of its line over limits"
    return f"Largest found within {wording.money(value)}"


def _popup(one: Alternative, wording: Wording) -> list[tuple[str, str]]:
    if one.egg is None:
        return []
    return [
        ("Area", wording.area(one.egg.area)),
        ("Length in plan", wording.length(one.egg.perimeter)),
        ("Of it over limits", wording.length(one.over_limits)),
        ("Likely price", wording.money(one.price)),
        ("For each unit of area", wording.money_per_area(one.price_per_ha)),
    ]
