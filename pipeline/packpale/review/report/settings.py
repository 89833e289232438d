"""The settings of a run in words and units, by who stands behind each."""

from collections.abc import Sequence
from typing import Any

from packpale.review.assumed import SET, UsedSetting, settings_used
from packpale.review.report.blocks import Block, Section, code, paragraph, table, words
from packpale.review.words import Wording, begun
from packpale.review.words.settings import NAMES, called
from packpale.settings import Project
from packpale.units import HECTARE_M2
from packpale.values.quantity import HOUR_S, Kind, given

KINDS: dict[str, tuple[Kind, float]] = {
    "m": ("dimension", 1.0),
    "m3": ("volume", 1.0),
    "ha": ("area", HECTARE_M2),
    "deg": ("slope", 1.0),
    "deg C": ("temperature", 1.0),
    "s": ("duration", 1.0),
    "h": ("duration", HOUR_S),
    "d": ("duration", 24 * HOUR_S),
    "kPa": ("pressure", 1000.0),
}
"""What is measured in each unit of the register, and the unit's size in SI."""
AN_HOUR: dict[str, Kind] = {"m3/h": "volume", "m2/h": "surface", "m/h": "length"}
"""The same of what is done in an hour."""
NAMED = {
    "Hz": "Hz",
    "%": "%",
    "% by weight": "% by weight",
    "% by weight over 75 mm": "% by weight, stones over 75 mm",
    "dB at 1 m": "dB at 1 m",
    "dB in each octave band": "dB in each octave band",
    "run per unit of depth": "run to 1 of depth",
    "run per unit of rise": "run to 1 of rise",
    "0 hard to 1 porous": "(0 hard to 1 porous)",
    "s/m^(1/3)": "s per cube root of a metre",
}
"""Units that are shown as they are, whatever the reader's units."""
SPOKEN_OF = ("checks.dig_rate_m_per_h", "crossings.rain_mm_per_h")
"""Settings that the report speaks of where they are not set."""
LISTS = (
    (SET, "Set for this run", "Somebody has set these."),
    (
        "assumption",
        "Assumed",
        "Nobody has set these and no publication backs them. Every one can be put into the settings file, under the "
        "name in the last column.",
    ),
    (
        "",
        "From publications and common practice",
        "What a source says of other places and animals may not hold here; where it was read second-hand or from "
        "memory it says so.",
    ),
)
"""Status, title and a word before each list; the last takes what is left."""


def settings_section(project: Project, show: Wording) -> Section:
    """All settings that have an effect on the run, in three lists."""
    left = list(settings_used(project))
    lists: list[Block] = []
    for status, title, said in LISTS:
        of_list = [s for s in left if s.status == status or not status]
        left = [s for s in left if s not in of_list]
        if of_list:
            listed: Block = _table(title, of_list, show)
            first = paragraph(said)
            if not status:
                # On paper what was set, and what is a guess, is enough.
                first = paragraph(f"{said} On paper they are left out: basis.html has them.")
                listed = Section("All of them", (listed,), look="folded")
            lists.append(Section(title, (first, listed)))
    unset = [key for key in SPOKEN_OF if _value(project, key) is None]
    if unset:
        title = "Not set, though the report speaks of them"
        heads = (("Setting", "name"), ("Name in the settings file", "key"))
        rows = [(words(begun(called(key))), words(code(key))) for key in unset]
        lists.append(Section(title, (table(title, heads, rows),)))
    return Section("What the run rests on", tuple(lists), "basis.html#settings")


def _value(project: Project, key: str) -> Any:
    section, _, name = key.partition(".")
    return getattr(getattr(project, section), name)


def _table(title: str, settings: Sequence[UsedSetting], show: Wording) -> Block:
    sourced = any(s.source for s in settings)
    heads = [("Setting", "name"), ("Value", "words")]
    if sourced:
        heads.append(("Source or remark", "words"))
    heads.append(("Name in the settings file", "key"))
    rows = [
        (
            words(_named(s)),
            words(in_words(s.value, s.unit, show)),
            *((words(_source(s)),) if sourced else ()),
            words(code(s.key)),
        )
        for s in settings
    ]
    return table(title, heads, rows)


def _named(setting: UsedSetting) -> str:
    """What sentences of the report call a setting, and what it is."""
    if setting.key not in NAMES:
        return setting.meaning
    return f"{begun(called(setting.key))}. {setting.meaning}"


def _source(setting: UsedSetting) -> str:
    """Who stands behind a value. "none" is what the list is about, and need not be said at each."""
    remark = setting.source.removeprefix("none").lstrip(".; ")
    told = f"{setting.status}: {remark}" if setting.status == "common practice" else remark
    return begun(told)


def in_words(value: Any, unit: str, show: Wording) -> str:
    """A setting's value with its unit, as people read it."""
    match value:
        case None:
            return "not set"
        case bool():
            return "yes" if value else "no"
        case dict():
            return ", ".join(f"{str(k).replace('_', ' ')} {in_words(v, unit, show)}" for k, v in value.items())
        case list():
            return _several(value, unit, show)
        case int() | float():
            return _figure(value, unit, show)
    return str(value)


def _figure(value: float, unit: str, show: Wording) -> str:
    if unit in KINDS:
        kind, size = KINDS[unit]
        return show.say(given(value * size, kind))
    if unit in AN_HOUR:
        return f"{show.say(given(value, AN_HOUR[unit]))} an hour"
    number = show.say(given(value, "number"))
    return number if unit == "-" else f"{number} {NAMED.get(unit, unit)}"


def _several(values: list[Any], unit: str, show: Wording) -> str:
    if unit.startswith("currency") and len(values) == 3:
        low, likely, high = (_priced(v, unit, show) for v in values)
        return f"{show.currency} {low} to {high}, likely {likely}, {_per(unit, show)}"
    if len(values) == 2 and all(isinstance(v, int | float) for v in values) and unit != "Hz":
        first, second = (in_words(v, unit, show) for v in values)
        return f"{first} to {second}"
    return ", ".join(in_words(v, unit, show) for v in values)


def _priced(value: float, unit: str, show: Wording) -> str:
    return show.rate(value, _unit_of_rate(unit))


def _per(unit: str, show: Wording) -> str:
    """What a rate is for, in the reader's units, such as "for each m³ in the ground"."""
    base = _unit_of_rate(unit)
    state = {"bank": " in the ground", "loose": ", loose", "compacted": ", compacted"}.get(unit.rpartition(" ")[2], "")
    name = show.quantity(1.0, base).rpartition("\N{NO-BREAK SPACE}")[2]
    return "each" if base == "each" else f"for each {name}{state}"


def _unit_of_rate(unit: str) -> str:
    return "each" if unit.endswith("each") else unit.removeprefix("currency/").partition(" ")[0]
