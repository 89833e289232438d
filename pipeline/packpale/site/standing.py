"""Trees, boulders and other things that stand beside a fence, with their heights where they are known."""

import math
from pathlib import Path
from typing import Any

from pyproj import CRS

from packpale.faults import Faults, Gathering
from packpale.site.model import Standing
from packpale.site.tables import find_column
from packpale.site.vectors import read_features
from packpale.values.notes import Note

HEIGHT = "height_m"
TALLEST_M = 150.0
"""No tree is higher; more is a slip of the unit. [m]"""


def read_standing(path: Path, crs: CRS | None, faults: Gathering, notes: list[Note]) -> tuple[Standing, ...]:
    """All things of a file in the run's CRS; the column height_m may be missing or empty.

    Adds to ``faults`` and ``notes``; with ``crs`` None the file is read but nothing is moved.
    """
    out = []
    for geometry, feature, layer in read_features(path, crs, faults, notes):
        column = find_column(HEIGHT, layer.columns)
        with faults.gather():
            value = feature.properties[column] if column is not None else None
            out.append(Standing(geometry, _height(value, layer.where(feature))))
    return tuple(out)


def _height(value: Any, where: str) -> float:
    """NaN where none is given. Raises Faults."""
    if value is None or not str(value).strip():
        return math.nan
    try:
        height = float(value)
    except (TypeError, ValueError):
        height = math.inf
    if math.isnan(height):
        return math.nan
    if not 0 <= height <= TALLEST_M:
        raise Faults(
            f"{where}: {HEIGHT} is {value!r}; give metres above the ground, 0 to {TALLEST_M:g}, or leave it empty"
        )
    return height
