"""report.pdf: the tree of blocks for print and for readers by ear: outline, page numbers, tags, alternative texts."""

import json
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal

from packpale.review import lettering
from packpale.review.lettering import typeset_in
from packpale.review.report.blocks import (
    Block,
    Chart,
    Part,
    Picture,
    Run,
    Section,
    Sketch,
    Table,
    pictures_of,
    text_of,
    walk,
)

STANDARD: Literal["ua-1"] = "ua-1"
"""PDF/UA-1, ISO 14289-1: tagged, with a language, a title and alternative texts."""
PICTURE_BYTES = 40_000_000
"""Pictures go into the report up to this size in all; of the rest the alternative text is printed."""
NBSP = "\N{NO-BREAK SPACE}"
LONG_CELL = 60
"""Letters of a row's name from which it is no name but a sentence, and is not printed bold."""

Tree = dict[str, Any]


def write_report(blocks: Sequence[Block], path: Path, *, title: str, plots: Path) -> None:
    """Write the blocks as a PDF; pictures are taken from the plots' folders in ``plots``."""
    import typst

    report = _Report(blocks, pictures_of(blocks, plots))
    # Beside the report, not in memory: the compiler takes nothing but text from there.
    parts = path.with_name(".report-parts")
    parts.mkdir()
    try:
        for name, content in {
            "main.typ": (files("packpale.review.pdf") / "report.typ").read_bytes(),
            "report.json": json.dumps(report.tree).encode("utf-8"),
            **report.files,
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


class _Report:
    """The tree as the typesetter takes it, and the pictures that it shows by file name."""

    def __init__(self, blocks: Sequence[Block], pictures: Mapping[str, Path]) -> None:
        self.pictures = pictures
        self.files: dict[str, bytes] = {}
        self.left = PICTURE_BYTES
        printed = _unfolded(blocks)
        self.labels = {b.id for b in walk(printed) if isinstance(b, Section) and b.id}
        self.tree = self.plain(printed)

    def plain(self, value: Any, *, links: bool = True) -> Any:
        """A part of the tree, or what it holds, as the typesetter takes it."""
        match value:
            case str():
                return printable(value)
            case tuple():
                return [self.plain(part, links=links) for part in value]
            case Run():
                return self.run(value, links)
            case Table():
                value = _on_paper(value)
            case Part():
                pass
            case _:
                return value
        kept = (f.name for f in fields(value) if f.name != "svg")
        made = {"kind": value.kind} | {name: self.plain(getattr(value, name), links=links) for name in kept}
        match value:
            case Section():
                made["label"] = value.id if value.id in self.labels else ""
            case Table():
                names = [
                    text_of(c)
                    for row in value.rows
                    for c, col in zip(row, value.columns, strict=True)
                    if col.look == "name"
                ]
                made["long"] = max(map(len, names), default=0) > LONG_CELL
            case Sketch():
                made["file"] = self.svg(value.svg)
            case Picture() | Chart():
                made["file"] = self.svg(value.svg) if isinstance(value, Chart) else self.picture(value.file)
                made["caption"] = self.plain(value.caption, links=False)
        return made

    def run(self, run: Run, links: bool) -> Tree:
        """A link to a section gets its page; one to anything else names the file, where its words do not."""
        here = links and run.to in self.labels
        file = run.to.partition("#")[0] if links and run.to and not here else ""
        told = file and file not in run.text
        return {
            "text": printable(run.text),
            "style": run.style,
            "label": run.to if here else "",
            "file": printable(file) if told else "",
        }

    def picture(self, name: str) -> str:
        file = self.pictures[name]
        return self.kept(file.read_bytes(), file.suffix[1:]) if file.is_file() else ""

    def svg(self, markup: str) -> str:
        return self.kept(markup.encode("utf-8"), "svg")

    def kept(self, content: bytes, kind: str) -> str:
        """Name of a picture's file; empty where there is no room for it."""
        if len(content) > self.left:
            return ""
        self.left -= len(content)
        name = f"picture-{len(self.files)}.{kind}"
        self.files[name] = content
        return name


def printable(text: str) -> str:
    """The text in letters that the font has; figures and their units stay together."""
    return NBSP.join(map(lettering.printable, text.split(NBSP)))


def _on_paper(table: Table) -> Table:
    """A table without its columns of keys."""
    shown = [k for k, column in enumerate(table.columns) if column.look != "key"]
    rows, foot = (tuple(tuple(row[k] for k in shown) for row in part) for part in (table.rows, table.foot))
    return replace(table, columns=tuple(table.columns[k] for k in shown), rows=rows, foot=foot)


def _unfolded(blocks: Sequence[Block]) -> tuple[Block, ...]:
    """The blocks without what is opened on demand, at any depth."""
    return tuple(
        replace(b, blocks=_unfolded(b.blocks)) if isinstance(b, Section) else b
        for b in blocks
        if not (isinstance(b, Section) and b.look == "folded")
    )
