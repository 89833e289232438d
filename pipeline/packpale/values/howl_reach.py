"""How far howls are said to be heard, read from ``howl_reach.csv`` beside this module."""

import functools
from collections.abc import Mapping

from packpale.values.quantity import Span
from packpale.values.table import STATUSES, rows_of


@functools.cache
def howl_reach() -> Mapping[str, Span]:
    """Least and most by the ground between: "open ground", "dense forest". Raises ValueError if a row is incomplete."""
    found = {}
    for row in rows_of("howl_reach.csv"):
        least, most = float(row["least_m"]), float(row["most_m"])
        if not 0 < least <= most or row["status"] not in STATUSES or not row["source"]:
            raise ValueError(f"howl_reach.csv, row {row['ground']!r}: incomplete, or its range is reversed")
        found[row["ground"]] = Span(least, most, "distance", given=True)
    return found
