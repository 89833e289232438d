"""How a run's pages say things: figures in the reader's units, settings by their names."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from string import Formatter

from packpale.review.words.quantities import (
    MISSING,
    Unit,
    begun,
    column_unit,
    figure,
    joined,
    joined_currency,
    number,
    rounded,
    span,
)
from packpale.review.words.settings import called
from packpale.settings import Project
from packpale.units import HECTARE_M2
from packpale.values.notes import SETTING, Note, Phrase, Value
from packpale.values.quantity import HOUR_S, Kind, Quantity, Span

PRICED: Mapping[str, Kind] = {"m": "length", "m2": "surface", "m3": "volume"}
"""What is measured in the units that work is priced for."""


@dataclass(frozen=True)
class Told:
    """A note in words."""

    lead: str
    """What it is about, without a full stop."""
    rest: str
    """Whole sentences; may be empty."""

    @property
    def text(self) -> str:
        """All of it."""
        return f"{self.lead}. {self.rest}".rstrip()


def _shown(kind: Kind) -> Callable[["Wording", float | None], str]:
    """What gives a figure of a kind with its unit."""

    def show(self: "Wording", value: float | None) -> str:
        return figure(Quantity(value, kind), imperial=self.imperial, currency=self.currency)

    return show


@dataclass(frozen=True)
class Wording:
    """How a run's pages show figures. What takes a number takes SI (or None) and gives text with its unit."""

    imperial: bool
    currency: str
    by_key: bool = False
    """Whether settings are named by their keys, as for somebody who edits the settings file."""
    feet_too: bool = False
    """Whether metric figures of notes have the same in feet, miles and acres in brackets behind them."""

    @classmethod
    def of(cls, project: Project) -> "Wording":
        """How a run's settings ask for it."""
        return cls(imperial=project.units == "imperial", currency=project.currency)

    @classmethod
    def for_files(cls, project: Project) -> "Wording":
        """For files that other programs read, which hold SI and settings by their keys."""
        return cls(imperial=False, currency=project.currency, by_key=True)

    def say(self, value: Value) -> str:
        """A figure, a phrase or a text in words; of several a list."""
        match value:
            case str():
                return value
            case int():
                return number(value, 0)
            case Quantity():
                return self._both(figure, value)
            case Span():
                return self._both(span, value)
            case Phrase():
                return self.fill(value.template, value.values)
            case _:
                return ", ".join(self.say(one) for one in value)

    def fill(self, template: str, values: Mapping[str, Value], *, begins: bool = False) -> str:
        """A template of a phrase with its values in words.

        A sentence begins with a capital, at the start too if the template ``begins`` one; a text is left as it is.
        """
        said = ""
        for before, name, spec, _ in Formatter().parse(template):
            said += begun(before) if begins and not said else before
            if name is None:
                continue
            value = self.setting(spec or "") if name == SETTING else self.say(values[name])
            starts = said.endswith(". ") or (begins and not said)
            as_it_is = self.by_key if name == SETTING else _is_text(values[name])
            said += begun(value) if starts and not as_it_is else value
        return said

    def note(self, note: Note, *, several_packs: bool = True) -> Told:
        """A note in words; it says which pack it concerns where there are several."""
        named = f"{_packs(note.packs)}: " if note.packs and several_packs else ""
        lead = self.fill(note.lead, note.values, begins=not named)
        return Told(named + lead, self.fill(note.rest, note.values, begins=True))

    def setting(self, key: str) -> str:
        """What a setting is called."""
        return key if self.by_key else called(key)

    def unit(self, kind: Kind) -> Unit:
        """The one unit of a column of figures of a kind."""
        return column_unit(kind, imperial=self.imperial)

    area = _shown("area")
    length = _shown("length")
    """Of a fence, or a distance, to the metre or foot."""
    distance = _shown("distance")
    """How far away something is; from some kilometres or a mile on in those."""
    dimension = _shown("dimension")
    """Length of something built, to the centimetre or tenth of a foot."""
    volume = _shown("volume")
    section = _shown("section")
    duration = _shown("duration")
    """Time that something takes [s], to the minute."""
    discharge = _shown("discharge")
    slope = _shown("slope")
    """Given in degrees."""
    money = _shown("money")
    """To three significant digits: more would promise too much."""
    score = _shown("score")
    """Out of 100."""
    percent = _shown("share")
    """Of a share given as 0 to 1."""
    _per_hour = _shown("speed")

    def dimension_unit(self) -> tuple[str, float, int]:
        """What a column of dimensions shows: unit, its number to a metre, decimals."""
        unit = self.unit("dimension")
        return unit.name, 1 / unit.size, unit.decimals

    def speed(self, value: float | None) -> str:
        """Digging speed, given in metres per hour."""
        return self._per_hour(None if value is None else value / HOUR_S)

    def hours(self, value: float | None) -> str:
        """Time given in hours, to the minute."""
        return self.duration(None if value is None else HOUR_S * value)

    def change(self, value: float) -> str:
        """A difference of prices with its sign, to three significant digits."""
        return joined_currency(f"{'+' if value > 0 else ''}{rounded(value)}", self.currency)

    def money_per_area(self, per_ha: float | None) -> str:
        """Price for each hectare or acre, given for a hectare."""
        price = None if per_ha is None else per_ha * self.unit("area").size / HECTARE_M2
        return f"{self.money(price)} for each {self.area_name}"

    @property
    def area_name(self) -> str:
        """What one unit of ground area is called."""
        return "acre" if self.imperial else "hectare"

    def price(self, value: float | None) -> str:
        """The same in a column whose head names the currency."""
        found = Quantity(value, "money")
        return rounded(found.value) if found.known and found.value is not None else MISSING

    def per_area(self, price: float, area: float) -> float:
        """Price for each hectare or acre of an area given in m2; a number."""
        return price / area * self.unit("area").size

    def amount(self, value: float) -> str:
        """Amount in a column of amounts, to the whole unit of currency so that the column adds up."""
        return number(value, 0)

    def quantity(self, value: float, unit: str) -> str:
        """Quantity of a priced list, in the unit its rate is shown for."""
        name, size = self._priced_unit(unit)
        return joined(number(value / size, 0), name)

    def rate(self, value: float, unit: str) -> str:
        """Rate of a priced list, for the unit its quantity is shown in."""
        return number(value * self._priced_unit(unit)[1], 2)

    def _priced_unit(self, unit: str) -> tuple[str, float]:
        """Name of the unit shown for a unit of the rates, and its size in that unit."""
        if unit not in PRICED:
            return "" if unit == "each" else unit, 1.0
        shown = self.unit(PRICED[unit])
        return shown.name, shown.size

    def _both(self, shown: Callable[..., str], value: Quantity | Span) -> str:
        text = shown(value, imperial=self.imperial, currency=self.currency)
        # A figure of a rule has the other unit behind it as it is.
        if not self.feet_too or (isinstance(value, Quantity) and value.printed is not None):
            return text
        own = shown(value, imperial=True, currency=self.currency)
        return text if own == text else f"{text} ({own})"


FILES = Wording(imperial=False, currency="", by_key=True)
"""The same where nothing is told in money; put ``quantities.plain`` round it."""


def _packs(numbers: tuple[int, ...]) -> str:
    if len(numbers) == 1:
        return f"Pack {numbers[0]}"
    return f"Packs {', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"


def _is_text(value: Value) -> bool:
    """Whether a value is a text, such as a user's own, or begins with one."""
    return isinstance(value, str) or (isinstance(value, Phrase) and value.template.startswith("{"))
