"""The pages of the demo: short enough to be read, sheets whole in the report, no setting by its key."""

import csv
import io
import re

from pdfminer.high_level import extract_text
from pdfminer.pdfpage import PDFPage

from packpale.review.words.settings import all_keys
from review import html_pages
from review.pdf_pages import off_their_page, sheets

MOST_PAGES = 26
FEWEST_LETTERS = 250
"""Of a page of the report that is not nearly empty."""


def fitting(demo):
    with (demo / "ranking.csv").open(encoding="utf-8") as lines:
        return [row["plot_id"] for row in csv.DictReader(lines) if row["feasible"] == "true"]


def test_sheets_stay_whole(demo):
    raw, names = (demo / "report.pdf").read_bytes(), fitting(demo)
    assert len(names) == 6
    assert len(sheets(raw, names)) == 3
    assert off_their_page(raw, names[:3]) == []


def test_the_report_is_short_and_no_page_is_nearly_empty(demo):
    raw = (demo / "report.pdf").read_bytes()
    count = len(list(PDFPage.get_pages(io.BytesIO(raw))))
    assert 10 < count <= MOST_PAGES
    texts = [extract_text(io.BytesIO(raw), page_numbers=[k]) for k in range(count)]
    assert [k + 1 for k, text in enumerate(texts) if len(text) < FEWEST_LETTERS] == []


def test_settings_are_named_in_words(demo):
    for name in ("index.html", *(f"plots/{p}/index.html" for p in fitting(demo))):
        said = html_pages.read(demo / name).text
        assert [key for key in all_keys() if key in said and re.search(rf"\b{re.escape(key)}\b", said)] == []
    assert "land.margin_m" in html_pages.read(demo / "basis.html").text
    for page in (demo / "map.html", *demo.glob("plots/*/map.html")):
        text = page.read_text(encoding="utf-8")
        assert [key for key in all_keys() if "_" in key and key in text] == [], page
