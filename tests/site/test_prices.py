"""Prices of one's own from a table: in any unit of the trade, each with its source and date."""

import csv
import io

import pytest

from made_inputs import Made
from packpale.earthworks.estimate_class import estimate_class
from packpale.earthworks.model import Item
from packpale.faults import Faults
from packpale.review.assumed import invented_rates, settings_used
from packpale.run.cache_key import run_key, settings_hash
from packpale.run.run import read_and_open
from packpale.settings import RateSettings, read_settings
from packpale.site.prices import UNITS, is_empty, table_to_fill_in, unit_of, with_prices

HEAD = "key,low,likely,high,unit,currency,source,date\n"


@pytest.fixture
def made(tmp_path):
    return Made(tmp_path)


def priced(made, rows, more=""):
    made.text(HEAD + rows, "prices.csv")
    file = made.text(made.settings_text() + f'[rates]\nfile = "prices.csv"\n{more}', "land.toml")
    return with_prices(read_settings(file))


def faults(made, rows, more=""):
    with pytest.raises(Faults) as caught:
        priced(made, rows, more)
    return caught.value.lines


def test_prices_of_a_table_are_the_run_s_rates_with_whose_they_are(made):
    rows = "excavate_soil_per_m3,6,9,15,m3,EUR,Ruskaval Plant,2026-03\ngate_each,,400,,each,EUR,a smith,2025\n"
    project = priced(made, rows + "post_each,,,,each,EUR,,\n")
    assert project.rates.excavate_soil_per_m3 == (6, 9, 15)
    assert project.rates.gate_each == (400, 400, 400)
    assert project.rates.post_each == RateSettings().post_each
    assert project.rates.quoted["gate_each"].date == "2025"
    used = {s.key: s for s in settings_used(project)}
    assert used["rates.excavate_soil_per_m3"].source == "Ruskaval Plant, 2026-03"
    assert "none; an" not in used["rates.gate_each"].source


@pytest.mark.parametrize(
    ("key", "unit", "size"),
    # Exact by definition: a foot is 0.3048 m, a yard three feet.
    [
        ("excavate_soil_per_m3", "yd3", 0.9144**3),
        ("mesh_per_m2", "ft2", 0.3048**2),
        ("mesh_per_m2", "yd2", 0.9144**2),
        ("erect_fence_per_m", "ft", 0.3048),
        ("erect_fence_per_m", "m", 1.0),
    ],
)
def test_prices_for_feet_and_yards(made, key, unit, size):
    project = priced(made, f"{key},10,20,30,{unit},EUR,x,2026\n")
    assert getattr(project.rates, key) == pytest.approx((10 / size, 20 / size, 30 / size))


def test_all_faults_of_a_table_arrive_together(made):
    rows = (
        "excavate_soil_per_m,6,9,15,m3,EUR,x,2026\n"
        "gate_each,9,6,5,each,EUR,x,2026\n"
        "post_each,1,2,3,m,GBP,,March\n"
        "mesh_per_m2,1,two,3,m2,EUR,x,2026-13\n"
        "concrete_per_m3,1,2,3,m3,EUR,x,2026\n"
        "concrete_per_m3,1,2,3,m3,EUR,x,2026\n"
        "erect_fence_per_m,1,2,3,m,EUR,x,2026\n"
    )
    lines = faults(made, rows, "erect_fence_per_m = [1, 2, 3]\n")
    for line, part in zip(
        lines,
        [
            'row 2: key is "excavate_soil_per_m", which is no rate; did you mean "excavate_soil_per_m3"?',
            "row 3: low, likely, high are 9, 6, 5; write them from 0 up in this order",
            'row 4: unit of post_each is "m", allowed are each; write what the price is for',
            'row 4: currency is "GBP", the run\'s is "EUR"; change the price, or currency in the settings',
            "row 4: source is empty; write whose price it is",
            'row 4: date is "March"; write when the price was given, such as 2026-03',
            'row 5: date is "2026-13"; write when',
            'row 5: likely is "two"; it must be a finite number',
            "row 7: concrete_per_m3 is there already; drop one of the rows",
            "erect_fence_per_m stands in the settings under [rates] too; drop one of the two",
        ],
        strict=True,
    ):
        assert line.startswith("prices.csv")
        assert part in line
    made.text("key,low\nx,1\n", "prices.csv")
    with pytest.raises(Faults) as caught:
        with_prices(read_settings(made.folder / "land.toml"))
    assert len(caught.value.lines) == 6


def test_faults_of_prices_and_of_inputs_are_told_together(made):
    made.text(HEAD + "gate,1,2,3,each,EUR,x,2026\n", "prices.csv")
    text = made.settings_text().replace("plots.gpkg", "no.gpkg")
    file = made.text(text + '[rates]\nfile = "prices.csv"\n', "land.toml")
    with pytest.raises(Faults) as caught:
        read_and_open(file)
    assert len(caught.value.lines) == 2


def test_a_run_whose_rates_are_all_one_s_own_is_not_called_invented(made):
    items = [Item(key, "", unit_of(key), 10.0, (1.0, 2.0, 3.0)) for key in RateSettings.model_fields]
    every = "".join(f"{key},1,2,3,{unit_of(key)},EUR,x,2026\n" for key in RateSettings.model_fields)
    stated = estimate_class(items, near_pits=1.0, rates_set=priced(made, every).rates.model_fields_set)
    assert stated.number == 4
    assert "invented" not in stated.reason
    assert invented_rates(priced(made, every)) == (0, len(items))
    most = every.replace("gate_each,1,2,3", "gate_each,,,")
    stated = estimate_class(items, near_pits=1.0, rates_set=priced(made, most).rates.model_fields_set)
    assert stated.reason.startswith("Class 5: 1 of the rates are the programme's own and invented")


def test_where_the_table_lies_is_no_setting_and_what_it_says_is(made):
    one = priced(made, "gate_each,1,2,3,each,EUR,x,2026\n")
    moved = one.model_copy(update={"rates": one.rates.model_copy(update={"file": made.folder / "other.csv"})})
    dearer = priced(made, "gate_each,1,2,4,each,EUR,x,2026\n")
    asked = priced(made, "gate_each,1,2,3,each,EUR,y,2026\n")
    assert settings_hash(one) == settings_hash(moved)
    assert run_key(one, {}) == run_key(moved, {})
    assert len({run_key(p, {}) for p in (one, dearer, asked)}) == 3


def test_the_table_to_fill_in_has_every_rate_once_and_what_is_filled_in_is_read(made):
    text = table_to_fill_in({"gate_each": "Gate"}, "EUR", [("Upper, field", {"gate_each": 2.0})], feet=True)
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [row["key"] for row in rows] == list(RateSettings.model_fields)
    assert {row["unit"] for row in rows} == {"ft", "ft2", "yd3", "each"}
    assert next(row for row in rows if row["key"] == "gate_each")["quantity Upper, field"] == "2"
    path = made.text(text, "to fill in.csv")
    assert is_empty(path)
    for row in rows:
        row |= {"likely": "5", "source": "x", "date": "2026-01-31"}
    out = io.StringIO()
    writer = csv.DictWriter(out, rows[0])
    writer.writeheader()
    writer.writerows(rows)
    made.text(out.getvalue(), "to fill in.csv")
    assert not is_empty(path)
    file = made.text(made.settings_text() + '[rates]\nfile = "to fill in.csv"\n', "land.toml")
    rates = with_prices(read_settings(file)).rates
    assert rates.gate_each == (5, 5, 5)
    assert rates.excavate_soil_per_m3[1] == pytest.approx(5 / 0.9144**3)


def test_every_rate_has_a_unit_of_the_trade():
    assert {unit_of(key) for key in RateSettings.model_fields} == set(UNITS)


def test_quotes_in_the_settings_name_rates(made):
    quote = 'quoted = {gate_each = {source = "a smith", date = "2026"}}\n'
    project = read_settings(made.text(made.settings_text() + f"[rates]\n{quote}", "land.toml"))
    assert project.rates.quoted["gate_each"].source == "a smith"
    with pytest.raises(Faults, match=r"rates\.quoted: quoted\.gate: is no rate; known: strip_and_clear"):
        read_settings(made.text(made.settings_text() + "[rates]\n" + quote.replace("gate_each", "gate"), "land.toml"))
