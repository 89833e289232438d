"""Sheets written out: as SVG, as the pages of a PDF, and as a picture for a screen."""

import base64
import itertools
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape, quoteattr

import numpy as np
import numpy.typing as npt

from packpale.review.drawings import pens
from packpale.review.drawings.sheet import Areas, Box, Line, Picture, Sheet, Text
from packpale.review.lettering import FAMILY, MM_PER_POINT, face, printable, typeset_in

DOCUMENT = """
#let sheets = json(bytes(sys.inputs.sheets))
#set document(title: sheets.title, date: none)
#set page(width: eval(sheets.size.first()), height: eval(sheets.size.last()), margin: 0pt)
#set text(lang: "en", font: sheets.font, kerning: false, ligatures: false)
#set text(top-edge: "baseline", bottom-edge: "baseline")
#for (name, alt, texts) in sheets.pages {
  page({
    place(image(name, width: 100%, alt: alt))
    for (x, y, turn, size, weight, colour, written) in texts {
      set text(size: size * 1pt, weight: weight, fill: rgb(colour))
      let line = for (gap, part) in written { h(gap * 1mm) + part }
      place(dx: x * 1mm, dy: y * 1mm, if turn == 0 { line } else { rotate(turn * 1deg, origin: top + left, line) })
    }
  })
}
"""
"""Each sheet fills a page, its texts over its lines: set by the compiler they take half the time and room that they
take as text of an SVG; those on one line of writing are set as one, with gaps. Titles and texts come in as data and are
never read as markup."""
DECIMALS = 4
"""Of millimetres: a tenth of a micrometre."""


def write_svg(sheet: Sheet, path: Path) -> None:
    """Write a sheet as SVG in millimetres, letters as outlines, with name and description for those who cannot see."""
    path.write_bytes(svg(sheet).encode("utf-8"))


def write_pdf(sheets: Sequence[Sheet], path: Path, *, title: str) -> None:
    """Write sheets as the pages of one PDF: vectors, searchable text in an embedded font, no date."""
    path.write_bytes(_compiled(sheets, title, format="pdf"))


def write_png(sheet: Sheet, path: Path, *, width_px: int) -> None:
    """Write a sheet as a PNG so many pixels wide."""
    path.write_bytes(_compiled([sheet], sheet.name, format="png", ppi=width_px / sheet.size[0] * 25.4))


def _compiled(sheets: Sequence[Sheet], title: str, **output: Any) -> bytes:
    import json

    import typst

    names = [f"sheet-{k}.svg" for k in range(len(sheets))]
    files = {name: svg(sheet, texts=False).encode("utf-8") for name, sheet in zip(names, sheets, strict=True)}
    inputs = {
        "title": printable(title),
        "size": [f"{side}mm" for side in sheets[0].size],
        "font": FAMILY,
        "pages": [
            [name, f"{sheet.name}. {sheet.description}", list(_written(sheet))]
            for name, sheet in zip(names, sheets, strict=True)
        ],
    }
    made = typst.compile(
        {"main.typ": DOCUMENT.encode("utf-8"), **files},
        font_paths=typeset_in(),
        sys_inputs={"sheets": json.dumps(inputs)},
        **output,
    )
    return bytes(made)


def _written(sheet: Sheet) -> Iterator[list[Any]]:
    """Lines of writing in one style: place from the upper left [mm], clockwise turn [deg], size [points], weight,
    colour, and the parts of it, each with the gap before it [mm].
    """
    shown = (text for text in sheet.texts if text.text)
    for _, line in itertools.groupby(shown, key=lambda t: (t.y, t.turn, t.turn and t.x, t.size, t.bold, t.colour)):
        first, *others = line
        parts, end = [(0.0, first.text)], first.x + first.width
        for text in others:
            parts.append((text.x - end, text.text))
            end = text.x + text.width
        weight = "bold" if first.bold else "regular"
        yield [first.x, sheet.size[1] - first.y, -first.turn, first.size, weight, first.colour, parts]


def svg(sheet: Sheet, *, texts: bool = True) -> str:
    """A sheet as SVG, letters as outlines; or what is drawn alone, without ``texts``."""
    wide, high = sheet.size
    clips = list(dict.fromkeys(m.clip for m in sheet.marks if isinstance(m, Line | Areas) and m.clip))
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}mm" height="{high:g}mm" '
        f'viewBox="0 0 {wide:g} {high:g}" role="img" aria-labelledby="title desc">',
        f'<title id="title">{escape(sheet.name)}</title>',
        f'<desc id="desc">{escape(sheet.description)}</desc>',
        "<defs>",
        *_signs(sheet.texts if texts else ()),
        *(_clip(k, box, high) for k, box in enumerate(clips)),
        "</defs>",
        f'<rect width="{wide:g}" height="{high:g}" fill="{pens.PAPER}"/>',
    ]
    for mark in sheet.marks:
        match mark:
            case Line():
                parts.append(_line(mark, clips, high))
            case Areas():
                parts.append(_areas(mark, clips, high))
            case Picture():
                parts.append(_picture(mark, high))
            case Text() if texts:
                parts.append(_outlines(mark, high))
    return "\n".join([*parts, "</svg>", ""])


def _signs(texts: Sequence[Text]) -> Iterator[str]:
    """Each sign that is drawn, once."""
    for bold, sign in sorted({(text.bold, sign) for text in texts for sign in text.text}):
        yield f'<path id="{_sign(sign, bold=bold)}" d="{face(bold=bold).outline(sign)}"/>'


def _sign(sign: str, *, bold: bool) -> str:
    return f"{'b' if bold else 'r'}{ord(sign):x}"


def _outlines(text: Text, high: float) -> str:
    font = face(bold=text.bold)
    scale, at, uses = text.size * MM_PER_POINT / font.units, 0.0, []
    for sign in text.text:
        if not sign.isspace():
            uses.append(f'<use href="#{_sign(sign, bold=text.bold)}" x="{at:g}"/>')
        at += font.advances[sign]
    move = f"{_place(text, high)} scale({scale:.7f} {-scale:.7f})"
    return f'<g transform="{move}" fill="{text.colour}" aria-label={quoteattr(text.text)}>{"".join(uses)}</g>'


def _place(text: Text, high: float) -> str:
    move = f"translate({_number(text.x)} {_number(high - text.y)})"
    return move + (f" rotate({-text.turn:.4f})" if text.turn else "")


def _line(line: Line, clips: Sequence[Box], high: float) -> str:
    style = f'fill="none" stroke="{line.colour}" stroke-width="{line.width:g}" stroke-linejoin="round"'
    if line.dash:
        style += f' stroke-dasharray="{" ".join(map(_number, line.dash))}"'
    name = f"id={quoteattr(line.name)} " if line.name else ""
    return f'<path {name}d="{_path(line.points, high)}" {style}{_clipped(line, clips)}/>'


def _areas(areas: Areas, clips: Sequence[Box], high: float) -> str:
    style = f'fill="{areas.colour}"'
    if len(areas.rings) > 1:
        style += ' fill-rule="evenodd"'
    if areas.opacity < 1:
        style += f' fill-opacity="{areas.opacity:g}"'
    outlines = "".join(f"{_path(ring, high)}z" for ring in areas.rings)
    return f'<path d="{outlines}" {style}{_clipped(areas, clips)}/>'


def _clipped(mark: Line | Areas, clips: Sequence[Box]) -> str:
    return f' clip-path="url(#clip{clips.index(mark.clip)})"' if mark.clip else ""


def _picture(picture: Picture, high: float) -> str:
    data = base64.b64encode(picture.png).decode("ascii")
    return f'<image {_rect(picture.box, high)} preserveAspectRatio="none" href="data:image/png;base64,{data}"/>'


def _path(points: npt.NDArray[np.float64], high: float) -> str:
    flat = np.round(points * (1.0, -1.0) + (0.0, high), DECIMALS).ravel().tolist()
    return "M" + "L".join(["%.12g %.12g"] * len(points)) % tuple(flat)


def _clip(k: int, box: Box, high: float) -> str:
    return f'<clipPath id="clip{k}"><rect {_rect(box, high)}/></clipPath>'


def _rect(box: Box, high: float) -> str:
    left, bottom, right, top = box
    size = f'width="{_number(right - left)}" height="{_number(top - bottom)}"'
    return f'x="{_number(left)}" y="{_number(high - top)}" {size}'


def _number(value: float) -> str:
    return f"{round(value, DECIMALS):.12g}"
