"""Figures as people read them on pages: rounded, with their unit, metric or imperial."""

import math
import re
from dataclasses import dataclass

from packpale.review.settings_in_words import called, spoken
from packpale.units import FOOT_M, HECTARE_M2

ACRE_M2 = 4046.8564224
"""International acre: 43,560 square feet of exactly 0.3048 m. [m2]"""
CUBIC_YARD_M3 = (3 * FOOT_M) ** 3
SQUARE_FOOT_M2 = FOOT_M**2
MISSING = "–"
INCH_M = FOOT_M / 12
MILE_M = 5280 * FOOT_M
IMPERIAL_IN_TEXT = {
    "m": ("ft", 1 / FOOT_M, 0),
    "m2": ("ft²", 1 / SQUARE_FOOT_M2, 0),
    "m²": ("ft²", 1 / SQUARE_FOOT_M2, 0),
    "m3": ("yd³", 1 / CUBIC_YARD_M3, 0),
    "m³": ("yd³", 1 / CUBIC_YARD_M3, 0),
    "ha": ("acres", HECTARE_M2 / ACRE_M2, 0),
    "km": ("miles", 1000 / MILE_M, 1),
    "cm": ("in", 0.01 / INCH_M, 1),
    "mm": ("in", 0.001 / INCH_M, 2),
}
"""Unit shown for one that stands in a sentence, its number to that, and how many more decimals are shown."""
_RAISED = str.maketrans("23", "²³")
_NUMBER = r"\d[\d,]*(?:\.\d+)?"
_IN_TEXT = re.compile(
    rf"(?<![\w.,]){_NUMBER}(?:(?: to | x ){_NUMBER})* (?:{'|'.join(sorted(IMPERIAL_IN_TEXT, key=len, reverse=True))})"
    r"(?![\w²³])"
)


@dataclass(frozen=True)
class Wording:
    """How a run's pages show figures. Every method takes SI (or None) and gives text with its unit."""

    imperial: bool
    currency: str

    def told(self, text: str) -> str:
        """A sentence of the computing rooms in the units of the pages, settings named in words."""
        return _IN_TEXT.sub(_imperial if self.imperial else _metric, spoken(text))

    def setting(self, key: str) -> str:
        """What the pages call a setting."""
        return called(key)

    def area(self, value: float | None) -> str:
        """Ground area, in hectares or acres."""
        return _figure(value, 1 / ACRE_M2, 2, "acres") if self.imperial else _figure(value, 1 / HECTARE_M2, 2, "ha")

    def length(self, value: float | None) -> str:
        """Length of a fence or a distance, to the metre or foot."""
        return _figure(value, 1 / FOOT_M, 0, "ft") if self.imperial else _figure(value, 1.0, 0, "m")

    def dimension(self, value: float | None) -> str:
        """Length of something built, to the centimetre or tenth of a foot."""
        unit, scale, digits = self.dimension_unit()
        return _figure(value, scale, digits, unit)

    def dimension_unit(self) -> tuple[str, float, int]:
        """What ``dimension`` shows: unit, its number to a metre, decimals."""
        return ("ft", 1 / FOOT_M, 1) if self.imperial else ("m", 1.0, 2)

    def volume(self, value: float | None) -> str:
        """Volume of earth."""
        return _figure(value, 1 / CUBIC_YARD_M3, 0, "yd³") if self.imperial else _figure(value, 1.0, 0, "m³")

    def section(self, value: float | None) -> str:
        """Area of a cut section."""
        return _figure(value, 1 / SQUARE_FOOT_M2, 1, "ft²") if self.imperial else _figure(value, 1.0, 2, "m²")

    def speed(self, value: float | None) -> str:
        """Digging speed."""
        return _figure(value, 1 / FOOT_M, 2, "ft per hour") if self.imperial else _figure(value, 1.0, 2, "m per hour")

    def duration(self, seconds: float | None) -> str:
        """Time that something takes, to the minute."""
        if seconds is None or _missing(seconds):
            return MISSING
        hours, minutes = divmod(round(seconds / 60), 60)
        return f"{hours} h {minutes} min" if hours else f"{minutes} min"

    def hours(self, value: float | None) -> str:
        """Time given in hours, to the minute."""
        return MISSING if value is None else self.duration(3600 * value)

    def discharge(self, value: float | None) -> str:
        """Flow of water, given in m3/s."""
        return _figure(value, 1 / FOOT_M**3, 1, "ft³/s") if self.imperial else _figure(value, 1.0, 2, "m³/s")

    def slope(self, value: float | None) -> str:
        """Slope given in degrees."""
        return MISSING if _missing(value) else f"{value:.1f}°"

    def money(self, value: float | None) -> str:
        """Price to three significant digits: more would promise too much."""
        if value is None or _missing(value):
            return MISSING
        step = 10.0 ** max(math.floor(math.log10(abs(value))) - 2, 0) if value else 1.0
        return f"{self.currency} {round(value / step) * step:,.0f}"

    def price(self, value: float | None) -> str:
        """The same in a column whose head names the currency."""
        return self.money(value).removeprefix(f"{self.currency} ")

    def money_per_area(self, per_ha: float | None) -> str:
        """Price for each hectare or acre."""
        if self.imperial:
            return f"{self.money(None if per_ha is None else per_ha * ACRE_M2 / HECTARE_M2)} for each acre"
        return f"{self.money(per_ha)} for each hectare"

    def amount(self, value: float) -> str:
        """Amount in a column of amounts, to the whole unit of currency so that the column adds up."""
        return f"{value:,.0f}"

    def score(self, value: float | None) -> str:
        """Score out of 100."""
        return MISSING if _missing(value) else f"{value:.0f}"

    def percent(self, value: float | None) -> str:
        """Share given as 0 to 1."""
        if value is None or _missing(value):
            return MISSING
        if 0 < value < 0.01 or 0.99 < value < 1:
            return "under 1 %" if value < 0.5 else "over 99 %"
        return f"{100 * value:.0f} %"

    def quantity(self, value: float, unit: str) -> str:
        """Quantity of a priced list, in the unit its rate is shown for."""
        name, size = self._priced_unit(unit)
        return f"{value / size:,.0f} {name}".strip()

    def rate(self, value: float, unit: str) -> str:
        """Rate of a priced list, for the unit its quantity is shown in."""
        return f"{value * self._priced_unit(unit)[1]:,.2f}"

    def _priced_unit(self, unit: str) -> tuple[str, float]:
        """Name of the unit shown for a unit of the rates, and its size in that unit."""
        metric = {"m": ("m", 1.0), "m2": ("m²", 1.0), "m3": ("m³", 1.0), "each": ("", 1.0)}
        imperial = {"m": ("ft", FOOT_M), "m2": ("ft²", SQUARE_FOOT_M2), "m3": ("yd³", CUBIC_YARD_M3)}
        return (metric | imperial if self.imperial else metric).get(unit, (unit, 1.0))


def _metric(found: re.Match[str]) -> str:
    """The same figures with marks at the thousands and raised exponents, as everywhere else on the pages."""
    numbers, unit = found.group().rsplit(" ", 1)
    return f"{re.sub(_NUMBER, _marked, numbers)} {unit.translate(_RAISED)}"


def _marked(number: re.Match[str]) -> str:
    whole, point, decimals = number.group().replace(",", "").partition(".")
    return f"{int(whole):,}{point}{decimals}"


def _imperial(found: re.Match[str]) -> str:
    numbers, unit = found.group().rsplit(" ", 1)
    name, factor, more = IMPERIAL_IN_TEXT[unit]

    def changed(number: re.Match[str]) -> str:
        whole, _, decimals = number.group().replace(",", "").partition(".")
        return f"{float(f'{whole}.{decimals}') * factor:,.{len(decimals) + more}f}"

    return f"{re.sub(_NUMBER, changed, numbers)} {name}"


def _figure(value: float | None, factor: float, digits: int, unit: str) -> str:
    if value is None or _missing(value):
        return MISSING
    return f"{value * factor:,.{digits}f} {unit}"


def _missing(value: float | None) -> bool:
    return value is None or not math.isfinite(value)
