"""Settings: columns of a user's own files, and their units, for those that Packpale knows under another name."""

import difflib
from collections.abc import Mapping
from typing import Annotated, Any, Literal, get_args

from pydantic import BeforeValidator, Field

from packpale.settings.base import Settings
from packpale.units import FOOT_M, INCH_M, US_SURVEY_FOOT_M

SoilColumn = Literal[
    "depth_to_rock_m", "rock_hardness", "water_table_m", "clay_percent", "stones_percent", "drainage_class"
]
SOIL_COLUMNS: tuple[SoilColumn, ...] = get_args(SoilColumn)
"""What a soil polygon or a trial pit may say."""
Table = Literal["plots", "pits", "trees_and_boulders"]
TEXTURE = "texture class"
"""Unit of clay that is given as the word for a texture, such as "sandy loam"."""
LENGTHS = {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": FOOT_M, "us-ft": US_SURVEY_FOOT_M, "in": INCH_M}
"""Metres of one unit."""
SHARES = {"%": 1.0, "fraction": 100.0}
"""Percent of one unit."""


class TheirColumn(Settings):
    """Name and unit of a column in the user's file."""

    column: Annotated[str, Field(min_length=1)]
    unit: str | None = None


def _name_alone(found: Any) -> Any:
    return {"column": found} if isinstance(found, str) else found


Theirs = Annotated[TheirColumn, BeforeValidator(_name_alone)]


def units_of(column: str) -> tuple[str, ...]:
    """Units in which a column of ours may be given; none for words."""
    if column.endswith("_m"):
        return tuple(LENGTHS)
    if column.endswith("_percent"):
        return (*SHARES, TEXTURE) if column == "clay_percent" else tuple(SHARES)
    return ()


PLACES = ("x", "y", "lon", "lat", "crs")
COLUMNS_OF: dict[Table, tuple[str, ...]] = {
    "plots": (*PLACES, "wkt"),
    "pits": (*PLACES, *SOIL_COLUMNS),
    "trees_and_boulders": ("height_m",),
}
"""Columns that each file may have under another name."""


def check_tables(tables: dict[Table, dict[str, TheirColumn]]) -> dict[Table, dict[str, TheirColumn]]:
    """The tables as they are; ValueError for a column that a file does not have, or a unit that does not fit."""
    for name, columns in tables.items():
        for ours in columns:
            if ours not in COLUMNS_OF[name]:
                near = difflib.get_close_matches(ours, COLUMNS_OF[name], n=1, cutoff=0.5)
                hint = f"did you mean {near[0]!r}?" if near else f"known: {', '.join(COLUMNS_OF[name])}"
                raise ValueError(f"{name}.{ours}: unknown column; {hint}")
        check_units(columns)
    return tables


def check_units(columns: Mapping[Any, TheirColumn]) -> None:
    """Raise ValueError for a unit that its column cannot have."""
    for ours, theirs in columns.items():
        allowed = units_of(ours)
        if theirs.unit is not None and theirs.unit not in allowed:
            text = f"allowed are {', '.join(map(repr, allowed))}" if allowed else "it has none: drop it"
            raise ValueError(f"{ours}: found the unit {theirs.unit!r}; {text}")
