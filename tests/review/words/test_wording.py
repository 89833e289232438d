"""Figures as pages show them; the ratios of units are those of NIST SP 811 (2008), appendix B.8."""

import dataclasses
import re

import pytest

from packpale.review.words import MISSING, Wording, plain
from packpale.values.notes import Note, phrase
from packpale.values.quantity import Quantity, Span, given, hours, metres_per_hour, printed

METRIC, IMPERIAL = Wording(imperial=False, currency="EUR"), Wording(imperial=True, currency="USD")


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        (METRIC.area(12_345.0), "1.23 ha"),
        # 1 acre is 4.046 873 E+03 m2, printed for US survey feet; the international acre agrees to 4 ppm.
        (IMPERIAL.area(10 * 4046.873), "10.00 acres"),
        (METRIC.length(1234.4), "1,234 m"),
        (IMPERIAL.length(304.8), "1,000 ft"),
        (METRIC.dimension(1.2), "1.20 m"),
        (IMPERIAL.dimension(1.2192), "4.0 ft"),
        (METRIC.volume(999.6), "1,000 m³"),
        # 1 cubic yard is 7.645 549 E-01 m3.
        (IMPERIAL.volume(1000 * 0.7645549), "1,000 yd³"),
        # 1 square foot is 9.290 304 E-02 m2.
        (IMPERIAL.section(100 * 0.09290304), "100.0 ft²"),
        (IMPERIAL.speed(0.3048), "1.00 ft per hour"),
        (METRIC.discharge(0.125), "0.12 m³/s"),
        # 1 cubic foot is 2.831 685 E-02 m3.
        (IMPERIAL.discharge(10 * 0.02831685), "10.0 ft³/s"),
        (METRIC.discharge(None), MISSING),
        (METRIC.money(123_456.0), "EUR 123,000"),
        (METRIC.money(1_234_567.0), "EUR 1,230,000"),
        (METRIC.money(87.4), "EUR 87"),
        (METRIC.money(0.0), "EUR 0"),
        (METRIC.percent(0.0), "0 %"),
        (METRIC.percent(0.004), "under 1 %"),
        (METRIC.percent(0.5), "50 %"),
        (METRIC.percent(0.997), "over 99 %"),
        (METRIC.percent(1.0), "100 %"),
        (METRIC.slope(12.34), "12.3°"),
        (METRIC.quantity(1234.4, "m2"), "1,234 m²"),
        (METRIC.quantity(7.0, "each"), "7"),
        (IMPERIAL.quantity(304.8, "m"), "1,000 ft"),
        (METRIC.area(None), MISSING),
        (METRIC.money(float("nan")), MISSING),
        (METRIC.percent(None), MISSING),
    ],
)
def test_figure(text, shown):
    assert plain(text) == shown
    # Figure and unit do not part at the end of a line.
    assert not re.search(r"\d |EUR ", text)


@pytest.mark.parametrize(
    ("value", "metric", "imperial"),
    [
        # The rule's unit stays; where it is not the reader's, theirs follows.
        (printed(25, "ft"), "25 ft (7.62 m)", "25 ft"),
        (printed(3.0, "m"), "3 m", "3 m (9.8 ft)"),
        (printed(400, "ft2"), "400 ft² (37 m²)", "400 ft²"),
        (printed(45, "deg"), "45°", "45°"),
        # What is set is shown as set; 3 m are 9.8 ft wherever they stand.
        (given(3.0, "dimension"), "3 m", "9.8 ft"),
        (given(3.0, "length"), "3 m", "9.8 ft"),
        (given(1.25, "dimension"), "1.25 m", "4.1 ft"),
        (given(0.05, "dimension"), "0.05 m", "2 in"),
        (given(100.0, "length"), "100 m", "330 ft"),
        (given(5000.0, "area"), "0.5 ha", "1.2 acres"),
        (given(2.1, "number"), "2.1", "2.1"),
        (Quantity(16_000.0, "distance"), "16.0 km", "9.9 miles"),
        (Quantity(850.0, "distance"), "850 m", "2,789 ft"),
        (Quantity(0.02, "thickness"), "20.0 mm", "0.79 in"),
        (Quantity(0.3048 * 0.999, "dimension"), "0.30 m", "1.0 ft"),
        (Quantity(-0.004, "dimension"), "0.00 m", "-0.2 in"),
        (Quantity(-1.5, "dimension"), "-1.50 m", "-4.9 ft"),
        (Quantity(-10.0, "temperature"), "-10 °C", "14 °F"),
        (Quantity(101_325.0, "pressure"), "101.3 kPa", "29.9 inHg"),
        (hours(11), "11 h", "11 h"),
        (hours(11.25), "11 h 15 min", "11 h 15 min"),
        (Quantity(12.0, "duration"), "under 1 min", "under 1 min"),
        (Quantity(30.0, "duration"), "1 min", "1 min"),
        (Quantity(149.0, "duration"), "2 min", "2 min"),
        (given(30.0, "duration"), "30 s", "30 s"),
        (given(600.0, "duration"), "10 min", "10 min"),
        # As many digits as were set, two at least: 366 m are 1,200.8 ft, 10 m 32.8 ft, 100 m 328.1 ft, 0.3 m 11.8 in.
        (given(366.0, "dimension"), "366 m", "1,200 ft"),
        (given(10.0, "dimension"), "10 m", "33 ft"),
        (given(10.5, "dimension"), "10.5 m", "34.4 ft"),
        (given(0.3, "dimension"), "0.3 m", "12 in"),
        (given(2.5, "dimension"), "2.5 m", "8.2 ft"),
        (printed(1000, "m"), "1,000 m", "1,000 m (3,281 ft)"),
        (Span(0.2, 0.3, "volume"), "0 m³", "0 yd³"),
        (Quantity(0.0, "duration"), "0 min", "0 min"),
        (Quantity(0.3, "length"), "under 1 m", "1 ft"),
        (Quantity(0.1, "length"), "under 1 m", "under 1 ft"),
        (Quantity(0.0, "length"), "0 m", "0 ft"),
        (metres_per_hour(0.3048), "0.30 m per hour", "1.00 ft per hour"),
        (Span(304.0, 307.0, "length"), "304 to 307 m", "997 to 1,007 ft"),
        (Span(3.0, 5.0, "dimension", given=True), "3 to 5 m", "9.8 to 16 ft"),
        (12_345, "12,345", "12,345"),
        ("Anna's 5 m oak", "Anna's 5 m oak", "Anna's 5 m oak"),
        ((phrase("{n} gates", n=2), "a ford"), "2 gates, a ford", "2 gates, a ford"),
        (Quantity(float("nan"), "length"), MISSING, MISSING),
    ],
)
def test_what_rooms_hand_over_is_said_in_the_readers_units(value, metric, imperial):
    """Exact by definition: a foot 0.3048 m, an inch a twelfth of it, a mile 5,280 ft, an acre 43,560 square feet."""
    assert plain(METRIC.say(value)) == metric
    assert plain(IMPERIAL.say(value)) == imperial


def test_a_minus_is_the_one_of_print():
    assert METRIC.dimension(-1.5) == "\u22121.50\u00a0m"
    assert METRIC.dimension(-0.001) == "0.00\u00a0m"


def test_a_phrase_names_settings_in_words_or_by_key():
    found = phrase("over {length}; raise {setting:trench.working_strip_m}", length=Quantity(10.0, "length"))
    assert found.settings == ("trench.working_strip_m",)
    assert plain(IMPERIAL.say(found)) == "over 33 ft; raise the working strip"
    assert plain(Wording(False, "EUR", by_key=True).say(found)) == "over 10 m; raise trench.working_strip_m"


def test_a_users_own_text_is_shown_as_it_is():
    hostile = "{setting} {0} {{7*7}} 5 m {%x"
    assert IMPERIAL.say(phrase("the tree {name}", name=hostile)) == f"the tree {hostile}"


def test_a_note_says_its_pack_where_there_are_several():
    note = Note("trench in water", "it stands in water over {length}", values={"length": Quantity(10, "length")})
    assert plain(METRIC.note(note).text) == "It stands in water over 10 m."
    of_two = dataclasses.replace(note, packs=(1, 2), rest="Pump it.")
    assert plain(METRIC.note(of_two).text) == "Packs 1 and 2: it stands in water over 10 m. Pump it."
    assert plain(METRIC.note(of_two, several_packs=False).text) == "It stands in water over 10 m. Pump it."


@pytest.mark.parametrize("unit", ["m", "m2", "m3", "each"])
def test_quantity_times_rate_is_the_same_price_in_both_systems(unit):
    def number(text):
        return float(text.split()[0].replace(",", ""))

    prices = [number(w.quantity(1e6, unit)) * number(w.rate(1234.0, unit)) for w in (METRIC, IMPERIAL)]
    assert prices[1] == pytest.approx(prices[0], rel=1e-4)


def test_sentences_begin_with_a_capital_and_a_users_own_text_stays_as_it_is():
    values = {"share": Quantity(0.004, "share"), "file": "dem.tif"}
    note = Note(
        "corners", "{share} of {file}", "{setting:land.margin_m} is set. {file} is read. {share} is little.", values
    )
    assert plain(METRIC.note(note).text) == (
        "Under 1 % of dem.tif. The margin of ground read round the plot is set. dem.tif is read. Under 1 % is little."
    )
    assert plain(METRIC.note(dataclasses.replace(note, packs=(1,))).lead) == "Pack 1: under 1 % of dem.tif"
    assert plain(Wording(False, "EUR", by_key=True).note(note).rest).startswith("land.margin_m is set. dem.tif is")
