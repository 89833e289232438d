"""Stations along the fence lines with what holds a wolf in there: mesh under the ground, fence above it."""

import itertools
from collections.abc import Iterable
from typing import Any

import numpy as np

from packpale.review.model import PlotResult
from packpale.review.setting_out import setting_out
from packpale.site import Array

HOLDING_COLUMNS = ("tunnel_m", "dig_rate_m_per_h", "margin_h", "height_inside_m", "height_outside_m")
"""Shortest way under the mesh, the digging rate that gets out in time, the hours to spare at the rate given, and the
fence's top above the highest ground near it on either side."""


def station_rows(result: PlotResult) -> Iterable[dict[str, Any]]:
    """Rows of the layer stations, but the plot's name; NaN where nothing is computed."""
    held = (_held(result, pack.number, pack.alignment.x.size).tolist() for pack in result.enclosure.packs)
    for row, values in zip(setting_out(result), itertools.chain.from_iterable(held), strict=True):
        yield row | dict(zip(HOLDING_COLUMNS, values, strict=True))


def _held(result: PlotResult, pack: int, stations: int) -> Array:
    """Values of HOLDING_COLUMNS, shape (stations, columns)."""
    found = np.full((stations, len(HOLDING_COLUMNS)), np.nan)
    if result.care is None:
        return found
    for dug, held, climbed in zip(result.care.dig_out, result.care.holdings, result.care.climbs, strict=True):
        if dug.pack == pack:
            margin = np.full(stations, np.nan) if held.margin_h is None else held.margin_h
            return np.column_stack([dug.tunnel, held.rate, margin, climbed.inside, climbed.outside])
    return found
