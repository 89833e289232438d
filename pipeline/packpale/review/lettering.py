"""Letters of the drawings: outlines, widths, and what can be drawn at all.

The font is DejaVu Sans, which matplotlib brings. Outlines go into the SVG, so that a drawing looks the same and has the
same size on a machine without the font.
"""

import functools
import importlib.metadata
import io
from pathlib import Path
from typing import Any

FAMILY = "DejaVu Sans"
MM_PER_POINT = 25.4 / 72
SMALLEST = 4.5
"""Texts that have too little room are set no smaller than this before they are cut short. [points]"""
CAP_HEIGHT, DESCENT = 0.73, 0.24
"""Height of capitals and depth below the line of writing, as parts of the size."""


class Face:
    """One weight of the font."""

    def __init__(self, file: Path) -> None:
        from fontTools.ttLib import TTFont

        # Whole in memory: no file stays open.
        self._font: Any = TTFont(io.BytesIO(file.read_bytes()), lazy=True)
        self._names: dict[str, str] = {chr(code): name for code, name in self._font.getBestCmap().items()}
        self._glyphs = self._font.getGlyphSet()
        self._outlines: dict[str, str] = {}
        self.units: float = float(self._font["head"].unitsPerEm)
        """Font units of one size."""
        widths = self._font["hmtx"].metrics
        self.advances: dict[str, float] = {sign: float(widths[name][0]) for sign, name in self._names.items()}
        """Width of every sign that there is. [font units]"""

    def outline(self, sign: str) -> str:
        """Outline of a sign as the data of an SVG path, upward positive. [font units]"""
        from fontTools.pens.svgPathPen import SVGPathPen

        if sign not in self._outlines:
            pen = SVGPathPen(self._glyphs)
            self._glyphs[self._names[sign]].draw(pen)
            self._outlines[sign] = str(pen.getCommands())
        return self._outlines[sign]


@functools.cache
def face(*, bold: bool) -> Face:
    """The font, regular or bold."""
    return Face(_font_file(bold=bold))


@functools.cache
def typeset_in() -> Any:
    """The font as typst takes it: found once, not for every sheet."""
    import typst

    # It looks through folders, not files.
    return typst.Fonts(include_system_fonts=False, font_paths=[str(_font_file(bold=False).parent)])


def _font_file(*, bold: bool) -> Path:
    # Not by importing the package, which takes a third of a second.
    folder = importlib.metadata.distribution("matplotlib").locate_file("matplotlib/mpl-data/fonts/ttf")
    return Path(str(folder)) / ("DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf")


@functools.lru_cache(maxsize=4096)
def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Width on paper of one line of text that is printable. [mm]"""
    font = face(bold=bold)
    return sum(map(font.advances.__getitem__, text)) / font.units * size * MM_PER_POINT


def wrapped(text: str, size: float, most: float, *, bold: bool = False) -> list[str]:
    """The text, made printable, in lines of at most ``most`` millimetres, broken at blanks."""
    lines: list[str] = []
    for word in printable(text).split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, bold=bold) <= most:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def printable(text: str) -> str:
    """The text in signs that the font has: white space becomes blanks, and what cannot be drawn a question mark."""
    return text if text.isascii() and text.isprintable() else "".join(map(_drawn, text))


@functools.lru_cache(maxsize=4096)
def _drawn(sign: str) -> str:
    if sign.isspace():
        return " "
    drawable = sign.isprintable() and all(sign in face(bold=bold).advances for bold in (False, True))
    return sign if drawable else "?"


def fitted(text: str, size: float, most: float, *, bold: bool) -> tuple[float, str]:
    """Size and text that take at most ``most`` millimetres: first set smaller, then cut short."""
    wide = text_width(text, size, bold=bold)
    if wide <= most:
        return size, text
    size = max(size * most / wide, SMALLEST)
    while text_width(text, size, bold=bold) > most + 1e-6 and len(text) > 2:
        text = text[:-2].rstrip() + "…"
    return size, text
