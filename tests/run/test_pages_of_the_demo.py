"""The pages of the demo: one page a plot in the report, its warnings in short whole, no setting by its key."""

import csv
import re

from packpale.review.page_tree import parse
from packpale.review.words.settings import all_keys
from review.pdf_pages import headings_by_plot, off_their_page


def fitting(demo):
    with (demo / "ranking.csv").open(encoding="utf-8") as lines:
        return [row["plot_id"] for row in csv.DictReader(lines) if row["feasible"] == "true"]


def test_each_plot_keeps_to_its_page(demo):
    raw, names = (demo / "report.pdf").read_bytes(), fitting(demo)
    assert len(names) == len(headings_by_plot(raw, names)) == 6
    assert off_their_page(raw, names) == []


def test_warnings_in_short_are_whole_and_settings_are_named_in_words(demo):
    (body,) = parse((demo / "index.html").read_text(encoding="utf-8")).all("body")
    short = [li.text for ul in body.all("ul") if "short" in ul.classes for li in ul.all("li")]
    assert len(short) > 20
    assert [line for line in short if "…" in line] == []
    (section,) = [s for s in body.all("section") if s.attributes.get("aria-labelledby") == "assumptions"]
    assert "land.margin_m" in section.text
    section.children.clear()
    said = body.text
    assert [key for key in all_keys() if key in said and re.search(rf"\b{re.escape(key)}\b", said)] == []
    for page in (demo / "map.html", *demo.glob("plots/*/map.html")):
        text = page.read_text(encoding="utf-8")
        assert [key for key in all_keys() if "_" in key and key in text] == [], page
