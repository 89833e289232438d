"""What two packs on one plot have to do with each other: the gap between their fences, sight, howls, refuge."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from shapely.geometry import Point

from packpale.care.howl import Howl
from packpale.care.sights import Sights
from packpale.care.viewing import CHORD_ERROR_M, Viewing, ground_inside, seen_cells
from packpale.enclosure.model import Pack
from packpale.settings import Project
from packpale.values.notes import Note
from packpale.values.quantity import Quantity, given

Between = Literal["too close", "double fence", "lane"]
LOOKOUTS = 16
"""Points along a fence line from which the other pack is looked for."""
ROUNDING_M = 0.01
"""Gaps are as sure as the fitted lines: one short of a distance by less than this keeps it. [m]"""


@dataclass(frozen=True)
class Neighbours:
    """Two packs of one plot."""

    packs: tuple[int, int]
    gap: float
    """Least distance between the two fence lines in plan. [m]"""
    ends: tuple[tuple[float, float], tuple[float, float]]
    """Where they are nearest, on the first and on the second line."""
    between: Between
    """too close: nearer than the published distance of a perimeter fence; double fence: farther, but no vehicle passes;
    lane: one passes."""
    keeps_separation: bool
    """Whether the gap is at least enclosure.separation_m."""
    facing: float
    """Length of the first line from which the second is no farther than the gap and a vehicle's width. [m]"""
    sees: tuple[float, float]
    """Part of the second pack's ground seen from the first fence line, and the other way round, 0 to 1."""
    excess: tuple[float, float]
    """By how much a howl of the first stands out of the background at the second, and the other way round. [dB]"""
    refuge: tuple[float | None, float | None]
    """Part of each pack's own ground that no viewing point sees; None where that is not known."""


def neighbours(
    sights: Sights, packs: Sequence[Pack], howl: Howl, viewing: Viewing | None, project: Project
) -> tuple[Neighbours, ...]:
    """Every two packs of one plot; none with a single pack."""
    return tuple(_two(sights, pair, howl, viewing, project) for pair in itertools.combinations(packs, 2))


def neighbour_notes(found: Sequence[Neighbours], project: Project) -> list[Note]:
    """What has to be looked at."""
    said = []
    for n in found:
        gap = Quantity(n.gap, "dimension")
        if n.between == "too close":
            said.append(
                Note(
                    "two fences as one",
                    "their fences come within {gap} and count as one",
                    "{setting:neighbours.perimeter_m} is {perimeter}. Packs fight and dig through one fence.",
                    {"gap": gap, "perimeter": given(project.neighbours.perimeter_m, "dimension")},
                    n.packs,
                    size=-n.gap,
                )
            )
        trench = project.trench
        dig = trench.outside_strip_m - trench.working_strip_m
        both = "dig the two trenches as one there; volumes and prices hold both in full."
        if trench.side == "outside" and n.gap < 2 * trench.apron_reach_m:
            said.append(
                Note(
                    "aprons meet",
                    "each apron reaches {reach} out and the gap between the fences is {gap}",
                    f"Lay one mesh from fence to fence where they meet, and {both}",
                    {"reach": given(trench.apron_reach_m, "dimension"), "gap": gap},
                    n.packs,
                )
            )
        elif n.gap < 2 * dig:
            said.append(
                Note(
                    "trenches meet",
                    "each trench takes {dig} outside its fence and the gap between the fences is {gap}",
                    f"{both[0].upper()}{both[1:]}",
                    {"dig": Quantity(dig, "dimension"), "gap": gap},
                    n.packs,
                )
            )
        if not n.keeps_separation:
            said.append(
                Note(
                    "packs too near",
                    "their fences come nearer than they should, within {gap}",
                    "{setting:enclosure.separation_m} is {separation}.",
                    {"gap": gap, "separation": given(project.enclosure.separation_m, "dimension")},
                    n.packs,
                    size=-n.gap,
                )
            )
    return said


def _two(sights: Sights, pair: tuple[Pack, Pack], howl: Howl, viewing: Viewing | None, project: Project) -> Neighbours:
    a, b = pair
    first, second = (p.line.polygon(CHORD_ERROR_M).exterior for p in (a, b))
    gap = float(first.distance(second))
    ends = np.asarray(shapely.shortest_line(first, second).coords)
    wide = project.fence.vehicle_width_m
    between: Between = "lane" if gap >= wide - ROUNDING_M else "double fence"
    if gap < project.neighbours.perimeter_m - ROUNDING_M:
        between = "too close"
    stations = shapely.points(a.alignment.x, a.alignment.y)
    facing = int((shapely.distance(stations, second) <= gap + wide).sum()) * a.alignment.step
    loud = {(h.pack, h.number): h.excess for h in howl.heard if h.kind == "pack"}
    refuge = {p.pack: p.refuge_share for p in viewing.packs if not np.isnan(p.refuge_share)} if viewing else {}
    return Neighbours(
        (a.number, b.number),
        gap,
        ((float(ends[0, 0]), float(ends[0, 1])), (float(ends[1, 0]), float(ends[1, 1]))),
        between,
        gap >= project.enclosure.separation_m - ROUNDING_M,
        facing,
        (_seen(sights, a, b, project), _seen(sights, b, a, project)),
        (loud[a.number, b.number], loud[b.number, a.number]),
        (refuge.get(a.number), refuge.get(b.number)),
    )


def _seen(sights: Sights, watching: Pack, watched: Pack, project: Project) -> float:
    """Part of a pack's ground that another sees from its fence line, with an animal's eyes as high as its back."""
    eyes = project.viewing.model_copy(update={"eye_height_m": max(project.viewing.target_height_m, 0.01)})
    cells = ground_inside(watched, sights.site)
    line = watching.alignment
    seen = np.zeros(cells.shape, bool)
    for i in np.unique(np.linspace(0, line.x.size - 1, LOOKOUTS).round().astype(int)):
        seen |= seen_cells(sights, Point(line.x[i], line.y[i]), cells & ~seen, eyes)
    return float(seen.sum() / max(cells.sum(), 1))
