"""Reading the tables (CSV) that stand beside this module."""

import csv
from importlib.resources import files

STATUSES = ("published", "common practice", "assumption")
"""published: read in the source named; common practice: what the trade does, no published source;
assumption: our choice, to be replaced by the user's own figure."""


def rows_of(name: str) -> list[dict[str, str]]:
    """Rows of a table by column; lines that begin with "#" are its head."""
    text = files(__package__).joinpath(name).read_text(encoding="utf-8")
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
