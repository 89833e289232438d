"""The table of published guidance on the first page."""

import re

from packpale.review.guidance import guidance_table
from packpale.review.words import Wording, plain
from review import factory, pages

METRIC = Wording(imperial=False, currency="EUR")


def row_of(project, text, wording=METRIC):
    return next(row for row in guidance_table(project, wording).rows if text in row.source)


def test_page_counts_and_lists_the_rules(run):
    text = pages.read(run.folder / "index.html").text
    table = guidance_table(run.settings, METRIC)
    assert sum(table.counts.values()) == len(table.rows)
    assert min(table.counts.values()) > 0
    assert f"fall short of {table.counts['falls short']} and meet {table.counts['meets']}" in text
    for row in table.rows:
        assert row.source in text
        assert plain(row.asked) in text


def test_what_falls_short_comes_first():
    verdicts = [row.verdict for row in guidance_table(factory.project(), METRIC).rows]
    assert verdicts == sorted(verdicts, key=["falls short", "not covered", "meets"].index)


def test_a_row_shows_figure_and_setting_in_the_units_of_the_run():
    project = factory.project(fence={"overhang_m": 0.8})
    row = row_of(project, "901:1-2-01")
    assert row.verdict == "falls short"
    assert plain(row.asked) == "overhang at least 0.91 m and overhang above the horizontal 45°"
    assert plain(row.taken) == "overhang 0.80 m, overhang above the horizontal 45°"
    feet = row_of(project, "901:1-2-01", Wording(imperial=True, currency="USD"))
    assert plain(feet.asked).startswith("overhang at least 3.0 ft")


def test_ways_are_alternatives_and_second_hand_is_said():
    row = next(r for r in guidance_table(factory.project(), METRIC).rows if "lower one with an overhang" in r.text)
    assert row.asked.count(", or ") == 1
    assert row.source.endswith("(2016; read second-hand)")


def test_settings_nobody_speaks_of_are_named(run):
    text = pages.read(run.folder / "index.html").text
    assert re.search(r"speak of none of these settings: .*Largest straight distance between two posts", text)
