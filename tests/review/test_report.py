"""report.pdf: what it says is what index.html says, and it can be read by ear.

Tags, language, title and alternative texts are those that ISO 14289-1 (PDF/UA-1) asks for; text and outline are read
back by pdfminer, an independent reader.
"""

import csv
import io

import pytest
from pdfminer.high_level import extract_text
from pdfminer.pdfdocument import PDFDocument
from pdfminer.pdfpage import PDFPage
from pdfminer.pdfparser import PDFParser
from pdfminer.pdftypes import resolve1

from packpale.review.page_tree import blocks, parse
from packpale.review.report import write_report
from review import factory


@pytest.fixture(scope="module")
def report(run):
    return (run.folder / "report.pdf").read_bytes()


@pytest.fixture(scope="module")
def document(report):
    return PDFDocument(PDFParser(io.BytesIO(report)))


def squeezed(text):
    """Without white space: lines are broken where there is no room."""
    return "".join(text.split())


@pytest.fixture(scope="module")
def text(report):
    return squeezed(extract_text(io.BytesIO(report)))


def structure(document):
    """All structure elements."""
    found, left = [], [resolve1(document.catalog["StructTreeRoot"])]
    while left:
        node = resolve1(left.pop())
        if isinstance(node, list):
            left += node
        elif isinstance(node, dict):
            if "S" in node:
                found.append(node)
            if "K" in node:
                left.append(node["K"])
    return found


def test_figures_of_the_ranking_stand_in_the_report(run, text):
    with (run.folder / "ranking.csv").open(encoding="utf-8") as lines:
        rows = list(csv.DictReader(lines))
    assert len(rows) == 3
    for row in rows:
        assert squeezed(row["plot_id"].removeprefix("'")) in text
        if row["feasible"] == "true":
            assert squeezed(f"{float(row['enclosed_area_m2']) / 1e4:.2f} ha") in text
            assert squeezed(f"{float(row['fence_length_m']):,.0f} m") in text
            assert squeezed(f"{float(row['cut_bank_m3']):,.0f} m³") in text
        else:
            assert squeezed(row["reason"]) in text


def test_every_sentence_of_the_page_stands_in_the_report(run, text):
    def sentences(trees):
        for tree in trees:
            for key in ("runs", "caption"):
                if tree.get(key):
                    yield "".join(run["text"] for run in tree[key])
            rows = tree["rows"] if tree.get("kind") == "sheet" else ()
            for inner in (tree.get("blocks", ()), rows, *tree.get("sides", ())):
                yield from sentences(inner)
            for runs in tree.get("items", ()):
                yield "".join(run["text"] for run in runs)

    def said(text):
        # What the page has "below" has a number on paper.
        return squeezed(text).partition("below")[0][:60]

    (body,) = parse((run.folder / "index.html").read_text(encoding="utf-8")).all("body")
    found = list(sentences(blocks(body)))
    assert len(found) > 60
    # Page numbers come between the lines of what runs over a page: the first words must do.
    missing = [s for s in found if said(s) not in text]
    assert missing == []


def test_is_tagged_with_title_language_headings_and_alternative_texts(document, run):
    catalog = document.catalog
    assert resolve1(catalog["MarkInfo"])["Marked"] is True
    assert catalog["Lang"] == b"en"
    assert resolve1(catalog["ViewerPreferences"])["DisplayDocTitle"] is True
    assert b"pdfuaid:part>1<" in resolve1(catalog["Metadata"]).get_data().replace(b" ", b"")
    elements = structure(document)
    kinds = [str(e["S"]).strip("/'") for e in elements]
    assert kinds.count("H1") == 1
    assert kinds.count("H2") >= 8
    assert "TH" in kinds
    pictures = [e for e, kind in zip(elements, kinds, strict=True) if kind == "Figure"]
    # Map picture, section and profile of two plots, the map of the one where nothing fits, and a chart for each two.
    assert len(pictures) >= 9
    assert all(resolve1(e["Alt"]) for e in pictures)


def test_outline_has_the_plots(document, run):
    titles = [title for _, title, *_ in document.get_outlines()]
    for place in run.ranking.rows:
        assert any(place.plot_id in title for title in titles)
    assert "Ranking" in titles
    assert "Before anybody digs" in titles


def test_fonts_are_embedded_and_pages_numbered(run, document, report):
    pages = list(PDFPage.create_pages(document))
    for number, page in enumerate(pages, start=1):
        for font in resolve1(page.resources.get("Font", {})).values():
            found = resolve1(font)
            assert "DejaVuSans" in found["BaseFont"].name
            descendants = [resolve1(d) for d in resolve1(found.get("DescendantFonts", []))] or [found]
            for one in descendants:
                assert {"FontFile2", "FontFile3"} & resolve1(one["FontDescriptor"]).keys()
        shown = squeezed(extract_text(io.BytesIO(report), page_numbers=[number - 1]))
        # The title stands beside the number; a reader may take either first.
        shown = shown.removesuffix(squeezed(run.settings.title))
        assert shown.endswith(f"{number}of{len(pages)}")
    assert len(pages) > 3


def test_hostile_names_are_text_and_nothing_else(document, text, report):
    assert squeezed(factory.HOSTILE) in text
    assert squeezed(factory.FORMULA) in text
    for page in PDFPage.create_pages(document):
        for annotation in resolve1(page.annots) or ():
            assert "URI" not in resolve1(resolve1(annotation).get("A", {}))
    assert b"/JavaScript" not in report


def test_the_same_page_gives_the_same_bytes_and_leaves_nothing_behind(run, report, tmp_path):
    page = (run.folder / "index.html").read_text(encoding="utf-8")
    write_report(page, tmp_path / "again.pdf", title=run.settings.title, plots=run.folder / "plots")
    assert (tmp_path / "again.pdf").read_bytes() == report
    assert [p.name for p in tmp_path.iterdir()] == ["again.pdf"]


def test_pictures_that_are_not_there_are_told_in_words(tmp_path):
    page = (
        "<body><h1>A &amp; B</h1><figure><img src='plots/none/picture.png' alt='The map of it'>"
        "<figcaption>Caption</figcaption></figure></body>"
    )
    write_report(page, tmp_path / "r.pdf", title="T", plots=tmp_path)
    assert "The map of it" in extract_text(tmp_path / "r.pdf")
    assert "A & B" in extract_text(tmp_path / "r.pdf")


def test_letters_without_a_sign_in_the_font_do_not_stop_the_report(tmp_path):
    write_report("<body><h1>\U0001f43a 狼 field</h1></body>", tmp_path / "r.pdf", title="狼", plots=tmp_path)
    assert "field" in extract_text(tmp_path / "r.pdf")


def test_white_space_and_styles_of_texts():
    (paragraph,) = blocks(parse("<p>  one <strong>two</strong>,\n <code>three</code> <a href='#x'>four</a> </p>"))
    assert "".join(r["text"] for r in paragraph["runs"]) == "one two, three four"
    assert [r["style"] for r in paragraph["runs"] if r["text"].strip() in {"two", "three"}] == ["strong", "code"]
    assert [r["to"] for r in paragraph["runs"] if r["text"] == "four"] == ["x"]
