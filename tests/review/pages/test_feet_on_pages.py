"""Pages for readers who think in feet: no metric figure but those that a rule or a definition has in metres."""

import re

import pytest

from packpale.review.plot import write_plot
from packpale.review.words import plain
from review import factory, html_pages

METRIC = re.compile(r"(?<![\w.,:-])\d[\d,.]*(?: to \d[\d,.]*)? ?(?:km|ha|m²|m³|mm|cm|m|metres|hectares?)\b(?! \()")
KEPT = ("dB at 1 m",)
"""The reference distance of a sound level."""


@pytest.fixture(scope="module")
def in_feet(tmp_path_factory):
    settings = factory.project(units="imperial", currency="USD", trench={"depth_m": 1.3})
    folder = tmp_path_factory.mktemp("feet") / "plot-0"
    folder.mkdir()
    write_plot(factory.result(settings=settings), settings, folder)
    return plain(html_pages.read(folder / "index.html").text)


def test_no_metre_is_left_on_a_plots_page(in_feet):
    text = in_feet
    for kept in KEPT:
        text = text.replace(kept, "")
    assert [text[max(m.start() - 40, 0) : m.end() + 20] for m in METRIC.finditer(text)] == []
    assert re.search(r"\d ft\b", text)
    assert re.search(r"\d yd³", text)


def test_figures_on_a_plots_page_promise_no_more_than_they_know(in_feet):
    # Feet with a decimal from a thousand on, a number of minutes that is none, a range from a figure to itself.
    assert not re.findall(r"\d,\d{3}\.\d+ ft", in_feet)
    assert not re.findall(r"(?<![\d.])0 min\b", in_feet)
    assert not re.findall(r"\b([\d.,]+) (?:\S+ )?to \1 (?:ft|yd³|acres)", in_feet)


def test_the_law_keeps_its_feet(in_feet):
    # 29 CFR 1926.651(c)(2), (j)(2) and 652(a)(1): 25 ft to a ladder (50 between two), spoil 2 ft off, walls from 5 ft.
    for printed in ("the trench is 5 ft deep or more", "Kept 2 ft from the edge"):
        assert printed.lower() in in_feet.lower()
    assert not re.search(r"\b(?:24\.9|49\.9|4\.9|5\.0|2\.0) ft (?:deep|from|of anybody|apart)", in_feet)
