"""Words of soil surveys: what each column of [soil] that holds a class may say, and what it means here."""

import functools
from collections.abc import Mapping
from dataclasses import dataclass

from packpale.values.table import STATUSES, rows_of


@functools.cache
def soil_words() -> Mapping[str, Mapping[str, str]]:
    """For each column the words that are known, in small letters, with what they mean: a class, or a number as text.

    Raises ValueError if a row is incomplete, has an unknown status, or stands twice.
    """
    words: dict[str, dict[str, str]] = {}
    for row in rows_of("soil_words.csv"):
        column, word = words.setdefault(row["column"], {}), row["word"]
        if row["status"] not in STATUSES or not row["source"] or not row["means"] or word in column:
            raise ValueError(f"soil_words.csv, row {word!r}: incomplete, or there twice")
        column[word] = row["means"]
    return words


def soil_word(column: str, text: str) -> str | None:
    """What a survey's word means, in any case, with or without "drained"; None if it is not known."""
    word = " ".join(text.casefold().split())
    known = soil_words()[column]
    return known.get(word) or known.get(word.removesuffix(" drained"))


@dataclass(frozen=True)
class PublishedColumn:
    """A column of a published soil map: which of ours it is, its name there, and its unit."""

    column: str
    name: str
    unit: str | None


@functools.cache
def soil_columns() -> tuple[PublishedColumn, ...]:
    """Columns of published soil maps. Raises ValueError if a row is incomplete."""
    rows = rows_of("soil_columns.csv")
    if not all(row["column"] and row["name"] and row["source"] for row in rows):
        raise ValueError("soil_columns.csv: a row is incomplete")
    return tuple(PublishedColumn(row["column"], row["name"], row["unit"] or None) for row in rows)
