"""The register of default values, read from ``defaults.csv`` beside this module.

Each row says what a setting is when the user gives none, in which unit, where the number comes from and how far it
can be trusted. ``settings`` takes its defaults from here, ``packpale sources`` prints it.
"""

import functools
import tomllib
from dataclasses import dataclass
from typing import Any

from packpale.values.table import STATUSES, rows_of


@dataclass(frozen=True)
class DefaultValue:
    """One row of the register.

    ``key`` is ``section.name`` as in the settings file; ``number`` is the default as the settings hold it (a number,
    a text, a list or a table); ``unit`` is ``-`` for a pure number or a word; ``source`` names the publication, or
    says that there is none.
    """

    key: str
    number: Any
    unit: str
    status: str
    source: str


@functools.cache
def register() -> dict[str, DefaultValue]:
    """All default values by key, in the order in which the settings file lists them.

    Raises ValueError if a row has an unknown status, no source, no unit, or a key that stands twice.
    """
    rows: dict[str, DefaultValue] = {}
    for row in rows_of("defaults.csv"):
        # The number is written as TOML so that lists and tables need no second notation.
        number = tomllib.loads(f"number = {row['number']}")["number"]
        value = DefaultValue(row["key"], number, row["unit"], row["status"], row["source"])
        if value.status not in STATUSES or not value.source or not value.unit or value.key in rows:
            raise ValueError(f"defaults.csv, row {value.key!r}: incomplete, or there twice")
        rows[value.key] = value
    return rows


def default(key: str) -> Any:
    """Default of the setting ``key`` (``section.name``). Raises KeyError if the register has no such row."""
    return register()[key].number
