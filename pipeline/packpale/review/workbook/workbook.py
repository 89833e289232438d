"""quantities.xlsx: the bill of each plot, live on one sheet of rates, with chainage and what all of it rests on."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from packpale.review.assumed import as_text, meaning, settings_used
from packpale.review.model import FinishedPlots, PlotSummary, RankedPlot, Ranking
from packpale.review.plot_layers import PLOT_LAYERS, read_layer
from packpale.review.subjects.field import NUMBER, TEXT, WHOLE, Field
from packpale.review.subjects.setting_out import SETTING_OUT
from packpale.review.subjects.stations import STATIONS
from packpale.review.subjects.tables import RANKING
from packpale.review.words import Wording
from packpale.review.workbook.spreadsheet import (
    COUNT,
    MONEY,
    RATE,
    TENTH,
    THOUSANDTH,
    Book,
    Column,
    Formula,
    Page,
    address,
)
from packpale.settings import Project, RateSettings
from packpale.values.cautions import cautions_for
from packpale.values.notes import COST, HURT, ordered

MOST_BILLS = 200
"""Sheets with a bill; with more plots the rest is compared at the prices of the run."""
MOST_STATIONS = 200_000
"""Rows of the chainage table; what does not fit stands in each plot's setting_out.csv."""
LEVELS = ("low", "likely", "high")
RATES, PRICES, MORE = 4, 7, 10
"""First column of the rates, of the prices, and of what quantities grow by."""
OF_A_BILL = (HURT, COST)
"""What the notes below a bill are about: what it costs, and who may be hurt when it is built."""
COMPARED = RANKING.of("enclosed_area_m2", "fence_length_m", "cut_bank_m3", "rock_bank_m3", "wet_bank_m3")
"""Figures of a plot beside its prices."""
FOLLOWED = (
    *SETTING_OUT.of("pack", "chainage_m", "x", "y", "ground_m", "invert_m"),
    *STATIONS.of("depth_m", "rock_depth_m", "water_depth_m", "bearing_deg", "arc", "radius_m"),
)
"""What the sheet of chainages tells of each station."""
NUMBERS = {WHOLE: COUNT, NUMBER: THOUSANDTH, TEXT: ""}
"""Number formats by the kind of a column."""
UNITS = {"m2": "m²", "m3": "m³", "each": "no."}


def write_workbook(
    finished: FinishedPlots,
    ranking: Ranking,
    project: Project,
    record: Mapping[str, Any],
    path: Path,
    *,
    plots: Path,
) -> None:
    """Write the workbook: plots in the order of the ranking, always in metric units, as all files are.

    ``plots`` holds the plots' folders.
    """
    with Book(path, title=project.title) as book:
        # The sheet that compares comes first and points at the others, which are written after it.
        front = book.sheet("Compare", _compare_columns(project.currency), head=_compare_head(project))
        rates = _rates(book, project)
        bills = 0
        for place in ranking.rows:
            summary = finished[place.plot_id]
            billed = None
            if summary.items and bills < MOST_BILLS:
                billed = _bill(book, place, summary, rates, project)
                bills += 1
            _compare(front, place, summary, billed)
        _end_of_comparison(front, record)
        _chainage(book, finished, ranking, record["crs"], plots)
        _assumptions(book, project)


def _compare_head(project: Project) -> list[str]:
    return [
        f"Quantities and prices: {project.title}",
        "One plot a line, the best first. Prices follow the sheet Rates: change a rate there and every bill follows.",
        "Low, likely, high: quantities as drawn, all rates at that end at once. P10, P50, P90: drawn at random by the "
        "run.",
    ]


def _compare_columns(currency: str) -> list[Column]:
    return [
        Column("Rank", 5, COUNT),
        Column("Plot", 20),
        Column("Score of 100", 7, TENTH),
        *(_column(field, 10, COUNT if field.kind == "area" else TENTH) for field in COMPARED),
        *(Column(f"Price {level}, {currency}", 10, MONEY) for level in LEVELS),
        *(Column(f"{p} as run, {currency}", 10, MONEY) for p in ("P10", "P50", "P90")),
        Column("Bill on sheet", 16),
        Column("Remark", 30),
    ]


def _column(field: Field, width: float, number: str) -> Column:
    return Column(f"{field.head}, {field.unit}" if field.unit else field.head, width, number)


def _compare(page: Page, place: RankedPlot, summary: PlotSummary, billed: tuple[str, Sequence[Formula]] | None) -> None:
    f, priced = summary.figures, summary.bill
    as_run: Sequence[Any] = priced["total"] if priced else [None] * 3
    sheet, sums = billed or ("", as_run)
    remark = f["reason"]
    if priced and not billed:
        remark = "No bill here: as the run priced it, whatever the sheet Rates says."
    page.add(
        [
            place.rank,
            place.plot_id,
            place.score,
            *(f[field.key] for field in COMPARED),
            *sums,
            f["cost_p10"],
            f["cost_p50"],
            f["cost_p90"],
            sheet,
            remark,
        ]
    )


def _end_of_comparison(page: Page, record: Mapping[str, Any]) -> None:
    for name, outcome in record.get("plots", {}).items():
        if outcome["status"] == "failed":
            page.add([None, name, *[None] * 12, "", f"not computed: {outcome['reason']}"])
    page.row += 1
    for text in cautions_for("prices"):
        page.note(text)
    page.finish()


def _rates(book: Book, project: Project) -> dict[str, list[str]]:
    """Write the sheet of rates; how formulas of other sheets name each rate, low, likely and high."""
    used = {s.key: s for s in settings_used(project)}
    columns = [
        Column("Rate", 42),
        Column("Unit", 15),
        *(Column(f"{level.capitalize()}, {project.currency}", 9, RATE) for level in LEVELS),
        Column("Check", 12),
        Column("Status", 13),
        Column("Source", 36),
        Column("Setting", 30),
    ]
    head = [
        f"Rates in {project.currency}",
        "Change the coloured cells: every bill and the comparison follow. The settings file keeps the run's own rates.",
    ]
    page = book.sheet("Rates", columns, head=head)
    found = {}
    for key in RateSettings.model_fields:
        setting, row = used[f"rates.{key}"], page.row
        low, likely, high = (address(row, 2 + k) for k in range(3))
        check = Formula(f'IF(AND({low}<={likely},{likely}<={high}),"","not in order")', "")
        text, unit = (
            meaning(setting.key).removesuffix("."),
            setting.unit.replace("currency", "per").replace("per/", "per ").replace("m2", "m²").replace("m3", "m³"),
        )
        rates = getattr(project.rates, key)
        page.add([text, unit, *rates, check, setting.status, setting.source, setting.key], inputs=(2, 3, 4))
        page.at_least_zero(row, 2, 4)
        found[key] = [page.reference(row, 2 + k) for k in range(3)]
    page.finish()
    return found


def _bill(
    book: Book, place: RankedPlot, summary: PlotSummary, rates: Mapping[str, Sequence[str]], project: Project
) -> tuple[str, list[Formula]]:
    """Write the bill of a plot; the name of its sheet, and how other sheets have its sum, low, likely and high."""
    currency = project.currency
    columns = [
        Column("No.", 5, COUNT),
        Column("Item", 46),
        Column("Unit", 6),
        Column("Quantity as drawn", 11, TENTH),
        *(Column(f"Rate {level}, {currency}", 10, RATE) for level in LEVELS),
        *(Column(f"Price {level}, {currency}", 12, MONEY) for level in LEVELS),
        Column("More, dug deeper", 10, TENTH),
        Column("More, rock and water", 10, TENTH),
        Column("Quantity, one in ten below", 10, TENTH),
        Column("Quantity, one in ten above", 10, TENTH),
    ]
    head = [
        f"Bill of quantities: {place.plot_id}",
        project.title,
        "Prices are quantities as drawn at the rates of the sheet Rates. Below the sum stands what leads from there "
        "to the middle estimate.",
    ]
    page = book.sheet(f"{place.rank or ''} {place.plot_id}", columns, head=head)
    first = page.row
    for number, item in enumerate(summary.items, 1):
        row = page.row
        of_rates = [Formula(text, rate) for text, rate in zip(rates[item["key"]], item["rate"], strict=True)]
        prices = [Formula(f"{address(row, 3)}*{address(row, RATES + k)}", item["price"][k]) for k in range(3)]
        unit = UNITS.get(item["unit"], item["unit"])
        whole = (3, 10, 11, 12, 13) if item["unit"] == "each" else ()
        more = (item["over_dig"], item["ground"], item["reckoned"][0], item["reckoned"][2])
        page.add([number, item["text"], unit, item["quantity"], *of_rates, *prices, *more], whole=whole)
    last = page.row - 1
    sums = summary.bill or {}
    totals = [
        Formula(f"SUM({address(first, PRICES + k)}:{address(last, PRICES + k)})", sums["total"][k]) for k in range(3)
    ]
    empty = [None] * 5
    total = page.add([None, f"As drawn, in {currency}", *empty, *totals, *[None] * 4], bold=True, top=1)
    _bridge(page, sums["bridge"], first, last, total)
    page.row += 1
    several = len(summary.earthworks) > 1
    wording = Wording.of(project)
    notes = (wording.note(n, several_packs=several).text for n in ordered(summary.notes) if n.severity in OF_A_BILL)
    for text in (*notes, *cautions_for("prices")):
        page.note(text)
    page.finish()
    return page.name, [Formula(page.reference(total, PRICES + k), sums["total"][k]) for k in range(3)]


def _bridge(page: Page, steps: Sequence[Mapping[str, Any]], first: int, last: int, total: int) -> None:
    """From the sum of the bill to the middle estimate. It follows the rates but for what their own ranges add."""
    if not steps:
        return
    likely = f"{address(first, RATES + 1)}:{address(last, RATES + 1)}"
    _, *between, middle = steps
    formulas: list[Formula | float] = [
        Formula(f"SUMPRODUCT({address(first, column)}:{address(last, column)},{likely})", step["amount"])
        for column, step in zip((MORE, MORE + 1), between, strict=False)
    ]
    names = [step["text"] for step in between]
    names[-1] += ", as run"
    for name, amount in zip(names, [*formulas, between[-1]["amount"]], strict=True):
        page.add([None, name, *[None] * 6, amount, *[None] * 5], italic=True)
    whole = f"SUM({address(total, PRICES + 1)}:{address(page.row - 1, PRICES + 1)})"
    page.add([None, middle["text"], *[None] * 6, Formula(whole, middle["amount"]), *[None] * 5], bold=True, top=1)


def _chainage(book: Book, finished: FinishedPlots, ranking: Ranking, crs: str, plots: Path) -> None:
    columns = [
        Column("Plot", 22),
        *(_column(field, 12, NUMBERS[field.column]) for field in FOLLOWED),
    ]
    head = [
        "Chainage: levels along each fence line",
        f"Clockwise from the start of the line; coordinates in {crs.splitlines()[0] if crs else 'the CRS of the run'}, "
        "bearings clockwise from grid north. Depths to rock and water are guesses between pits.",
    ]
    page = book.sheet("Chainage", columns, head=head)
    left, missing = MOST_STATIONS, []
    # One that was only screened has no stations.
    for name in (place.plot_id for place in ranking.rows if not finished.briefs[place.plot_id].screened):
        rows = _stations(plots / finished.briefs[name].folder / PLOT_LAYERS)
        if len(rows) > left:
            missing.append(name)
            continue
        left -= len(rows)
        page.add_many([name, *(row[field.key] for field in FOLLOWED)] for row in rows)
    page.filtered()
    if missing:
        page.note(f"No room for {', '.join(missing)}: see setting_out.csv in each plot's folder.")
    page.finish()


def _stations(layers: Path) -> list[dict[str, Any]]:
    """Stations of one plot with their coordinates; None where there is no figure."""
    return [row | {"x": row["geometry"].x, "y": row["geometry"].y} for row in read_layer(layers, "stations").rows()]


def _assumptions(book: Book, project: Project) -> None:
    columns = [
        Column("Setting", 50),
        Column("Value", 18),
        Column("Unit", 18),
        Column("Status", 16),
        Column("Source", 60),
        Column("Name in the settings file", 34),
    ]
    head = [
        "Assumptions: every setting of this run",
        "Published: read in the source named. Common practice: what the trade does, no published source. "
        "Assumption: a guess, to be replaced by what you know.",
    ]
    page = book.sheet("Assumptions", columns, head=head)
    for s in settings_used(project):
        number = isinstance(s.value, int | float) and not isinstance(s.value, bool)
        unit = "" if s.unit == "-" else s.unit
        page.add([s.meaning, s.value if number else as_text(s.value), unit, s.status, s.source, s.key], align="left")
    page.filtered()
    page.finish()
