"""How each figure is computed, as the page of what a run rests on tells it."""

from packpale.review.report.blocks import text_of
from packpale.review.report.method import method_section
from packpale.values.table import rows_of


def test_each_figure_says_how_it_is_computed_and_who_says_so():
    rows = rows_of("methods.csv")
    assert len(rows) == len({row["figure"] for row in rows}) > 10
    assert all(list(row) == ["figure", "how", "formula", "source"] and all(row.values()) for row in rows)
    told = text_of(method_section())
    for row in rows:
        assert all(text in told for text in row.values()), row["figure"]
