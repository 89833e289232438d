"""A sheet for each gate: every opening as seen from outside, and the plan with swings, airlock and vehicle."""

import dataclasses
import math

from packpale.earthworks.gates import openings
from packpale.review.drawings import pens
from packpale.review.drawings.gate_elevation import BESIDE_M, Elevation, draw_elevation, elevation_words
from packpale.review.drawings.gate_plan import HEAD_MM, PLAN_MM, Gate, GatePlan, draw_plan
from packpale.review.drawings.sheet import FIELD, RULER, Sheet, Title, View, in_rows, scale_for, scale_text
from packpale.review.model import PlotResult
from packpale.review.subjects.gates import widest_open
from packpale.review.words import Wording
from packpale.settings import Project

ROW_MM, FOOT_MM = 3.1, 12.0
"""From one line of words to the next, and below all, for the scale bar."""
SCALES = (*RULER, 7.5)
"""Rulers have 1:75 too, and a gate on a slope is often just too high for 1:50."""
MEASURE = (
    "Ground is the elevation model's: measure again on site before a gate is ordered. Posts, hinges, locks, and what "
    "carries the overhang across, which is neither drawn nor priced above gates: by structural design."
)


def gates_of(result: PlotResult, project: Project) -> list[Gate]:
    """All gates of a plot, pack by pack."""
    leaves = result.earthworks.gates if result.earthworks else ()
    found = []
    for pack in result.enclosure.packs:
        every = openings(pack, project)
        for gate in dict.fromkeys(o.gate for o in every):
            mine = tuple(leaf for leaf in leaves if (leaf.pack, leaf.gate) == (pack.number, gate))
            found.append(Gate(pack, tuple(o for o in every if o.gate == gate), mine))
    return found


def gate_sheet(gate: Gate, result: PlotResult, project: Project, wording: Wording, title: Title) -> Sheet:
    """Sheet with the elevations of a gate's openings at one scale, the plan, and what is to be known of each leaf."""
    left, bottom, right, top = FIELD
    wide = (right - PLAN_MM - left) / 2
    shown = [Elevation.of(opening, gate.of(opening), result.site, project, wording) for opening in gate.openings]
    said = [in_rows(elevation_words(one), pens.SMALL, wide - 8) for one in shown]
    tallest = max(one.high for one in shown)
    room = wide - 5, top - bottom - HEAD_MM - FOOT_MM - ROW_MM * max(map(len, said))
    scale = scale_for((max(one.clear for one in shown) + 2 * BESIDE_M, tallest), room, SCALES)
    plan = GatePlan.of(gate, project, wording)
    plan_scale = scale_for((plan.wide, plan.high), (PLAN_MM - 16, top - bottom - HEAD_MM - 24), SCALES)
    several = len(result.enclosure.packs) > 1
    name = f"Pack {gate.pack.number}, gate {gate.number}" if several else f"Gate {gate.number}"
    scales = f"{scale_text(scale)}, plan {scale_text(plan_scale)}"
    sheet = Sheet(dataclasses.replace(title, drawing=name, scale=scales), _description(name, gate, wording))
    floor = top - HEAD_MM - tallest * 1000 / scale
    for k, (one, rows) in enumerate(zip(shown, said, strict=True)):
        west = left + k * wide
        view = View((west + wide / 2, floor), (one.clear / 2, one.base), scale, scale)
        sheet.text(west + 4, top - 6, f"From outside: {one.place}", bold=True)
        draw_elevation(sheet, view, one)
        sheet.rows(west + 4, floor - ROW_MM, rows, size=pens.SMALL, step=ROW_MM)
    sheet.scale_bar(left + 6, bottom + 4, scale, wording.unit("length"), longest=40)
    measure = in_rows([(MEASURE, {"colour": pens.SOFT})], pens.FIGURES, right - PLAN_MM - left - 66)
    sheet.rows(left + 62, bottom + 6.8, measure, size=pens.FIGURES, step=2.8)
    draw_plan(sheet, plan, plan_scale)
    return sheet


def _description(name: str, gate: Gate, wording: Wording) -> str:
    worst = widest_open(gate.leaves).gap
    gap = "not known" if math.isnan(worst) else wording.dimension(worst)
    return (
        f"{name}: leaves as seen from outside over the ground as it lies there, greatest gap below a shut leaf {gap}; "
        "plan with swings, airlock and vehicle."
    )
