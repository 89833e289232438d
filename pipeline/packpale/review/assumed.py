"""What a run rests on: every setting with the value it has, and who stands behind it."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from packpale.settings import Project, Settings
from packpale.values import register

SET = "set for this run"


@dataclass(frozen=True)
class UsedSetting:
    """A setting of the register and the value this run takes."""

    key: str
    meaning: str
    value: Any
    unit: str
    status: str
    """That of the register, or SET."""
    source: str
    """Of the register's own value; empty where the run sets another."""


def invented_rates(project: Project) -> tuple[int, int]:
    """How many rates are the programme's own guesses in this run, and how many rates there are."""
    rates = [s for s in settings_used(project) if s.key.startswith("rates.")]
    return sum(s.status == "assumption" for s in rates), len(rates)


def settings_used(project: Project) -> Iterator[UsedSetting]:
    """All settings of the register that have an effect on this run, in the order of the register."""
    for row in register().values():
        keys = row.key.split(".")
        if _is_default(project, keys):
            value, status, source = row.number, row.status, row.source
        else:
            value, status, source = _value(project, keys), SET, _whose(project, keys)
        idle = row.key.startswith("gates.sill_") and project.gates.below != "concrete sill"
        if value is not None and not idle:
            yield UsedSetting(row.key, meaning(row.key), value, row.unit, status, source)


def _whose(project: Project, keys: Sequence[str]) -> str:
    """Whose price a rate is and of when; empty for other settings, and where nobody has said."""
    quote = project.rates.quoted.get(keys[1]) if keys[0] == "rates" else None
    return f"{quote.source}, {quote.date}" if quote else ""


def _is_default(project: Settings, keys: Sequence[str]) -> bool:
    """Whether the run takes the register's number for a setting."""
    if list(keys[:2]) == ["land", "keep_away_m"] and isinstance(project, Project):
        return keys[2] in project.keep_away() and keys[2] not in project.land.keep_away_m
    if list(keys[:1]) == ["enclosure"] and isinstance(project, Project) and project.enclosure.fence_line is not None:
        return keys[1] in ("packs", "separation_m") and keys[1] not in project.enclosure.model_fields_set
    if list(keys[:2]) == ["land", "weights"] and isinstance(project, Project):
        return project.land.weights is None and project.land.pairwise is None
    name = keys[0]
    if name not in project.model_fields_set:
        return True
    below = getattr(project, name)
    return isinstance(below, Settings) and len(keys) > 1 and _is_default(below, keys[1:])


def _value(project: Project, keys: Sequence[str]) -> Any:
    """Value that a run has set; None where the setting has no effect."""
    value: Any = project
    for name in keys:
        if isinstance(value, Settings) and name not in value.model_fields_set:
            return None
        value = value.get(name) if isinstance(value, dict) else getattr(value, name, None)
    return list(value) if isinstance(value, tuple) else value


def meaning(key: str) -> str:
    """What the settings' own documentation says of a key."""
    model: Any = Project
    text = ""
    for name in key.split("."):
        field = getattr(model, "model_fields", {}).get(name)
        if field is None:
            # What a table is for, up to its first rule, and which of its values this is.
            whole = re.split(r"[.;]| \[", text)[0]
            return f"{whole}: {name.replace('_', ' ')}."
        text, model = field.description or "", field.annotation
    return text.split(" [")[0]


def as_text(value: Any) -> str:
    """A setting's value as people read it."""
    if isinstance(value, list):
        return " / ".join(as_text(part) for part in value)
    return f"{value:g}" if isinstance(value, float) else str(value)
