"""The plan of the fence lines with all that is needed to peg their arcs, on an A4 sheet."""

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from packpale.enclosure.egg import Arc
from packpale.enclosure.model import Pack
from packpale.enclosure.setting_out import pegging
from packpale.review.drawings import pens
from packpale.review.drawings.line_kinds import APRON, EVERY_MM, FENCE, LineKind, draw_lines, letter_lines
from packpale.review.drawings.plan_ground import (
    draw_contours,
    draw_cross,
    draw_gate,
    draw_main_pegs,
    draw_marks,
    draw_surroundings,
)
from packpale.review.drawings.plan_key import GATE_MM, KEY_ROW_MM, draw_key
from packpale.review.drawings.sheet import (
    FIELD,
    Box,
    Pair,
    Place,
    Sheet,
    Title,
    View,
    outward,
    scale_for,
    scale_text,
)
from packpale.review.lettering import text_width
from packpale.review.model import PlotResult
from packpale.review.subjects.line import apron
from packpale.review.subjects.setting_out import airlocks_of, stake_name, stakes
from packpale.review.words import Wording, begun
from packpale.review.words.quantities import ROUND
from packpale.settings import Project

COLUMN_MM = 80.0
"""Width of the column with the tables, at the right."""
MARGIN_MM = 9.0
"""Round the fence lines, for labels."""
TICK_MM, LABEL_MM, GRID_MM = 7.0, 15.0, 40.0
"""Least distances between ticks of chainage, figures beside them, and lines of the grid of coordinates."""
CHORD_ERROR_MM = 0.02
"""Largest distance between an arc and what is drawn, on paper."""
ROW_MM, TABLE_GAP_MM, KEY_MM = 3.4, 2.0, 58.0
"""Rows of the tables, the gap below a table, and what key and scale bar take at the foot of the column."""
TABLE = 5.6
"""Size of the figures. [points]"""
MOST_POINTS = 30
"""Points in all tables; a drawn line may have hundreds of corners."""


def plan_sheet(result: PlotResult, project: Project, wording: Wording, title: Title) -> Sheet:
    """Sheet with every fence line of a plot, its arcs, centres, tangent points and chainage.

    Raises ValueError if the plot has no fence line.
    """
    packs = result.enclosure.packs
    if not packs:
        raise ValueError(f"plot {result.site.plot_id!r} has no fence line to draw")
    left, bottom, right, top = FIELD
    box = (left, bottom, right - COLUMN_MM, top)
    lines = [pack.line.polygon(0.05).union(apron(pack, project.trench, 0.05)) for pack in packs]
    # The whole of the plot too: whoever reads the plan sees how far the ground goes.
    west, south, east, north = shapely.union_all([*lines, result.site.outline]).bounds
    room = box[2] - box[0] - 2 * MARGIN_MM, box[3] - box[1] - 2 * MARGIN_MM
    scale = scale_for((east - west, north - south), room)
    middle = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    view = View(middle, ((west + east) / 2, (south + north) / 2), scale, scale)
    sheet = Sheet(
        dataclasses.replace(title, scale=scale_text(scale)),
        f"Plan at {scale_text(scale)}, north of the grid up: fence line with "
        + ("its arcs, their centres and radii" if all(pack.egg for pack in packs) else "its corners")
        + ", chainage, main pegs, gates, airlocks and apron; plot boundary, services, watercourses, woodland, trees, "
        "crossings of water; coordinates in tables.",
    )
    levels = draw_contours(sheet, view, box, result)
    grid = _grid(sheet, view, box)
    letters = draw_surroundings(sheet, view, box, result)
    # First all lines, then all texts, which lie on blank paper: the most needed ones first.
    radii = [_radii(sheet, view, box, pack) for pack in packs]
    for pack in packs:
        letters += _line(sheet, view, box, pack, project)
        _airlocks(sheet, view, pack, project)
    for pack in packs:
        _gates(sheet, view, pack)
        _points(sheet, view, box, pack, several=len(packs) > 1)
        draw_marks(sheet, view, result, project, pack)
    for pack in packs:
        draw_main_pegs(sheet, view, pack, result, project)
    letter_lines(sheet, letters)
    for place, text, across in [*grid, *levels]:
        sheet.text_where_free([place], text, size=TABLE, colour=pens.SOFT, across=across, up="center")
    for pack, lines in zip(packs, radii, strict=True):
        _chainage(sheet, view, pack, wording)
        for radius in lines:
            _radius_text(sheet, radius, wording)
        if len(packs) > 1:
            middle_x, middle_y = view.point(*pack.line.polygon(1.0).representative_point().coords[0])
            places = [(middle_x, middle_y + up) for up in (0.0, 5.0, -5.0, 10.0, -10.0, 15.0, -15.0)]
            sheet.text_where_free(places, f"Pack {pack.number}", bold=True, across="center")
    _north(sheet, box[2] - 9, box[3] - 22)
    _column(sheet, packs, box[2], wording, scale)
    return sheet


def _centres(pack: Pack) -> list[tuple[Arc, str]]:
    """An egg's four arcs, each with the name of the stake at its centre; the big end, which the line's start halves,
    once. A drawn line has none.
    """
    egg = pack.egg
    if egg is None:
        return []
    return [(arc, swing.centre) for arc, swing in zip(egg.arcs()[:4], pegging(egg).swings, strict=True)]


def _tangents(pack: Pack) -> list[tuple[str, float, float, float]]:
    """Start of the line and the points where arcs or straight pieces meet: name, x, y, chainage.

    They are named as in the pegging instructions: on an egg by their stakes, on a drawn line by their number there,
    with the letter of a stake that stands on them.
    """
    line = pack.line
    at = line.points_at(line.breaks)
    if pack.egg:
        big, *others = pegging(pack.egg).swings
        names = ["P, start", *(swing.start for swing in (*others, big))]
    else:
        numbers = {arc.chainage: str(k) for k, arc in enumerate(line.arcs(), 1)}
        letters = {(stake.x, stake.y): f" {stake.name}" for stake in stakes(pack)}
        points = zip(line.breaks.tolist(), at.x.tolist(), at.y.tolist(), strict=True)
        names = [numbers[s] + letters.get((x, y), "") for s, x, y in points]
        names[0] += ", start"
    return list(zip(names, at.x.tolist(), at.y.tolist(), line.breaks.tolist(), strict=True))


def _line(sheet: Sheet, view: View, box: Box, pack: Pack, project: Project) -> list[tuple[Pair, LineKind]]:
    """Fence line and apron; returns places for their letters."""
    error = CHORD_ERROR_MM * view.scale / 1000
    outline = np.asarray(pack.line.polygon(error).exterior.coords)
    x, y = view.at(*outline.T)
    sheet.line(x, y, width=FENCE.width, colour=FENCE.colour, name=f"fence-line-{pack.number}")
    on_paper = shapely.LineString(np.column_stack([x, y]))
    reach = project.trench.apron_reach_m if project.trench.side == "outside" else -project.trench.apron_reach_m
    edge = pack.line.outline_at(reach, error) if reach else None
    letters = [(place, APRON) for place in draw_lines(sheet, view, box, edge, APRON)] if edge is not None else []
    at = shapely.line_interpolate_point(on_paper, np.arange(20.0, on_paper.length, EVERY_MM))
    return [*letters, *(((p.x, p.y), FENCE) for p in at)]


def _airlocks(sheet: Sheet, view: View, pack: Pack, project: Project) -> None:
    """Fence round each airlock, open where its inner gate hangs, and that gate as a filled mark."""
    for airlock in airlocks_of(pack, project):
        (_, b, c, d), (right, left) = airlock.corners, airlock.inner_gate
        name = f"airlock-{pack.number}-{airlock.gate}"
        for part, way in (("right", [b, c, right]), ("left", [airlock.corners[0], d, left])):
            sheet.line(*view.at(*np.array(way).T), width=pens.MEDIUM, colour=FENCE.colour, name=f"{name}-{part}")
        sheet.line(*view.at(*airlock.inner_gate.T), width=GATE_MM, colour=pens.INK, name=f"{name}-gate")


@dataclass(frozen=True)
class _Radius:
    """A radius drawn from the centre, or from the edge of the view towards it, to a point on the arc. [mm]"""

    metres: float
    start: Pair
    end: Pair


def _radii(sheet: Sheet, view: View, box: Box, pack: Pack) -> list[_Radius]:
    """Axis, the radii to the tangent points, and one radius within each arc, which is returned; only eggs have them."""
    egg = pack.egg
    if egg is None:
        return []
    ends = egg.points_at([0.0, egg.perimeter / 2])
    sheet.line(*view.at(ends.x, ends.y), colour=pens.SOFT, dash=pens.CHAIN, clip=box)
    radii = []
    for arc, _ in _centres(pack):
        for x, y in ((arc.start_x, arc.start_y), (arc.end_x, arc.end_y)):
            radius = view.at([arc.centre_x, x], [arc.centre_y, y])
            sheet.line(*radius, width=pens.HAIR, colour=pens.SOFT, dash=pens.DASHED, clip=box)
        # Off the middle: there the axis and the opposite flank's radius run.
        at = egg.points_at(arc.chainage + arc.length * (0.4 if "flank" in arc.name else 0.3))
        end = view.point(float(at.x), float(at.y))
        start = _clipped(view.point(arc.centre_x, arc.centre_y), end, box)
        sheet.arrow(start, end, colour=pens.SOFT)
        radii.append(_Radius(arc.radius, start, end))
    return radii


def _radius_text(sheet: Sheet, radius: _Radius, wording: Wording) -> None:
    """Length of a radius along it, near the arc and clear of the centre, where there is room for it."""
    start, end = np.array(radius.start), np.array(radius.end)
    length = math.dist(start, end)
    turn = math.degrees(math.atan2(*(end - start)[::-1]))
    turn = turn - 180 if turn > 90 else turn + 180 if turn < -90 else turn
    text = f"R {wording.dimension(radius.metres)}"
    half = text_width(text, pens.SMALL) / 2
    farthest = length - half - 3
    backs = np.arange(min(half + 5, farthest), farthest + 0.1, 2) if farthest > half else [length / 2]
    places = [tuple(end + (start - end) * back / length) for back in backs]
    sheet.text_where_free(places, text, size=pens.SMALL, turn=turn, across="center", up="center")


def _clipped(start: Pair, end: Place, box: Box) -> Pair:
    """Where the way from ``start`` to ``end``, which lies in the box, enters the box."""
    inside = shapely.LineString([start, end]).intersection(shapely.box(*box))
    return min(inside.coords, key=lambda p: math.dist(p, start)) if not inside.is_empty else start


def _chainage(sheet: Sheet, view: View, pack: Pack, wording: Wording) -> None:
    """Ticks across the line, with figures on the inner side."""
    line, unit = pack.line, wording.unit("length").size
    mm = unit * 1000 / view.scale
    tick = next(s for s in ROUND if s * mm >= TICK_MM)
    every = next(s for s in ROUND if s * mm >= LABEL_MM and abs(s / tick - round(s / tick)) < 1e-9)
    at = np.arange(0.0, line.perimeter / unit, tick)
    for chainage, point, out in zip(at, *view.on_line(line, at * unit), strict=True):
        labelled = abs(chainage / every - round(chainage / every)) < 1e-9
        arm = 1.6 if labelled else 0.9
        sheet.line(*np.array([point - arm * out, point + arm * out]).T)
        # The last one would run into the first.
        if labelled and (line.perimeter / unit - chainage) * mm > LABEL_MM / 2:
            places = [point - back * out * (1.0, 0.8) for back in (4.2, 5.4)]
            sheet.text_where_free(places, f"{chainage:,g}", size=TABLE, across="center", up="center")


def _gates(sheet: Sheet, view: View, pack: Pack) -> None:
    for k, (at, out) in enumerate(zip(*view.on_line(pack.line, pack.gates.chainage), strict=True)):
        draw_gate(sheet, *at)
        places = [at + far * out for far in (3.4, 5.5, 7.5)]
        sheet.text_where_free(places, f"gate {k + 1}", size=pens.SMALL, bold=True, across=outward(out), up="center")


def _points(sheet: Sheet, view: View, box: Box, pack: Pack, *, several: bool) -> None:
    """Tangent points, and the centres that lie on the sheet; arrows to those that do not.

    Of several packs each name has its pack before it, as in points.csv: a centre may lie in another pack's ground.
    """
    line = pack.line

    def called(name: str) -> str:
        return stake_name(pack.number, name) if several else name

    for name, *_, chainage in _tangents(pack):
        at, out = view.on_line(line, chainage)
        sheet.circle(at[0], at[1], 0.9)
        places = [at + far * out for far in (3.2, 5.5, 7.5, -4.0)]
        sheet.text_where_free(places, called(name), size=pens.SMALL, bold=True, across=outward(out), up="center")
    for arc, name in _centres(pack):
        x, y = view.point(arc.centre_x, arc.centre_y)
        if box[0] + 2 < x < box[2] - 2 and box[1] + 2 < y < box[3] - 2:
            draw_cross(sheet, x, y, 2.0, width=pens.MEDIUM)
            back = 2.6 + text_width(called(name), pens.SMALL, bold=True)
            corners = [(x + 1.6, y + 1.6), (x + 1.6, y - 3.4), (x - back, y + 1.6), (x - back, y - 3.4)]
            sheet.text_where_free(corners, called(name), size=pens.SMALL, bold=True)
            continue
        at, _ = view.on_line(line, arc.chainage + arc.length * 0.4)
        edge = np.array(_clipped((x, y), at, box))
        along = (edge - at) / max(math.dist(edge, at), 1e-9)
        sheet.arrow(edge - 7 * along, edge - along)
        places = [edge - back * along for back in (10.0, 15.0, 20.0)]
        text = f"to {called(name)}"
        sheet.text_where_free(places, text, size=pens.SMALL, bold=True, across="center", up="center")


def _grid(sheet: Sheet, view: View, box: Box) -> list[tuple[Pair, str, str]]:
    """Crosses at round coordinates of the run's CRS, in metres whatever the unit shown; returns the figures for the
    edges, with their place and which of their ends stands there.
    """
    step = next(s for s in ROUND if s * 1000 / view.scale >= GRID_MM)
    half_x, half_y = ((box[2] - box[0]) / 2 * view.scale / 1000, (box[3] - box[1]) / 2 * view.scale / 1000)
    xs = np.arange(math.ceil((view.zero[0] - half_x) / step), math.floor((view.zero[0] + half_x) / step) + 1) * step
    ys = np.arange(math.ceil((view.zero[1] - half_y) / step), math.floor((view.zero[1] + half_y) / step) + 1) * step
    figures = []
    for x in xs:
        px = view.point(float(x), 0)[0]
        sheet.line([px, px], [box[1], box[1] + 1.8])
        sheet.line([px, px], [box[3] - 1.8, box[3]])
        if box[0] + 16 < px < box[2] - 8:
            figures.append(((px, box[1] + 3.2), f"{x:.0f}", "center"))
    for y in ys:
        py = view.point(0, float(y))[1]
        sheet.line([box[0], box[0] + 1.8], [py, py])
        sheet.line([box[2] - 1.8, box[2]], [py, py])
        if box[1] + 12 < py < box[3] - 6:
            figures.append(((box[0] + 2.4, py), f"{y:.0f}", "left"))
    for px, py in ((view.point(float(x), float(y))) for x in xs for y in ys):
        draw_cross(sheet, px, py, 1.5, width=pens.HAIR, colour="#9a9a90")
    return figures


def _north(sheet: Sheet, x: float, y: float) -> None:
    sheet.north(x, y, 12)
    sheet.text(x, y - 3, "grid", size=TABLE, colour=pens.SOFT, across="center")


def _column(sheet: Sheet, packs: Sequence[Pack], x: float, wording: Wording, scale: float) -> None:
    """Tables of centres and points, key and scale bar."""
    _, bottom, right, top = FIELD
    sheet.line([x, x], [bottom, top])
    x, y = x + 3, top - 5.0
    wide = right - x - 3
    tables: list[tuple[str, Sequence[str], Sequence[Sequence[str]]]] = []
    for pack in packs:
        name = f"Pack {pack.number}: " if len(packs) > 1 else ""
        arcs = [(f"{stake} {arc.name}", arc.centre_x, arc.centre_y, arc.radius) for arc, stake in _centres(pack)]
        centres, points = (
            [(what, *(f"{figure:.3f}" for figure in figures)) for what, *figures in table]
            for table in (arcs, _tangents(pack))
        )
        most = MOST_POINTS // len(packs)
        if len(points) > most:
            points[most:] = [(f"and {len(points) - most} more: pegging.txt", "", "", "")]
        tables += [(f"{name}arcs", ("centre", "x", "y", "radius"), centres)] if centres else []
        tables += [(f"{name}points on the line", ("point", "x", "y", "chainage"), points)]
    rows = sum(2 + len(table[2]) for table in tables)
    high = min(ROW_MM, (y - bottom - KEY_MM - TABLE_GAP_MM * len(tables)) / rows)
    for head, names, lines in tables:
        y = _table(sheet, (x, y), wide, begun(head), [names, *lines], high=high)
    text = "Tables: metres; clockwise from the start."
    if wording.imperial:
        text = "Tables and grid: metres. Figures on the line: feet. Clockwise."
    if len(packs) > 1:
        text += " 2-E: point E of pack 2."
    sheet.text(x, y, text, size=TABLE, most=wide)
    sheet.scale_bar(x + 3, bottom + 5, scale, wording.unit("length"), longest=58)
    draw_key(sheet, x, bottom + 15 + 5 * KEY_ROW_MM, arcs=any(pack.egg for pack in packs))


def _table(sheet: Sheet, corner: Pair, wide: float, head: str, rows: Sequence[Sequence[str]], *, high: float) -> float:
    """Table with its first column at the left and the others set to the right; returns where it ends."""
    x, y = corner
    ends = (x, x + 0.46 * wide, x + 0.76 * wide, x + wide)
    sheet.text(x, y, head, size=pens.SMALL, bold=True)
    for k, row in enumerate(rows):
        y -= high
        for j, (end, text) in enumerate(zip(ends, row, strict=True)):
            sheet.text(
                end, y, text, size=TABLE, colour=pens.SOFT if k == 0 else pens.INK, across="right" if j else "left"
            )
        sheet.line([x, x + wide], [y - 0.25 * high] * 2, width=0.1)
    return y - high - TABLE_GAP_MM
