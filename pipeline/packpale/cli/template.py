"""The settings written out for people: a commented file to start from, and the table in config/SETTINGS.md."""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pydantic.fields import FieldInfo

from packpale.settings import Project, RateSettings, Settings
from packpale.values import DefaultValue, register

HEAD = """\
# Settings of one Packpale run. Paths are relative to this file.
# A key behind "#" shows its default: take the "#" away to change it. Every default is listed with its source;
# those marked "assumption" are guesses that stand in for knowledge of your own ground and prices.
"""


FIRST_HEAD = """\
# Settings of one Packpale run: what a first run needs and what most people change, in the order of the job.
# Paths are relative to this file. A key behind "#" shows its default: take the "#" away to change it.
# Every other key: "packpale start --all"; where each default comes from: "packpale sources".
"""
FIRST = {
    "": ("title", "crs", "currency", "units"),
    "inputs": ("elevation", "elevation_unit", "plots", "plots_layer", "plot_id"),
    "soil": ("depth_to_rock_m", "rock_hardness", "water_table_m", "clay_percent", "stones_percent", "drainage_class"),
    "land": ("setback_m", "max_slope_deg", "max_ponding_m", "may_lie_inside", "keep_away_m"),
    "enclosure": ("packs", "area_ha", "min_radius_m", "line_over_limits"),
    "fence": ("height_m", "overhang_m", "post_spacing_m", "gates"),
    "trench": ("depth_m", "apron_reach_m", "side", "side_slope"),
    "rates": ("file", "excavate_soil_per_m3", "excavate_rock_per_m3", "mesh_per_m2", "erect_fence_per_m"),
    "checks": ("rounds",),
}
"""Keys of a first settings file; of [inputs] those that are given beside these."""


def first_settings(given: dict[str, Any]) -> str:
    """Text of a first settings file: FIRST and all keys of ``given``, by ``section.key``, one line of comment each."""
    lines = [FIRST_HEAD]
    for section, keys in FIRST.items():
        model: Any = Project.model_fields[section].annotation if section else Project
        prefix = f"{section}." if section else ""
        if section:
            lines += ["", f"[{section}]"]
        more = [k.removeprefix(prefix) for k in given if prefix and k.startswith(prefix)]
        for key in dict.fromkeys((*keys, *more)):
            lines += _first_key(prefix + key, model.model_fields[key], given)
    return "\n".join(lines) + "\n"


def _first_key(key: str, field: FieldInfo, given: dict[str, Any]) -> list[str]:
    """Lines of one key; none where it is of no use yet."""
    name, known = key.rsplit(".", 1)[-1], _registered(key)
    if key in given:
        value, hidden = _toml(given[key]), ""
    elif known and known[0].key != key:
        # Of a table only what the given files have an effect on.
        rows = [row for row in known if f"inputs.{row.key.rsplit('.', 1)[1]}" in given]
        if not rows:
            return []
        value, hidden = _shown_rows(rows), "# "
    elif key == "inputs.plots_layer":
        return []
    else:
        value, hidden = _shown_default(key, field), "# "
    status = f" ({known[0].status})" if known and key not in given else ""
    return [f"# {_first_sentence(field.description)}{status}", f"{hidden}{name} = {value}"]


def _first_sentence(text: str | None) -> str:
    """The first sentence of a description, with the unit behind it."""
    whole = _one_line(text)
    sentence, _, rest = whole.partition(". ")
    unit = re.search(r"\[[^\]]+\]", rest)
    return f"{sentence.rstrip('.')}." + (f" {unit.group()}" if unit and unit.group() not in sentence else "")


def words_of_rates() -> dict[str, str]:
    """What each rate is for, by its key."""
    return {
        key: _first_sentence(field.description).partition(" [")[0] for key, field in RateSettings.model_fields.items()
    }


def settings_file(given: dict[str, Any]) -> str:
    """Text of a settings file with every key, its default, unit and source.

    ``given`` holds values to write as they are, by ``section.key``; the three required inputs must be among them.
    """
    lines = [HEAD, *_keys("", Project, given)]
    for name, field in Project.model_fields.items():
        model = field.annotation
        if isinstance(model, type) and issubclass(model, Settings):
            lines += ["", f"[{name}]", *_wrapped(model.__doc__ or ""), *_keys(f"{name}.", model, given)]
    return "\n".join(lines) + "\n"


def settings_table() -> str:
    """Markdown tables of every key, one for each section, as config/SETTINGS.md shows them."""
    parts = []
    for name, field in Project.model_fields.items():
        model = field.annotation
        if isinstance(model, type) and issubclass(model, Settings):
            parts += [f"**[{name}]** {_one_line(model.__doc__)}", "", *_rows(f"{name}.", model), ""]
    return "\n".join(["**At the top**", "", *_rows("", Project), "", *parts]).rstrip() + "\n"


def _plain_fields(model: type[Settings]) -> Iterator[tuple[str, FieldInfo]]:
    for key, field in model.model_fields.items():
        if not (isinstance(field.annotation, type) and issubclass(field.annotation, Settings)):
            yield key, field


def _keys(prefix: str, model: type[Settings], given: dict[str, Any]) -> list[str]:
    lines = []
    for key, field in _plain_fields(model):
        text = _one_line(field.description)
        known = _registered(prefix + key)
        if known:
            text += f" {_sources(known)}"
        lines += _wrapped(text)
        if prefix + key in given:
            lines.append(f"{key} = {_toml(given[prefix + key])}")
        else:
            lines.append(f"# {key} = {_shown_default(prefix + key, field)}")
    return lines


def _rows(prefix: str, model: type[Settings]) -> list[str]:
    rows = ["| key | meaning | default | status |", "|---|---|---|---|"]
    for key, field in _plain_fields(model):
        known = _registered(prefix + key)
        status = known[0].status if known else ("required" if field.is_required() else "")
        default = "" if field.is_required() else f"`{_shown_default(prefix + key, field)}`"
        rows.append(f"| `{key}` | {_one_line(field.description)} | {default} | {status} |")
    return rows


def _registered(key: str) -> list[DefaultValue]:
    """The register's row of a key, or its rows where the key is a table."""
    rows = register()
    return [rows[key]] if key in rows else [row for name, row in rows.items() if name.startswith(key + ".")]


def _sources(rows: list[DefaultValue]) -> str:
    """Status and source of a key; where the rows of a table differ, each with its name."""
    if len({row.source for row in rows}) == 1:
        return f"{rows[0].status.capitalize()}: {rows[0].source}."
    return " ".join(f"{row.key.rsplit('.', 1)[1]} ({row.status}): {row.source}." for row in rows)


def _shown_default(key: str, field: FieldInfo) -> str:
    known = _registered(key)
    if known and known[0].key != key:
        return _shown_rows(known)
    value = known[0].number if known else field.default
    return "none" if value is None or field.is_required() else _toml(value)


def _shown_rows(rows: list[DefaultValue]) -> str:
    return "{" + ", ".join(f"{row.key.rsplit('.', 1)[1]} = {_toml(row.number)}" for row in rows) + "}"


def _toml(value: Any) -> str:
    """A value as TOML writes it; JSON's texts, numbers and lists are TOML too."""
    if isinstance(value, Path):
        return json.dumps(value.as_posix(), ensure_ascii=False)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(v) for v in value) + "]"
    if isinstance(value, dict):
        inside = ", ".join(f"{_toml_key(k)} = {_toml(v)}" for k, v in value.items())
        return f"{{{inside}}}"
    return json.dumps(value, ensure_ascii=False)


def _toml_key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else json.dumps(key, ensure_ascii=False)


def _one_line(text: str | None) -> str:
    return re.sub(r"\s+", " ", text or "").strip()


def _wrapped(text: str, width: int = 112) -> list[str]:
    lines, line = [], "#"
    for word in _one_line(text).split(" "):
        if len(line) + 1 + len(word) > width:
            lines.append(line)
            line = "#"
        line += " " + word
    return [*lines, line]


if __name__ == "__main__":
    print(settings_table(), end="")  # noqa: T201 - the table is the point
