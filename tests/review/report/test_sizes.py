"""What each size costs: the chart and its tables, by hand."""

import itertools
import re

import pytest
from defusedxml.ElementTree import fromstring

from packpale.review.report.blocks import Chart, Table, text_of, walk
from packpale.review.report.sizes import BOTTOM, LEFT, LETTER_STEP, MOST_CURVES, RIGHT, TOP, size_prices
from packpale.review.words import Wording
from review import factory, menus
from review.html_pages import Page

SVG = "{http://www.w3.org/2000/svg}"
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
    return size_prices(plots, share, wording)


def rows_of(found):
    """Rows of the two tables, heads first, their cells as text."""
    tables = [block for block in walk(found) if isinstance(block, Table)]
    texts = [
        [[text_of(c.head) for c in one.columns], *([text_of(c) for c in row] for row in one.rows)] for one in tables
    ]
    return texts if len(texts) == 2 else [*texts, []]


def parts(found, tag):
    """Parts of the chart, each as its attributes and text."""
    (chart,) = (block for block in walk(found) if isinstance(block, Chart))
    return [(part.attrib, part.text) for part in fromstring(chart.svg).iter(tag)]


def letters(found):
    """Letters of the curves, and where they stand."""
    bold = [(a, text) for a, text in parts(found, f"{SVG}text") if "font-weight" in a and a["fill"] != "none"]
    return {text: (float(a["x"]), float(a["y"])) for a, text in bold}


def test_equal_sizes_stand_beside_each_other():
    equal, _ = rows_of(section(("north", NORTH), ("south", SOUTH), ("none", NONE)))
    # 5 ha nobody has, and 2 ha one plot alone.
    assert equal == [
        ["Plot", "1 ha, EUR", "Largest found", "for EUR"],
        ["A north", "80,000", "2.40 ha", "130,000"],
        ["B south", "60,000", "1.20 ha", "70,000"],
    ]


def test_the_largest_sizes_that_half_of_the_plots_have_are_compared():
    many = [row("size", size, size * 1e4, 1e5 * size) for size in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)]
    equal, _ = rows_of(section(("a", many), ("b", many[:6]), ("c", many[:5]), ("d", many[:2])))
    assert equal[0][1:-2] == ["0.2 ha, EUR", "0.5 ha, EUR", "1 ha, EUR", "2 ha, EUR", "5 ha, EUR"]


def test_where_a_line_encloses_more_than_asked_for_it_says_how_much():
    moss = [row("size", 1.0, 50_000.0, 186_000.0), row("size", 5.0, 50_000.0, 186_000.0)]
    equal, more = rows_of(section(("moss", moss)))
    assert equal[1][1:3] == ["186,000 (5.00 ha)", "186,000"]
    assert more[1] == ["A moss", "–"]


def test_a_step_that_reaches_further_than_its_head_says_from_where_to_where():
    moss = [row("size", 0.5, 5_000.0, 70_000.0), *(row("size", s, 50_000.0, 205_000.0) for s in (1.0, 2.0, 5.0))]
    found = section(("moss", moss))
    # (205,000 - 70,000) / 4.5 ha
    assert rows_of(found)[1][1] == ["A moss", "30,000 (0.50 ha to 5.00 ha)", "–", "–"]
    # Level from the size asked for to what is enclosed: a hectare costs as much as five.
    ((curve, _),) = parts(found, f"{SVG}polyline")
    heights = [float(point.partition(",")[2]) for point in curve["points"].split()]
    assert len(heights) == 4
    assert heights[0] > heights[1] == heights[2] == heights[3]


def test_the_next_hectare_costs_the_difference_of_prices_over_that_of_areas():
    _, more = rows_of(section(("north", NORTH), ("twin", NORTH), ("south", SOUTH)))
    # South has nothing larger than one hectare.
    assert more == [["Plot", "From 1 ha to 2 ha"], ["A north", "30,000"], ["B twin", "30,000"]]
    _, acres = rows_of(section(("north", NORTH), ("twin", NORTH), wording=IMPERIAL))
    # 30,000 x 0.40468564 = 12,141
    assert acres[:2] == [["Plot", "From 2.5 acres to 4.9 acres"], ["A north", "12,100"]]


def test_of_the_shares_only_those_that_the_settings_allow_end_a_curve():
    assert rows_of(section(("north", NORTH)))[0][1][-2:] == ["2.40 ha", "130,000"]
    assert rows_of(section(("north", NORTH), share=0.2))[0][1][-2:] == ["4.00 ha", "200,000"]


def test_a_single_plot_shows_its_own_sizes():
    assert rows_of(section(("north", NORTH)))[0][0][1:-2] == ["1 ha, EUR", "2 ha, EUR"]


def test_curves_lie_where_their_figures_are():
    found = section(("north", NORTH), ("south", SOUTH))
    (north, _), (south, _) = parts(found, f"{SVG}polyline")

    def at(area, price):
        x, y = LEFT + (RIGHT - LEFT) * area / 24_000, BOTTOM - (BOTTOM - TOP) * price / 130_000
        return f"{x:.1f},{y:.1f}"

    assert north["points"].split() == [at(10_000, 80_000), at(20_000, 110_000), at(24_000, 130_000)]
    assert south["points"].split() == [at(10_000, 60_000), at(12_000, 70_000)]
    assert north["stroke-dasharray"] != south["stroke-dasharray"]
    assert list(letters(found)) == ["A", "B"]


def test_ticks_are_round_and_reach_across_the_chart():
    texts = parts(section(("north", NORTH)), f"{SVG}text")
    across = {text: float(a["x"]) for a, text in texts if a.get("text-anchor") == "middle"}
    assert list(across) == ["0", "0.5", "1", "1.5", "2"]
    assert across["1"] == pytest.approx(LEFT + (RIGHT - LEFT) / 2.4, abs=0.05)
    up = [text for a, text in texts if a.get("text-anchor") == "end" and a["x"] == str(int(LEFT - 8))]
    assert up == ["0", "50,000", "100,000"]


def test_letters_of_curves_that_end_together_do_not_lie_over_each_other():
    placed = letters(section(*((f"plot {k}", NORTH) for k in range(5))))
    heights = sorted(y for _, y in placed.values())
    assert len(heights) == 5
    assert min(b - a for a, b in itertools.pairwise(heights)) >= LETTER_STEP


def test_more_plots_than_a_chart_can_tell_apart_stand_in_the_table_alone():
    found = section(*((f"plot {k}", NORTH) for k in range(30)))
    assert len(parts(found, f"{SVG}polyline")) == MOST_CURVES
    assert f"{30 - MOST_CURVES} more stand in the table" in text_of(found)
    assert [row[0].split()[0] for row in rows_of(found)[0][25:29]] == ["Y", "Z", "AA", "AB"]


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
