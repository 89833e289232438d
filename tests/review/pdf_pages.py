"""The report read back: which heading stands on which page, by its outline."""

import io

from pdfminer.pdfdocument import PDFDocument
from pdfminer.pdfpage import PDFPage
from pdfminer.pdfparser import PDFParser
from pdfminer.pdftypes import resolve1

HEADS = (
    "Main figures",
    "What limits this plot",
    "Section",
    "Profile along the fence",
    "Price and its spread",
    "Crossings of water",
    "Warnings",
)
"""What stands on a plot's own page, in this order."""


def outline(raw):
    """Level, title and number of the page, from 0, of every heading."""
    document = PDFDocument(PDFParser(io.BytesIO(raw)))
    numbers = {one.pageid: k for k, one in enumerate(PDFPage.create_pages(document))}
    return [(level, title, numbers[resolve1(to)[0].objid]) for level, title, to, *_ in document.get_outlines()]


def headings_by_plot(raw, names):
    """For each plot the number of its page, and the headings below its name with theirs."""
    found, current = {}, None
    for level, title, number in outline(raw):
        name = next((n for n in names if "".join(title.split()).endswith("".join(n.split()))), None)
        if level <= 2:
            current = name
            if name:
                found[name] = (number, [])
        elif current:
            found[current][1].append((title, number))
    return found


def off_their_page(raw, names):
    """Plots whose own page lacks a heading, has them in another order, or is not followed by the warnings in full."""
    return [
        (name, number, heads)
        for name, (number, heads) in headings_by_plot(raw, names).items()
        if heads[: len(HEADS) + 1] != [*((head, number) for head in HEADS), ("Warnings in full", number + 1)]
    ]
