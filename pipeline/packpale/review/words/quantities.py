"""Figures as people read them: rounded by what they measure, with their unit, metric or imperial."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from packpale.units import FOOT_M, HECTARE_M2
from packpale.values.quantity import HOUR_S, Kind, Quantity, Span

ACRE_M2 = 4046.8564224
"""International acre: 43,560 square feet of exactly 0.3048 m. [m2]"""
CUBIC_YARD_M3 = (3 * FOOT_M) ** 3
SQUARE_FOOT_M2 = FOOT_M**2
INCH_M = FOOT_M / 12
MILE_M = 5280 * FOOT_M
MISSING = "–"
NBSP = "\u00a0"
MINUS = "\u2212"
MINUTE_S = 60.0
LONG_M = 100.0
"""From this size on a length of a rule is converted to whole units. [m]"""
GIVEN_DIGITS = (2, 3)
"""Fewest and most digits of a figure that somebody set in another unit than that shown: as many as it was set in."""
ROUND = tuple(float(f"{m}e{e}") for e in range(-3, 10) for m in (1, 2, 5))
"""Round numbers, ascending: 0.001, 0.002, 0.005, 0.01 and so on."""
_PLAIN = str.maketrans({NBSP: " ", MINUS: "-"})


@dataclass(frozen=True)
class Unit:
    """One unit that figures are shown in."""

    name: str
    size: float
    """In SI."""
    decimals: int
    """Shown of what was computed."""
    least: float = 0.0
    """From which size on it is taken. [SI]"""
    offset: float = 0.0
    """What is added to the figure in this unit, as for temperatures."""

    def number(self, value: float) -> float:
        """A figure in SI in this unit."""
        return value / self.size + self.offset


METRIC: Mapping[Kind, tuple[Unit, ...]] = {
    "area": (Unit("ha", HECTARE_M2, 2),),
    "length": (Unit("m", 1.0, 0),),
    "distance": (Unit("m", 1.0, 0), Unit("km", 1000.0, 1, least=2000.0)),
    "dimension": (Unit("m", 1.0, 2),),
    "thickness": (Unit("mm", 0.001, 1),),
    "volume": (Unit("m³", 1.0, 0),),
    "section": (Unit("m²", 1.0, 2),),
    "surface": (Unit("m²", 1.0, 0),),
    "speed": (Unit("m per hour", 1 / HOUR_S, 2),),
    "discharge": (Unit("m³/s", 1.0, 2),),
    "rain": (Unit("mm/h", 0.001 / HOUR_S, 0),),
    "slope": (Unit("°", 1.0, 1),),
    "bearing": (Unit("°", 1.0, 0),),
    "score": (Unit("", 1.0, 0),),
    "count": (Unit("", 1.0, 0),),
    "number": (Unit("", 1.0, 2),),
    "level": (Unit("dB", 1.0, 0),),
    "temperature": (Unit("°C", 1.0, 0),),
    "pressure": (Unit("kPa", 1000.0, 1),),
    "frequency": (Unit("Hz", 1.0, 0),),
}
"""Units of each kind from the smallest up."""
IMPERIAL: Mapping[Kind, tuple[Unit, ...]] = {
    **METRIC,
    "area": (Unit("acres", ACRE_M2, 2),),
    "length": (Unit("ft", FOOT_M, 0),),
    "distance": (Unit("ft", FOOT_M, 0), Unit("miles", MILE_M, 1, least=MILE_M)),
    "dimension": (Unit("in", INCH_M, 1), Unit("ft", FOOT_M, 1, least=FOOT_M)),
    "thickness": (Unit("in", INCH_M, 2),),
    "volume": (Unit("yd³", CUBIC_YARD_M3, 0),),
    "section": (Unit("ft²", SQUARE_FOOT_M2, 1),),
    "surface": (Unit("ft²", SQUARE_FOOT_M2, 0),),
    "speed": (Unit("ft per hour", FOOT_M / HOUR_S, 2),),
    "discharge": (Unit("ft³/s", FOOT_M**3, 1),),
    "rain": (Unit("in/h", INCH_M / HOUR_S, 1),),
    "temperature": (Unit("°F", 5 / 9, 0, offset=32.0),),
    "pressure": (Unit("inHg", 3386.389, 1),),  # conventional inch of mercury, NIST SP 811 (2008), appendix B.8
}


def longest_round(most: float) -> float:
    """The largest round number that is no larger; itself where none is."""
    return max((n for n in ROUND if n <= most), default=most)


def units_of(kind: Kind, *, imperial: bool) -> tuple[Unit, ...]:
    """Units in which a kind is shown. Raises KeyError for money, shares and durations: they have words of their own."""
    return (IMPERIAL if imperial else METRIC)[kind]


def column_unit(kind: Kind, *, imperial: bool) -> Unit:
    """The one unit of a column of figures: the one for large figures of what is built, for small ones of distances."""
    units = units_of(kind, imperial=imperial)
    return units[0] if kind == "distance" else units[-1]


def unit_for(kind: Kind, size: float, *, imperial: bool) -> Unit:
    """The unit in which a figure of this size [SI] is shown."""
    units = units_of(kind, imperial=imperial)
    # What rounds to the next unit's least is shown in that: 11.97 in are 1.0 ft.
    large = [u for u in units if u.least <= size * (1 + 0.5e-2)]
    return large[-1] if large else units[0]


def figure(quantity: Quantity, *, imperial: bool, currency: str) -> str:
    """A quantity in words, with no-break spaces and the minus of print."""
    if not quantity.known or quantity.value is None:
        return MISSING
    value = quantity.value
    if quantity.printed is not None:
        return _as_printed(*quantity.printed, quantity, imperial=imperial)
    match quantity.kind:
        case "money":
            return money(value, currency) if not quantity.given else joined_currency(given_number(value, 2), currency)
        case "share":
            return given_number(100 * value) + f"{NBSP}%" if quantity.given else share(value)
        case "duration":
            return given_duration(value) if quantity.given else duration(value)
    unit = unit_for(quantity.kind, abs(value), imperial=imperial)
    # What is not nothing is not told as nothing.
    short = quantity.kind == "length" and not quantity.given and 0 < value < 0.5 * unit.size
    return joined("under 1" if short else _number(value, unit, quantity, imperial=imperial), unit.name)


def span(found: Span, *, imperial: bool, currency: str) -> str:
    """From one figure to another, the unit once."""
    if found.kind in ("money", "share", "duration"):
        ends = (Quantity(v, found.kind, found.given) for v in (found.low, found.high))
        return " to ".join(figure(q, imperial=imperial, currency=currency) for q in ends)
    unit = unit_for(found.kind, max(abs(found.low), abs(found.high)), imperial=imperial)
    low, high = (
        _number(v, unit, Quantity(v, found.kind, found.given), imperial=imperial) for v in (found.low, found.high)
    )
    return joined(low if low == high else f"{low} to {high}", unit.name)


def money(value: float, currency: str) -> str:
    """Price to three significant digits: more would promise too much."""
    return joined_currency(rounded(value), currency)


def joined_currency(text: str, currency: str) -> str:
    """A currency and an amount, which do not part at the end of a line."""
    return f"{currency}{NBSP}{text}" if currency else text


def rounded(value: float) -> str:
    """A price without its currency, to three significant digits."""
    step = 10.0 ** max(math.floor(math.log10(abs(value))) - 2, 0) if value else 1.0
    return number(round(value / step) * step, 0)


def share(value: float) -> str:
    """Part of a whole; what is not nothing is not told as nothing, nor what is not all as all."""
    if 0 < value < 0.01 or 0.99 < value < 1:
        return f"under 1{NBSP}%" if value < 0.5 else f"over 99{NBSP}%"
    return f"{number(100 * value, 0)}{NBSP}%"


def duration(seconds: float) -> str:
    """Time that something takes, to the minute."""
    if 0 < seconds < 30:
        return f"under 1{NBSP}min"
    sign = MINUS if seconds <= -30 else ""
    hours, minutes = divmod(math.floor(abs(seconds) / 60 + 0.5), 60)
    parts = [f"{hours}{NBSP}h"] if hours else []
    if minutes or not hours:
        parts.append(f"{minutes}{NBSP}min")
    return sign + NBSP.join(parts)


def given_duration(seconds: float) -> str:
    """Time that somebody set, in seconds where it is short."""
    return joined(given_number(seconds), "s") if 0 < seconds < 2 * MINUTE_S else duration(seconds)


def number(value: float, decimals: int) -> str:
    """A number with marks at the thousands and the minus of print; zero has no sign."""
    text = f"{abs(value):,.{decimals}f}"
    return f"{MINUS}{text}" if value < 0 and text.strip("0.,") else text


def given_number(value: float, most: int = 6) -> str:
    """A number as somebody set it, to at most ``most`` decimals, without zeros behind."""
    text = number(value, most)
    return text.rstrip("0").rstrip(".") if "." in text else text


def joined(text: str, unit: str) -> str:
    """A number and its unit, which do not part at the end of a line."""
    return text if not unit else f"{text}{unit}" if unit == "°" else f"{text}{NBSP}{unit}"


def counted(number: int, what: str) -> str:
    """A number of things, such as 1 place or 3 places."""
    return f"{number:,} {what}{'' if number == 1 else 's'}"


def begun(text: str) -> str:
    """A text with a capital at its start."""
    return f"{text[:1].upper()}{text[1:]}"


def plain(text: str) -> str:
    """The same words for a terminal or a table of plain signs: common spaces, and the minus of keyboards."""
    return text.translate(_PLAIN)


def _number(value: float, unit: Unit, quantity: Quantity, *, imperial: bool) -> str:
    shown = unit.number(value)
    if not quantity.given:
        return number(shown, unit.decimals)
    if not imperial or units_of(quantity.kind, imperial=True) == units_of(quantity.kind, imperial=False):
        # What rounding of the unit leaves behind is no figure that anybody gave.
        return given_number(float(f"{shown:.9g}"))
    fewest, most = GIVEN_DIGITS
    as_set = unit_for(quantity.kind, abs(value), imperial=False).number(value)
    digits = max(fewest, len(Decimal(f"{as_set:.{most}g}").normalize().as_tuple().digits))
    size = math.floor(math.log10(abs(shown))) if shown else 0
    decimals = min(digits - 1 - size, max(unit.decimals, 1))
    return given_number(round(shown, decimals), max(decimals, 0))


def _as_printed(printed: float, unit: str, quantity: Quantity, *, imperial: bool) -> str:
    """A figure of a rule in the unit printed; where the reader has other units, theirs in brackets."""
    name = {"m2": "m²", "ft2": "ft²", "deg": "°"}.get(unit, unit)
    text = joined(given_number(printed), name)
    of_feet = unit in ("ft", "in", "ft2")
    if quantity.kind in ("slope", "bearing") or of_feet == imperial:
        return text
    kind = "length" if quantity.kind == "dimension" and quantity.si >= LONG_M else quantity.kind
    own = figure(Quantity(quantity.value, kind), imperial=imperial, currency="")
    return f"{text} ({own})"
