"""Outlines of plots as files have them: name, place in the file, geometry, CRS; not yet checked."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from packpale.faults import Faults

LONGEST_ID = 80
"""Characters an id may have: it becomes part of file names."""
NUMBER = "number"
"""As inputs.plot_id, where a file has no such column: plots are numbered in the order of the file."""


@dataclass(frozen=True)
class Outline:
    """A plot as the file has it: polygon in the file's CRS, not yet checked."""

    plot_id: str
    where: str
    geometry: BaseGeometry
    crs: CRS


def id_text(value: Any, column: str, where: str) -> str:
    """The id as text. Raises Faults if it is missing or cannot name a plot."""
    if isinstance(value, bool | bytes | list | tuple | dict):
        raise Faults(f"{where}: {column} is {value!r}; write a text or a whole number")
    missing = value is None or (isinstance(value, float | np.floating) and not np.isfinite(value))
    whole = isinstance(value, float | np.floating) and not missing and float(value).is_integer()
    text = "" if missing else str(int(value) if whole else value).strip()
    if not text:
        raise Faults(f"{where}: {column} is empty; every plot needs a name")
    if not text.isprintable() or len(text) > LONGEST_ID:
        raise Faults(f"{where}: {column} is {text[:LONGEST_ID]!r}; use up to {LONGEST_ID} printable characters")
    return text
