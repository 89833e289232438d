"""The settings of a run beside what others have published: told, never put right."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from packpale.settings import FenceSettings, Project, Settings, TrenchSettings
from packpale.units import HECTARE_M2
from packpale.values.guidance import Part, Rule

Verdict = Literal["meets", "falls short", "not covered"]

ROUNDING = 0.005
"""Settings that miss a figure by no more than this meet it: 0.91 m is 3 ft. [m, and degrees and m2 alike]"""
ROUNDING_THIN = 5e-6
"""The same for what is printed in millimetres, such as wire. [m]"""
UNCOVERED_SECTIONS: Mapping[str, type[Settings]] = {"fence": FenceSettings, "trench": TrenchSettings}
"""Sections whose settings are named if no figure speaks of them."""

CLIMBING = ("fence.height_m", "fence.overhang_m", "fence.overhang_deg")
"""Settings that hold back what climbs and jumps."""


@dataclass(frozen=True)
class PartFound:
    """One figure and the setting it speaks of."""

    part: Part
    value: float | str | None
    """The setting in SI; None where it leaves the figure open."""
    holds: bool | None
    """None where that cannot be said."""


@dataclass(frozen=True)
class Comparison:
    """One published rule beside the settings."""

    rule: Rule
    verdict: Verdict
    ways: tuple[tuple[PartFound, ...], ...]


def compare(project: Project, rules: Sequence[Rule]) -> tuple[Comparison, ...]:
    """Every rule beside the settings, in the order given.

    A rule is met if one of its ways is met in all its parts, and falls short if none is and one at least can be judged.
    It is not covered where no setting speaks of it, or the setting leaves open what will come of it.
    """
    return tuple(_compare(project, rule) for rule in rules)


def speaks_of_climbing(rule: Rule) -> bool:
    """Whether a rule gives a figure for height or overhang of the fence."""
    return any(part.key in CLIMBING for way in rule.ways for part in way)


def verdicts_at_height(project: Project, rules: Sequence[Rule], height: float) -> tuple[Verdict, ...]:
    """Every rule beside the settings if the fence were ``height`` high [m]; not covered where that is NaN."""
    unknown: Verdict = "not covered"
    if math.isnan(height):
        return (unknown,) * len(rules)
    fence = project.fence.model_copy(update={"height_m": height})
    found = compare(project.model_copy(update={"fence": fence}), rules)
    return tuple(one.verdict for one in found)


def unspoken(rules: Sequence[Rule]) -> tuple[str, ...]:
    """Settings of fence and trench that no rule speaks of, as ``section.name``, in the order of the settings."""
    spoken = {part.key for rule in rules for way in rule.ways for part in way}
    keys = (f"{name}.{key}" for name, section in UNCOVERED_SECTIONS.items() for key in section.model_fields)
    return tuple(key for key in keys if key not in spoken)


def _compare(project: Project, rule: Rule) -> Comparison:
    ways = tuple(tuple(_parts(project, way)) for way in rule.ways)
    said = [_all_hold([found.holds for found in way]) for way in ways]
    verdict: Verdict = "meets" if True in said else "falls short" if False in said else "not covered"
    return Comparison(rule, verdict, ways)


def _parts(project: Project, way: Sequence[Part]) -> Iterator[PartFound]:
    for part in way:
        value = setting_si(project, part.key)
        yield PartFound(part, value, None if value is None else holds(part, value))


def _all_hold(parts: Sequence[bool | None]) -> bool | None:
    return False if False in parts else None if None in parts else True


def holds(part: Part, value: float | str) -> bool:
    """Whether a setting [SI] does what one figure asks, within ROUNDING or, of wire, ROUNDING_THIN."""
    asked = part.si
    if isinstance(asked, str) or isinstance(value, str):
        return value == asked
    near = ROUNDING_THIN if part.unit == "mm" else ROUNDING
    if part.sense == "at least":
        return value >= asked - near
    if part.sense == "at most":
        return value <= asked + near
    return value > asked + near if part.sense == "more than" else abs(value - asked) <= near


def setting_si(project: Project, key: str) -> float | str | None:
    """A setting in SI; None where it is not set, or for an area that follows from the land."""
    section, name = key.split(".")
    value = getattr(getattr(project, section), name)
    if key == "enclosure.area_ha":
        # To a given line nothing is fitted, and "largest" is what the plot allows.
        given = project.enclosure.fence_line is None and not isinstance(value, str)
        return value * HECTARE_M2 if given else None
    if value is None or isinstance(value, str):
        return value
    return value / 1000 if key.endswith("_mm") else float(value)
