"""The blocks that a report is made of: plain frozen values that every renderer shows in its own way."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Literal, cast, get_args


@dataclass(frozen=True)
class Part:
    """Anything in the tree."""

    @property
    def kind(self) -> str:
        """What it is called where the tree is plain values."""
        return type(self).__name__.lower()


@dataclass(frozen=True)
class Run(Part):
    """A piece of text in one style."""

    text: str
    style: Literal["plain", "strong", "code"] = "plain"
    to: str = ""
    """Where it leads, from the run's folder: a file, or ``page#section``; empty for nowhere."""


Words = tuple[Run, ...]


@dataclass(frozen=True)
class Sketch(Part):
    """A drawing as wide as a cell. It says nothing that the row does not say in words."""

    svg: str


Cell = Words | Sketch


Look = Literal["name", "words", "figure", "sketch", "key"]
"""What stands in a column: the name of the row, words, figures, drawings, or keys of the settings file, which nobody
needs on paper."""


@dataclass(frozen=True)
class Column(Part):
    """Head of a table's column. A row is named by the cells in its columns of look ``name``."""

    head: Words
    look: Look = "figure"


ParagraphLook = Literal["plain", "lead", "small", "verdict"]


@dataclass(frozen=True)
class Paragraph(Part):
    words: Words
    look: ParagraphLook = "plain"


@dataclass(frozen=True)
class Points(Part):
    """A list."""

    items: tuple[Words, ...]


@dataclass(frozen=True)
class Table(Part):
    title: str
    """What a reader by ear is told of it."""
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    foot: tuple[tuple[Cell, ...], ...] = ()
    look: Literal["plain", "cards"] = "plain"
    """``cards``: on a narrow screen each row is a small list, nothing lies off the side."""


@dataclass(frozen=True)
class Figures(Part):
    """Names, each with its figure."""

    rows: tuple[tuple[Words, Words], ...]


@dataclass(frozen=True)
class Share(Part):
    """A part of a whole, 0 to 1, and what it is of."""

    value: float
    told: str
    """The part in words."""
    words: Words


@dataclass(frozen=True)
class Shares(Part):
    """Parts as bars; they need not add up."""

    rows: tuple[Share, ...]


@dataclass(frozen=True)
class Picture(Part):
    """A picture that lies in the run's folder."""

    file: str
    """From the run's folder."""
    alt: str
    caption: Words = ()
    to: str = ""


@dataclass(frozen=True)
class Chart(Part):
    """A drawing made for the report; all that it says stands in ``alt`` too."""

    svg: str
    alt: str
    caption: Words = ()


@dataclass(frozen=True)
class File(Part):
    """A file that the run has written, and what it is for."""

    file: str
    """From the run's folder."""
    words: Words


@dataclass(frozen=True)
class Files(Part):
    items: tuple[File, ...]


@dataclass(frozen=True)
class Columns(Part):
    """Blocks side by side, where there is room."""

    sides: tuple[tuple["Block", ...], ...]
    look: Literal["even", "first wide", "map"] = "even"


@dataclass(frozen=True)
class Section(Part):
    """Blocks under a heading. How deep sections lie in each other says how large the heading is."""

    title: str
    blocks: tuple["Block", ...]
    id: str = ""
    """``page#section``: its address from the run's folder; empty where nothing leads to it."""
    look: Literal["plain", "caution", "sheet", "folded"] = "plain"
    """``sheet``: stays in one piece; ``folded``: opened on demand, and left out of print."""
    mark: str = ""
    """A sign before the title, such as a rank."""


Block = Paragraph | Points | Table | Figures | Shares | Picture | Chart | Files | Columns | Section

_KINDS: dict[str, Any] = {one.__name__.lower(): one for one in Part.__subclasses__()}


def words(*parts: str | Run | Words) -> Words:
    """Text put together from pieces; a plain string is a piece in plain style."""
    out: list[Run] = []
    for part in parts:
        if isinstance(part, str):
            out += [Run(part)] if part else []
        elif isinstance(part, Run):
            out.append(part)
        else:
            out += part
    return tuple(out)


def strong(text: str) -> Run:
    return Run(text, "strong")


def code(text: str) -> Run:
    return Run(text, "code")


def link(text: str, to: str) -> Run:
    return Run(text, to=to)


def paragraph(*parts: str | Run | Words, look: ParagraphLook = "plain") -> Paragraph:
    return Paragraph(words(*parts), look)


def small(*parts: str | Run | Words) -> Paragraph:
    return paragraph(*parts, look="small")


def points(items: Iterable[str | Words]) -> Points:
    return Points(tuple(words(item) for item in items))


def figures(rows: Iterable[tuple[str, str | Run]]) -> Figures:
    """Names and figures."""
    return Figures(tuple((words(name), words(value)) for name, value in rows))


Head = str | tuple[str, str]
"""Of a column of figures; of any other with its look."""


def table(
    title: str,
    heads: Iterable[Head],
    rows: Iterable[Iterable[str | Run | Cell]],
    *,
    foot: Iterable[Iterable[str | Run | Cell]] = (),
    look: Literal["plain", "cards"] = "plain",
) -> Table:
    """A table from heads, those of figures alone and others with their look, and cells in plain text.

    Raises ValueError if there is no such look, or a row has another number of cells than there are heads.
    """
    looks = ((head, "figure") if isinstance(head, str) else head for head in heads)
    columns = tuple(Column(words(head), _look(kind)) for head, kind in looks)
    made = Table(title, columns, _cells(rows), _cells(foot), look)
    for row in (*made.rows, *made.foot):
        if len(row) != len(columns):
            raise ValueError(f"table {title!r}: {len(row)} cells under {len(columns)} heads")
    return made


def _look(name: str) -> Look:
    for look in get_args(Look):
        if look == name:
            return cast("Look", look)
    raise ValueError(f"no such look of a column: {name!r}")


def _cells(rows: Iterable[Iterable[str | Run | Cell]]) -> tuple[tuple[Cell, ...], ...]:
    return tuple(tuple(cell if isinstance(cell, Sketch) else words(cell) for cell in row) for row in rows)


def plain(value: Any) -> Any:
    """A tree as plain values, for JSON."""
    if isinstance(value, tuple):
        return [plain(part) for part in value]
    if isinstance(value, Part):
        return {"kind": value.kind} | {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    return value


def from_plain(value: Any) -> Any:
    """The tree that ``plain`` made plain.

    Raises KeyError or TypeError if it is none.
    """
    if isinstance(value, list):
        return tuple(from_plain(part) for part in value)
    if isinstance(value, dict):
        left = dict(value)
        return _KINDS[left.pop("kind")](**{name: from_plain(part) for name, part in left.items()})
    return value


def walk(value: Any) -> Iterator[Any]:
    """Every block, run and cell of a tree, in the order of reading."""
    if isinstance(value, tuple):
        for part in value:
            yield from walk(part)
    elif isinstance(value, Part):
        yield value
        for f in fields(value):
            yield from walk(getattr(value, f.name))


def text_of(value: Any) -> str:
    """All words of a tree, one after the other."""
    return " ".join(" ".join(part.text for part in walk(value) if isinstance(part, Run)).split())


def pictures_of(sections: Sequence[Block], plots: Path) -> Mapping[str, Path]:
    """Where each picture that some blocks show lies on disk."""
    names = {one.file for one in walk(tuple(sections)) if isinstance(one, Picture)}
    return {name: plots / name.removeprefix("plots/") for name in names}
