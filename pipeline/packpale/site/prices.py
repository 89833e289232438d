"""Prices of one's own: a table of rates that several runs share, and one to fill in with a contractor."""

import csv
import io
import math
import re
from collections.abc import Iterable, Mapping
from pathlib import Path

from pydantic import ValidationError

from packpale.faults import Faults, Gathering
from packpale.settings import Project, Quote, RateSettings, fault_lines
from packpale.site.columns import nearest
from packpale.site.tables import Row, Table, find_column, missing_column, read_table
from packpale.units import FOOT_M

COLUMNS = ("key", "low", "likely", "high", "unit", "currency", "source", "date")
LEVELS = ("low", "likely", "high")
UNITS = {
    "m": {"m": 1.0, "ft": FOOT_M, "yd": 3 * FOOT_M},
    "m2": {"m2": 1.0, "ft2": FOOT_M**2, "yd2": (3 * FOOT_M) ** 2},
    "m3": {"m3": 1.0, "ft3": FOOT_M**3, "yd3": (3 * FOOT_M) ** 3},
    "each": {"each": 1.0},
}
"""Units that a price may be for, by the unit of the rate; each with its size in that."""
_DATE = re.compile(r"\d{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[12]\d|3[01]))?)?")


def unit_of(key: str) -> str:
    """Unit that a rate is for: m, m2, m3 or each."""
    end = key.rsplit("_", 1)[1]
    return end if end in UNITS else "each"


def with_prices(project: Project) -> Project:
    """The settings with the rates of rates.file; as they are where it is not given.

    Rows in which no price is filled in are left out. Raises Faults with a line for each row that cannot be used, among
    them rates that the settings give too.
    """
    path = project.rates.file
    if path is None:
        return project
    table, faults = read_table(path), Gathering()
    columns = {name: find_column(name, table.columns) for name in COLUMNS}
    for name, column in columns.items():
        if column is None:
            faults.add(missing_column(table.name, name, table.columns))
    faults.raise_if_any()
    rates: dict[str, tuple[float, float, float]] = {}
    quoted: dict[str, Quote] = {}
    for row in table.rows:
        cells = {name: row.cells[str(column)] for name, column in columns.items()}
        if not any(cells[level] for level in LEVELS):
            continue
        with faults.gather():
            key, rate, quote = _rate(cells, table, row, project)
            if key in rates:
                raise Faults(f"{table.name}, row {row.number}: {key} is there already; drop one of the rows")
            rates[key], quoted[key] = rate, quote
    for key in sorted(rates.keys() & project.rates.model_fields_set):
        faults.add(f"{table.name}: {key} stands in the settings under [rates] too; drop one of the two")
    faults.raise_if_any()
    own = project.rates.model_copy(update={**rates, "quoted": {**project.rates.quoted, **quoted}})
    return project.model_copy(update={"rates": own})


def _rate(
    cells: Mapping[str, str], table: Table, row: Row, project: Project
) -> tuple[str, tuple[float, float, float], Quote]:
    """Key, rate in the run's units, and whose price it is. Raises Faults."""
    where, key = f"{table.name}, row {row.number}", cells["key"]
    if key not in RateSettings.model_fields:
        raise Faults(f'{where}: key is "{key}", which is no rate; {nearest(key, tuple(RateSettings.model_fields))}')
    faults = Gathering()
    allowed = UNITS[unit_of(key)]
    if cells["unit"] not in allowed:
        units = ", ".join(allowed)
        faults.add(f'{where}: unit of {key} is "{cells["unit"]}", allowed are {units}; write what the price is for')
    if cells["currency"] != project.currency:
        faults.add(
            f'{where}: currency is "{cells["currency"]}", the run\'s is "{project.currency}"; change the price, or '
            "currency in the settings"
        )
    if not cells["source"]:
        faults.add(f"{where}: source is empty; write whose price it is")
    if not _DATE.fullmatch(cells["date"]):
        faults.add(f'{where}: date is "{cells["date"]}"; write when the price was given, such as 2026-03')
    rate: tuple[float, float, float] = (math.nan,) * 3
    with faults.gather():
        rate = _three(cells, table, row)
    faults.raise_if_any()
    size = allowed[cells["unit"]]
    try:
        quote = Quote(source=cells["source"], date=cells["date"])
    except ValidationError as error:
        raise Faults(*(f"{where}: {line}" for line in fault_lines(error))) from error
    return key, (rate[0] / size, rate[1] / size, rate[2] / size), quote


def _three(cells: Mapping[str, str], table: Table, row: Row) -> tuple[float, float, float]:
    """Low, likely and high; a single price, or an end that is left empty, is the likely one. Raises Faults."""
    where = f"{table.name}, row {row.number}"
    likely = table.number(row, str(find_column("likely", table.columns)))
    low, high = (
        table.number(row, str(find_column(level, table.columns))) if cells[level] else likely
        for level in ("low", "high")
    )
    if not 0 <= low <= likely <= high:
        raise Faults(
            f"{where}: low, likely, high are {low:g}, {likely:g}, {high:g}; write them from 0 up in this order"
        )
    return low, likely, high


def is_empty(path: Path) -> bool:
    """Whether no price is filled in yet in a table of prices. Raises Faults if it cannot be read."""
    table = read_table(path)
    columns = [c for level in LEVELS if (c := find_column(level, table.columns)) is not None]
    return not any(row.cells[c] for row in table.rows for c in columns)


def table_to_fill_in(
    words: Mapping[str, str],
    currency: str,
    quantities: Iterable[tuple[str, Mapping[str, float]]] = (),
    *,
    feet: bool = False,
) -> str:
    """Text of a table of prices, a row for each rate in the order of the bill, with no price filled in.

    ``words`` says what each rate is for; ``quantities`` are those of some plots, by the plot's name and the rate's key,
    in metric units. With ``feet`` units are feet and yards.
    """
    plots = list(quantities)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["key", "what", *(f"quantity {name}" for name, _ in plots), *COLUMNS[1:]])
    for key in RateSettings.model_fields:
        unit = unit_of(key)
        shown = list(UNITS[unit])[-1 if unit == "m3" else 1] if feet and len(UNITS[unit]) > 1 else unit
        amounts = [f"{of[key] / UNITS[unit][shown]:.4g}" if key in of else "" for _, of in plots]
        writer.writerow([key, words.get(key, ""), *amounts, "", "", "", shown, currency, "", ""])
    return out.getvalue()
