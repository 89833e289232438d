"""What people call a setting: pages name it in words, and by its key in one table only."""

import functools
import re
from collections.abc import Iterator, Mapping
from typing import Any

from packpale.settings import Project, Settings

NAMES: Mapping[str, str] = {
    "inputs.elevation": "the elevation model given",
    "inputs.elevation_unit": "the unit of the elevations",
    "inputs.fence_line": "the fence line given",
    "land.cell_m": "the size of the cells",
    "land.bank_m": "the width of banks that streams pass",
    "land.channel_area_ha": "the ground that makes a channel",
    "land.margin_m": "the margin of ground read round the plot",
    "land.pairwise": "the pairwise comparisons of the criteria",
    "land.setback_m": "the setback from the plot's boundary",
    "land.weights": "the weights of the criteria",
    "enclosure.fence_line": "the fence line given",
    "enclosure.settled_line": "the file of settled lines",
    "enclosure.line_over_limits": "the part of the fence line that may run over limits",
    "enclosure.min_radius_m": "the tightest bend allowed",
    "enclosure.packs": "the number of packs",
    "enclosure.separation_m": "the distance asked for between packs",
    "fence.airlock_length_m": "the length of the airlock",
    "fence.gate_width_m": "the width of the gates",
    "fence.max_panel_deflection_deg": "the largest angle that panels take",
    "fence.post_spacing_m": "the spacing of the posts",
    "fence.vehicle_length_m": "the length of the longest vehicle",
    "gates.below": "the threshold of the gates",
    "gates.from_water_m": "the distance that gates keep from water",
    "gates.swing": "the way the gates open",
    "mesh.wire_mm": "the thickness of its wire",
    "mesh.opening_mm": "the width of its openings",
    "mesh.zinc_g_per_m2": "the zinc on its wire",
    "trench.rock_side_slope": "the side slope in hard rock",
    "trench.side_slope": "the side slope of the trench",
    "trench.station_m": "the step between stations of the trench",
    "trench.working_strip_m": "the working strip",
    "plant.mound_height_m": "the height of the mounds",
    "programme.close_each_day": "the closing of the trench each day",
    "checks.climb_distance_m": "the distance over which the fence's height is taken",
    "checks.climb_loss_m": "the height that ground may take from the fence",
    "checks.dig_rate_m_per_h": "the rate at which an animal digs",
    "checks.dig_rate_source": "the source of that rate",
    "checks.tree_distance_m": "the distance within which trees and boulders count",
    "patrol.offset_m": "the distance of the round from the fence",
    "crossings.rain_mm_per_h": "the design rain",
    "crossings.rain_source": "the source of that rain",
    "dens.roof_m": "the least ground over a chamber",
    "viewing.stand_off_m": "the stand-off of people from the fence",
    "neighbours.perimeter_m": "the least gap of a double fence",
    "run.detail": "the number of plots computed in full",
    "ranking.told_in_full": "the number of plots that are told of in full",
}
"""What a sentence calls a setting; others are called by their key's own words."""
_UNIT = re.compile(r"(?:_per)?_(?:m|m2|m3|ha|deg|h|s|db|hz|kpa|percent|each|currency)(?=_|$)")


def called(key: str) -> str:
    """What a sentence calls the setting with this key."""
    if key in NAMES:
        return NAMES[key]
    if key not in all_keys():
        table, _, one = key.rpartition(".")
        return f"{called(table)} ({one.replace('_', ' ')})" if table else key
    section, _, name = key.partition(".")
    words = _UNIT.sub("", name).replace("_", " ").replace(".", " ")
    return f"the {words} of the {section.replace('_', ' ')} settings"


@functools.cache
def all_keys() -> tuple[str, ...]:
    """Every key of the settings file with its section, a table's own before those in it."""
    return tuple(_below(Project, ""))


def _below(model: Any, before: str) -> Iterator[str]:
    for name, field in model.model_fields.items():
        if before:
            yield f"{before}{name}"
        if isinstance(field.annotation, type) and issubclass(field.annotation, Settings):
            yield from _below(field.annotation, f"{before}{name}.")
