"""What each size costs: the chart and its tables, by hand."""

import itertools
import re

import pytest

from packpale.review.report.size_prices import BOTTOM, HEIGHT, LEFT, MOST_CURVES, RIGHT, TOP, WIDTH, size_prices
from packpale.review.words import Wording
from review import factory, menus
from review.html_pages import Page

METRIC, IMPERIAL = (
    factory.Plainly(Wording(imperial=False, currency="EUR")),
    factory.Plainly(Wording(imperial=True, currency="EUR")),
)


def row(aim, value, area=None, price=None):
    return {"aim": aim, "value": value, "feasible": area is not None, "area_m2": area, "price_likely": price}


NORTH = [
    row("size", 1.0, 10_000.0, 80_000.0),
    row("size", 2.0, 20_000.0, 110_000.0),
    row("size", 5.0),
    row("share", 0.1, 24_000.0, 130_000.0),
    row("share", 0.2, 40_000.0, 200_000.0),
    row("budget", 90_000.0, 13_000.0, 89_900.0),
]
SOUTH = [row("size", 1.0, 10_000.0, 60_000.0), row("size", 2.0), row("share", 0.1, 12_000.0, 70_000.0)]
NONE = [row("size", 1.0), row("share", 0.1)]


def section(*plots, share=0.1, wording=METRIC):
    return size_prices(plots, share=share, wording=wording)


def test_equal_sizes_stand_beside_each_other():
    found = section(("north", NORTH), ("south", SOUTH), ("none", NONE))
    # 5 ha nobody has, and 2 ha one plot alone.
    assert found.sizes == ("1.00 ha",)
    assert found.equal == (
        ("A", "north", ("80,000",), "2.40 ha", "130,000"),
        ("B", "south", ("60,000",), "1.20 ha", "70,000"),
    )


def test_the_largest_sizes_that_half_of_the_plots_have_are_compared():
    many = [row("size", size, size * 1e4, 1e5 * size) for size in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)]
    found = section(("a", many), ("b", many[:6]), ("c", many[:5]), ("d", many[:2]))
    assert found.sizes == ("0.20 ha", "0.50 ha", "1.00 ha", "2.00 ha", "5.00 ha")


def test_where_a_line_encloses_more_than_asked_for_it_says_how_much():
    moss = [row("size", 1.0, 50_000.0, 186_000.0), row("size", 5.0, 50_000.0, 186_000.0)]
    assert section(("moss", moss)).equal[0][2] == ("186,000 (5.00 ha)", "186,000")
    assert section(("moss", moss)).more == (("A", "moss", ("–",)),)


def test_a_step_that_reaches_further_than_its_head_says_from_where_to_where():
    moss = [row("size", 0.5, 5_000.0, 70_000.0), *(row("size", s, 50_000.0, 205_000.0) for s in (1.0, 2.0, 5.0))]
    found = section(("moss", moss))
    # (205,000 - 70,000) / 4.5 ha
    assert found.more == (("A", "moss", ("30,000 (0.50 ha to 5.00 ha)", "–", "–")),)
    # Level from the size asked for to what is enclosed: a hectare costs as much as five.
    heights = [y for x, y in found.curves[0].points]
    assert len(heights) == 4
    assert heights[0] > heights[1] == heights[2] == heights[3]


def test_the_next_hectare_costs_the_difference_of_prices_over_that_of_areas():
    found = section(("north", NORTH), ("twin", NORTH), ("south", SOUTH))
    assert found.steps == ("1.00 ha to 2.00 ha",)
    # South has nothing larger than one hectare.
    assert found.more == (("A", "north", ("30,000",)), ("B", "twin", ("30,000",)))
    acres = section(("north", NORTH), ("twin", NORTH), wording=IMPERIAL)
    assert acres.steps == ("2.47 acres to 4.94 acres",)
    # 30,000 x 0.40468564 = 12,141
    assert acres.more[0][2] == ("12,100",)


def test_of_the_shares_only_those_that_the_settings_allow_end_a_curve():
    assert section(("north", NORTH)).equal[0][3:] == ("2.40 ha", "130,000")
    assert section(("north", NORTH), share=0.2).equal[0][3:] == ("4.00 ha", "200,000")


def test_a_single_plot_shows_its_own_sizes():
    assert section(("north", NORTH)).sizes == ("1.00 ha", "2.00 ha")


def test_curves_lie_where_their_figures_are():
    north, south = section(("north", NORTH), ("south", SOUTH)).curves
    wide, high = WIDTH - LEFT - RIGHT, HEIGHT - TOP - BOTTOM

    def at(area, price):
        return pytest.approx((LEFT + wide * area / 24_000, HEIGHT - BOTTOM - high * price / 130_000))

    assert list(north.points) == [at(10_000, 80_000), at(20_000, 110_000), at(24_000, 130_000)]
    assert list(south.points) == [at(10_000, 60_000), at(12_000, 70_000)]
    assert (north.dash, north.letter) != (south.dash, south.letter)


def test_ticks_are_round_and_reach_across_the_chart():
    found = section(("north", NORTH))
    assert [t.text for t in found.across] == ["0", "0.5", "1", "1.5", "2"]
    assert found.across[2].at == pytest.approx(LEFT + (WIDTH - LEFT - RIGHT) / 2.4)
    assert [t.text for t in found.up] == ["0", "50,000", "100,000"]


def test_letters_of_curves_that_end_together_do_not_lie_over_each_other():
    curves = section(*((f"plot {k}", NORTH) for k in range(5))).curves
    heights = sorted(c.letter_at[1] for c in curves)
    assert min(b - a for a, b in itertools.pairwise(heights)) >= 15.0


def test_more_plots_than_a_chart_can_tell_apart_stand_in_the_table_alone():
    found = section(*((f"plot {k}", NORTH) for k in range(30)))
    assert len(found.curves) == MOST_CURVES
    assert found.left_out == 30 - MOST_CURVES
    assert [letter for letter, *_ in found.equal][24:28] == ["Y", "Z", "AA", "AB"]


def test_without_any_line_there_is_no_section():
    assert section(("none", NONE), ("drawn", [])) is None


@pytest.mark.parametrize("units", ["metric", "imperial"])
def test_the_page_shows_chart_and_tables(fitting, tmp_path, units):
    plots = [
        menus.with_menu(fitting, budget=90_000.0),
        menus.with_menu(factory.renamed(fitting, factory.HOSTILE), dearer=1.5),
    ]
    factory.run_folder(tmp_path, plots, factory.project(units=units))
    page = (tmp_path / "index.html").read_text(encoding="utf-8")
    assert factory.HOSTILE not in page
    text = " ".join(Page(page).texts)
    assert "What each size costs" in text
    assert ("What each hectare more costs" if units == "metric" else "What each acre more costs") in text
    assert len(re.findall("<polyline points", page)) == 2
    assert "EUR 82,000" in page or "82,000" in text


def test_a_run_without_menus_has_no_such_section(run):
    assert "What each size costs" not in (run.folder / "index.html").read_text(encoding="utf-8")
