"""What is known of a subject: where its items come from, and the fields that make its columns, popup and table."""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from packpale.review.model import PlotResult
from packpale.review.words import Wording
from packpale.settings import Project
from packpale.units import HECTARE_M2
from packpale.values.notes import Value
from packpale.values.quantity import HOUR_S, Kind, Quantity

TEXT, WHOLE, NUMBER, YES_NO = "object", "Int64", "float64", "bool"
"""Kinds of columns, as pandas names them."""
Shown = Literal["", "popup", "page", "popup and page"]
POPUP: Shown = "popup"
PAGE: Shown = "page"
BOTH: Shown = "popup and page"
"""Where people are told a field: by a click on the map, in the tables of page and report, in both."""
Words = Literal["text", "number of it", "yes or no", "coordinate"]
"""Fields that are no quantity: words; the number that something has; whether it is so; a coordinate."""
SUFFIXES: tuple[tuple[str, str, float], ...] = (
    ("_m3_per_s", "m³/s", 1.0),
    ("_mm_per_h", "mm/h", 0.001 / HOUR_S),
    ("_m_per_h", "m/h", 1 / HOUR_S),
    ("_per_ha", "currency/ha", 1.0),
    ("_bank_m3", "m³ in the ground", 1.0),
    ("_loose_m3", "m³ loose", 1.0),
    ("_compacted_m3", "m³ compacted", 1.0),
    ("_m3", "m³", 1.0),
    ("_m2", "m²", 1.0),
    ("_ha", "ha", HECTARE_M2),
    ("_min", "min", 60.0),
    ("_deg", "°", 1.0),
    ("_db", "dB", 1.0),
    ("_m", "m", 1.0),
    ("_h", "h", HOUR_S),
    ("_s", "s", 1.0),
)
"""End of a column's name, the unit it says, and that unit's size in SI."""


@dataclass(frozen=True)
class Field:
    """One thing that is known of each item of a subject."""

    key: str
    """Name of the column; it ends in the unit."""
    title: str
    """As people read it."""
    kind: Kind | Words
    of: str | Callable[[Any], Any] | None = None
    """Its value for an item, in the column's unit: by a path (see ``at_path``) or a function. None where an item is a
    row, with values by their columns.
    """
    told: Callable[[Any], Value | None] | None = None
    """What popup and table say of an item, where that is not its value as a quantity; None for nothing."""
    shown: Shown = ""
    unknown: str = ""
    """What they say where the value is no finite number; empty for nothing."""

    @property
    def popup(self) -> bool:
        """Whether a click on the map tells it."""
        return POPUP in self.shown

    @property
    def page(self) -> bool:
        """Whether the tables of page and report have it."""
        return PAGE in self.shown

    @property
    def column(self) -> str:
        """Kind of its column."""
        match self.kind:
            case "text":
                return TEXT
            case "number of it" | "count":
                return WHOLE
            case "yes or no":
                return YES_NO
        return NUMBER

    @property
    def unit(self) -> str:
        """Unit of its column; empty where it has none."""
        return next((unit for suffix, unit, _ in SUFFIXES if self.key.endswith(suffix)), "")

    @property
    def head(self) -> str:
        """Its title for readers: without what the figure itself tells them, its currency or which words there are."""
        return self.title.removesuffix(" [currency]").partition(": ")[0]

    def value(self, item: Any) -> Any:
        """Its value for an item, in the column's unit."""
        if self.of is None:
            return item[self.key]
        return self.of(item) if callable(self.of) else at_path(item, self.of)

    def say(self, item: Any) -> Value | None:
        """What people are told of an item; None for nothing."""
        if self.told is not None:
            return self.told(item)
        value = self.value(item)
        if self.unknown and (value is None or not math.isfinite(value)):
            return self.unknown
        return self.figure(value)

    def figure(self, value: Any) -> Value | None:
        """What people are told of a value of its column; None for nothing."""
        if isinstance(value, str) or value is None:
            return value
        match self.kind:
            case "yes or no":
                return "yes" if value else "no"
            case "coordinate":
                return f"{value:.2f}"
            case "number of it" | "text":
                return str(value)
        size = next((size for suffix, _, size in SUFFIXES if self.key.endswith(suffix)), 1.0)
        return Quantity(value * size, self.kind)


def at_path(item: Any, path: str) -> Any:
    """What attributes and keys of mappings lead to, such as "path.area"; None where one of them is not there."""
    for name in path.split("."):
        if item is None:
            return None
        item = item.get(name) if isinstance(item, Mapping) else getattr(item, name)
    return item


def point_of(item: Any) -> BaseGeometry:
    """Where most items lie."""
    return Point(item.x, item.y)


@dataclass(frozen=True)
class Subject:
    """One kind of thing that a run finds: a layer of packpale.gpkg, or a table."""

    name: str
    """Of the layer, or the file."""
    title: str
    """What each row is."""
    geometry: str
    """Of the layer; empty for a table."""
    fields: tuple[Field, ...]
    found: str | Callable[[PlotResult, Project], Iterable[Any]] = lambda _result, _project: ()
    """Its items on a plot, by a path from its result or by a function. An item may be a finished row, of a layer with
    its ``geometry``.
    """
    place: Callable[[Any], BaseGeometry | None] = point_of
    """Where an item lies."""
    last: tuple[Field, ...] = ()
    """Fields that its popup tells after the others, whatever the order of the columns."""

    @property
    def columns(self) -> Mapping[str, str]:
        """Kind of each column by its name."""
        return {field.key: field.column for field in self.fields}

    def of(self, *keys: str) -> tuple[Field, ...]:
        """Its fields by their columns, in the order asked for."""
        found = {field.key: field for field in self.fields}
        return tuple(found[key] for key in keys)

    def items(self, result: PlotResult, project: Project) -> Iterable[Any]:
        """Its items on a plot."""
        return self.found(result, project) if callable(self.found) else at_path(result, self.found) or ()

    def row(self, item: Any) -> dict[str, Any]:
        """An item's row but for the plot's name."""
        return {field.key: field.value(item) for field in self.fields if field is not PLOT}

    def lies(self, item: Any) -> BaseGeometry | None:
        """Where an item lies."""
        return item["geometry"] if isinstance(item, Mapping) else self.place(item)

    def rows(self, result: PlotResult, project: Project) -> Iterator[dict[str, Any]]:
        """The rows of a plot, those of a layer with their ``geometry``."""
        plot = {PLOT.key: result.site.plot_id}
        for item in self.items(result, project):
            row = item if isinstance(item, Mapping) else self.row(item)
            yield {**plot, **row, "geometry": self.lies(item)} if self.geometry else {**plot, **row}

    def popup(self, item: Any, wording: Wording) -> list[tuple[str, str]]:
        """What a click on an item tells: titles and words."""
        return told(sorted((field for field in self.fields if field.popup), key=self.last.__contains__), item, wording)


def told(fields: Iterable[Field], item: Any, wording: Wording) -> list[tuple[str, str]]:
    """Titles of fields and what they say of an item, but those that say nothing."""
    said = ((field.head, field.say(item)) for field in fields)
    return [(title, wording.say(value)) for title, value in said if value is not None]


def told_of_row(fields: Iterable[Field], row: Mapping[str, Any], wording: Wording) -> list[tuple[str, str]]:
    """The same of a finished row, whatever its items were."""
    said = ((field.head, field.figure(row[field.key])) for field in fields)
    return [(title, wording.say(value)) for title, value in said if value is not None]


PLOT = Field("plot_id", "Plot", "text")
PACK = Field("pack", "Pack", "number of it", "pack")
