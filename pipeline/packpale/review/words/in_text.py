"""Sentences whose figures stand in them as text; goes when every room hands over phrases."""

import re

from packpale.review.words.quantities import ACRE_M2, CUBIC_YARD_M3, INCH_M, MILE_M, SQUARE_FOOT_M2
from packpale.review.words.settings import spoken
from packpale.units import FOOT_M, HECTARE_M2

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


def told(text: str, *, imperial: bool) -> str:
    """A sentence of the computing rooms in the units of the pages, settings named in words."""
    return _IN_TEXT.sub(_imperial if imperial else _metric, spoken(text))


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
