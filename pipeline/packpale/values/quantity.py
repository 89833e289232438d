"""A figure with what it measures: rooms give it in SI, review turns it into words in the reader's units."""

import math
from dataclasses import dataclass, replace
from typing import Literal

from packpale.units import FOOT_M, HECTARE_M2

Kind = Literal[
    "area",
    "length",
    "distance",
    "dimension",
    "thickness",
    "volume",
    "section",
    "surface",
    "speed",
    "duration",
    "discharge",
    "rain",
    "slope",
    "bearing",
    "share",
    "money",
    "score",
    "count",
    "number",
    "level",
    "temperature",
    "pressure",
    "frequency",
]
"""What a figure measures, which decides its unit and how far it is rounded.

area: of ground [m2]; length: of a fence, a chainage [m]; distance: how far away something is, up to many kilometres
[m]; dimension: of something built or dug [m]; thickness: of a wire, a bar, a gap between bars [m]; volume [m3];
section: area of a cut, an opening [m2]; surface: of mesh, of ground that is stripped [m2]; speed: of digging [m/s];
duration [s]; discharge [m3/s]; rain: its intensity [m/s]; slope: of ground, against the horizontal [deg]; bearing: a
direction or an angle in plan [deg]; share: part of a whole, 0 to 1; money [the run's currency]; score: out of 100;
count: of things; number: without a unit; level: of sound [dB]; temperature [deg C]; pressure [Pa]; frequency [Hz].
"""
HOUR_S = 3600.0
PRINTED_UNITS: dict[str, tuple[float, Kind]] = {
    "m": (1.0, "dimension"),
    "cm": (0.01, "dimension"),
    "mm": (0.001, "thickness"),
    "ft": (FOOT_M, "dimension"),
    "in": (FOOT_M / 12, "dimension"),
    "m2": (1.0, "surface"),
    "ft2": (FOOT_M**2, "surface"),
    "ha": (HECTARE_M2, "area"),
    "deg": (1.0, "slope"),
}
"""Units that rules are printed in: size in SI, and what is measured with them."""


@dataclass(frozen=True)
class Quantity:
    """One figure."""

    value: float | None
    """In SI; None or NaN where it is not known."""
    kind: Kind
    given: bool = False
    """Whether somebody has set it: it is then shown as set, and not rounded as what was computed is."""
    printed: tuple[float, str] | None = None
    """Number and unit of a rule as printed, which are shown whatever the reader's units."""

    @property
    def known(self) -> bool:
        return self.value is not None and math.isfinite(self.value)

    @property
    def si(self) -> float:
        """Its value; NaN where it is not known."""
        return math.nan if self.value is None else self.value


@dataclass(frozen=True)
class Span:
    """From one figure to another, as of two chainages."""

    low: float
    high: float
    kind: Kind
    given: bool = False


def given(value: float, kind: Kind) -> Quantity:
    """A figure that somebody has set, such as a setting."""
    return Quantity(value, kind, given=True)


def printed(number: float, unit: str) -> Quantity:
    """A figure of a rule, in the unit in which it is printed (a key of PRINTED_UNITS)."""
    size, kind = PRINTED_UNITS[unit]
    return Quantity(number * size, kind, given=True, printed=(number, unit))


def hours(value: float) -> Quantity:
    """A duration in hours."""
    return Quantity(value * HOUR_S, "duration")


def metres_per_hour(value: float) -> Quantity:
    """A speed in metres per hour."""
    return Quantity(value / HOUR_S, "speed")


def as_set(quantity: Quantity) -> Quantity:
    """The same figure as one that somebody has set."""
    return replace(quantity, given=True)
