"""The settings of a run beside what others have published, as rows of the first page."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from packpale.care.guidance import Comparison, PartFound, Verdict, compare, speaks_of_climbing, unspoken
from packpale.review.assumed import meaning
from packpale.review.words import Wording
from packpale.settings import Project
from packpale.units import HECTARE_M2
from packpale.values.guidance import guidance

NAMES: Mapping[str, str] = {
    "fence.height_m": "height of the fence",
    "fence.overhang_m": "overhang",
    "fence.overhang_deg": "overhang above the horizontal",
    "fence.airlock_length_m": "length of the airlock",
    "trench.depth_m": "depth of the skirt",
    "trench.apron_reach_m": "reach of the apron",
    "trench.side": "side of the apron",
    "enclosure.area_ha": "area",
}
"""Settings that published figures speak of, in a few words."""
ORDER: tuple[Verdict, ...] = ("falls short", "not covered", "meets")
"""What has to be looked at first."""


@dataclass(frozen=True)
class GuidanceRow:
    """One published rule on the page."""

    rule: str
    """Its name in the table of values."""
    verdict: str
    text: str
    asked: str
    taken: str
    animals: str
    condition: str
    source: str
    of_climbing: bool
    """Whether it speaks of the fence's height or overhang."""


@dataclass(frozen=True)
class GuidanceTable:
    """All of them, what falls short first, with a count and what nobody speaks of."""

    rows: tuple[GuidanceRow, ...]
    counts: Mapping[str, int]
    unspoken: tuple[str, ...]


def guidance_table(project: Project, wording: Wording) -> GuidanceTable:
    """The settings of a run beside the published figures."""
    rules = guidance()
    found = compare(project, rules)
    counts = Counter(one.verdict for one in found)
    rows = [_row(one, wording) for one in sorted(found, key=lambda one: ORDER.index(one.verdict))]
    nobody = tuple(meaning(key).rstrip(".") for key in unspoken(rules))
    return GuidanceTable(tuple(rows), {verdict: counts[verdict] for verdict in ORDER}, nobody)


def _row(one: Comparison, wording: Wording) -> GuidanceRow:
    rule = one.rule
    read = "" if rule.reading == "read" else "; read second-hand"
    values = {found.part.key: found for way in one.ways for found in way}
    return GuidanceRow(
        rule=rule.name,
        verdict=one.verdict,
        text=rule.text,
        asked=", or ".join(_asked(way, wording) for way in one.ways) or "–",
        taken=", ".join(_shown(key, found.value, wording) for key, found in values.items()) or "no such setting",
        animals=rule.animals,
        condition=rule.condition,
        source=f"{rule.source} ({rule.edition}{read})",
        of_climbing=speaks_of_climbing(rule),
    )


def _asked(way: Sequence[PartFound], wording: Wording) -> str:
    parts = []
    for found in way:
        part = found.part
        sense = "" if part.sense == "is" else f"{part.sense} "
        parts.append(f"{NAMES[part.key]} {sense}{_figure(part.key, part.si, wording)}")
    return " and ".join(parts)


def _shown(key: str, value: float | str | None, wording: Wording) -> str:
    return f"{NAMES[key]} {'as the land allows' if value is None else _figure(key, value, wording)}"


def _figure(key: str, value: float | str, wording: Wording) -> str:
    if isinstance(value, str):
        return value
    if key == "enclosure.area_ha":
        # A few square metres are none to be told in hectares.
        return wording.area(value) if value >= HECTARE_M2 / 10 else wording.quantity(value, "m2")
    return f"{value:g}°" if key == "fence.overhang_deg" else wording.dimension(value)
