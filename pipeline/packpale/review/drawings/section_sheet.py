"""The section through trench and fence, to one scale both ways, on an A4 sheet."""

import dataclasses
import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from packpale.earthworks.footing import footing
from packpale.earthworks.safety import SPOIL_SETBACK
from packpale.earthworks.section import TrenchSection
from packpale.earthworks.work_out import trench_section
from packpale.review.drawings import pens
from packpale.review.drawings.footing_view import DETAIL_MM, draw_detail, draw_footing, outline
from packpale.review.drawings.sheet import FIELD, STEPS, Sheet, Title, View, scale_for, scale_text
from packpale.review.lettering import text_width
from packpale.review.model import PlotResult
from packpale.review.words import Wording
from packpale.settings import Project

SIDE_MM, TOP_MM = 26.0, 12.0
"""Paper kept free beside and above the drawing, for dimensions."""
ROW_MM = 7.0
"""Between two rows of dimensions below the trench."""
BELOW_MM, EARTH_MM = 11.0, 5.0
"""From the bottom of the trench down to the first row, and to where the drawn earth ends."""
SCALE_BAR_MM = 10.0


@dataclass(frozen=True)
class SectionShape:
    """What is drawn, in metres; offsets positive to the apron side, heights from the ground."""

    section: TrenchSection
    inward: int
    """Sign of the offset of the enclosed side."""
    tip: tuple[float, float]
    strip: tuple[float, float]
    """Offsets of the edges of the free strip."""
    heap: tuple[float, float, float]
    """Offsets of the feet of the spoil heap, and its height; no height where none is known."""

    @property
    def reach(self) -> tuple[float, float]:
        """Offsets of the outermost things drawn."""
        left, right = self.section.edges
        return min(left, self.strip[0], self.tip[0]), max(right, self.strip[1], self.tip[0], self.heap[1])


def section_sheet(result: PlotResult, project: Project, wording: Wording, title: Title) -> Sheet:
    """Sheet with the trench, the buried mesh, the fence and its overhang on level ground, with all dimensions.

    The scale of ``title`` is put in here: the largest round one at which the section fits.
    """
    shape = section_shape(result, project)
    west, east = shape.reach
    left, bottom, right, top = FIELD[0] + DETAIL_MM, *FIELD[1:]
    below = BELOW_MM + 4 * ROW_MM + SCALE_BAR_MM
    size = east - west, shape.tip[1] + shape.section.depth
    room = right - left - 2 * SIDE_MM, top - bottom - TOP_MM - below
    scale = scale_for(size, room, STEPS)
    paper_width = size[0] * 1000 / scale
    spare = room[1] - size[1] * 1000 / scale
    foot = footing(project.fence, project.trench.depth_m)
    origin = ((left + right - paper_width) / 2, top - TOP_MM - spare / 2 - shape.tip[1] * 1000 / scale)
    view = View(origin, (west, 0.0), scale, scale)
    description = (
        f"Section at {scale_text(scale)}: fence {wording.dimension(project.fence.height_m)} high, overhang of "
        f"{wording.dimension(project.fence.overhang_m)}, skirt {wording.dimension(project.trench.depth_m)} deep, apron "
        f"of {wording.dimension(project.trench.apron_reach_m)} under {wording.dimension(project.trench.apron_cover_m)} "
        f"of soil on the {project.trench.side}. At the left a footing: {wording.dimension(foot.diameter)} "
        f"across, {wording.dimension(foot.height)} high, its bottom {wording.dimension(foot.bottom)} below the ground."
    )
    sheet = Sheet(dataclasses.replace(title, scale=scale_text(scale)), description)
    draw_earth(sheet, view, shape)
    _spoil(sheet, view, shape)
    draw_trench(sheet, view, shape)
    _setback(sheet, view, shape, wording)
    draw_footing(sheet, view, foot)
    draw_fence(sheet, view, shape, project)
    _fence_dimensions(sheet, view, shape, project, wording)
    _trench_dimensions(sheet, view, shape, wording)
    _words(sheet, view, shape, wording)
    _notes(sheet, shape, project, wording)
    draw_detail(sheet, shape.section, foot, shape.inward, wording)
    return sheet


def section_shape(result: PlotResult, project: Project) -> SectionShape:
    """The section as set, with the widest heap that any pack's spoil makes if all of it lies on one side."""
    trench, fence = project.trench, project.fence
    section = trench_section(trench)
    inward = -1 if trench.side == "outside" else 1
    lean = math.radians(fence.overhang_deg)
    tip = (inward * fence.overhang_m * math.cos(lean), fence.height_m + fence.overhang_m * math.sin(lean))
    apron_side, other = trench.outside_strip_m, trench.inside_strip_m
    if trench.side == "inside":
        apron_side, other = other, apron_side
    foot = section.edges[1] + SPOIL_SETBACK.si
    safety = result.earthworks.safety if result.earthworks else ()
    wide = max((found.spoil_width for found in safety), default=0.0)
    heap = (foot, foot + wide, wide / 2 / project.plant.mound_slope)
    return SectionShape(section, inward, tip, (-other, apron_side), heap)


def draw_earth(sheet: Sheet, view: View, shape: SectionShape) -> None:
    west, east = shape.reach
    depth = shape.section.depth + EARTH_MM * view.scale / 1000
    x, y = view.at([west, east, east, west], [0, 0, -depth, -depth])
    sheet.fill(x, y, colour=pens.EARTH)


def _spoil(sheet: Sheet, view: View, shape: SectionShape) -> None:
    """Heap with all spoil on the apron's side, behind the setback."""
    start, end, height = shape.heap
    if height > 0:
        x, y = view.at([start, (start + end) / 2, end], [0, height, 0])
        sheet.fill(x, y, colour=pens.FILL)
        sheet.line(x, y, colour=pens.SOFT, dash=pens.DASHED, name="spoil")
        sheet.text(float(x[1]), float(y[0]) + 1.6, "spoil", size=pens.SMALL, colour=pens.SOFT, across="center")


def _setback(sheet: Sheet, view: View, shape: SectionShape, wording: Wording) -> None:
    """Distance that spoil and machines keep from the edge."""
    start, _, height = shape.heap
    edge = view.point(shape.section.edges[1], 0.0)
    setback = wording.say(SPOIL_SETBACK)
    rise = height * 1000 / view.scale + 5
    sheet.measure(edge, view.point(start, 0.0), setback, shift=rise, beside=True, name="spoil-setback")


def draw_trench(sheet: Sheet, view: View, shape: SectionShape) -> None:
    x, y = view.at(*outline(shape.section))
    sheet.fill(x, y, colour=pens.FILL)
    sheet.line(x, y, width=pens.MEDIUM, name="trench")
    # The ground as it was, and where it stays.
    (west, east), (left, right) = shape.reach, shape.section.edges
    sheet.line(*view.at([left, right], [0, 0]), colour=pens.GRASS, dash=pens.DASHED)
    for a, b, name in ((west, left, "ground-left"), (right, east, "ground-right")):
        sheet.line(*view.at([a, b], [0, 0]), width=pens.THICK, colour=pens.GRASS, name=name)


def draw_fence(sheet: Sheet, view: View, shape: SectionShape, project: Project) -> None:
    section, height = shape.section, project.fence.height_m
    axis = view.at([0, 0], [-section.depth - 0.25, shape.tip[1] + 0.1])
    sheet.line(*axis, width=pens.HAIR, colour=pens.SOFT, dash=pens.CHAIN)
    sheet.line(*view.at([0, 0, shape.tip[0]], [0, height, shape.tip[1]]), width=1.0, name="fence")
    sheet.line(*view.at([0, 0], [0, -section.depth]), width=1.0, name="skirt", **pens.MESH)
    if section.apron_reach > 0:
        apron = view.at([0, section.apron_reach], [-section.apron_cover] * 2)
        sheet.line(*apron, width=1.0, name="apron", **pens.MESH)


def _fence_dimensions(sheet: Sheet, view: View, shape: SectionShape, project: Project, wording: Wording) -> None:
    fence = project.fence
    foot, top, tip = view.point(0, 0), view.point(0, fence.height_m), view.point(*shape.tip)
    side = -shape.inward
    sheet.measure(foot, top, wording.dimension(fence.height_m), shift=side * 9, name="fence-height")
    if fence.overhang_m <= 0:
        return
    sheet.measure((foot[0], tip[1]), foot, wording.dimension(shape.tip[1]), shift=side * 18)
    text = f"overhang {wording.dimension(fence.overhang_m)} at {fence.overhang_deg:g}°, inward"
    if abs(shape.tip[0]) > 1e-6:
        sheet.measure((tip[0], tip[1]), (foot[0], tip[1]), wording.dimension(abs(shape.tip[0])), shift=4, beside=False)
    sheet.text(tip[0] + shape.inward * 2, tip[1] - 1, text, across="right" if shape.inward < 0 else "left", up="center")


def _trench_dimensions(sheet: Sheet, view: View, shape: SectionShape, wording: Wording) -> None:
    section = shape.section
    (left, right), half = section.edges, section.bottom_width / 2
    show = wording.dimension
    floor = view.point(0, -section.depth)[1] - BELOW_MM
    at = view.point
    sheet.measure(at(left, 0), at(left, -section.depth), show(section.depth), shift=-8, name="trench-depth")
    if section.apron_cover > 0 and section.apron_reach > 0:
        sheet.measure(at(right, 0), at(right, -section.apron_cover), show(section.apron_cover), shift=6, beside=True)
    rows: list[list[tuple[float, float, str, str]]] = [
        [(-half, half, show(section.bottom_width), "bottom-width")],
        [(0.0, section.apron_reach, f"apron {show(section.apron_reach)}", "apron-reach")],
        [(left, right, f"dig at ground level {show(right - left)}", "top-width")],
        [
            (shape.strip[0], 0.0, f"kept free {show(-shape.strip[0])}", ""),
            (0.0, shape.strip[1], f"kept free {show(shape.strip[1])}", "strip"),
        ],
    ]
    for offset in {0.0, left, right, section.apron_reach, *shape.strip, -half, half}:
        x = view.point(offset, 0)[0]
        last = max((k for k, row in enumerate(rows) if any(offset in (s, e) for s, e, _, _ in row)), default=0)
        start = view.point(0, -max(float(section.depth_at(offset)), 0.0))[1] - 1
        sheet.line([x, x], [start, floor - last * ROW_MM - 1.2], colour=pens.SOFT, width=pens.HAIR)
    for k, row in enumerate(rows):
        y = floor - k * ROW_MM
        for start, end, text, name in row:
            if end - start > 1e-6:
                a, b = view.point(start, 0)[0], view.point(end, 0)[0]
                sheet.measure((a, y), (b, y), text, name=name, paper=True)


def _words(sheet: Sheet, view: View, shape: SectionShape, wording: Wording) -> None:
    section = shape.section
    west, east = (view.point(o, 0)[0] for o in shape.reach)
    ground = view.point(0, 0)[1]
    inner, outer = ("inside", "outside") if shape.inward < 0 else ("outside", "inside")
    sheet.text(west + 1, ground + 1.6, inner, bold=True)
    sheet.text(east + 1.5, ground - 1, outer, bold=True, up="center")
    x, y = view.point(-section.bottom_width / 2, -section.depth / 2)
    sheet.text(view.point(0, 0)[0] - 1.6, y, "skirt", colour=pens.RED, turn=90, across="center", bold=True)
    if section.apron_reach > 0:
        x, y = view.point(section.apron_reach, -section.apron_cover)
        sheet.text(x - 1.5, y - 3.6, "apron", colour=pens.RED, across="right", bold=True)
    _slope_mark(sheet, view, shape)
    sheet.scale_bar(FIELD[0] + DETAIL_MM + 6, FIELD[1] + 4, view.scale, wording.unit("length"), longest=45)


def _notes(sheet: Sheet, shape: SectionShape, project: Project, wording: Wording) -> None:
    """Sentences in the first corner where they cover nothing."""
    trench = project.trench
    lines = [
        f"Walls {trench.side_slope:g} across to 1 up." if trench.side_slope > 0 else "Walls vertical.",
        "Depths follow the ground at every offset." if trench.formation == "follow" else "Bottoms level across.",
        f"Spoil and machines at least {wording.say(SPOIL_SETBACK)} from the edge (29 CFR 1926.651(j)(2)).",
        f"Posts at most {wording.dimension(project.fence.post_spacing_m)} apart. Laps are not shown.",
    ]
    if shape.heap[2] > 0:
        slope = f"{project.plant.mound_slope:g} across to 1 up"
        lines.insert(3, f"Heap: the largest section, all on one side, {slope}.")
    if shape.heap[1] > shape.strip[1] + 0.05:
        lines.insert(4, "It reaches beyond the ground kept free: pile on both sides, or carry some off.")
    wide = max(text_width(line, pens.NORMAL) for line in lines)
    left, bottom, right, top = FIELD[0] + DETAIL_MM, *FIELD[1:]
    high = 4.0 * len(lines)
    corners = [(x, y) for y in (top - 4, bottom + 3 + high) for x in (right - 4 - wide, left + 4)]

    def box(x: float, y: float) -> npt.NDArray[np.float64]:
        return np.array([[x, y - high], [x + wide, y - high], [x + wide, y], [x, y]])

    x, y = next((at for at in corners if sheet.is_free(box(*at), of_lines=True)), corners[0])
    for k, line in enumerate(lines):
        sheet.text(x, y - 3 - 4 * k, line)


def _slope_mark(sheet: Sheet, view: View, shape: SectionShape) -> None:
    """Small triangle with the side slope, on the wall away from the apron."""
    slope = shape.section.side_slope
    if slope <= 0:
        return
    wall = shape.section.walls[0]
    up = min(8.0, 0.5 * wall.depth * 1000 / view.scale)
    x, y = view.point(wall.offset - slope * 0.25 * wall.depth, -0.75 * wall.depth)
    sheet.line([x, x - slope * up, x - slope * up], [y, y + up, y], width=pens.THIN, colour=pens.INK)
    sheet.line([x, x - slope * up], [y, y], width=pens.THIN)
    sheet.text(x - slope * up - 0.8, y + up / 2, "1", size=pens.SMALL, across="right", up="center")
    sheet.text(x - slope * up / 2, y - 0.8, f"{slope:g}", size=pens.SMALL, across="center", up="top")
