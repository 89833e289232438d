"""Columns of a user's files: found under our names or under those that the settings give, in their units."""

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from packpale.faults import Gathering
from packpale.settings.columns import LENGTHS, SHARES, TEXTURE, TheirColumn
from packpale.site.tables import find_column, missing_column


@dataclass(frozen=True)
class Column:
    """A column of a file and what one of its units is in ours."""

    name: str
    """As the file has it."""
    unit: str | None = None
    """A key of LENGTHS or SHARES, or TEXTURE; None for the unit of our own column."""

    @property
    def factor(self) -> float:
        """Our units in one of theirs."""
        return 1.0 if self.unit is None else (LENGTHS | SHARES).get(self.unit, 1.0)

    @property
    def is_texture(self) -> bool:
        return self.unit == TEXTURE

    def shown(self, ours: str) -> str:
        """The column as the user named it, with ours where that is another name."""
        return self.name if self.name.casefold() == ours.casefold() else f"{self.name} ({ours})"


def mapped_columns(
    wanted: Sequence[str],
    theirs: Mapping[Any, TheirColumn],
    columns: Sequence[str],
    where: str,
    faults: Gathering,
) -> dict[str, Column]:
    """Those of our columns that a file has: as ``theirs`` names them, else under our own name.

    Adds to ``faults`` a line for each that ``theirs`` names and the file does not have.
    """
    out = {}
    for ours in wanted:
        told = theirs.get(ours)
        name = find_column(told.column if told else ours, columns)
        if name is not None:
            out[ours] = Column(name, told.unit if told else None)
        elif told:
            faults.add(missing_column(where, told.column, columns))
    return out


def nearest(word: str, known: Sequence[str]) -> str:
    """What to do about a word that is not known: the nearest that is, or all of them."""
    near = difflib.get_close_matches(word, known, n=1, cutoff=0.6)
    return f'did you mean "{near[0]}"?' if near else "write one of them"
