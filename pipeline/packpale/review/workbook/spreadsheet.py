"""A workbook as people print it: texts that are only ever texts, live formulas with their values, A4 pages."""

import datetime as dt
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

CREATED = dt.datetime(2000, 1, 1)
"""The same in every file, so that the same figures give the same bytes."""
LONGEST_NAME = 31
"""Letters of a sheet's name."""
SIZE, TITLE_SIZE, LINE_HEIGHT, MOST_LINES = 9, 13, 1.3, 20
"""Of letters in points, of a line in sizes, and of lines that a row is made high enough for."""
LETTERS = 1.15
"""Letters of a text in a width of one, which is that of a digit in a larger size."""
LONGEST_TEXT = 32_000
"""Letters that a cell is given; it holds 32,767."""
A4, INK, INPUT, SHADE = 9, "#1d2a2a", "#fff4cc", "#e9e5d8"
COUNT, TENTH, THOUSANDTH, MONEY, RATE = "#,##0", "#,##0.0", "0.000", "#,##0", "#,##0.00"
"""Number formats."""


@dataclass(frozen=True)
class Column:
    """Head, width in letters and number format of a column; an empty format is a text's."""

    head: str
    width: float
    number: str = ""


@dataclass(frozen=True)
class Formula:
    """A live formula, and the value a reader sees that does not recalculate."""

    text: str
    value: float | str


Cell = str | float | int | bool | Formula | None


class Book:
    """A workbook being written; use it as a context."""

    def __init__(self, path: Path, *, title: str) -> None:
        import xlsxwriter

        # Whatever a name looks like, it becomes neither formula, nor number, nor link.
        options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
        self._book: Any = xlsxwriter.Workbook(str(path), {**options, "in_memory": True})
        self._book.set_properties({"title": title[:250], "author": "", "created": CREATED})
        self._book.set_calc_mode("auto")
        self._title = title
        self._names: set[str] = set()
        self._formats: dict[tuple[tuple[str, Any], ...], Any] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *failure: object) -> None:
        self._book.close()

    def sheet(self, name: str, columns: Sequence[Column], *, head: Sequence[str]) -> "Page":
        """A new sheet: its first line large, further lines of text, then the heads of the columns."""
        return Page(self, self._book.add_worksheet(self._unused(name)), columns, head)

    def style(self, **properties: Any) -> Any:
        """A format, made once."""
        key = tuple(sorted(properties.items()))
        if key not in self._formats:
            base = {"font_name": "Arial", "font_size": SIZE, "font_color": INK, "valign": "top"}
            self._formats[key] = self._book.add_format(base | properties)
        return self._formats[key]

    @property
    def footer(self) -> str:
        """Title, sheet and page at the foot of each printed page."""
        # An ampersand begins a code there.
        return f"&L&8{' ' + self._title[:90].replace('&', '&&')}&C&8&A&R&8&P of &N"

    def _unused(self, name: str) -> str:
        """A name that a sheet may have and none has yet, capitals counting for small: letters, digits, a few signs."""
        safe = "".join(c if c.isalnum() or c in " -_.()" else "_" for c in name).strip()[:LONGEST_NAME] or "sheet"
        unique, k = safe, 2
        # Excel keeps this one name for itself.
        while unique.casefold() in self._names | {"history"}:
            tail = f" ({k})"
            unique, k = safe[: LONGEST_NAME - len(tail)] + tail, k + 1
        self._names.add(unique.casefold())
        return unique


class Page:
    """One sheet, filled from the top; rows count from 0."""

    def __init__(self, book: Book, sheet: Any, columns: Sequence[Column], head: Sequence[str]) -> None:
        self._book, self._sheet, self._columns = book, sheet, columns
        self.row = 0
        for k, text in enumerate(head):
            self.note(text, **({"bold": True, "font_size": TITLE_SIZE} if k == 0 else {}))
        self.row += 1
        for k, column in enumerate(columns):
            sheet.set_column(k, k, column.width)
            side = {"align": "right"} if column.number else {"align": "left", "indent": 1}
            style = book.style(bold=True, text_wrap=True, bottom=1, bg_color=SHADE, quote_prefix=True, **side)
            self._write(self.row, k, column.head, style)
        self._height(self.row, [(column.head, 0.95 * column.width) for column in columns])
        sheet.freeze_panes(self.row + 1, 0)
        sheet.repeat_rows(self.row)
        sheet.set_landscape()
        sheet.set_paper(A4)
        sheet.set_margins(left=0.5, right=0.5, top=0.6, bottom=0.7)
        sheet.fit_to_pages(1, 0)
        sheet.set_footer(book.footer)
        self._head_row = self.row
        self.row += 1

    @property
    def name(self) -> str:
        return str(self._sheet.get_name())

    def add(self, cells: Sequence[Cell], *, inputs: Sequence[int] = (), whole: Sequence[int] = (), **style: Any) -> int:
        """Write a row; ``inputs`` are columns that a user fills in, ``whole`` those of counts. Returns its number."""
        for k, (cell, column) in enumerate(zip(cells, self._columns, strict=True)):
            look = dict(style)
            if column.number and not isinstance(cell, str | bool):
                look["num_format"] = COUNT if k in whole else column.number
            elif isinstance(cell, str) or cell is None:
                look |= {"text_wrap": True, "quote_prefix": True, "align": "left", "indent": 1}
            if k in inputs:
                look |= {"bg_color": INPUT, "border": 7}
            self._write(self.row, k, cell, self._book.style(**look))
        texts = zip(cells, self._columns, strict=True)
        self._height(
            self.row, [(cell, LETTERS * column.width - 1.5) for cell, column in texts if isinstance(cell, str)]
        )
        self.row += 1
        return self.row - 1

    def add_many(self, rows: Iterable[Sequence[str | float | None]]) -> None:
        """Write rows of plain values, each of one line, quickly."""
        look = [
            self._book.style(num_format=c.number) if c.number else self._book.style(quote_prefix=True, indent=1)
            for c in self._columns
        ]
        for row in rows:
            for k, cell in enumerate(row):
                self._write(self.row, k, cell, look[k])
            self.row += 1

    def note(self, text: str, **style: Any) -> None:
        """Text across all columns."""
        look = self._book.style(text_wrap=True, quote_prefix=True, **style)
        self._sheet.merge_range(self.row, 0, self.row, len(self._columns) - 1, "", look)
        self._write(self.row, 0, text, look)
        size = style.get("font_size", SIZE)
        self._height(self.row, [(text, LETTERS * sum(c.width for c in self._columns) * SIZE / size)], size=size)
        self.row += 1

    def _height(self, row: int, texts: Sequence[tuple[str, float]], *, size: float = SIZE) -> None:
        """Make a row high enough for texts in widths, as letters: not every office program does so by itself."""
        lines = max((math.ceil(len(text) / width) for text, width in texts if text), default=1)
        self._sheet.set_row(row, LINE_HEIGHT * size * min(lines, MOST_LINES) + 1)

    def at_least_zero(self, row: int, first: int, last: int) -> None:
        """Refuse what is no amount in some cells of a row."""
        self._sheet.data_validation(
            row,
            first,
            row,
            last,
            {
                "validate": "decimal",
                "criteria": ">=",
                "value": 0,
                "error_title": "No rate",
                "error_message": "A rate is a number, zero or more.",
            },
        )

    def filtered(self) -> None:
        """Let people choose rows by the values of a column."""
        self._sheet.autofilter(self._head_row, 0, max(self.row - 1, self._head_row + 1), len(self._columns) - 1)

    def finish(self) -> None:
        """Print what has been written, and nothing beyond."""
        self._sheet.print_area(0, 0, max(self.row - 1, 0), len(self._columns) - 1)

    def reference(self, row: int, column: int) -> str:
        """A cell as a formula on another sheet names it."""
        quoted = self.name.replace("'", "''")
        return f"'{quoted}'!{address(row, column, fixed=True)}"

    def _write(self, row: int, column: int, cell: Cell, style: Any) -> None:
        if cell is None or cell == "" or (isinstance(cell, float) and not math.isfinite(cell)):
            self._sheet.write_blank(row, column, None, style)
        elif isinstance(cell, Formula):
            self._sheet.write_formula(row, column, f"={cell.text}", style, cell.value)
        elif isinstance(cell, bool):
            self._sheet.write_string(row, column, "yes" if cell else "no", style)
        elif isinstance(cell, str):
            self._sheet.write_string(row, column, cell[:LONGEST_TEXT], style)
        else:
            self._sheet.write_number(row, column, cell, style)


def address(row: int, column: int, *, fixed: bool = False) -> str:
    """A cell as a formula on its own sheet names it."""
    from xlsxwriter.utility import xl_rowcol_to_cell

    return str(xl_rowcol_to_cell(row, column, row_abs=fixed, col_abs=fixed))
