"""The first page as a tree of plain values, from its own HTML, so that the report prints the very same words."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

VOID = {"br", "img", "meta", "link", "hr"}
SKIPPED = {"style", "script", "head"}
INLINE = {"a", "strong", "code", "span", "em", "br"}

Tree = dict[str, Any]


@dataclass
class Element:
    """One element of the page; children are elements and texts."""

    tag: str
    attributes: Mapping[str, str] = field(default_factory=dict)
    children: list["Element | str"] = field(default_factory=list)
    markup: str = ""
    """Of an SVG picture: as it stands in the page."""

    @property
    def classes(self) -> list[str]:
        return self.attributes.get("class", "").split()

    def all(self, *tags: str) -> list["Element"]:
        """Elements of these tags anywhere below, in the order of the page."""
        found = []
        for child in self.children:
            if isinstance(child, Element):
                found += [child] if child.tag in tags else child.all(*tags)
        return found

    @property
    def text(self) -> str:
        return "".join(c if isinstance(c, str) else c.text for c in self.children)


class _Parser(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Element("page")
        self.open = [self.root]
        self.svg: list[str] | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if self.svg is not None:
            self.svg.append(self.get_starttag_text() or "")
            return
        element = Element(tag, {k: v or "" for k, v in attrs})
        self.open[-1].children.append(element)
        if tag == "svg":
            self.svg = [self.get_starttag_text() or ""]
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if self.svg is not None:
            self.svg.append(self.get_starttag_text() or "")
        elif tag in VOID:
            self.handle_starttag(tag, attrs)

    def handle_endtag(self, tag: str) -> None:
        if self.svg is not None:
            self.svg.append(f"</{tag}>")
            if tag != "svg":
                return
            self.open[-1].markup, self.svg = "".join(self.svg), None
        if tag not in VOID and tag == self.open[-1].tag:
            self.open.pop()

    def handle_data(self, data: str) -> None:
        from html import escape

        if self.svg is not None:
            self.svg.append(escape(data))
        else:
            self.open[-1].children.append(data)


def parse(page: str) -> Element:
    """The page as elements.

    Only for pages from our own templates: every element there is closed in order.
    """
    parser = _Parser()
    parser.feed(page)
    parser.close()
    return parser.root


def blocks(element: Element) -> list[Tree]:
    """What stands in an element, one value a block; texts are lists of runs."""
    found: list[Tree] = []
    loose: list[Element | str] = []

    def flush() -> None:
        if runs := _runs(loose):
            found.append({"kind": "paragraph", "runs": runs, "class": ""})
        loose.clear()

    for child in element.children:
        if isinstance(child, str) or child.tag in INLINE:
            loose.append(child)
        elif child.tag not in SKIPPED:
            flush()
            found += _block(child)
    flush()
    return found


def _block(element: Element) -> list[Tree]:
    make = _MAKERS.get(element.tag)
    made = make(element) if make else None
    return blocks(element) if made is None else [made]


def _heading(element: Element) -> Tree:
    level, name = int(element.tag[1]), element.attributes.get("id", "")
    return {"kind": "heading", "level": level, "runs": _runs(element.children), "id": name}


def _paragraph(element: Element) -> Tree:
    return {"kind": "paragraph", "runs": _runs(element.children), "class": next(iter(element.classes), "")}


def _list(element: Element) -> Tree:
    if "limits" in element.classes:
        return {"kind": "shares", "rows": [_share(row) for row in element.all("li")]}
    short = "short" in element.classes
    return {"kind": "list", "items": [_runs(item.children) for item in element.all("li")], "short": short}


def _figures(element: Element) -> Tree:
    rows = [[_runs(part.children) for part in row.all("dt", "dd")] for row in element.all("div")]
    return {"kind": "figures", "rows": rows}


def _pair(element: Element) -> Tree | None:
    if "sheet" in element.classes:
        return {"kind": "sheet", "rows": [_row(child) for child in _elements(element)]}
    if "pair" not in element.classes:
        return None
    return {"kind": "pair", "class": element.classes[-1], "sides": [_side(c) for c in _elements(element)]}


def _details(element: Element) -> Tree | None:
    if "details" not in element.classes:
        return None
    return {"kind": "details", "title": element.attributes.get("aria-label", ""), "blocks": blocks(element)}


def _plot(element: Element) -> Tree:
    return {"kind": "plot", "blocks": blocks(element)}


def _row(element: Element) -> Tree:
    """One row of a plot's own page; that with the drawings takes what height is left."""
    pair = _pair(element)
    return {"fills": "drawings" in element.classes, "blocks": blocks(element) if pair is None else [pair]}


def _side(element: Element) -> list[Tree]:
    return _block(element) if element.tag == "figure" else blocks(element)


def _share(row: Element) -> Tree:
    bar, share = row.all("span")[:2]
    rest = [c for c in row.children if c is not bar and c is not share]
    width = bar.attributes.get("style", "width: 0%").removeprefix("width: ").removesuffix("%")
    return {"percent": float(width), "share": share.text, "runs": _runs(rest)}


def _table(element: Element) -> Tree:
    def rows(part: str) -> list[list[Tree]]:
        return [[_cell(cell) for cell in row.all("th", "td")] for body in element.all(part) for row in body.all("tr")]

    classes = element.classes
    return {
        "kind": "table",
        "class": classes[0] if classes else "",
        "head": rows("thead"),
        "rows": rows("tbody"),
        "foot": rows("tfoot"),
    }


def _cell(cell: Element) -> Tree:
    pictures = cell.all("svg")
    return {
        "runs": [] if pictures else _runs(cell.children),
        "svg": pictures[0].markup if pictures else "",
        "of_row": cell.tag == "th" and cell.attributes.get("scope") == "row",
    }


def _figure(element: Element) -> Tree:
    images, drawings, captions = element.all("img"), element.all("svg"), element.all("figcaption")
    # A figure that leads to a page of the run says so in its caption; on paper it leads nowhere.
    caption = _runs([c for c in captions[0].children if not isinstance(c, Element)]) if captions else []
    if images:
        at = images[0].attributes
        return {
            "kind": "figure", "source": at["src"], "vector": at.get("data-vector", ""), "svg": "",
            "alt": at["alt"], "caption": caption,
        }  # fmt: skip
    alt = drawings[0].attributes.get("aria-label", "") if drawings else ""
    return {
        "kind": "figure", "source": "", "vector": "", "svg": drawings[0].markup if drawings else "",
        "alt": alt, "caption": caption,
    }  # fmt: skip


def _elements(element: Element) -> list[Element]:
    return [c for c in element.children if isinstance(c, Element)]


def _runs(children: Sequence[Element | str], style: str = "") -> list[Tree]:
    """Texts with their style: strong, code, a link within the page, or nothing; white space as a page shows it."""
    runs: list[Tree] = []
    for child in children:
        if isinstance(child, str):
            runs.append({"text": child, "style": style, "to": ""})
        elif child.tag == "br":
            runs.append({"text": " ", "style": style, "to": ""})
        elif child.tag not in SKIPPED:
            target = child.attributes.get("href", "") if child.tag == "a" else ""
            kind = {"strong": "strong", "em": "strong", "code": "code"}.get(child.tag, style)
            inner = _runs(child.children, kind)
            if target.startswith("#"):
                # On paper "below" is a page with a number.
                paged = {"style": "page"} if "page" in child.classes else {}
                inner = [run | {"to": target[1:]} | paged for run in inner]
            elif child.tag == "span" and "rank" in child.classes:
                inner = [run | {"text": f"{run['text']}. "} for run in inner]
            runs += inner
    return _tidy(runs)


def _tidy(runs: list[Tree]) -> list[Tree]:
    out: list[Tree] = []
    for run in runs:
        text = " ".join(run["text"].split())
        before = " " if run["text"][:1].isspace() and out and not out[-1]["text"].endswith(" ") else ""
        after = " " if text and run["text"][-1:].isspace() else ""
        if text or (before and out):
            out.append(run | {"text": f"{before}{text}{after}"})
    if out:
        out[-1] = out[-1] | {"text": out[-1]["text"].rstrip()}
    return [run for run in out if run["text"]]


_MAKERS: dict[str, Callable[[Element], Tree | None]] = {
    **dict.fromkeys(("h1", "h2", "h3"), _heading),
    "p": _paragraph,
    "ul": _list,
    "dl": _figures,
    "table": _table,
    "figure": _figure,
    "div": _pair,
    "section": _details,
    "article": _plot,
}
"""What becomes of each element; of one that makes nothing, and of all others, what is inside comes in its place."""
