"""Exact ratios between units people give and the SI units everything is computed in, and figures in messages."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

FOOT_M = 0.3048
"""International foot. [m] Exact by definition (1959)."""
INCH_M = 0.0254
"""Inch. [m] Exact by definition (1959)."""
US_SURVEY_FOOT_M = 1200 / 3937
"""US survey foot. [m] Exact by definition (Mendenhall order, 1893)."""
MILE_M = 5280 * FOOT_M
"""International mile. [m]"""
ACRE_M2 = 43_560 * FOOT_M**2
"""Acre. [m2]"""
HECTARE_M2 = 10_000.0
"""Hectare. [m2]"""
METRES_PER_ELEVATION_UNIT = {"m": 1.0, "ft": FOOT_M, "us-ft": US_SURVEY_FOOT_M}

_BESIDE = {
    "m": (FOOT_M, "ft"),
    "km": (MILE_M / 1000, "mi"),
    "ha": (ACRE_M2 / HECTARE_M2, "acres"),
    "m2": (FOOT_M**2, "ft2"),
}
"""Of each unit of messages, the size of the one that is shown beside it, and its name."""
_feet_too: ContextVar[bool] = ContextVar("feet_too", default=False)


@contextmanager
def feet_too(wanted: bool = True) -> Iterator[None]:
    """Context in which messages have feet, miles and acres in brackets behind the metric figure."""
    before = _feet_too.set(wanted)
    try:
        yield
    finally:
        _feet_too.reset(before)


def measured(value: float, unit: str, spec: str = "g", *, to: float | None = None) -> str:
    """A figure in a message, or one ``to`` another, with its unit: m, km, ha or m2, as files and settings are metric.

    ``spec`` formats it. Where the reader thinks in feet theirs follows in brackets, to three digits.
    """
    values = [value] if to is None else [value, to]
    metric = f"{' to '.join(format(v, spec) for v in values)} {unit}"
    if not _feet_too.get():
        return metric
    size, name = _BESIDE[unit]
    beside = " to ".join(f"{float(format(v / size, '.3g')):,.12g}" for v in values)
    return f"{metric} ({beside} {name})"
