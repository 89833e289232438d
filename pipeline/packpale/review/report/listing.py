"""A table of the items of a subject, from its fields."""

from collections.abc import Callable, Collection, Iterable, Sequence
from typing import Any

from packpale.review.report.blocks import Table, table
from packpale.review.report.source import PlotSource
from packpale.review.subjects.field import TEXT, YES_NO, Field, Subject
from packpale.review.words import MISSING

Further = tuple[str, Callable[[Any], str]]
"""Head of a column that only the run's settings can fill, and its words for an item."""


def listing(
    source: PlotSource,
    title: str,
    subject: Subject,
    items: Iterable[Any],
    *,
    without: Collection[str] = (),
    further: Sequence[Further] = (),
    foot: Sequence[Sequence[str]] = (),
) -> Table:
    """The fields that the subject shows on pages, but those in ``without``.

    The first names each item, and its pack where there are several and no field says it.
    """
    fields = [field for field in subject.fields if field.page and field.key not in without]
    looks = ["name", *("words" if _in_words(field) else "figure" for field in fields[1:])]
    heads = [*zip((field.head for field in fields), looks, strict=True), *((head, "words") for head, _ in further)]
    names_pack = source.several and not any(field.key == "pack" for field in fields)
    rows = []
    for item in items:
        said = [field.say(item) for field in fields]
        cells = [MISSING if value is None else source.show.say(value) for value in said]
        if names_pack:
            cells[0] = f"{cells[0]}, pack {item.pack}"
        rows.append([*cells, *(fill(item) for _, fill in further)])
    return table(title, heads, rows, foot=foot)


def _in_words(field: Field) -> bool:
    return field.column in (TEXT, YES_NO) or field.told is not None or field.unknown != ""
