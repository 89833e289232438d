"""The blocks of a report: made, made plain for JSON, and made again."""

import json

import pytest

from packpale.review.report.blocks import (
    Columns,
    Section,
    Sketch,
    code,
    figures,
    from_plain,
    link,
    paragraph,
    plain,
    points,
    strong,
    table,
    text_of,
    words,
)
from packpale.review.report.plot import plot_report, report_from_plain
from review import factory

TREE = Section(
    "A title",
    (
        paragraph("one ", strong("two"), ", ", code("three"), link("four", "map.html")),
        points(["five", words("six ", strong("seven"))]),
        figures([("eight", "9")]),
        Columns(((paragraph("left"),), (paragraph("right"),))),
        table("T", (("Head", "name"), ("S", "sketch")), [("ten", Sketch("<svg/>"))], foot=[("sum", "")]),
    ),
    "page.html#a",
)


def test_a_tree_reads_back_the_same_from_json():
    assert from_plain(json.loads(json.dumps(plain(TREE)))) == TREE


def test_a_plots_report_reads_back_the_same(fitting, barren):
    for plot in (fitting, barren):
        made = plot_report(factory.source(plot))
        assert report_from_plain(json.loads(json.dumps(made.to_plain()))) == made


@pytest.mark.parametrize("value", [{"kind": "nothing"}, {"kind": "run", "words": "x"}, {"text": "x"}])
def test_what_is_no_tree_is_refused(value):
    with pytest.raises((KeyError, TypeError)):
        from_plain(value)


def test_a_row_with_a_cell_too_few_is_refused():
    with pytest.raises(ValueError, match="1 cells under 2 heads"):
        table("T", (("A", "name"), ("B", "figure")), [("only one",)])


def test_words_of_a_tree_stand_in_the_order_of_reading():
    assert text_of(TREE) == "one two , three four five six seven eight 9 left right Head S ten sum"


def test_every_address_of_a_section_is_there_once(fitting):
    report = plot_report(factory.source(fitting))
    ids = [s.id for s in report.sections]
    assert len(set(ids)) == len(ids) > 10
    assert all(i.startswith("plots/plot-0/index.html#") for i in ids)


def test_a_plot_on_which_nothing_fits_says_why_and_what_limits_it(barren):
    report = plot_report(factory.source(barren))
    said = factory.words_of(report.sheet)
    assert "No enclosure fits here." in said
    assert "No fence line fits. The largest usable patch has 0.31 ha." in said
    assert [s.title for s in report.sections] == ["What limits this plot", "For a GIS"]
