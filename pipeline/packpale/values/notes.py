"""What a reader must know, as values: what it is about, how grave it is, its figures; the words are made when shown."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from string import Formatter
from typing import Literal, Union, get_args

from packpale.values.quantity import Quantity, Span

Severity = Literal[
    "an animal gets out",
    "a person gets hurt",
    "the law asks for more",
    "the pack is not at ease",
    "it costs more",
    "it is not known",
]
SEVERITIES: tuple[Severity, ...] = get_args(Severity)
"""What may come of it, the gravest first."""
ESCAPE, HURT, LAW, UNEASE, COST, UNKNOWN = SEVERITIES
KINDS: Mapping[str, Severity] = {
    "dug out while nobody looks": ESCAPE,
    "two fences as one": ESCAPE,
    "bottom below the skirt": ESCAPE,
    "bottom not deep enough": ESCAPE,
    "bare apron": ESCAPE,
    "skirt ends on rock": ESCAPE,
    "bank to climb from": ESCAPE,
    "thing to climb": ESCAPE,
    "wood beside the fence": ESCAPE,
    "single gates": ESCAPE,
    "gap under a gate": ESCAPE,
    "gate on bad ground": ESCAPE,
    "water crosses": ESCAPE,
    "mapped water crosses": ESCAPE,
    "rain too short": ESCAPE,
    "mesh not described": ESCAPE,
    "wire bitten through": ESCAPE,
    "panels at an angle": ESCAPE,
    "corners": ESCAPE,
    "figures of another line": ESCAPE,
    "packs too near": ESCAPE,
    "trench in water": HURT,
    "trench open overnight": HURT,
    "walls too steep": HURT,
    "deep trench": HURT,
    "steep walls in rock": HURT,
    "deep if over-dug": HURT,
    "no room for spoil": HURT,
    "bottom too steep": HURT,
    "walls meet the ground late": HURT,
    "wading on the round": HURT,
    "walk between two packs": HURT,
    "viewer too near": HURT,
    "left from another run": HURT,
    "line leaves the plot": LAW,
    "machine past the boundary": LAW,
    "line on no-go ground": LAW,
    "no-go ground inside": LAW,
    "strip on no-go ground": LAW,
    "much water inside": UNEASE,
    "much wet ground inside": UNEASE,
    "little refuge": UNEASE,
    "openings for pups": UNEASE,
    "ground for each animal": UNEASE,
    "den in view": UNEASE,
    "few den sites": UNEASE,
    "roof of the den": UNEASE,
    "sheet flow crosses": COST,
    "posts in made ground": COST,
    "rock dug as wide as soil": COST,
    "mesh rusts away": COST,
    "line over limits": COST,
    "dig leaves its strip": COST,
    "line close to itself": COST,
    "aprons meet": COST,
    "trenches meet": COST,
    "soil falls short": COST,
    "no soil left over": COST,
    "mounds fall short": COST,
    "airlock too short": COST,
    "gate too narrow": COST,
    "little to see": COST,
    "nothing can fit": COST,
    "fewer enclosures": COST,
    "round falls apart": COST,
    "round beyond its strip": COST,
    "route of water": UNKNOWN,
    "no design flow": UNKNOWN,
    "slope at crossing": UNKNOWN,
    "banks opened": UNKNOWN,
    "catchment beyond the ground": UNKNOWN,
    "catchment too large": UNKNOWN,
    "bank not known": UNKNOWN,
    "gate without elevation": UNKNOWN,
    "round without elevation": UNKNOWN,
    "view not known": UNKNOWN,
    "howl beyond the ground": UNKNOWN,
    "swell off the tables": UNKNOWN,
    "weights contradict": UNKNOWN,
    "bound not finished": UNKNOWN,
    "not the bare earth": UNKNOWN,
    "errors of the ground": UNKNOWN,
    "cells too coarse": UNKNOWN,
    "ground without elevation": UNKNOWN,
    "ground without soil": UNKNOWN,
    "plots overlap": UNKNOWN,
    "boundary repaired": UNKNOWN,
    "boundary to clean": UNKNOWN,
    "input repaired": UNKNOWN,
    "input left out": UNKNOWN,
    "inputs differ": UNKNOWN,
    "cells interpolated": UNKNOWN,
    "coordinates": UNKNOWN,
}
"""Kinds of note and what may come of each; within one the weightier first."""

SETTING = "setting"
"""Field of a template that names a setting: "{setting:land.margin_m}"."""
One = Union[Quantity, Span, "Phrase", int, str]
Value = One | tuple[One, ...]
"""What stands in a phrase: a figure, a number of things, a text as it is (such as a user's own), another phrase, or
several of them, which are listed."""


@dataclass(frozen=True)
class Phrase:
    """Words with figures in them.

    ``template`` has its values in braces, "within {distance} of {kind}", and settings by key, as in
    "{setting:land.margin_m}". Raises ValueError if a value has no place or a place no value.
    """

    template: str
    values: Mapping[str, Value] = field(default_factory=dict)

    def __post_init__(self) -> None:
        _check(self.template, self.values)

    def __hash__(self) -> int:
        # A mapping has no hash; what differs in its values alone is told apart by comparing. Order does not count.
        return hash((self.template, *sorted(self.values)))

    @property
    def settings(self) -> tuple[str, ...]:
        """Keys of the settings that it names, those of the phrases in it too."""
        return (*_settings_in(self.template), *_settings_of(self.values.values()))


def phrase(template: str, **values: Value) -> Phrase:
    """Words with figures in them."""
    return Phrase(template, values)


def listed(values: Iterable[Value], between: str) -> Phrase:
    """Several values as one phrase, with the same words between each two."""
    named: dict[str, Value] = {f"value_{k}": value for k, value in enumerate(values)}
    return Phrase(between.join(f"{{{name}}}" for name in named), named)


@dataclass(frozen=True)
class Note:
    """One thing that a reader must know.

    Raises ValueError if its kind is not in KINDS, if a value has no place, or a place no value.
    """

    kind: str
    """A key of KINDS, which says how grave it is."""
    lead: str
    """What it is about, in a line; template of a phrase, without a full stop."""
    rest: str = ""
    """What follows from it and what to do, whole sentences; template of a phrase."""
    values: Mapping[str, Value] = field(default_factory=dict)
    """Of both templates, by name."""
    packs: tuple[int, ...] = ()
    """The packs that it concerns; none where it concerns the plot or the whole run."""
    chainage: float | None = None
    """Where on the line, if at one place. [m]"""
    size: float = 0.0
    """How much of it there is; among notes as grave the larger comes first. Comparable within a kind alone."""
    plot: str = ""
    """The plot that it concerns; empty for the whole run."""

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"no such kind of note: {self.kind!r}")
        _check(f"{self.lead} {self.rest}", self.values)

    def __hash__(self) -> int:
        return hash((self.kind, self.lead, self.rest, *sorted(self.values)))

    @property
    def severity(self) -> Severity:
        return KINDS[self.kind]

    @property
    def settings(self) -> tuple[str, ...]:
        """Keys of the settings that it names."""
        return (*_settings_in(f"{self.lead} {self.rest}"), *_settings_of(self.values.values()))


def ordered(notes: Iterable[Note]) -> list[Note]:
    """Notes by what they speak of, the gravest first, then the larger of a kind; else as they came."""
    kinds = list(KINDS)
    return sorted(notes, key=lambda n: (SEVERITIES.index(n.severity), kinds.index(n.kind), -n.size))


def _places(template: str) -> Iterator[tuple[str, str]]:
    for _, name, spec, conversion in Formatter().parse(template):
        if name is not None:
            if conversion or not name.isidentifier():
                raise ValueError(f"no such place in a phrase: {name!r} in {template!r}")
            yield name, spec or ""


def _settings_in(template: str) -> Iterator[str]:
    return (spec for name, spec in _places(template) if name == SETTING)


def _settings_of(values: Iterable[Value]) -> Iterator[str]:
    for value in values:
        if isinstance(value, Phrase):
            yield from value.settings
        elif isinstance(value, tuple):
            yield from _settings_of(value)


def _check(template: str, values: Mapping[str, Value]) -> None:
    wanted = {name for name, _ in _places(template)} - {SETTING}
    if wanted != set(values):
        raise ValueError(f"places and values differ: {sorted(wanted ^ set(values))} in {template!r}")
