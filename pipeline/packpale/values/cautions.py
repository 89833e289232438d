"""Cautions and advice in words, read from ``cautions.csv`` and ``advice.csv`` beside this module."""

import functools
from dataclasses import dataclass
from typing import Literal, get_args

from packpale.values.table import STATUSES, rows_of

Reader = Literal["decides", "builds", "prices", "judges"]
"""Who has to be told: whoever decides, builds, prices, or judges as an authority does."""


@dataclass(frozen=True)
class Saying:
    """One sentence or some, with who stands behind it."""

    key: str
    text: str
    status: str
    source: str
    readers: tuple[Reader, ...] = ()
    """Of a caution: who has to be told."""


@functools.cache
def cautions() -> tuple[Saying, ...]:
    """All cautions, the gravest first. Raises ValueError if a row is incomplete or names an unknown reader."""
    return tuple(_saying("cautions.csv", row, row["key"], row["readers"]) for row in rows_of("cautions.csv"))


def cautions_for(reader: Reader) -> tuple[str, ...]:
    """What one reader has to be told, the gravest first."""
    return tuple(said.text for said in cautions() if reader in said.readers)


def caution(key: str) -> str:
    """One caution. Raises KeyError if there is none of that name."""
    return {said.key: said.text for said in cautions()}[key]


@functools.cache
def advice() -> dict[str, Saying]:
    """All advice by subject. Raises ValueError if a row is incomplete."""
    return {row["subject"]: _saying("advice.csv", row, row["subject"], "") for row in rows_of("advice.csv")}


def advised(subject: str) -> str:
    """Advice on a subject, and in brackets that no source stands behind it, where none does.

    Raises KeyError if there is none.
    """
    said = advice()[subject]
    if said.status == "published":
        return said.text
    return f"{said.text.rstrip('.')} ({said.status}, {said.source})." if said.source == "no source" else said.text


def _saying(table: str, row: dict[str, str], key: str, readers: str) -> Saying:
    known = {reader: reader for reader in get_args(Reader)}
    if not row["text"] or row["status"] not in STATUSES or not row["source"] or not set(readers.split()) <= set(known):
        raise ValueError(f"{table}, row {key!r}: incomplete, or an unknown reader")
    return Saying(key, row["text"], row["status"], row["source"], tuple(known[r] for r in readers.split()))
