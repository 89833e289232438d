"""Published classes of cost estimate, read from ``estimate_classes.csv`` beside this module."""

import functools
from dataclasses import dataclass

from packpale.values.table import STATUSES, rows_of


@dataclass(frozen=True)
class EstimateClass:
    """One class, from 5 (screening) to 1 (check estimate)."""

    number: int
    maturity: tuple[float, float]
    """How far the project is defined, from and to. [%]"""
    low: tuple[float, float]
    """How far below the estimate the outcome may lie, the nearer and the farther end, as negative fractions of it."""
    high: tuple[float, float]
    """The same above it, positive."""
    status: str
    source: str


@functools.cache
def estimate_classes() -> dict[int, EstimateClass]:
    """All classes by number. Raises ValueError if a row is incomplete or its range reversed."""
    return {row.number: row for row in map(_class, rows_of("estimate_classes.csv"))}


def _class(row: dict[str, str]) -> EstimateClass:
    def pair(first: str, second: str) -> tuple[float, float]:
        return float(row[first]), float(row[second])

    low, high = pair("low_near", "low_far"), pair("high_near", "high_far")
    if not (low[1] < low[0] < 0 < high[0] < high[1]) or row["status"] not in STATUSES or not row["source"]:
        raise ValueError(f"estimate_classes.csv, class {row['class']}: incomplete, or its range is reversed")
    maturity = pair("maturity_from_percent", "maturity_to_percent")
    return EstimateClass(int(row["class"]), maturity, low, high, row["status"], row["source"])
