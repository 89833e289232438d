"""CSV tables: fixed columns, fixed number of decimals, the same bytes every time."""

import csv
import functools
import io
import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

DECIMALS = {
    "value": 4,
    "price_likely": 2,
    "price_per_ha": 2,
    "score": 2,
    "first_place_share": 4,
    "first_place_share_any_weights": 4,
    "mean_suitability": 4,
    "section_area_m2": 3,
    "x": 3,
    "y": 3,
    "E": 3,
    "N": 3,
    "Z": 3,
    "deflection_deg": 5,
    "bearing_from_a_deg": 4,
}
"""Decimals of columns whose name ends in no unit, or that are smaller than their unit suggests."""
DECIMALS_BY_UNIT = (
    ("_m_per_h", 3),
    ("_h", 3),
    ("_m3", 3),
    ("_m2", 1),
    ("_m", 3),
    ("_deg", 3),
    ("_x", 4),
    ("_y", 4),
    ("_p10", 2),
    ("_p50", 2),
    ("_p90", 2),
)
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet takes a cell that starts like this for a formula."""


def write_table(path: Path, columns: Collection[str], rows: Iterable[Mapping[str, Any]]) -> None:
    """Write a CSV table: UTF-8, LF line ends, a header, an empty cell where a row has no figure.

    Raises KeyError if a row lacks a column.
    """
    write_cells(path, columns, ([cell(name, row[name]) for name in columns] for row in rows))


def write_cells(path: Path, columns: Iterable[str], rows: Iterable[Sequence[str]]) -> None:
    """Write a CSV table whose cells are made already."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    path.write_bytes(text.getvalue().encode("utf-8"))


def cell(column: str, value: Any) -> str:
    """One value as it stands in the table; empty for None and for what is not a finite number."""
    # First what there is most of.
    if isinstance(value, float):
        digits = decimals(column)
        # Adding zero turns the minus zero that rounding leaves into a plain one.
        return f"{round(value, digits) + 0.0:.{digits}f}" if math.isfinite(value) else ""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    return plain_text(str(value))


def plain_text(text: str) -> str:
    """Text that no spreadsheet takes for a formula: an apostrophe goes before the sign that would start one."""
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


@functools.cache
def decimals(column: str) -> int:
    """Number of decimals in a column, from its name."""
    if column in DECIMALS:
        return DECIMALS[column]
    return next((n for suffix, n in DECIMALS_BY_UNIT if column.endswith(suffix)), 6)
