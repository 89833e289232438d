"""The report read back: which heading stands on which page, by its outline."""

import io

from pdfminer.pdfdocument import PDFDocument
from pdfminer.pdfpage import PDFPage
from pdfminer.pdfparser import PDFParser
from pdfminer.pdftypes import resolve1

HEADS = ("Will it hold?", "The gravest notes")
"""What stands on a plot's sheet, in this order."""


def outline(raw):
    """Level, title and number of the page, from 0, of every heading."""
    document = PDFDocument(PDFParser(io.BytesIO(raw)))
    numbers = {one.pageid: k for k, one in enumerate(PDFPage.create_pages(document))}
    return [(level, title, numbers[resolve1(to)[0].objid]) for level, title, to, *_ in document.get_outlines()]


def sheets(raw, names):
    """For each plot the number of the page with its sheet, and the headings on the sheet with theirs."""
    found, current = {}, None
    for level, title, number in outline(raw):
        if level <= 2:
            # The sheet's heading is a rank and the name; the details' goes on after it.
            current = next((n for n in names if "".join(title.split()).endswith("".join(n.split()))), None)
            if current:
                found[current] = (number, [])
        elif current:
            found[current][1].append((title, number))
    return found


def off_their_page(raw, names):
    """Plots whose sheet lacks a heading, has them in another order, or runs over to another page."""
    found = sheets(raw, names)
    return [n for n in names if n not in found or not _is_whole(*found[n])]


def _is_whole(page, headings):
    # A plot whose notes all others share has none of its own: they are told once for the run.
    heads = tuple(head for head, _ in headings)
    return heads in (HEADS, HEADS[:1]) and {number for _, number in headings} == {page}
