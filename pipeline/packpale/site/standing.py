"""Trees, boulders and other things that stand beside a fence, with their heights where they are known."""

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pyproj import CRS

from packpale.faults import Faults, Gathering
from packpale.settings.columns import TheirColumn
from packpale.site.columns import Column, mapped_columns
from packpale.site.model import Standing
from packpale.site.vectors import read_features
from packpale.values.notes import Note

HEIGHT = "height_m"
TALLEST_M = 150.0
"""No tree is higher; more is a slip of the unit. [m]"""


def read_standing(
    path: Path, crs: CRS | None, faults: Gathering, notes: list[Note], theirs: Mapping[Any, TheirColumn]
) -> tuple[Standing, ...]:
    """All things of a file in the run's CRS; the column height_m, or that of ``theirs``, may be missing or empty.

    Adds to ``faults`` and ``notes``; with ``crs`` None the file is read but nothing is moved.
    """
    out = []
    features = read_features(path, crs, faults, notes)
    every = tuple(dict.fromkeys(c for _, _, layer in features for c in layer.columns))
    mapped_columns((HEIGHT,), theirs, every, path.name, faults)
    for geometry, feature, layer in features:
        column = mapped_columns((HEIGHT,), theirs, layer.columns, path.name, Gathering()).get(HEIGHT)
        with faults.gather():
            value = feature.properties[column.name] if column is not None else None
            out.append(Standing(geometry, _height(value, column, layer.where(feature))))
    return tuple(out)


def _height(value: Any, column: Column | None, where: str) -> float:
    """NaN where none is given. Raises Faults."""
    if column is None or value is None or not str(value).strip():
        return math.nan
    try:
        height = float(value) * column.factor
    except (TypeError, ValueError):
        height = math.inf
    if math.isnan(height):
        return math.nan
    if not 0 <= height <= TALLEST_M:
        raise Faults(
            f"{where}: {column.shown(HEIGHT)} is {value!r}; give metres above the ground, 0 to {TALLEST_M:g}, "
            "or name its unit in the settings, or leave it empty"
        )
    return height
