"""Every way out of an enclosure, with its figure and its worst place, and the places on the line that matter."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from packpale.care.aids import weakening
from packpale.care.model import Care
from packpale.care.patrol import weak_places
from packpale.earthworks.model import Stretch
from packpale.enclosure.model import Pack
from packpale.review.model import PlotResult
from packpale.review.subjects.crossings import crossings
from packpale.review.subjects.field import PACK, PAGE, Field, Subject
from packpale.settings import Project
from packpale.site import Array
from packpale.values.notes import Value
from packpale.values.quantity import HOUR_S, Kind, Quantity

Way = Literal["under", "over", "through", "gate", "water", "unwatched", "fire", "power"]
Unknown = Literal["not set", "not checked"]
UNITS: dict[Kind, tuple[str, float]] = {
    "dimension": ("m", 1.0),
    "length": ("m", 1.0),
    "thickness": ("mm", 0.001),
    "speed": ("m/h", 1 / HOUR_S),
    "duration": ("h", HOUR_S),
    "area": ("m2", 1.0),
    "count": ("", 1.0),
    "number": ("years", 1.0),
}
"""Unit of the column value for what a figure measures, and its size in SI."""


@dataclass(frozen=True)
class Published:
    """What rules ask, or what was seen elsewhere; empty where nothing was read."""

    text: str = ""
    source: str = ""


@dataclass(frozen=True)
class WayOut:
    """One thing that was looked at, or was not, of one way out of one enclosure."""

    pack: int
    way: Way
    measure: str
    found: Quantity | Unknown
    chainage: float | None = None
    """Of its worst place; None where it is alike everywhere or has no place. [m]"""
    where: str = "the whole line"
    """What is told where there is no chainage."""
    beside: Published = Published()

    @property
    def figure(self) -> Quantity | None:
        """In SI; None where there is none."""
        return self.found if isinstance(self.found, Quantity) else None

    @property
    def checked(self) -> str:
        """How it is known, or why it is not."""
        if isinstance(self.found, Quantity):
            return "as set" if self.found.given else "computed"
        return self.found

    @property
    def unit(self) -> str:
        return UNITS[self.figure.kind][0] if self.figure else ""

    @property
    def value(self) -> float | None:
        """In ``unit``."""
        known = self.figure is not None and self.figure.known
        return self.figure.si / UNITS[self.figure.kind][1] if self.figure and known else None


def _figure(way: WayOut) -> Value:
    return way.figure if way.figure is not None and way.figure.known else way.checked


def _place(way: WayOut) -> Value | None:
    return way.where or None if way.chainage is None else Quantity(way.chainage, "length")


HOLDS = Subject(
    "holds.csv",
    "A way out of an enclosure: what was looked at of it, or that it was not",
    "",
    (
        Field("way", "Way out", "text", "way", shown=PAGE),
        PACK,
        Field("measure", "What was looked at", "text", "measure", shown=PAGE),
        Field("value", "Figure", "number", "value", _figure, shown=PAGE),
        Field("unit", "Unit of the figure", "text", "unit"),
        Field("checked", "computed, as set, not set or not checked", "text", "checked"),
        Field("chainage_m", "Worst place, chainage", "length", "chainage", _place, shown=PAGE),
        Field("published", "Published beside it", "text", "beside.text", lambda w: w.beside.text or None, shown=PAGE),
        Field("source", "Source", "text", "beside.source", lambda w: w.beside.source or None, shown=PAGE),
    ),
)

Letter = Literal["G", "U", "O", "W", "T", "L", "B", "S", "P", "D", "R"]
LETTERS: dict[Letter, str] = {
    "G": "gate, with its airlock inside where there is one",
    "U": "shortest way under the mesh, 1 the shortest",
    "O": "fence lowest over the ground inside, 1 the lowest",
    "W": "water crosses",
    "T": "tree, boulder or other thing that lowers the fence, or may",
    "L": "line over a limit",
    "B": "ground beside the fence stands high",
    "S": "stand of trees beside the fence",
    "P": "trench in water",
    "D": "dug under while nobody looks",
    "R": "skirt ends on rock",
}
"""Letters of places and stretches, and what each stands for."""


@dataclass(frozen=True)
class Place:
    """A place or a stretch on a fence line."""

    pack: int
    letter: Letter
    number: int
    """Of its letter, from 1."""
    chainage: float
    """Of its start, if it is a stretch. [m]"""
    length: float
    """0 for a place. [m]"""
    figure: Quantity | None
    """What makes it matter; None where nothing is to be told."""

    @property
    def name(self) -> str:
        """Letter and number, as the drawing has them."""
        return f"{self.letter}{self.number}"


def _length(place: Place) -> Value | None:
    return Quantity(place.length, "length") if place.length else None


PLACES = Subject(
    "places",
    "A place or a stretch on the ring",
    "",
    (
        Field("name", "On the ring", "text", "name", shown=PAGE),
        Field("what", "What it is", "text", lambda p: LETTERS[p.letter], shown=PAGE),
        Field("chainage_m", "Chainage, or start", "length", "chainage", shown=PAGE),
        Field("length_m", "Length", "length", "length", _length, shown=PAGE),
        Field("figure", "Figure", "number", "figure.value", lambda p: p.figure, shown=PAGE),
    ),
)


def places(result: PlotResult, project: Project, pack: Pack) -> tuple[Place, ...]:
    """Places and stretches of one pack's line, letter by letter in the order of LETTERS."""
    order = list(LETTERS)
    # Gates keep the numbers that pegs and plan give them.
    found = sorted(_found(result, project, pack), key=lambda p: (order.index(p[0]), 0.0 if p[0] in "GUO" else p[1]))
    numbers = dict.fromkeys(order, 0)
    out = []
    for letter, chainage, length, figure in found:
        numbers[letter] += 1
        out.append(Place(pack.number, letter, numbers[letter], chainage, length, figure))
    return tuple(out)


_Found = tuple[Letter, float, float, Quantity | None]


def _found(result: PlotResult, project: Project, pack: Pack) -> Iterator[_Found]:
    care, works = result.care, result.earthworks
    if care is None or works is None:
        return
    number, perimeter = pack.number, pack.line.perimeter
    for chainage in pack.gates.chainage.tolist():
        yield "G", chainage, 0.0, None
    yield from _under(care, pack, project)
    yield from _over(care, pack, project)
    for crossing in crossings(result):
        if crossing.pack == number:
            yield "W", crossing.chainage, 0.0, Quantity(crossing.area, "area") if crossing.path else None
    for over in pack.over_limits:
        yield "L", over.from_m % perimeter, over.length_m, None
    wet = dict(works.plant.wet) if works.plant else {}
    yield from _stretches("P", wet.get(number, ()))


def _under(care: Care, pack: Pack, project: Project) -> Iterator[_Found]:
    line = pack.alignment
    for dug in (d for d in care.dig_out if d.pack == pack.number):
        for at in _weakest(dug.weakest_chainage, pack, dug.tunnel, project):
            yield "U", at, 0.0, Quantity(float(dug.tunnel[np.argmin(np.abs(line.chainage - at))]), "dimension")
    for held in (h for h in care.holdings if h.pack == pack.number):
        for stretch in held.too_short:
            yield "D", stretch.start, stretch.length, Quantity(stretch.worst * HOUR_S, "duration")
        yield from _stretches("R", held.on_rock)


def _over(care: Care, pack: Pack, project: Project) -> Iterator[_Found]:
    line = pack.alignment
    for c in (c for c in care.climbs if c.pack == pack.number):
        if not math.isnan(c.least):
            inside = np.where(np.isnan(c.inside), math.inf, c.inside)
            for at in _weakest(c.weakest_chainage, pack, inside, project):
                yield "O", at, 0.0, Quantity(float(inside[np.argmin(np.abs(line.chainage - at))]), "dimension")
        yield from _stretches("B", (*c.banks_inside, *c.banks_outside))
        yield from _stretches("S", c.near_trees)
    for aid in care.aids:
        if aid.pack == pack.number and weakening(aid, project):
            yield "T", aid.chainage, 0.0, Quantity(aid.distance, "dimension")


def _stretches(letter: Letter, found: Iterable[Stretch]) -> Iterator[_Found]:
    for stretch in found:
        yield letter, stretch.start, stretch.length, Quantity(stretch.worst, "dimension")


def _weakest(worst: float, pack: Pack, values: Array, project: Project) -> Iterator[float]:
    """The worst place, then the next that the round looks at, away from it and from each other."""
    yield worst
    apart, length = project.patrol.weak_places_apart_m, pack.line.perimeter
    more = weak_places(pack.alignment, values, count=project.patrol.weak_places, apart=apart)
    for mark in more:
        away = abs(mark.chainage - worst)
        if min(away, length - away) >= apart:
            yield mark.chainage
