"""report.pdf: it says what the tree says, and it can be read by ear.

Tags, language, title and alternative texts are those that ISO 14289-1 (PDF/UA-1) asks for; text and outline are read
back by pdfminer, an independent reader.
"""

import csv
import io
import re

import pytest
from pdfminer.high_level import extract_text
from pdfminer.pdfdocument import PDFDocument
from pdfminer.pdfpage import PDFPage
from pdfminer.pdfparser import PDFParser
from pdfminer.pdftypes import resolve1

from packpale.review.lettering import printable
from packpale.review.pdf.report import write_report
from packpale.review.report.blocks import (
    Chart,
    Files,
    Picture,
    Section,
    from_plain,
    link,
    paragraph,
    plain,
    points,
    text_of,
    walk,
    words,
)
from packpale.review.report.sheet import on_paper
from review import factory


@pytest.fixture(scope="module")
def report(run):
    return (run.folder / "report.pdf").read_bytes()


@pytest.fixture(scope="module")
def document(report):
    return PDFDocument(PDFParser(io.BytesIO(report)))


@pytest.fixture(scope="module")
def text(report):
    return squeezed(extract_text(io.BytesIO(report)))


def squeezed(text):
    """Without white space: lines are broken where there is no room."""
    return "".join(text.split())


def printed(tmp_path, *blocks, title="T"):
    write_report(blocks, tmp_path / "r.pdf", title=title, plots=tmp_path)
    return extract_text(tmp_path / "r.pdf")


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


def paragraphs(tree):
    """What a reader takes in as one piece: items, paragraphs, cells that are words."""
    for one in walk(tree):
        if one.kind in ("paragraph",):
            yield one.words
        elif one.kind == "points":
            yield from one.items


def test_every_sentence_of_the_tree_stands_in_the_report(run, text):
    # What is opened on demand is left out of print, and the line on the animals, which the details tell.
    reports = [run.report(k) for k in range(3)]
    printed_ = [(on_paper(r.sheet), *(b for b in r.sections if b.look != "folded")) for r in reports]
    assert "Whattheenclosureholds" in text
    assert "Fortheanimals" not in text
    found = [said for blocks in printed_ for said in paragraphs(blocks)]
    assert len(found) > 50

    def said(words):
        # A link is followed by its page or file, and page numbers come between the lines: the first words must do.
        first = next((k for k, part in enumerate(words) if part.to), len(words))
        return squeezed(printable(text_of(words[: first + 1])))[:60]

    assert [text_of(one) for one in found if said(one) not in text] == []


def test_what_is_opened_on_demand_is_left_out_of_print(tmp_path):
    folded = Section("More", (paragraph("Hidden words."),), "a.html#more", look="folded")
    shown = Section("Shown", (folded, paragraph("Open words.")), "a.html#shown")
    text = printed(tmp_path, shown)
    assert "Open words." in text
    assert "Hidden" not in text


def test_a_link_names_its_page_or_its_file(tmp_path):
    there = Section("There", (paragraph("Words."),), "plots/p/index.html#there")
    way = paragraph(link("inside", "plots/p/index.html#there"), " and ", link("pegs", "plots/p/pegs.csv"))
    known = paragraph("File ", link("plots/p/arcs.csv", "plots/p/arcs.csv"), ".")
    text = " ".join(printed(tmp_path, way, known, there).split())
    assert "inside (page 1) and pegs (plots/p/pegs.csv)" in text
    assert "File plots/p/arcs.csv." in text


def test_every_file_of_a_plot_is_named_in_print(run, text):
    files = [f.file for one in walk(run.report(0).blocks) if isinstance(one, Files) for f in one.items]
    assert len(files) > 12
    assert [f for f in files if squeezed(f) not in text] == []


def test_names_are_not_torn_at_hyphens(tmp_path):
    text = printed(tmp_path, *(paragraph(f"{'word ' * k}larder-shelf") for k in range(8, 40)))
    assert text.count("larder-shelf") == 32
    assert not re.search(r"larder-\s", text)


def test_is_tagged_with_title_language_headings_and_alternative_texts(document):
    catalog = document.catalog
    assert resolve1(catalog["MarkInfo"])["Marked"] is True
    assert catalog["Lang"] == b"en"
    assert resolve1(catalog["ViewerPreferences"])["DisplayDocTitle"] is True
    assert b"pdfuaid:part>1<" in resolve1(catalog["Metadata"]).get_data().replace(b" ", b"")
    elements = structure(document)
    kinds = [str(e["S"]).strip("/'") for e in elements]
    assert kinds.count("H1") == 1
    assert kinds.count("H2") >= 8
    assert kinds.count("H3") >= 20
    assert "TH" in kinds
    pictures = [e for e, kind in zip(elements, kinds, strict=True) if kind == "Figure"]
    # The picture of all plots, the scores, three maps; section, profile and chart of each of the two that fit.
    assert len(pictures) >= 11
    assert all(resolve1(e["Alt"]) for e in pictures)


def test_headings_are_headings(document, run):
    titles = [title for _, title, *_ in document.get_outlines()]
    for place in run.ranking.rows:
        assert sum(place.plot_id in title for title in titles) >= 2
    assert {"The plots", "What the prices leave out", "Before anybody digs"} <= set(titles)
    sections = [s.title for s in run.report(0).sections if s.look != "folded"]
    assert [s for s in sections if s not in titles] == []


def test_the_decision_and_the_cautions_stand_on_the_first_page(report):
    first = squeezed(extract_text(io.BytesIO(report), page_numbers=[0]))
    for words_ in (
        "Reckon with",
        "rates behind it are invented",
        "What the prices leave out",
        "contingency",
        "bury people",
        "survey",
    ):
        assert squeezed(words_) in first, words_


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
        title, place = squeezed(run.settings.title), f"{number}of{len(pages)}"
        assert place in shown
        assert title in shown
    assert len(pages) > 3


def test_hostile_names_are_text_and_nothing_else(document, text, report):
    assert squeezed(factory.HOSTILE) in text
    assert squeezed(factory.FORMULA) in text
    for page in PDFPage.create_pages(document):
        for annotation in resolve1(page.annots) or ():
            assert "URI" not in resolve1(resolve1(annotation).get("A", {}))
    assert b"/JavaScript" not in report


def test_the_same_tree_gives_the_same_bytes_and_leaves_nothing_behind(run, tmp_path):
    tree = run.report(0)
    for name in ("first.pdf", "again.pdf"):
        blocks = from_plain(plain(tree.blocks))
        write_report(blocks, tmp_path / name, title="T", plots=run.folder / "plots")
    assert (tmp_path / "first.pdf").read_bytes() == (tmp_path / "again.pdf").read_bytes()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["again.pdf", "first.pdf"]


def test_pictures_that_are_not_there_are_told_in_words(tmp_path):
    text = printed(tmp_path, Picture("plots/none/picture.png", "The map of it", words("Caption")), paragraph("A & B"))
    assert "The map of it" in text
    assert "A & B" in text


def test_letters_without_a_sign_in_the_font_do_not_stop_the_report(tmp_path):
    wolf = "\U0001f43a 狼 field"
    svg = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><rect width="9" height="9"/></svg>'
    blocks = (Section(wolf, (points([wolf]), Chart(svg, wolf, words(wolf))), "a.html#狼"),)
    assert "field" in printed(tmp_path, *blocks, title="狼")
