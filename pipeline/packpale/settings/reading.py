"""Reading a settings file, with every fault listed at once."""

import difflib
import re
import tomllib
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from packpale.faults import Faults
from packpale.settings.base import (
    Settings,
)
from packpale.settings.project import Project

MOST_BYTES = 1_000_000
"""Size of a settings file; one with every key and its comments has some ten thousand."""


def read_settings(path: Path) -> Project:
    """Read and validate a settings file; paths in it become absolute.

    Raises Faults with one line for each fault.
    """
    what = "name a settings file in TOML"
    if path.exists() and not path.is_file():
        raise Faults(f"{path}: is a folder, device or pipe and no file; {what}")
    if path.exists() and path.stat().st_size > MOST_BYTES:
        raise Faults(f"{path}: has {path.stat().st_size:,} bytes, allowed are {MOST_BYTES:,}; {what}")
    try:
        # Some editors put a byte order mark in front.
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise Faults(f"{path}: cannot be read as text ({_reason(error)}); {what}") from error
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise Faults(f"{path}: not a TOML file ({error}); see packpale start for a template") from error
    except (RecursionError, ValueError) as error:
        # Lists within lists without end; whole numbers of thousands of digits.
        reason = "lists or tables too deep" if isinstance(error, RecursionError) else "a number of too many digits"
        raise Faults(f"{path}: not a settings file ({reason}); see packpale start for a template") from error
    try:
        project = Project.model_validate(raw)
    except ValidationError as error:
        raise Faults(*[f"{path}: {line}" for line in fault_lines(error)]) from error
    folder = path.resolve().parent
    sections = {"inputs": project.inputs, "enclosure": project.enclosure, "rates": project.rates}
    return project.model_copy(update={name: _absolute(section, folder) for name, section in sections.items()})


def _absolute(section: Settings, folder: Path) -> Settings:
    def resolve(value: Any) -> Any:
        if isinstance(value, Path):
            return folder / value
        paths = isinstance(value, tuple) and any(isinstance(v, Path) for v in value)
        return tuple(folder / v if isinstance(v, Path) else v for v in value) if paths else value

    # Only what is new: a copy counts everything it is given as set by the user.
    return section.model_copy(update={k: new for k, v in section if (new := resolve(v)) is not v})


def _reason(error: Exception) -> str:
    return error.strerror or "" if isinstance(error, OSError) else "not UTF-8"


def fault_lines(error: ValidationError) -> list[str]:
    """One line for each key at fault; what each member of a union has to say is joined."""
    by_key: dict[str, list[str]] = {}
    for e in error.errors():
        # Names of types and validators that pydantic puts behind the keys tell a user nothing.
        parts = [p for p in e["loc"] if isinstance(p, int) or p == "[key]" or re.fullmatch(r"[a-z][a-z0-9_]*", p)]
        if e["type"] == "extra_forbidden":
            parts = list(e["loc"])
        elif parts and parts[-1] == "float":
            parts.pop()
        key, said = _said(parts, e)
        by_key.setdefault(key, []).append(said)
    lines = []
    for key, texts in by_key.items():
        more = [text.split("; ", 1)[-1].removeprefix("input should be ") for text in texts[1:]]
        joined = " or ".join([texts[0], *more])
        lines.append(f"{key}: {joined}" if key else joined)
    return lines


def _said(parts: list[Any], error: Any) -> tuple[str, str]:
    """Where a fault is, and what was found with what is allowed."""
    where, found = ".".join(str(p) for p in parts), error["input"]
    if error["type"] == "extra_forbidden":
        known = _known_keys(parts[:-1])
        nearest = difflib.get_close_matches(str(parts[-1]), known, n=1, cutoff=0.5)
        return where, "unknown key; " + (f"did you mean {nearest[0]!r}?" if nearest else f"known: {', '.join(known)}")
    if parts and parts[-1] == "[key]":
        return ".".join(str(p) for p in parts[:-1]), f"unknown key; allowed are {error['ctx']['expected']}"
    if error["type"] == "missing":
        return where, "missing; it is required"
    message = error["msg"].removeprefix("Value error, ")
    if error["type"] == "value_error":
        return where, message
    return where, f"found {found!r}; {message[0].lower()}{message[1:]}"


def _known_keys(section: list[Any]) -> list[str]:
    model: Any = Project
    for name in section:
        field = model.model_fields.get(name) if isinstance(model, type) and issubclass(model, BaseModel) else None
        if field is None:
            return []
        model = field.annotation
    return list(model.model_fields) if isinstance(model, type) and issubclass(model, BaseModel) else []
