"""The footing of a post as sections show it: its outline behind the skirt, and a section of its own at a post."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from packpale.earthworks.footing import Footing
from packpale.earthworks.section import TrenchSection
from packpale.review.drawings import pens
from packpale.review.drawings.sheet import FIELD, Box, Sheet, Styled, View, in_rows, scale_for, scale_text
from packpale.review.words import Wording
from packpale.site import Array

CONCRETE = "#c4c6c4"
DETAIL_MM = 82.0
"""Width of the column at the left of the sheet, with the section at a post."""
BESIDE_MM, ABOVE_M, BELOW_M, SIDE_M = 17.0, 0.4, 0.15, 0.3
"""Paper kept on each side for dimensions; fence shown above the ground, earth below footing and beside the floor."""
HEAD_MM, ROW_MM = 11.0, 3.3
"""Above the drawing, and from one line of words to the next."""


def made_ground(footing: Footing) -> str:
    """That footings stand in ground that has been moved, in a sentence."""
    return (
        f"Footings {footing.made_ground} ground that is filled again: the structural design has to reckon with made "
        "ground."
    )


def draw_footing(
    sheet: Sheet, view: View, footing: Footing, *, across: float = 0.0, level: float = 0.0, name: str = "footing"
) -> None:
    """Concrete and its outline, dashed since it stands behind the section, on ground of a ``level``. [m]"""
    half = footing.diameter / 2
    bottom, top = level - footing.bottom, level - footing.top
    draw_concrete(sheet, view, (across - half, bottom, across + half, top), dash=pens.DASHED, name=name)


def draw_concrete(sheet: Sheet, view: View, block: Box, **style: Any) -> None:
    """A block of concrete, given in metres, with its outline in a style."""
    west, bottom, east, top = block
    x, y = view.at([west, east, east, west, west], [bottom, bottom, top, top, bottom])
    sheet.fill(x, y, colour=CONCRETE)
    sheet.line(x, y, **style)


def outline(section: TrenchSection) -> Array:
    """Offsets and heights of a trench's corners, from one edge down and up to the other: shape (2, corners). [m]"""
    left, right = section.edges
    corners = [(end, -deep) for inner, outer, a, b in section.pieces for end, deep in ((inner, a), (outer, b))]
    return np.array([(left, 0.0), *corners, (right, 0.0)]).T


def skirt_at_post(footing: Footing, inward: int) -> tuple[list[float], list[float]]:
    """Offsets and heights of the skirt where it passes a post: round the concrete on its enclosed side, down to the
    bottom of the trench. [m]
    """
    aside = inward * footing.diameter / 2
    # It leaves the line over as much height as the concrete stands aside, or over what there is.
    start = max(footing.top - footing.diameter / 2, 0.0)
    return [0.0, 0.0, aside, aside], [0.0, -start, -footing.top, -footing.trench]


def draw_detail(sheet: Sheet, section: TrenchSection, footing: Footing, inward: int, wording: Wording) -> None:
    """Section at a post, in the column at the left: trench, concrete, the skirt past it, dimensions and words."""
    left, bottom, _, top = FIELD
    rows = in_rows(_words(footing, section, wording), pens.SMALL, DETAIL_MM - 8)
    below = ROW_MM * len(rows) + 12.0
    half = section.bottom_width / 2 + SIDE_M
    room = DETAIL_MM - 2 * BESIDE_MM, top - bottom - HEAD_MM - below - 26
    scale = scale_for((2 * half, footing.bottom + ABOVE_M + BELOW_M), room)
    middle = left + DETAIL_MM / 2
    view = View((middle, top - HEAD_MM - ABOVE_M * 1000 / scale), (0.0, 0.0), scale, scale)
    sheet.line([left + DETAIL_MM] * 2, [bottom, top])
    sheet.text(left + 4, top - 6, f"Section at a post, {scale_text(scale)}", bold=True)
    _ground(sheet, view, section, footing, half)
    _post(sheet, view, section, footing, inward)
    _dimensions(sheet, view, section, footing, wording)
    _names(sheet, view, section, footing, inward)
    y = view.point(0, -footing.bottom - BELOW_M)[1] - 18
    sheet.rows(left + 4, y, rows, size=pens.SMALL, step=ROW_MM)


def _ground(sheet: Sheet, view: View, section: TrenchSection, footing: Footing, half: float) -> None:
    deep = footing.bottom + BELOW_M
    low = view.point(-half, -deep)
    clip = (*low, *view.point(half, 0.0))
    sheet.fill(*view.at([-half, half, half, -half], [0, 0, -deep, -deep]), colour=pens.EARTH)
    offset = np.linspace(-half, half, 241)
    edge = section.edges
    depth = section.depth_at(offset)
    x, y = view.at(offset, -depth)
    sheet.fill([*x, x[-1], x[0]], [*y, view.point(0, 0)[1], view.point(0, 0)[1]], colour=pens.FILL)
    sheet.line(*view.at(*outline(section)), width=pens.MEDIUM, clip=clip)
    for start, end in ((-half, max(edge[0], -half)), (min(edge[1], half), half)):
        if end > start:
            sheet.line(*view.at([start, end], [0, 0]), width=pens.THICK, colour=pens.GRASS)
    sheet.line(*view.at([max(edge[0], -half), min(edge[1], half)], [0, 0]), colour=pens.GRASS, dash=pens.DASHED)


def _post(sheet: Sheet, view: View, section: TrenchSection, footing: Footing, inward: int) -> None:
    wide = footing.diameter / 2
    block = (-wide, -footing.bottom, wide, -footing.top)
    draw_concrete(sheet, view, block, width=pens.MEDIUM, name="footing-at-post")
    sheet.line(
        *view.at([0, 0], [-footing.bottom - BELOW_M, ABOVE_M]), width=pens.HAIR, colour=pens.SOFT, dash=pens.CHAIN
    )
    sheet.line(*view.at([0, 0], [0, ABOVE_M]), width=1.0)
    sheet.line(*view.at(*skirt_at_post(footing, inward)), width=1.0, name="skirt-at-post", **pens.MESH)
    reach, cover = min(section.apron_reach, section.bottom_width / 2 + SIDE_M), section.apron_cover
    if reach > 0:
        # Where the concrete stands higher than the apron lies, the apron meets its side.
        start = wide if _through(footing, cover) else 0.0
        sheet.line(*view.at([start, max(reach, start)], [-cover] * 2), width=1.0, name="apron-at-post", **pens.MESH)


def _dimensions(sheet: Sheet, view: View, section: TrenchSection, footing: Footing, wording: Wording) -> None:
    show, half, wide = wording.dimension, section.bottom_width / 2 + SIDE_M, footing.diameter / 2
    (west, ground), east = view.point(-half, 0), view.point(half, 0)[0]
    floor, upper, lower = (view.point(0, -d)[1] for d in (section.depth, footing.top, footing.bottom))
    sheet.measure((west, ground), (west, floor), show(section.depth), shift=-5)
    sheet.measure((east, upper), (east, lower), show(footing.height), shift=7, name="footing-height")
    if footing.top > 0:
        sheet.measure((east, ground), (east, upper), show(footing.top), shift=7, name="footing-top")
    if footing.below_trench > 0:
        sheet.measure((west, floor), (west, lower), show(footing.below_trench), shift=-5, name="footing-below")
    left, right = view.point(-wide, 0)[0], view.point(wide, 0)[0]
    y = view.point(0, -footing.bottom - BELOW_M)[1] - 6
    for x in (left, right):
        sheet.line([x, x], [lower - 1, y - 1.2], width=pens.HAIR, colour=pens.SOFT)
    sheet.measure((left, y), (right, y), show(footing.diameter), name="footing-diameter")


def _names(sheet: Sheet, view: View, section: TrenchSection, footing: Footing, inward: int) -> None:
    """What is concrete and skirt, and which side is which."""
    half, wide = section.bottom_width / 2 + SIDE_M, footing.diameter / 2
    x, y = view.point(-inward * wide / 2, -(footing.top + footing.bottom) / 2)
    sheet.text(x, y, "concrete", size=pens.SMALL, turn=90, across="center", up="center")
    x, y = view.point(inward * wide, -section.depth / 2)
    word: dict[str, Any] = {"size": pens.SMALL, "colour": pens.RED, "bold": True}
    sheet.text(x + inward * 2.0, y, "skirt", turn=90, across="center", up="center", **word)
    for sign, across in ((-1, "left"), (1, "right")):
        x, y = view.point(sign * half, 0)
        sheet.text(x, y + 1.6, "inside" if sign == inward else "outside", size=pens.SMALL, bold=True, across=across)


def _through(footing: Footing, cover: float) -> bool:
    """Whether the concrete stands higher than an apron under that much soil [m]."""
    return footing.top < cover - 1e-6


def _words(footing: Footing, section: TrenchSection, wording: Wording) -> Iterator[Styled]:
    """What the drawing cannot show, the gravest last."""
    show = wording.dimension
    hole = f"Footing {show(footing.diameter)} across, {show(footing.height)} of concrete: "
    hole += (
        f"drilled {show(footing.below_trench)} below the bottom of the trench, above that cast in a form."
        if footing.below_trench > 0
        else "it stands on the bottom of the trench and is cast in a form, before the trench is filled."
    )
    yield hole, {}
    yield "The skirt passes it on the enclosed side, uncut; between posts it hangs on the line.", {}
    if section.apron_reach > 0 and _through(footing, section.apron_cover):
        yield "The concrete stands through the apron: lap mesh round it and tie that to skirt and apron.", {}
    yield made_ground(footing), pens.GRAVE
