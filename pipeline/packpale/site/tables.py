"""Text tables: CSV with a header line, comma or semicolon between cells."""

import csv
import difflib
import io
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from packpale.faults import Faults, Gathering
from packpale.site.files import check_file, head_of

LONGEST_SHOWN = 80
"""Characters of a cell that a message repeats."""
MOST_BYTES = 200_000_000
"""Size of a table; it is held in memory whole."""
LONGEST_CELL = 10_000_000
"""Characters of a cell: an outline of some hundred thousand corners as text."""
MOST_COLUMNS = 1_000
"""Columns of a table: each is compared with every name that is known."""
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)


@dataclass(frozen=True)
class Row:
    """One line of a table: its number in the file (the header is row 1) and its cells by column, stripped."""

    number: int
    cells: Mapping[str, str]


@dataclass(frozen=True)
class Table:
    """A whole table as text."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    decimal_comma: bool

    def number(self, row: Row, column: str) -> float:
        """The number in a cell; raises Faults if there is none, or none that is finite."""
        text = row.cells[column]
        value = number(text, decimal_comma=self.decimal_comma)
        if value is None:
            found = f'"{shown(text)}"' if text else "nothing"
            raise Faults(f"{self.name}, row {row.number}: {column} is {found}; it must be a finite number")
        return value

    def point(self, row: Row, x_column: str, y_column: str) -> tuple[float, float]:
        """The two coordinates of a row; raises Faults with a line for each that is none."""
        faults = Gathering()
        values = [math.nan, math.nan]
        for i, column in enumerate((x_column, y_column)):
            with faults.gather():
                values[i] = self.number(row, column)
        faults.raise_if_any()
        return values[0], values[1]


def shown(text: str) -> str:
    """A cell as it can stand in a message of one line."""
    return text if text.isprintable() and len(text) <= LONGEST_SHOWN else ascii(text[:LONGEST_SHOWN])[1:-1]


def listed(names: Iterable[str]) -> str:
    """Names of columns as they can stand in a message of one line."""
    return ", ".join(shown(n) for n in names) or "none"


def number(text: str, *, decimal_comma: bool = False) -> float | None:
    """The finite number a text is, None if it is none; with ``decimal_comma``, 1,5 is one and a half."""
    text = text.strip()
    if decimal_comma and text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    if not _NUMBER.fullmatch(text):
        return None
    value = float(text)
    return value if math.isfinite(value) else None


def read_table(path: Path) -> Table:
    """Read a table; UTF-8, with or without byte order mark; blank lines are skipped.

    Cells are split at semicolons if the header holds one, else at commas. Raises Faults.
    """
    name = path.name
    text = _text(path)
    header = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = ";" if ";" in header else ","
    lines = _lines(name, text, delimiter)
    if not lines:
        raise Faults(f"{name}: is empty; it needs a header line and rows")
    columns = tuple(lines[0][1])
    if len(columns) > MOST_COLUMNS:
        raise Faults(
            f"{name}: has {len(columns):,} columns, allowed are {MOST_COLUMNS:,}; drop those that are not needed"
        )
    twice = sorted({c for c in columns if c and columns.count(c) > 1})
    if twice:
        raise Faults(f"{name}: has more than one column {', '.join(map(repr, twice))}; rename or drop one")
    # As a country that writes 1,5 has them.
    hint = ", or write semicolons between them if 1,5 is a number" if delimiter == "," else ""
    wrong = [
        f"{name}, row {n}: has {len(cells)} cells, the header has {len(columns)}; add or drop cells{hint}"
        for n, cells in lines[1:]
        if len(cells) != len(columns)
    ]
    if wrong:
        raise Faults(*wrong)
    if len(lines) == 1:
        raise Faults(f"{name}: has a header line but no rows; add some")
    rows = tuple(Row(n, dict(zip(columns, cells, strict=True))) for n, cells in lines[1:])
    return Table(name, columns, rows, delimiter == ";")


def _text(path: Path) -> str:
    check_file(path, "name a CSV file")
    head_of(path)
    size = path.stat().st_size
    if size > MOST_BYTES:
        raise Faults(f"{path.name}: has {size:,} bytes, allowed are {MOST_BYTES:,}; cut it to the land round the plots")
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise Faults(f"{path.name}, row {line}: is not UTF-8 text; save the table as CSV in UTF-8") from error
    except OSError as error:
        raise Faults(f"{path}: cannot be read ({error.strerror}); name a CSV file") from error


def _lines(name: str, text: str, delimiter: str) -> list[tuple[int, list[str]]]:
    """Cells of each line that holds any, with the number of the line."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    lines: list[tuple[int, list[str]]] = []
    before = 0
    # Longer than the reader takes by itself.
    usual = csv.field_size_limit(LONGEST_CELL)
    try:
        for cells in reader:
            # A quoted cell may run over lines: the row is where it begins.
            if any(c.strip() for c in cells):
                lines.append((before + 1, [c.strip() for c in cells]))
            before = reader.line_num
    except csv.Error as error:
        raise Faults(f"{name}, row {before + 1}: is no CSV ({error}); save the table again as CSV") from error
    finally:
        csv.field_size_limit(usual)
    return lines


def find_column(wanted: str, columns: Iterable[str]) -> str | None:
    """The column of that name, or the only one that differs from it in capitals alone."""
    columns = tuple(columns)
    if wanted in columns:
        return wanted
    alike = [c for c in columns if c.casefold() == wanted.casefold()]
    return alike[0] if len(alike) == 1 else None


def missing_column(where: str, wanted: str, columns: Sequence[str]) -> str:
    """The fault of a column that is not there: lists those that are, and names the nearest."""
    nearest = difflib.get_close_matches(wanted, columns, n=1, cutoff=0.5)
    hint = f"; did you mean {nearest[0]!r}?" if nearest else "; name one of them"
    return f"{where}: has no column {wanted!r}; columns are {listed(columns)}{hint}"


PLACE_NAMES = {
    "x": ("x", "easting", "eastings"),
    "y": ("y", "northing", "northings"),
    "lon": ("lon", "long", "lng", "longitude"),
    "lat": ("lat", "latitude"),
}
"""How tables head their columns of coordinates."""


def coordinate_columns(table: Table, theirs: Mapping[str, str] = MappingProxyType({})) -> tuple[str, str, bool]:
    """Names of the columns with x and y, or with lon and lat; the third value says that they are degrees.

    ``theirs`` names those that the settings give. Raises Faults unless exactly one such pair is there, or if a column
    crs contradicts lon and lat.
    """
    for name in theirs.values():
        if find_column(name, table.columns) is None:
            raise Faults(missing_column(table.name, name, table.columns))

    def column(ours: str) -> str | None:
        # What the settings name leaves no doubt, whatever else there is.
        names = (theirs[ours],) if ours in theirs else () if theirs.keys() & {*PLACE_NAMES} else PLACE_NAMES[ours]
        return next((c for n in names if (c := find_column(n, table.columns)) is not None), None)

    xy = column("x"), column("y")
    ll = column("lon"), column("lat")
    if all(xy) and any(ll):
        raise Faults(f"{table.name}: has both x, y and lon, lat; keep one pair")
    if all(ll):
        if find_column(theirs.get("crs", "crs"), table.columns):
            raise Faults(f"{table.name}: has a column crs beside lon, lat, which are EPSG:4326; drop it or use x, y")
        return str(ll[0]), str(ll[1]), True
    if not all(xy):
        raise Faults(
            f"{table.name}: has no columns x, y (or lon, lat); columns are {listed(table.columns)}; "
            "rename them, or name them under inputs.columns"
        )
    return str(xy[0]), str(xy[1]), False
