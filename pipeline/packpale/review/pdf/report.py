"""report.pdf: the tree of blocks for print and for readers by ear: outline, page numbers, tags, alternative texts."""

import json
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal

from packpale.review import lettering
from packpale.review.lettering import typeset_in
from packpale.review.report.blocks import (
    Block,
    Chart,
    Column,
    Columns,
    Figures,
    Files,
    Paragraph,
    Picture,
    Points,
    Run,
    Section,
    Share,
    Shares,
    Sketch,
    Table,
    Words,
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
        self.tree = self.all(printed)

    def all(self, blocks: Sequence[Block]) -> list[Tree]:
        return [self.block(block) for block in blocks]

    def block(self, block: Block) -> Tree:
        return {"kind": block.kind} | self.parts(block)

    def parts(self, block: Block) -> Tree:
        """What the typesetter has to know of a block."""
        words = self.words
        made: Tree = {}
        match block:
            case Section():
                label = block.id if block.id in self.labels else ""
                made = {"title": printable(block.title), "label": label, "look": block.look, "mark": block.mark}
                made |= {"blocks": self.all(block.blocks)}
            case Paragraph():
                made = {"look": block.look, "runs": words(block.words)}
            case Points():
                made = {"items": [words(item) for item in block.items]}
            case Table():
                made = self.table(block)
            case Figures():
                made = {"rows": [[words(name), words(value)] for name, value in block.rows]}
            case Shares():
                made = {"rows": [self.share(one) for one in block.rows]}
            case Picture() | Chart():
                file = self.svg(block.svg) if isinstance(block, Chart) else self.picture(block.file)
                made = {"file": file, "alt": printable(block.alt), "caption": words(block.caption, links=False)}
            case Files():
                made = {"items": [{"file": printable(f.file), "runs": words(f.words)} for f in block.items]}
            case Columns():
                made = {"look": block.look, "sides": [self.all(side) for side in block.sides]}
        return made

    def share(self, share: Share) -> Tree:
        return {"percent": min(100 * share.value, 100), "told": share.told, "runs": self.words(share.words)}

    def table(self, table: Table) -> Tree:
        shown = [k for k, column in enumerate(table.columns) if column.look != "key"]
        names = [text_of(row[k]) for row in table.rows for k in shown if table.columns[k].look == "name"]
        return {
            "columns": [self.column(table.columns[k]) for k in shown],
            "rows": [[self.cell(row[k]) for k in shown] for row in table.rows],
            "foot": [[self.cell(row[k]) for k in shown] for row in table.foot],
            "long": max(map(len, names), default=0) > LONG_CELL,
        }

    def column(self, column: Column) -> Tree:
        return {"head": self.words(column.head), "look": column.look}

    def cell(self, cell: Words | Sketch) -> Tree:
        if isinstance(cell, Sketch):
            return {"kind": "sketch", "file": self.svg(cell.svg)}
        return {"kind": "words", "runs": self.words(cell)}

    def words(self, words: Words, *, links: bool = True) -> list[Tree]:
        return [self.run(run, links) for run in words]

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


def _unfolded(blocks: Sequence[Block]) -> tuple[Block, ...]:
    """The blocks without what is opened on demand, at any depth."""
    return tuple(
        replace(b, blocks=_unfolded(b.blocks)) if isinstance(b, Section) else b
        for b in blocks
        if not (isinstance(b, Section) and b.look == "folded")
    )
