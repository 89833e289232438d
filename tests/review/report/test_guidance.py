"""Published rules beside the settings, as the page of what a run rests on tells them."""

import pytest

from packpale.review.report.blocks import Section, walk
from packpale.review.report.guidance import GROUPS, ORDER, guidance_rows, guidance_section
from packpale.review.words import Wording, plain
from packpale.values.guidance import guidance
from review import factory, html_pages

METRIC = Wording(imperial=False, currency="EUR")
FEET = Wording(imperial=True, currency="USD")


def row_of(project, text, wording=METRIC):
    return next(row for row in guidance_rows(project, wording) if text in row.source)


def test_page_counts_and_lists_the_rules(run):
    text = html_pages.read(run.folder / "basis.html").text
    rows = guidance_rows(run.settings, METRIC)
    counts = {verdict: [row.verdict for row in rows].count(verdict) for verdict in ORDER}
    assert sum(counts.values()) == len(rows) == len(guidance())
    assert min(counts.values()) > 0
    assert (
        f"fall short of {counts['falls short']}, meet {counts['meets']}, and meet {counts['in part']} in part" in text
    )
    for row in rows:
        assert row.source in text
        assert plain(row.asked) in text


def test_wolves_come_first_and_foxes_are_folded_away():
    rows = guidance_rows(factory.project(), METRIC)
    order = [(list(GROUPS).index(row.rule.group), ORDER.index(row.verdict)) for row in rows]
    assert order == sorted(order)
    folded = {s.title: s.look for s in walk(guidance_section(factory.project(), METRIC)) if isinstance(s, Section)}
    assert [title for title, look in folded.items() if look == "folded"] == [GROUPS["others"]]
    assert {row.rule.animals for row in rows if row.rule.group == "others"} == {
        "coyotes and foxes",
        "foxes",
        "silver foxes",
        "hyenas",
        "hyenas and large cats",
    }


def test_what_no_setting_covers_is_met_in_part_only():
    row = row_of(factory.project(), "901:1-2-01")
    # Live wires belong to the rule, and no setting says that there are any.
    assert (row.verdict, "live wires" in row.rule.text) == ("in part", True)
    barrier = next(r for r in guidance_rows(factory.project(), METRIC) if r.rule.name == "ohio dig barrier")
    assert barrier.verdict == "no dimension given"
    assert plain(barrier.asked) == "depth of the skirt: no dimension given"


@pytest.mark.parametrize("wording", [METRIC, FEET], ids=["metric", "imperial"])
def test_a_rule_keeps_the_unit_it_is_printed_in(wording):
    project = factory.project(fence={"overhang_m": 0.8})
    row = row_of(project, "901:1-2-01", wording)
    assert row.verdict == "falls short"
    assert plain(row.asked).startswith("overhang at least 3 ft")
    assert ("0.91 m" in plain(row.asked)) == (wording is METRIC)
    assert plain(row.taken).startswith("overhang 0.8 m" if wording is METRIC else "overhang 2.6 ft")


def test_ways_are_alternatives_and_second_hand_is_said():
    row = next(r for r in guidance_rows(factory.project(), METRIC) if "lower one with an overhang" in r.rule.text)
    assert row.asked.count(", or ") == 1
    assert row.source.endswith("(2016; read second-hand)")


def test_settings_nobody_speaks_of_are_named(run):
    text = html_pages.read(run.folder / "basis.html").text
    assert "speak of none of these settings: " in text
    assert "Largest straight distance between two posts" in text.partition("speak of none of these settings: ")[2]
