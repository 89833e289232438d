"""Published and assumed curves that turn a measured quantity into a degree between 0 and 1."""

import functools
from dataclasses import dataclass
from typing import Literal

from packpale.values.table import STATUSES, rows_of

SHAPES = ("S", "linear", "step")


@dataclass(frozen=True)
class Curve:
    """One row of a table of curves.

    The degree is 0 at ``zero_at`` and beyond, 1 at ``one_at`` and beyond, both in ``unit``; the curve falls where
    ``zero_at`` is the larger. ``reach_m`` is the radius of the neighbourhood over which the quantity is taken, if any.
    """

    subject: str
    quantity: str
    unit: str
    shape: Literal["S", "linear", "step"]
    zero_at: float
    one_at: float
    reach_m: float | None
    status: str
    source: str


def shallow_excavations() -> dict[str, Curve]:
    """Limitation for shallow excavations by limiting feature, in the order of the table."""
    return {curve.subject: curve for curve in _curves("shallow_excavations.csv")}


def criteria() -> dict[tuple[str, str], Curve]:
    """Degree to which the criteria of the suitability are met, by criterion and quantity."""
    return {(curve.subject, curve.quantity): curve for curve in _curves("criteria.csv")}


@functools.cache
def _curves(name: str) -> tuple[Curve, ...]:
    return tuple(_curve(name, row) for row in rows_of(name))


def _curve(name: str, row: dict[str, str]) -> Curve:
    shape, zero_at, one_at = row["shape"], float(row["zero_at"]), float(row["one_at"])
    complete = row["source"] and row["unit"] and row["status"] in STATUSES
    if not complete or shape not in SHAPES or (zero_at == one_at) != (shape == "step"):
        raise ValueError(f"{name}, row {row['subject']!r}, {row['quantity']!r}: incomplete, or no such curve")
    return Curve(
        subject=row["subject"],
        quantity=row["quantity"],
        unit=row["unit"],
        shape=shape,  # type: ignore[arg-type]  # checked against SHAPES above
        zero_at=zero_at,
        one_at=one_at,
        reach_m=float(row["reach_m"]) if row["reach_m"] else None,
        status=row["status"],
        source=row["source"],
    )
