"""The settings of a run beside what others have published: wolves first, then animals like them, then others."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from packpale.care.guidance import Comparison, PartFound, compare, unspoken
from packpale.review.assumed import meaning
from packpale.review.report.blocks import Block, Section, paragraph, small, table
from packpale.review.words.wording import Wording
from packpale.settings import Project
from packpale.units import HECTARE_M2
from packpale.values.guidance import Group, Rule, guidance
from packpale.values.quantity import Kind, Quantity, given, printed

NAMES: Mapping[str, str] = {
    "fence.height_m": "height of the fence",
    "fence.overhang_m": "overhang",
    "fence.overhang_deg": "overhang above the horizontal",
    "fence.airlock_length_m": "length of the airlock",
    "trench.depth_m": "depth of the skirt",
    "trench.apron_reach_m": "reach of the apron",
    "trench.side": "side of the apron",
    "mesh.wire_mm": "wire of the mesh",
    "enclosure.area_ha": "area",
}
"""Settings that published figures speak of, in a few words."""
GROUPS: Mapping[Group, str] = {
    "wolves": "Rules for wolves",
    "large canids": "Rules for large canids and animals in general",
    "others": "Rules for foxes, coyotes, hyenas and large cats",
}
"""In the order in which they are told."""
ORDER = ("falls short", "in part", "no dimension given", "not covered", "meets")
"""What has to be looked at first."""


@dataclass(frozen=True)
class GuidanceRow:
    """One published rule, and what words say of it beside the settings."""

    rule: Rule
    verdict: str
    """One of ORDER."""
    asked: str
    taken: str
    source: str


def guidance_rows(project: Project, wording: Wording) -> tuple[GuidanceRow, ...]:
    """All rules, group by group, what falls short first."""
    rows = [_row(one, wording) for one in compare(project, guidance())]
    groups = list(GROUPS)
    return tuple(sorted(rows, key=lambda row: (groups.index(row.rule.group), ORDER.index(row.verdict))))


def guidance_section(project: Project, show: Wording) -> Section:
    """All of them as a section of the page of what everything rests on."""
    rows = guidance_rows(project, show)
    counts = {verdict: sum(row.verdict == verdict for row in rows) for verdict in ORDER}
    nobody = "; ".join(meaning(key).rstrip(".") for key in unspoken(guidance()))
    blocks: list[Block] = [
        paragraph(
            f"Of {len(rows)} published rules on enclosures, the settings of this run fall short of "
            f"{counts['falls short']}, meet {counts['meets']}, and meet {counts['in part']} in part, since no setting "
            f"covers the rest; {counts['no dimension given']} ask for a thing without saying how large, and "
            f"{counts['not covered']} speak of things that no setting covers, that are not set or that the "
            "land decides. Nothing was "
            "changed because of them. Most were made for other animals, other countries or other ends: a rule that is "
            "not met is a question for the licensing authority, and one that is met is no licence. Current texts "
            "decide, not this table."
        )
    ]
    for group, title in GROUPS.items():
        of_group = [row for row in rows if row.rule.group == group]
        blocks.append(Section(title, (_table(title, of_group),), look="folded" if group == "others" else "plain"))
    blocks.append(
        small(
            "Lengths are compared to the half centimetre. Published rules that were read speak of none of these "
            f"settings: {nobody}."
        )
    )
    return Section("The settings beside published rules", tuple(blocks), "basis.html#guidance")


def _table(title: str, rows: Sequence[GuidanceRow]) -> Block:
    heads = (
        ("This run", "name"),
        ("What is asked", "words"),
        ("Figure", "words"),
        ("Set here", "words"),
        ("For which animals, and where", "words"),
        ("Source", "words"),
    )
    cells = [
        (
            r.verdict,
            r.rule.text,
            r.asked,
            r.taken,
            "; ".join(filter(None, (r.rule.animals, r.rule.condition))),
            r.source,
        )
        for r in rows
    ]
    return table(title, heads, cells)


def _row(one: Comparison, wording: Wording) -> GuidanceRow:
    rule = one.rule
    read = "" if rule.reading == "read" else "; read second-hand"
    values = {found.part.key: found for way in one.ways for found in way}
    return GuidanceRow(
        rule=rule,
        verdict=_verdict(one),
        asked=", or ".join(_asked(way, wording) for way in one.ways) or "–",
        taken=", ".join(_taken(key, found.value, wording) for key, found in values.items()) or "no such setting",
        source=f"{rule.source} ({rule.edition}{read})",
    )


def _verdict(one: Comparison) -> str:
    if one.verdict != "meets":
        return one.verdict
    return "no dimension given" if one.rule.has_no_dimension else "in part" if one.rule.beyond else "meets"


def _asked(way: Sequence[PartFound], wording: Wording) -> str:
    return " and ".join(_part(found, wording) for found in way)


def _part(found: PartFound, wording: Wording) -> str:
    part = found.part
    if isinstance(part.number, str):
        return f"{NAMES[part.key]} {part.number}"
    if part.sense == "more than" and part.number == 0:
        return f"{NAMES[part.key]}: no dimension given"
    sense = "" if part.sense == "is" else f"{part.sense} "
    return f"{NAMES[part.key]} {sense}{wording.say(printed(part.number, part.unit))}"


def _taken(key: str, value: float | str | None, wording: Wording) -> str:
    if value is None:
        return f"{NAMES[key]} {'as the land allows' if key == 'enclosure.area_ha' else 'not set'}"
    return f"{NAMES[key]} {_figure(key, value, wording)}"


def _figure(key: str, value: float | str, wording: Wording) -> str:
    if isinstance(value, str):
        return value
    if key == "enclosure.area_ha":
        # A few square metres are none to be told in hectares.
        return wording.say(given(value, "area") if value >= HECTARE_M2 / 10 else Quantity(value, "surface"))
    kinds: Mapping[str, Kind] = {"fence.overhang_deg": "slope", "mesh.wire_mm": "thickness"}
    return wording.say(given(value, kinds.get(key, "dimension")))
