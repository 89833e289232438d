"""A gate seen from outside: leaves over the ground as it lies there, posts, and what lies below."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from packpale.earthworks.footing import Footing, footing
from packpale.earthworks.gates import OUTER, STEP_M, GateLeaf, Opening
from packpale.enclosure.leaves import ground_between
from packpale.review.drawings import pens
from packpale.review.drawings.footing_view import draw_concrete, draw_footing, made_ground
from packpale.review.drawings.sheet import Pair, Sheet, Styled, View
from packpale.review.words import Wording
from packpale.settings import Project
from packpale.site import Array, Site

BESIDE_M, ABOVE_M, BELOW_M = 0.3, 0.25, 0.15
"""Fence shown beside an opening, room above its leaves, earth below what is deepest."""


@dataclass(frozen=True)
class Elevation:
    """An opening as seen from outside: widths from the left post, levels. [m]"""

    place: str
    clear: float
    across: Array
    """Where the ground was looked at, a little beyond both posts."""
    ground: Array
    """There; NaN where elevation is missing."""
    leaves: Sequence[GateLeaf]
    base: float
    """Lowest level drawn."""
    high: float
    footing: Footing
    """Of its posts; no trench is dug at the inner end of an airlock."""
    project: Project
    wording: Wording

    @classmethod
    def of(
        cls, opening: Opening, leaves: Sequence[GateLeaf], site: Site, project: Project, wording: Wording
    ) -> "Elevation":
        clear, along = opening.clear, opening.along
        start, end = opening.sides[0] - BESIDE_M * along, opening.sides[1] + BESIDE_M * along
        ground = ground_between(site.elevation, site.grid, start, end, step=STEP_M)
        across = np.linspace(-BESIDE_M, clear + BESIDE_M, ground.size)
        tops = [leaf.underside + leaf.height for leaf in leaves if not math.isnan(leaf.underside)]
        # Where no elevation is known at all, words alone stand in the frame.
        known = ground[np.isfinite(ground)] if np.isfinite(ground).any() else np.zeros(1)
        top = max([float(known.max()) + project.fence.height_m, *tops]) + ABOVE_M
        foot = footing(project.fence, project.trench.depth_m if opening.place == OUTER else 0.0)
        base = float(known.min()) - foot.bottom - BELOW_M
        return cls(opening.place, clear, across, ground, leaves, base, top - base, foot, project, wording)

    def level(self, across: float) -> float:
        """Ground at a width; NaN where it is not known. [m]"""
        return float(np.interp(across, self.across, self.ground))

    @property
    def runs(self) -> Iterator[tuple[Array, Array]]:
        """Stretches of known ground: widths and levels. [m]"""
        known = np.isfinite(self.ground)
        starts = np.flatnonzero(np.diff(known, prepend=False))
        for run in np.split(np.arange(known.size), starts):
            if run.size > 1 and known[run[0]]:
                yield self.across[run], self.ground[run]

    @property
    def key(self) -> str:
        return "outer" if self.place == OUTER else "inner"


def draw_elevation(sheet: Sheet, view: View, one: Elevation) -> None:
    """Ground, what lies below it, posts and leaves."""
    fence, floor = one.project.fence, view.point(0, one.base)[1]
    for across, ground in one.runs:
        x, y = view.at(across, ground)
        sheet.fill([*x, x[-1], x[0]], [*y, floor, floor], colour=pens.EARTH)
    posts = [at for at in (0.0, one.clear) if math.isfinite(one.level(at))]
    for side, at in enumerate(posts, 1):
        draw_footing(sheet, view, one.footing, across=at, level=one.level(at), name=f"footing-{one.key}-{side}")
    if one.place == OUTER:
        _draw_below(sheet, view, one)
    for k, run in enumerate(one.runs, 1):
        sheet.line(*view.at(*run), width=pens.THICK, colour=pens.GRASS, name=f"ground-{one.key}-{k}")
    for leaf in one.leaves:
        _draw_leaf(sheet, view, one, leaf)
    tops = [leaf.underside + leaf.height for leaf in one.leaves if math.isfinite(leaf.underside)]
    for at in posts:
        sheet.line(*view.at([at, at], [one.level(at), max([one.level(at) + fence.height_m, *tops])]), width=1.2)
        beside = at + (BESIDE_M if at > 0 else -BESIDE_M)
        if math.isfinite(one.level(beside)):
            heights = np.array([one.level(at), one.level(beside)]) + fence.height_m
            sheet.line(*view.at([at, beside], heights), width=pens.MEDIUM)


def _draw_below(sheet: Sheet, view: View, one: Elevation) -> None:
    """Skirt, apron, and a sill where one is set."""
    trench, settings = one.project.trench, one.project.gates
    top = one.leaves[0].sill_top
    if math.isfinite(top):
        low = top - settings.sill_above_ground_m - settings.sill_depth_m
        draw_concrete(sheet, view, (0.0, low, one.clear, top), width=pens.MEDIUM, name="sill")
    for k, (across, ground) in enumerate(one.runs, 1):
        if trench.apron_reach_m > 0:
            sheet.line(*view.at(across, ground - trench.apron_cover_m), width=0.8, name=f"apron-below-{k}", **pens.MESH)
        sheet.line(*view.at(across, ground - trench.depth_m), width=0.8, name=f"skirt-below-{k}", **pens.MESH)
        for x in across[(across >= 0) & (across <= one.clear)][::5]:
            sheet.line(
                *view.at([x, x], [one.level(x), one.level(x) - trench.depth_m]), width=pens.HAIR, colour=pens.RED
            )
    style: dict[str, Any] = {"size": pens.SMALL, "colour": pens.RED, "bold": True, "across": "center", "up": "center"}
    words = [("skirt", 0.75, 0.65 * trench.depth_m)]
    words += [("apron", 0.25, trench.apron_cover_m)] if trench.apron_reach_m > 0 else []
    for text, share, depth in words:
        if math.isfinite(one.level(share * one.clear)):
            place = view.point(share * one.clear, one.level(share * one.clear) - depth)
            sheet.text(*place, text, paper=True, **style)


def _draw_leaf(sheet: Sheet, view: View, one: Elevation, leaf: GateLeaf) -> None:
    show = one.wording.dimension
    start, end = (leaf.leaf - 1) * leaf.width, leaf.leaf * leaf.width
    name = f"{one.key}-{leaf.leaf}"
    if math.isnan(leaf.underside):
        x, y = view.point((start + end) / 2, one.base + one.high / 2)
        sheet.text(x, y, "elevation missing", size=pens.SMALL, colour=pens.RED, bold=True, across="center")
        return
    low, top = leaf.underside, leaf.underside + leaf.height
    corners = [(start, low), (end, low), (end, top), (start, top), (start, low)]
    sheet.line(*view.at(*np.array(corners).T), width=0.5, name=f"leaf-{name}")
    # The sign of a hinged leaf: two lines that meet on its hinge side, dashed where it opens away from who looks.
    hinge, other = (end, start) if leaf.leaf == 2 else (start, end)
    dash = pens.DASHED if one.project.gates.swing == "in" else ()
    sheet.line(
        *view.at([other, hinge, other], [low, (low + top) / 2, top]), colour=pens.SOFT, width=pens.HAIR, dash=dash
    )
    sheet.measure(view.point(start, top), view.point(end, top), show(leaf.width), shift=4,
                  name=f"leaf-width-{name}")  # fmt: skip
    inner = view.point(start + (0.42 if leaf.leaf == 1 else 0.58) * leaf.width, low)[0]
    sheet.measure((inner, view.point(0, low)[1]), (inner, view.point(0, top)[1]), show(leaf.height),
                  name=f"leaf-height-{name}")  # fmt: skip
    at, floor = _gap_at(one, leaf, start, end)
    # A little into the leaf, so that no edge hides it.
    aside = 1.4 if at < (start + end) / 2 else -1.4
    (x, bottom), up = view.point(at, floor), view.point(at, low)[1]
    sheet.line([x + aside] * 2, [bottom, up], colour=pens.RED, width=pens.MEDIUM, name=f"gap-{name}")
    for y in (bottom, up):
        sheet.line([x + aside - 0.7, x + aside + 0.7], [y, y], colour=pens.RED, width=pens.MEDIUM)
    x, y = view.point((start + end) / 2, low)
    bad = leaf.gap > one.project.gates.max_gap_m + 1e-9
    sheet.text(x, y + 2.0, f"gap {show(leaf.gap)}", size=pens.SMALL, bold=True, colour=pens.RED if bad else pens.INK,
               across="center", paper=True)  # fmt: skip


def _gap_at(one: Elevation, leaf: GateLeaf, start: float, end: float) -> Pair:
    """Where the gap below a leaf is greatest, and the level of what lies there: sill or lowest ground. [m]"""
    if math.isfinite(leaf.sill_top):
        return start + 0.2 * leaf.width, leaf.sill_top
    at = np.linspace(start, end, 101)
    ground = np.interp(at, one.across, one.ground)
    return float(at[int(np.argmin(ground))]), leaf.lowest


def elevation_words(one: Elevation) -> Iterator[Styled]:
    """Words below an elevation."""
    project, show = one.project, one.wording.dimension
    for leaf in one.leaves:
        if math.isnan(leaf.underside):
            text = f"Leaf {leaf.leaf}: elevation is missing below it or on its way; its gap is not known."
            yield text, {"bold": True}
            continue
        yield (
            f"Leaf {leaf.leaf}: lower edge at {show(leaf.underside)}; ground below it {show(leaf.lowest)} to "
            f"{show(leaf.highest)}, highest on its way {show(leaf.highest_in_swing)}.",
            {},
        )
    yield f"Opens {one.leaves[0].swing}, {show(project.gates.clearance_m)} over all on its way.", {}
    yield f"Below: {one.leaves[0].below}.", {}
    most = project.gates.max_gap_m
    if any(leaf.gap > most + 1e-9 for leaf in one.leaves):
        yield (
            f"More than {show(most)} open below a leaf: an animal may dig or slip under it. Level the ground, "
            "let the leaf swing the other way, or take rising hinges.",
            pens.GRAVE,
        )
    if one.place == OUTER:
        yield made_ground(one.footing), pens.GRAVE
