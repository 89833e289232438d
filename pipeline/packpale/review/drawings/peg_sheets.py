"""The table of pegs on A4 sheets, to be carried along the line."""

import dataclasses
import itertools
import math
from collections.abc import Iterator, Sequence
from typing import Any

from packpale.review.drawings import pens
from packpale.review.drawings.sheet import FIELD, Sheet, Title
from packpale.review.model import PlotResult
from packpale.review.subjects.setting_out import peg_rows
from packpale.review.words import begun
from packpale.settings import Project

ROW_MM, HEAD_MM = 3.3, 15.0
"""From one peg to the next, and what the head of the sheet takes."""
ROWS = int((FIELD[3] - FIELD[1] - HEAD_MM - 2) / ROW_MM)
"""Pegs on a sheet."""
COLUMNS: tuple[tuple[str, str, float, int], ...] = (
    ("peg", "peg", 13.0, 0),
    ("what stands there", "kind", 18.0, 0),
    ("post", "post", 64.0, 0),
    ("chainage", "chainage_m", 80.0, 3),
    ("E", "x", 103.0, 3),
    ("N", "y", 128.0, 3),
    ("ground", "ground_m", 145.0, 3),
    ("bottom", "invert_m", 161.0, 3),
    ("bearing from A", "bearing_from_a_deg", 181.0, 4),
    ("distance", "distance_from_a_m", 198.0, 3),
    ("main peg", "from_main_peg", 211.0, 0),
    ("along", "along_chord_m", 225.0, 3),
    ("out", "out_from_chord_m", 239.0, 3),
    ("may be out by", "error_m", 261.0, 3),
)
"""Head, column of pegs.csv, right end of the column (left end of words) from the frame [mm], and decimals."""
WORDS = ("kind",)


def peg_pages(result: PlotResult, project: Project) -> list[tuple[int, list[dict[str, Any]]]]:
    """Rows of each sheet, with the number of their pack; each pack begins a sheet."""
    pages = []
    for pack, rows in itertools.groupby(peg_rows(result, project), key=lambda row: int(row["pack"])):
        mine = list(rows)
        pages += [(pack, mine[k : k + ROWS]) for k in range(0, len(mine), ROWS)]
    return pages


def peg_sheet(page: tuple[int, Sequence[dict[str, Any]]], title: Title) -> Sheet:
    """One sheet of the table, in metres whatever unit the pages show; main pegs in bold."""
    pack, rows = page
    span = f"pegs {rows[0]['peg']} to {rows[-1]['peg']} of pack {pack}"
    sheet = Sheet(dataclasses.replace(title, scale="none"), f"Table of {span}: coordinates, levels, how each is set.")
    left, _, right, top = FIELD
    sheet.text(left + 4, top - 5, begun(span), bold=True, size=pens.SMALL)
    sheet.text(
        right - 4,
        top - 5,
        "Metres, degrees. Bold: main pegs, set by instrument from A; others: from their main peg along the chord "
        "to the next one, and squarely out.",
        size=pens.FIGURES,
        colour=pens.SOFT,
        across="right",
        most=right - left - 60,
    )
    y = top - 10.5
    for head, key, end, _ in COLUMNS:
        across = "left" if key in WORDS else "right"
        sheet.text(left + end, y, head, size=pens.FIGURES, colour=pens.SOFT, across=across)
    sheet.line([left + 4, right - 4], [y - 1.2, y - 1.2])
    for row in rows:
        y -= ROW_MM
        main = row["from_main_peg"] == row["peg"]
        for (_, key, end, _), text in zip(COLUMNS, _texts(row), strict=True):
            if text:
                across, most = ("left", 40.0) if key in WORDS else ("right", None)
                sheet.text(left + end, y - 1.0, text, size=pens.FIGURES, bold=main, across=across, most=most)
        sheet.line([left + 4, right - 4], [y - 2.0, y - 2.0], width=pens.HAIR, colour=pens.SOFT)
    return sheet


def _texts(row: dict[str, Any]) -> Iterator[str]:
    for _, key, _, decimals in COLUMNS:
        value = row[key]
        if value is None or (isinstance(value, float) and not math.isfinite(value)):
            yield ""
        elif isinstance(value, float):
            yield f"{round(value, decimals) + 0.0:.{decimals}f}"
        else:
            yield str(value)
