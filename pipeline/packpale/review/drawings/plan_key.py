"""The key of a plan: every kind of line with its letter, and every mark."""

import numpy as np

from packpale.review.drawings import pens
from packpale.review.drawings.line_kinds import KINDS
from packpale.review.drawings.marks import WORDS
from packpale.review.drawings.plan_ground import CONTOUR, draw_mark, draw_tree
from packpale.review.drawings.sheet import Sheet

KEY_ROW_MM = 3.5
GATE_MM = 1.0
"""Width of the line that an airlock's inner gate is drawn as."""
MARKS = ("W", "X", "U", "O", "T")
"""Letters of the marks, but for gates, which have a sign of their own."""


def draw_key(sheet: Sheet, x: float, y: float, *, arcs: bool) -> None:
    """Every kind of line with its letter, and every mark."""
    for k, kind in enumerate(reversed(KINDS)):
        row = y + KEY_ROW_MM * k
        sheet.line([x, x + 5], [row + 0.9] * 2, width=kind.width, colour=kind.colour, dash=kind.dash)
        sheet.text(x + 6.4, row, kind.letter, size=pens.TINY, bold=True, colour=kind.colour, across="center")
        sheet.line([x + 7.8, x + 12.8], [row + 0.9] * 2, width=kind.width, colour=kind.colour, dash=kind.dash)
        sheet.text(x + 14.4, row, kind.text, size=pens.TINY)
    row, column = y + KEY_ROW_MM * len(KINDS), x + 44
    sheet.line([x, x + 12.8], [row + 0.9] * 2, width=pens.HAIR, colour=CONTOUR)
    sheet.text(x + 14.4, row, "ground level (m)", size=pens.TINY)
    for k, letter in enumerate(reversed(MARKS)):
        at = y + KEY_ROW_MM * (k - len(MARKS))
        draw_mark(sheet, letter, x + 1.5, at + 0.7)
        sheet.text(x + 4, at, f"{letter}1", size=pens.TINY, bold=True)
        sheet.text(x + 9, at, WORDS[letter], size=pens.TINY)
    at = y - KEY_ROW_MM
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * 1.1 + (column + 1, at + 0.7)
    sheet.fill(*square.T, colour=pens.INK)
    sheet.text(column + 4, at, "gate", size=pens.TINY)
    at -= KEY_ROW_MM
    sheet.line([column, column + 2], [at + 0.7] * 2, width=GATE_MM)
    sheet.text(column + 4, at, "inner gate of an airlock", size=pens.TINY)
    at -= KEY_ROW_MM
    sheet.circle(column + 1, at + 0.7, 0.9)
    sheet.text(column + 4, at, "arcs meet" if arcs else "corner", size=pens.TINY)
    at -= KEY_ROW_MM
    sheet.line([column + 1] * 2, [at, at + 1.4], width=pens.MEDIUM)
    sheet.text(column + 4, at, "12", size=pens.TINY, colour=pens.SOFT)
    sheet.text(column + 8, at, "main peg, its number", size=pens.TINY)
    at -= KEY_ROW_MM
    draw_tree(sheet, column + 1, at + 0.7)
    sheet.text(column + 4, at, "tree or boulder", size=pens.TINY)
    if arcs:
        at = y
        sheet.line([column - 0.5, column + 2.5], [at + 0.7] * 2, width=pens.MEDIUM)
        sheet.line([column + 1] * 2, [at - 0.8, at + 2.2], width=pens.MEDIUM)
        sheet.text(column + 4, at, "centre of an arc", size=pens.TINY)
