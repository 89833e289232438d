"""Published swell and shrink of kinds of ground, read from ``volume_factors.csv`` beside this module."""

import functools
from dataclasses import dataclass

from packpale.values.table import STATUSES, rows_of

GROUNDS = ("soil", "soft rock", "hard rock")


@dataclass(frozen=True)
class VolumeFactor:
    """One row: swell (least and most) and shrink as fractions of the bank volume; shrink None where not given."""

    ground: str
    """soil, soft rock or hard rock."""
    material: str
    swell: tuple[float, float]
    shrink: float | None
    status: str
    source: str


@functools.cache
def volume_factors() -> tuple[VolumeFactor, ...]:
    """All rows of the table. Raises ValueError if a row is incomplete or its range reversed."""
    return tuple(map(_factor, rows_of("volume_factors.csv")))


def swell_range(ground: str) -> tuple[float, float]:
    """Least and largest swell that the table has for soil, soft rock or hard rock."""
    rows = [f for f in volume_factors() if f.ground == ground]
    return min(f.swell[0] for f in rows), max(f.swell[1] for f in rows)


def _factor(row: dict[str, str]) -> VolumeFactor:
    least, most = float(row["swell_least"]), float(row["swell_most"])
    if row["ground"] not in GROUNDS or row["status"] not in STATUSES or not row["source"] or not 0 <= least <= most:
        raise ValueError(f"volume_factors.csv, row {row['material']!r}: incomplete, or its range is reversed")
    shrink = float(row["shrink"]) if row["shrink"] else None
    return VolumeFactor(row["ground"], row["material"], (least, most), shrink, row["status"], row["source"])
