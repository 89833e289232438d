"""report.pdf: the first page for print and for readers by ear: outline, page numbers, tags, alternative texts."""

import base64
import json
import shutil
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal
from urllib.parse import unquote

from packpale.review.lettering import printable, typeset_in
from packpale.review.page_tree import Element, Tree, blocks, parse

STANDARD: Literal["ua-1"] = "ua-1"
"""PDF/UA-1, ISO 14289-1: tagged, with a language, a title and alternative texts."""
PICTURE_BYTES = 40_000_000
"""Pictures go into the report up to this size in all; of the rest the alternative text is printed."""


def write_report(page: str, path: Path, *, title: str, plots: Path) -> None:
    """Write the report that says what ``page``, the text of index.html, says.

    Drawings are taken as vectors from the plots' folders inside ``plots``.
    """
    import typst

    pictures = _Pictures(plots)
    tree = [_printable(pictures.placed(block)) for block in blocks(_body(parse(page)))]
    document = (files("packpale.review") / "templates" / "report.typ").read_bytes()
    # Beside the report, not in memory: the compiler takes nothing but text from there.
    parts = path.with_name(".report-parts")
    parts.mkdir()
    try:
        for name, content in {
            "main.typ": document,
            "report.json": json.dumps(tree).encode("utf-8"),
            **pictures.files,
        }.items():
            (parts / name).write_bytes(content)
        made = typst.compile(
            str(parts / "main.typ"),
            format="pdf",
            font_paths=typeset_in(),
            sys_inputs={"title": printable(title)},
            pdf_standards=[STANDARD],
        )
    finally:
        shutil.rmtree(parts)
    path.write_bytes(bytes(made))


def _body(page: Element) -> Element:
    return next(iter(page.all("body")), page)


def _printable(tree: Any) -> Any:
    """The same tree with every text in letters that the font has: a standard PDF may hold no others."""
    if isinstance(tree, dict):
        return {
            key: printable(v) if key in {"text", "alt", "share", "title"} else _printable(v) for key, v in tree.items()
        }
    return [_printable(part) for part in tree] if isinstance(tree, list) else tree


class _Pictures:
    """Pictures that the report shows, by file name."""

    def __init__(self, plots: Path) -> None:
        self.plots = plots
        self.files: dict[str, bytes] = {}
        self.left = PICTURE_BYTES

    def placed(self, tree: Any) -> Any:
        """The same tree with the names of files for pictures; empty where there is no room or no file."""
        if isinstance(tree, list):
            return [self.placed(part) for part in tree]
        if not isinstance(tree, dict):
            return tree
        placed: Tree = {key: self.placed(value) for key, value in tree.items()}
        if "svg" in placed or placed.get("kind") == "figure":
            found = next(self._candidates(placed), None)
            placed["file"] = self._kept(*found) if found else ""
            for key in ("svg", "source", "vector"):
                placed.pop(key, None)
        return placed

    def _candidates(self, picture: Tree) -> Iterator[tuple[bytes, str]]:
        if picture["svg"]:
            yield _standalone(picture["svg"]).encode("utf-8"), "svg"
            return
        for address in (picture.get("vector", ""), picture.get("source", "")):
            if address.startswith("data:image/png;base64,"):
                yield base64.b64decode(address.partition(",")[2]), "png"
            elif address.startswith("plots/"):
                file = self.plots / unquote(address.removeprefix("plots/"))
                if file.is_file():
                    yield file.read_bytes(), file.suffix[1:]

    def _kept(self, content: bytes, kind: str) -> str:
        if len(content) > self.left:
            return ""
        self.left -= len(content)
        name = f"picture-{len(self.files)}.{kind}"
        self.files[name] = content
        return name


def _standalone(svg: str) -> str:
    """Markup of a picture inside a page as a file of its own."""
    return svg if "xmlns=" in svg else svg.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1)
