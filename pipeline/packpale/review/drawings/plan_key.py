"""The key of a plan: every kind of line with its letter, and every mark."""

from packpale.review.drawings import pens
from packpale.review.drawings.line_kinds import KINDS
from packpale.review.drawings.marks import WORDS
from packpale.review.drawings.plan_ground import CONTOUR, draw_cross, draw_gate, draw_mark, draw_tree
from packpale.review.drawings.sheet import Sheet

KEY_ROW_MM = 3.5
GATE_MM = 1.0
"""Width of the line that an airlock's inner gate is drawn as."""


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
    below = [y - KEY_ROW_MM * k for k in range(1, 6)]
    for at, letter in zip(below, (letter for letter in WORDS if letter != "G"), strict=True):
        draw_mark(sheet, letter, x + 1.5, at + 0.7)
        sheet.text(x + 4, at, f"{letter}1", size=pens.TINY, bold=True)
        sheet.text(x + 9, at, WORDS[letter], size=pens.TINY)
    gate, inner, joint, peg, tree = below
    draw_gate(sheet, column + 1, gate + 0.7)
    sheet.text(column + 4, gate, "gate", size=pens.TINY)
    sheet.line([column, column + 2], [inner + 0.7] * 2, width=GATE_MM)
    sheet.text(column + 4, inner, "inner gate of an airlock", size=pens.TINY)
    sheet.circle(column + 1, joint + 0.7, 0.9)
    sheet.text(column + 4, joint, "arcs meet" if arcs else "corner", size=pens.TINY)
    sheet.line([column + 1] * 2, [peg, peg + 1.4], width=pens.MEDIUM)
    sheet.text(column + 4, peg, "12", size=pens.TINY, colour=pens.SOFT)
    sheet.text(column + 8, peg, "main peg, its number", size=pens.TINY)
    draw_tree(sheet, column + 1, tree + 0.7)
    sheet.text(column + 4, tree, "tree or boulder", size=pens.TINY)
    if arcs:
        draw_cross(sheet, column + 1, y + 0.7, 1.5, width=pens.MEDIUM)
        sheet.text(column + 4, y, "centre of an arc", size=pens.TINY)
