"""Published figures on fences and enclosures, read from ``guidance.csv`` beside this module."""

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from packpale.units import FOOT_M
from packpale.values.table import rows_of

Sense = Literal["at least", "more than", "at most", "is"]
Reading = Literal["read", "second-hand"]
Group = Literal["wolves", "large canids", "others"]
UNITS = {
    "m": 1.0,
    "cm": 0.01,
    "mm": 0.001,
    "ft": FOOT_M,
    "in": FOOT_M / 12,
    "m2": 1.0,
    "ft2": FOOT_M**2,
    "deg": 1.0,
    "-": 1.0,
}
"""Size of each unit in SI."""


@dataclass(frozen=True)
class Part:
    """One figure of a rule."""

    key: str
    """Setting, as ``section.name``."""
    sense: Sense
    number: float | str
    """As printed; a word where the setting is one."""
    unit: str

    @property
    def si(self) -> float | str:
        """The figure in SI."""
        return self.number if isinstance(self.number, str) else self.number * UNITS[self.unit]


@dataclass(frozen=True)
class Rule:
    """What one source asks for; any one of its ways will do, and needs all of its parts."""

    name: str
    ways: tuple[tuple[Part, ...], ...]
    """Empty where no setting covers it."""
    text: str
    animals: str
    condition: str
    """Where it holds; empty for everywhere."""
    source: str
    edition: str
    reading: Reading
    group: Group
    """Whose rule it is."""
    beyond: str = ""
    """Parts of it that no setting covers; empty for none."""

    @property
    def has_no_dimension(self) -> bool:
        """Whether it asks for a thing without saying how large."""
        parts = [part for way in self.ways for part in way]
        return bool(parts) and all(part.sense == "more than" and part.number == 0 for part in parts)


@functools.cache
def guidance() -> tuple[Rule, ...]:
    """All rules in the order of the table. Raises ValueError if a row is incomplete."""
    by_rule: dict[str, list[dict[str, str]]] = {}
    for row in rows_of("guidance.csv"):
        by_rule.setdefault(row["rule"], []).append(row)
    return tuple(_rule(name, of_one) for name, of_one in by_rule.items())


def _rule(name: str, rows: Sequence[dict[str, str]]) -> Rule:
    head = rows[0]
    if head["reading"] not in get_args(Reading) or not all(head[k] for k in ("text", "animals", "source", "edition")):
        raise ValueError(f"guidance.csv, rule {name!r}: text, animals, source, edition or reading is missing")
    groups = {group: group for group in get_args(Group)}
    if head["group"] not in groups:
        raise ValueError(f"guidance.csv, rule {name!r}: no such group: {head['group']!r}")
    ways: dict[str, list[Part]] = {}
    for row in rows:
        if row["key"]:
            ways.setdefault(row["way"], []).append(_part(name, row))
    return Rule(
        name=name,
        ways=tuple(tuple(parts) for parts in ways.values()),
        **{k: head[k] for k in ("text", "animals", "condition", "source", "edition")},
        reading="read" if head["reading"] == "read" else "second-hand",
        group=groups[head["group"]],
        beyond=head["beyond"],
    )


def _part(name: str, row: dict[str, str]) -> Part:
    senses = {sense: sense for sense in get_args(Sense)}
    if row["sense"] not in senses or row["unit"] not in UNITS or not row["number"]:
        raise ValueError(f"guidance.csv, rule {name!r}: no figure for {row['key']} in a known unit")
    number: float | str = row["number"] if row["unit"] == "-" else float(row["number"])
    return Part(row["key"], senses[row["sense"]], number, row["unit"])
