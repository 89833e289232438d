"""Figures as pages show them; the ratios of units are those of NIST SP 811 (2008), appendix B.8."""

import pytest

from packpale.review.wording import MISSING, Wording

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
    assert text == shown


@pytest.mark.parametrize("unit", ["m", "m2", "m3", "each"])
def test_quantity_times_rate_is_the_same_price_in_both_systems(unit):
    def number(text):
        return float(text.split()[0].replace(",", ""))

    prices = [number(w.quantity(1e6, unit)) * number(w.rate(1234.0, unit)) for w in (METRIC, IMPERIAL)]
    assert prices[1] == pytest.approx(prices[0], rel=1e-4)


@pytest.mark.parametrize(
    ("metric", "imperial"),
    [
        (
            "over 3 m (at chainage 304 to 307 m) of 2.5 m only 2.19 m",
            "over 10 ft (at chainage 997 to 1,007 ft) of 8.2 ft only 7.19 ft",
        ),
        ("1,388 m3 of rock, 12.5 m² of mesh, 0.5 ha", "1,815 yd³ of rock, 134.5 ft² of mesh, 1.2 acres"),
        ("9 km off, 30 cm up, 2 mm thick; 20 x 45 m", "5.6 miles off, 11.8 in up, 0.08 in thick; 66 x 148 ft"),
        (
            "29 CFR 1926.651(j)(2), 14 of 15 rates, 1 month, gate 2; m",
            "29 CFR 1926.651(j)(2), 14 of 15 rates, 1 month, gate 2; m",
        ),
    ],
)
def test_sentences_are_told_in_imperial_units(metric, imperial):
    """Factors exact by definition: a foot 0.3048 m, a yard 3 ft, an acre 43,560 square feet, a mile 5,280 ft."""
    assert Wording(imperial=True, currency="EUR").told(metric) == imperial
    assert Wording(imperial=False, currency="EUR").told(metric) == metric.replace("m3", "m³")


def test_sentences_of_the_rooms_have_their_figures_as_the_tables_have_them():
    text = "falls 1060 m3 short over 1074.50 m (29 CFR 1926.651(j)(2)), at chainage 12 to 1300 m; 0.5 ha"
    assert METRIC.told(text) == (
        "falls 1,060 m³ short over 1,074.50 m (29 CFR 1926.651(j)(2)), at chainage 12 to 1,300 m; 0.5 ha"
    )
