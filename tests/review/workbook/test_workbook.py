"""The workbook, read by openpyxl and recalculated by an office program that knows nothing of us."""

import dataclasses
import os
import re
import shutil
import subprocess
import zipfile

import numpy as np
import openpyxl
import pytest

from packpale.earthworks.bill import DRAWN_VOLUMES, bill
from packpale.earthworks.model import Uncertainty
from packpale.review.assumed import SET, settings_used
from packpale.review.report.bill import bill_section
from packpale.review.report.blocks import text_of
from packpale.review.subjects.setting_out import SETTING_OUT
from packpale.review.summary import summarise
from packpale.review.workbook.spreadsheet import Book, Column, Page
from packpale.review.workbook.workbook import write_workbook
from packpale.run.ranking import rank
from packpale.settings import RateSettings
from packpale.values import register
from review import factory

CURRENCY = "=1+1"
FORBIDDEN = re.compile(r"[\[\]:*?/\\]")
PRICES = ("H", "I", "J")


def spread(plot):
    """The same plot with volumes drawn at random: invented percentiles."""
    volumes = {
        "cut": (1200.0, 1262.0, 1300.0),
        "soil": (1100.0, 1200.0, 1250.0),
        "soft_rock": (0.0, 12.0, 40.0),
        "hard_rock": (20.0, 64.0, 151.5),
        "wet": (1.0, 38.0, 90.0),
        "surplus_loose": (50.0, 97.0, 140.0),
        "import_compacted": (100.0, 184.0, 260.0),
    }
    sure = Uncertainty(
        draws=100, volumes=volumes, price=(1.0, 2.0, 3.0), drawn_price=np.linspace(1.0, 3.0, 100), drivers=(),
        flanks=(), estimate_class=4, class_reason="", class_low=(-0.3, -0.15), class_high=(0.2, 0.5), narrowing="",
    )  # fmt: skip
    return dataclasses.replace(plot, earthworks=dataclasses.replace(plot.earthworks, uncertainty=sure))


@pytest.fixture(scope="module")
def settings():
    return factory.project(
        title=f"Estate {factory.HOSTILE}",
        currency=CURRENCY,
        rates={"mesh_per_m2": [1, 2, 4]},
        land={"max_slope_deg": 18},
        # Few stations: an office program reads them twice.
        trench={"station_m": 12.0},
    )


@pytest.fixture(scope="module")
def made(barren, settings):
    """Uncertain ground; a hostile name; one like it but for capitals; a plot with none, named like a formula."""
    fitting = factory.result(settings=settings)
    sure = dataclasses.replace(fitting.earthworks, uncertainty=None)
    uncertain, fitting = spread(fitting), dataclasses.replace(fitting, earthworks=sure)
    plots = [
        uncertain,
        factory.renamed(fitting, factory.HOSTILE),
        factory.renamed(fitting, factory.HOSTILE.upper()),
        factory.renamed(barren, factory.FORMULA),
    ]
    return [summarise(plot, settings, f"plot-{k}", None) for k, plot in enumerate(plots)], plots


@pytest.fixture(scope="module")
def summaries(made):
    return made[0]


@pytest.fixture(scope="module")
def layers(made, settings, tmp_path_factory):
    """The plots' folders with their layers."""
    return factory.write_layers(tmp_path_factory.mktemp("plots"), made[1], settings)


@pytest.fixture(scope="module")
def file(summaries, settings, layers, tmp_path_factory):
    return written(summaries, settings, layers, tmp_path_factory.mktemp("workbook") / "quantities.xlsx")


def written(summaries, settings, layers, path):
    ranking = rank(summaries, settings.ranking.weights, draws=100, seed=1)
    record = {"crs": factory.CRS, "plots": {"+failed": {"status": "failed", "reason": "=no ground"}}}
    write_workbook(factory.finished(summaries), ranking, settings, record, path, plots=layers)
    return path


@pytest.fixture(scope="module")
def formulas(file):
    return openpyxl.load_workbook(file)


@pytest.fixture(scope="module")
def values(file):
    return openpyxl.load_workbook(file, data_only=True)


def bills(book):
    return [s for s in book if str(s["A1"].value).startswith("Bill of quantities")]


def cells(book):
    return [c for sheet in book for row in sheet.iter_rows() for c in row if c.value is not None]


def total_row(sheet):
    return next(r for r in range(1, sheet.max_row + 1) if str(sheet.cell(r, 2).value).startswith("As drawn, in"))


def test_every_formula_is_ours_and_names_are_texts(formulas, settings):
    ours = re.compile(
        r"=('[^\[\]:*?/\\]+'!\$[A-Z]+\$\d+|D\d+\*[E-G]\d+|SUM\([H-J]\d+:[H-J]\d+\)|SUMPRODUCT\([KL]\d+:[KL]\d+,F\d+:F\d+\)"
        r"|IF\(AND\(C\d+<=D\d+,D\d+<=E\d+\),\"\",\"not in order\"\))"
    )
    count = 0
    for cell in cells(formulas):
        if cell.data_type == "f":
            assert ours.fullmatch(cell.value), cell.value
            count += 1
        assert cell.hyperlink is None
    # Three bills of 19 items with three rates and three prices each, with their sums; rates; comparison.
    items = len(RateSettings.model_fields)
    assert count == 3 * (6 * items + 4) + items + 3 * 3
    texts = [c.value for c in cells(formulas) if c.data_type == "s"]
    for name in (factory.FORMULA, factory.HOSTILE, factory.HOSTILE.upper(), "+failed", "not computed: =no ground"):
        assert name in texts
    assert f"Price likely, {CURRENCY}" in texts


def test_nothing_in_the_file_is_a_link_or_markup(file):
    with zipfile.ZipFile(file) as archive:
        for name in archive.namelist():
            assert "hyperlink" not in name
            raw = archive.read(name).decode("utf-8")
            assert "<hyperlink" not in raw
            assert "<img" not in raw
            assert "<script" not in raw


def test_texts_that_begin_like_a_formula_stay_texts_when_somebody_edits_them(formulas):
    risky = [c for c in cells(formulas) if c.data_type == "s" and c.value[0] in "=+-@"]
    assert {c.value for c in risky} >= {factory.FORMULA, "+failed"}
    assert all(c.quotePrefix for c in risky)


def test_sheets_have_names_that_are_allowed_and_all_different(formulas):
    names = formulas.sheetnames
    assert [*names[:2], *names[-2:]] == ["Compare", "Rates", "Chainage", "Assumptions"]
    assert len({n.casefold() for n in names}) == len(names) == 7
    for name in names:
        assert 0 < len(name) <= 31
        assert not FORBIDDEN.search(name)
        assert not name.startswith("'")
        assert not name.endswith("'")


@pytest.mark.parametrize("name", ["", "a" * 40, "History", "'x'", "[a]:*?/\\b", "Compare", "compare", " 12 "])
def test_any_name_makes_a_sheet(name, tmp_path):
    with Book(tmp_path / "b.xlsx", title="t") as book:
        made = [book.sheet(n, [Column("x", 9)], head=[]).name for n in ("Compare", name, name)]
    assert len({n.casefold() for n in made}) == 3
    assert all(0 < len(n) <= 31 and not FORBIDDEN.search(n) and n.casefold() != "history" for n in made)
    assert openpyxl.load_workbook(tmp_path / "b.xlsx").sheetnames == made


def test_values_that_stand_in_the_file_are_the_figures_of_the_run(values, summaries):
    by_title = {s["A1"].value: s for s in bills(values)}
    for summary in summaries[:3]:
        sheet = by_title[f"Bill of quantities: {summary.plot_id}"]
        last = total_row(sheet)
        first = last - len(summary.items)
        for row, item in zip(range(first, last), summary.items, strict=True):
            assert sheet.cell(row, 4).value == pytest.approx(item["quantity"])
            # What is counted is shown whole, what is measured to a tenth.
            assert sheet.cell(row, 4).number_format == ("#,##0" if item["unit"] == "each" else "#,##0.0")
            assert [sheet.cell(row, c).value for c in (5, 6, 7)] == item["rate"]
            for k in range(3):
                price = sheet.cell(row, 4).value * sheet.cell(row, 5 + k).value
                assert sheet.cell(row, 8 + k).value == pytest.approx(price)
            low, high = (sheet.cell(row, c).value for c in (13, 14))
            reckoned = item["quantity"] + sheet.cell(row, 11).value + sheet.cell(row, 12).value
            assert low <= reckoned + 1e-9
            assert reckoned <= high + 1e-9
    # Without draws there is no bridge, and the totals are all there is.
    sheet = by_title[f"Bill of quantities: {summaries[1].plot_id}"]
    row = total_row(sheet)
    assert [sheet[f"{c}{row}"].value for c in PRICES] == pytest.approx(summaries[1].bill["total"])


def amount(text):
    """A number as pages print it."""
    return float(text.replace("\N{MINUS SIGN}", "-").replace(",", ""))


def bill_in_print(plot):
    """Rows of the bill and of its bridge in the report, as (name, likely amount)."""
    listed, bridge = [b for b in bill_section(factory.source(plot)).blocks if b.kind == "table"]
    rows = [(text_of(r[0]), amount(text_of(r[4]))) for r in (*listed.rows, *listed.foot)]
    return rows, [(text_of(name), amount(text_of(cell))) for name, cell in (*bridge.rows, *bridge.foot)]


def test_print_and_workbook_hold_the_same_bill(tmp_path, fitting):
    plot, settings = spread(fitting), factory.project()
    summary = summarise(plot, settings, "plot-0", None)
    ranking = rank([summary], settings.ranking.weights, draws=50, seed=1)
    record = {"version": "0", "seed": 1, "crs": factory.CRS}
    layers = factory.write_layers(tmp_path / "plots", [plot])
    write_workbook(factory.finished([summary]), ranking, settings, record, tmp_path / "q.xlsx", plots=layers)
    (sheet,) = bills(openpyxl.load_workbook(tmp_path / "q.xlsx", data_only=True))
    last = total_row(sheet)
    items, bridge = bill_in_print(plot)
    priced = bill(plot.earthworks)
    # To the cent where both have cents, and as print rounds them.
    in_file = [sheet.cell(r, 9).value for r in range(last - len(summary.items), last + 1)]
    assert in_file == pytest.approx([*(i.item.price[1] for i in priced.lines), priced.total[1]], abs=0.005)
    assert [price for _, price in items] == [round(v) for v in in_file]
    steps = [(sheet.cell(r, 2).value, sheet.cell(r, 9).value) for r in range(last + 1, last + 5)]
    assert [v for _, v in steps] == pytest.approx([s.amount for s in priced.bridge[1:]], abs=0.005)
    assert [name.removesuffix(", as run") for name, _ in steps] == [name for name, _ in bridge[1:]]
    assert [v for _, v in bridge] == [round(v) for v in (in_file[-1], *(v for _, v in steps))]


def test_the_bridge_leads_from_the_bill_to_the_middle_estimate(fitting):
    plot = spread(fitting)
    works, made = plot.earthworks, bill(plot.earthworks)
    first, over_dig, ground, rates, middle = made.bridge
    assert first.amount == made.total[1] == pytest.approx(sum(i.price[1] for i in works.items))
    assert middle.amount == works.uncertainty.price[1]
    assert first.amount + over_dig.amount + ground.amount + rates.amount == pytest.approx(middle.amount)
    drawn, cut = works.uncertainty.volumes, sum(v.cut for v in works.volumes)
    deeper = drawn["cut"][1] / cut - 1
    seen = set()
    for line in made.lines:
        name = DRAWN_VOLUMES.get(line.item.key)
        if name in drawn:
            assert line.reckoned == drawn[name]
            assert line.over_dig == pytest.approx(deeper * line.item.quantity)
            assert line.item.quantity + line.over_dig + line.ground == pytest.approx(drawn[name][1])
            seen.add(name)
        else:
            assert (line.over_dig, line.ground) == (0.0, 0.0)
    assert seen == set(drawn) & set(DRAWN_VOLUMES.values())
    # What grows with the cut alone has no part in rock and water.
    (filled,) = (line for line in made.lines if DRAWN_VOLUMES.get(line.item.key) == "cut")
    assert filled.item.quantity == pytest.approx(cut)
    assert filled.ground == pytest.approx(0.0, abs=1e-6 * cut)
    assert set(DRAWN_VOLUMES) <= set(RateSettings.model_fields)


def test_without_draws_there_is_no_bridge(fitting):
    works = dataclasses.replace(fitting.earthworks, uncertainty=None)
    assert bill(works).bridge == ()
    assert all(line.reckoned == (line.item.quantity,) * 3 for line in bill(works).lines)


@pytest.fixture(scope="module")
def office():
    program = shutil.which("localc") or shutil.which("soffice")
    if program is None:
        if os.environ.get("CI", "").lower() == "true":
            pytest.fail("no office program found (localc, soffice); these checks must run here")
        pytest.skip("no office program found (localc, soffice); install one to recalculate the workbook")
    return program


@pytest.fixture(scope="module")
def recalculated(office, file, tmp_path_factory):
    """Two workbooks after an office program worked them out anew: as written, and with two rates changed.

    openpyxl drops the values that stand beside formulas, so that whatever comes back was calculated.
    """
    home = tmp_path_factory.mktemp("office")
    for name, changes in (("as_written", {}), ("changed", {"C": 3.0, "E": 500.0})):
        book = openpyxl.load_workbook(file)
        row = next(r for r in range(1, 60) if book["Rates"].cell(r, 9).value == "rates.mesh_per_m2")
        for column, value in changes.items():
            book["Rates"][f"{column}{row}"].value = value
        book.save(home / f"{name}.xlsx")
    profile = f"-env:UserInstallation={(home / 'profile').as_uri()}"
    command = [office, profile, "--headless", "--convert-to", "xlsx:Calc MS Excel 2007 XML", "--outdir", home / "out"]
    done = subprocess.run(
        [*command, *sorted(home.glob("*.xlsx"))], capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 0, done.stderr
    return {n: openpyxl.load_workbook(home / "out" / f"{n}.xlsx", data_only=True) for n in ("as_written", "changed")}


def test_an_office_program_works_out_the_same_values(recalculated, values, formulas):
    again = recalculated["as_written"]
    assert again.sheetnames == values.sheetnames
    compared = 0
    for sheet in formulas:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type == "f":
                    ours, theirs = (book[sheet.title][cell.coordinate].value for book in (values, again))
                    if isinstance(theirs, int | float):
                        assert ours == pytest.approx(theirs, rel=1e-12, abs=1e-6), (sheet.title, cell.coordinate)
                        compared += 1
                    else:
                        assert (ours or "") == (theirs or "") == ""
                elif isinstance(cell.value, str):
                    assert again[sheet.title][cell.coordinate].value == cell.value
    assert compared > 350


def test_a_rate_changed_once_changes_every_bill_and_the_comparison(recalculated, summaries):
    """The mesh's low rate from 1 to 3, its high one from 4 to 500: by hand, its quantity times the difference."""
    before, after = recalculated["as_written"], recalculated["changed"]
    by_id = {s.plot_id: s for s in summaries}
    for old, new in zip(bills(before), bills(after), strict=True):
        plot = old["A1"].value.removeprefix("Bill of quantities: ")
        (mesh,) = (i for i in by_id[plot].items if i["key"] == "mesh_per_m2")
        row = total_row(old)
        changes = [new[f"{c}{row}"].value - old[f"{c}{row}"].value for c in PRICES]
        assert changes == pytest.approx([2.0 * mesh["quantity"], 0.0, 496.0 * mesh["quantity"]], abs=1e-6)
        (line,) = (r for r in range(1, 20) if after["Compare"].cell(r, 2).value == plot)
        shown = [after["Compare"].cell(line, c).value for c in (9, 10, 11)]
        assert shown == pytest.approx([new[f"{c}{row}"].value for c in PRICES])
    row = next(r for r in range(1, 60) if after["Rates"].cell(r, 9).value == "rates.mesh_per_m2")
    assert after["Rates"][f"F{row}"].value == "not in order"


def test_chainage_is_the_setting_out(values, made):
    rows = [r for r in values["Chainage"].iter_rows(values_only=True) if isinstance(r[1], int)]
    expected = {plot.site.plot_id: list(SETTING_OUT.rows(plot, values)) for plot in made[1]}
    assert len(rows) == sum(map(len, expected.values())) > 100
    for name, stations in expected.items():
        mine = [r for r in rows if r[0] == name]
        for row, station in zip(mine, stations, strict=True):
            assert row[2:7] == pytest.approx(
                [station[n] for n in ("chainage_m", "x", "y", "ground_m", "invert_m")], abs=1e-9
            )
            # Depth is what lies between ground and bottom.
            assert row[7] == pytest.approx(row[5] - row[6], abs=1e-9)
            assert (row[8], row[9]) == (station["rock_depth_m"], station["water_depth_m"])


def test_assumptions_hold_every_setting_with_its_source(values, settings):
    rows = {r[5]: r for r in values["Assumptions"].iter_rows(values_only=True) if r[5] in register()}
    assert rows["land.max_slope_deg"][1] == 18
    assert rows["land.max_slope_deg"][3] == SET
    assert rows["fence.height_m"][4] == register()["fence.height_m"].source
    assert rows["rates.mesh_per_m2"][1] == "1 / 2 / 4"
    # What the run does not use is left out: no distances to inputs that are not given.
    assert "land.keep_away_m.keep_out" not in rows
    assert "land.keep_away_m.dwellings" in rows
    # Nor is what a sill of concrete has, where mesh lies below the gates.
    unused = {f"gates.sill_{name}" for name in ("above_ground_m", "depth_m", "width_m")}
    assert set(register()) - set(rows) == {"land.keep_away_m.keep_out"} | unused
    assert {s.status for s in settings_used(settings)} == {"assumption", "published", "common practice", SET}


def test_pages_are_a4_lying_one_wide_with_heads_repeated(formulas):
    for sheet in formulas:
        setup = sheet.page_setup
        assert (setup.paperSize, setup.orientation, setup.fitToWidth, setup.fitToHeight) == (9, "landscape", None, 0)
        # One page wide is what the file format takes where nothing is said.
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        head = int(sheet.freeze_panes.removeprefix("A")) - 1
        assert sheet.print_title_rows == f"${head}:${head}"
        (area,) = sheet.print_area if isinstance(sheet.print_area, list) else [sheet.print_area]
        last = max(c.row for row in sheet.iter_rows() for c in row if c.value is not None)
        assert area.split("$")[-1] == f"{last}"
        for cell in sheet[head]:
            assert cell.value


def test_same_figures_same_bytes(file, summaries, settings, layers, tmp_path):
    assert written(summaries, settings, layers, tmp_path / "again.xlsx").read_bytes() == file.read_bytes()


def test_long_runs_stay_readable(summaries, settings, layers, tmp_path, monkeypatch):
    """With room for one bill and few stations the rest keeps the run's prices, and what is missing is named."""
    from packpale.review.workbook import workbook

    monkeypatch.setattr(workbook, "MOST_BILLS", 1)
    monkeypatch.setattr(workbook, "MOST_STATIONS", 45)
    book = openpyxl.load_workbook(written(summaries, settings, layers, tmp_path / "long.xlsx"))
    assert len(bills(book)) == 1
    remarks = [c.value for c in book["Compare"]["P"] if c.value]
    assert sum(str(r).startswith("No bill here") for r in remarks) == 2
    assert any(str(c.value).startswith("No room for") for c in book["Chainage"]["A"])


def test_texts_of_any_length_and_figures_that_are_none(tmp_path):
    with Book(tmp_path / "b.xlsx", title="&" * 300) as book:
        page: Page = book.sheet("x", [Column("a", 9), Column("b", 9, "0.0")], head=["t"])
        page.add(["x" * 40_000, float("nan")])
        page.add([None, float("inf")])
        page.finish()
    sheet = openpyxl.load_workbook(tmp_path / "b.xlsx")["x"]
    assert len(sheet["A4"].value) == 32_000
    assert [sheet["B4"].value, sheet["A5"].value, sheet["B5"].value] == [None] * 3
    assert len(sheet.oddFooter.left.text) < 255
