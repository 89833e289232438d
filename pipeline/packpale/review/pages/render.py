"""A page of the report as one HTML file that opens without a network."""

import base64
import posixpath
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote

from markupsafe import escape

from packpale.review.report.blocks import Block, Chart, Run, Section, Words, text_of
from packpale.review.templating import render

EMBEDDED_BYTES = 24_000_000
"""Pictures are put into a page up to this size in all; the rest is linked to."""


@dataclass
class Page:
    """One HTML page: its blocks, and where it lies."""

    address: str
    """From the run's folder."""
    title: str
    kicker: str
    """What kind of page this is, in a few words above the title."""
    blocks: Sequence[Block]
    pictures: Mapping[str, Path] = field(default_factory=dict)
    """Files of pictures by their address from the run's folder."""
    head: Sequence[Block] = ()
    """What stands before the list of contents."""
    others: Sequence[Run] = ()
    """Other pages and files that the page leads to first."""
    left: int = field(default=EMBEDDED_BYTES, init=False)

    @property
    def contents(self) -> list[Section]:
        """Sections that the list of contents names."""
        return [b for b in self.blocks if isinstance(b, Section) and b.id]

    def write(self, path: Path) -> None:
        path.write_bytes(render("pages/page.html", page=self).encode("utf-8"))

    def way_to(self, to: str) -> str:
        """Address of a file or section of the run as this page links to it."""
        file, mark, section = to.partition("#")
        if file == self.address:
            return f"#{quote(section)}"
        return quote(posixpath.relpath(file, posixpath.dirname(self.address) or ".")) + mark + quote(section)

    def id_of(self, address: str) -> str:
        """A section's mark inside its page."""
        return address.partition("#")[2]

    def name_of(self, file: str) -> str:
        return posixpath.basename(file)

    def plain(self, words: Words) -> str:
        return text_of(words)

    def source(self, file: str) -> str:
        """A picture inside the page where there is room for it, else its address."""
        there = self.pictures.get(file)
        if there is None or not there.is_file() or there.stat().st_size > self.left:
            return self.way_to(file)
        self.left -= there.stat().st_size
        kind = "svg+xml" if there.suffix == ".svg" else "png"
        return f"data:image/{kind};base64," + base64.b64encode(there.read_bytes()).decode("ascii")

    def svg(self, chart: Chart) -> str:
        """A chart's own markup, with its text for readers by ear. Names in it are escaped where it is drawn."""
        return chart.svg.replace("<svg ", f'<svg role="img" aria-label="{escape(chart.alt)}" ', 1)

    def first_sentence(self, text: str) -> str:
        return re.split(r"[.:;]", text, maxsplit=1)[0]
