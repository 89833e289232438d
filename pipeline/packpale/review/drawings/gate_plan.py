"""The plan of a gate: leaves shut, open and on their way, the airlock, and room for the vehicle."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from packpale.earthworks.gates import OUTER, GateLeaf, Opening
from packpale.enclosure.model import Pack
from packpale.review.drawings import pens
from packpale.review.drawings.sheet import FIELD, Box, Sheet, Styled, View, in_rows, scale_text
from packpale.review.words import Wording
from packpale.settings import Project
from packpale.site import Array

PLAN_MM, HEAD_MM, ROW_MM = 72.0, 13.0, 2.8
"""Width of the column with the plan, room above the drawing, and from one line of words to the next."""
AROUND_M = 0.6
"""Ground shown beside the airlock and beyond the swings."""
STEP_M = 0.25
"""Between points of the fence line. [m]"""


@dataclass(frozen=True)
class Gate:
    """One gate of a pack: its opening in the fence line, that at the inner end of its airlock, and their leaves."""

    pack: Pack
    openings: tuple[Opening, ...]
    leaves: tuple[GateLeaf, ...]

    @property
    def number(self) -> int:
        return self.openings[0].gate

    def of(self, opening: Opening) -> list[GateLeaf]:
        """Leaves of one opening, from left to right."""
        return [leaf for leaf in self.leaves if leaf.place == opening.place]


@dataclass(frozen=True)
class GatePlan:
    """The frame of a plan: inward is up, the origin midway between the outer posts. [m]"""

    origin: Array
    right: Array
    inward: Array
    half: float
    """Half of what is shown across."""
    low: float
    """How far it goes outside."""
    wide: float
    high: float
    gate: Gate
    project: Project
    wording: Wording

    @classmethod
    def of(cls, gate: Gate, project: Project, wording: Wording) -> "GatePlan":
        outer = gate.openings[0]
        fence, trench = project.fence, project.trench
        deep = fence.airlock_length_m if outer.room is not None else 0.0
        room = fence.airlock_width_m if outer.room is not None else outer.clear
        half = room / 2 + AROUND_M
        swing = outer.leaf_width
        apron = trench.apron_reach_m if trench.side == "outside" else 0.0
        low = max(apron, swing if project.gates.swing == "out" else 0.0) + AROUND_M
        up = deep + (swing if project.gates.swing == "in" else 0.0) + AROUND_M
        if outer.room is None:
            low = max(low, fence.vehicle_length_m / 2 + AROUND_M)
            up = max(up, fence.vehicle_length_m / 2 + AROUND_M)
        middle = np.asarray(outer.sides.mean(axis=0))
        frame = (middle, outer.along, outer.inward, half, low, 2 * half, low + up)
        return cls(*frame, gate, project, wording)

    def at(self, points: Array) -> Array:
        """Points of the run's CRS in this frame, shape (points, 2). [m]"""
        away = np.atleast_2d(points) - self.origin
        return np.column_stack([away @ self.right, away @ self.inward])

    def along(self, chainage: Array, out: float = 0.0) -> Array:
        """Points so far outside the fence line at its chainages, in this frame, shape (points, 2). [m]"""
        points = self.gate.pack.line.points_at(chainage)
        return self.at(np.column_stack([points.x, points.y]) + out * points.outward)


def draw_plan(sheet: Sheet, plan: GatePlan, scale: float) -> None:
    _, bottom, right, top = FIELD
    west = right - PLAN_MM
    sheet.line([west, west], [bottom, top])
    sheet.text(west + 4, top - 6, f"Plan, {scale_text(scale)}", bold=True)
    view = View((west + PLAN_MM / 2 + 2, top - HEAD_MM - plan.high * 1000 / scale), (0.0, -plan.low), scale, scale)
    box = (*view.point(-plan.half, -plan.low), *view.point(plan.half, plan.high - plan.low))
    _draw_lines(sheet, view, box, plan)
    for opening in plan.gate.openings:
        for leaf in range(opening.leaves):
            _draw_swing(sheet, view, plan, opening, leaf)
    _draw_vehicle(sheet, view, plan)
    _plan_dimensions(sheet, view, plan)
    x, y = west + 9, top - HEAD_MM - 8
    north = np.array([plan.right[1], plan.inward[1]])
    sheet.arrow((x - 4 * north[0], y - 4 * north[1]), (x + 4 * north[0], y + 4 * north[1]), width=pens.MEDIUM, head=3)
    sheet.text(x + 6.3 * north[0], y + 6.3 * north[1], "N", size=pens.SMALL, bold=True, across="center", up="center")
    rows = in_rows(_plan_words(plan), pens.FIGURES, PLAN_MM - 7)
    sheet.rows(west + 4, bottom + 12.5, rows, size=pens.FIGURES, step=ROW_MM)


def _draw_lines(sheet: Sheet, view: View, box: Box, plan: GatePlan) -> None:
    """Fence, airlock, skirt and apron."""
    gate, trench = plan.gate, plan.project.trench
    gates = gate.pack.gates
    middle = float(gates.chainage[gate.number - 1])
    reach = plan.half * 1.5 + 2
    for sign in (-1, 1):
        s = middle + sign * np.arange(gates.width / 2, gates.width / 2 + reach, STEP_M)
        sheet.line(*view.at(*plan.along(s).T), width=pens.THICK, clip=box)
    if trench.apron_reach_m > 0:
        s = middle + np.arange(-reach - gates.width, reach + gates.width, STEP_M)
        edge = plan.along(s, trench.apron_reach_m * (1 if trench.side == "outside" else -1))
        x, y = view.at(*edge.T)
        sheet.line(x, y, width=pens.MEDIUM, colour=pens.RED, dash=pens.DASHED, clip=box, name="apron-edge")
        place = view.point(*edge[len(edge) // 2])
        sheet.text(*place, "apron", size=pens.FIGURES, colour=pens.RED, across="center", up="center", paper=True)
        x, y = view.at(*plan.along(middle + np.linspace(-gates.width / 2, gates.width / 2, 9)).T)
        sheet.line(x, y, width=pens.MEDIUM, colour=pens.RED, dash=(2.2, 1.2))
    if (room := gate.openings[0].room) is not None:
        a, b, c, d = plan.at(room.corners)
        posts = plan.at(room.inner_gate)
        for side in ((a, d), (b, c)):
            # Each wall ends at the inner gate's post on its own side.
            end = min(posts, key=lambda post: math.dist(post, side[1]))
            sheet.line(*view.at(*np.array([side[0], side[1], end]).T), width=pens.THICK)


def _draw_swing(sheet: Sheet, view: View, plan: GatePlan, opening: Opening, leaf: int) -> None:
    """A leaf shut and open, and its way."""
    hinge, shut = opening.hinge(leaf)
    width = opening.leaf_width
    name = f"{'outer' if opening.place == OUTER else 'inner'}-{leaf + 1}"
    (h, s), o = plan.at(np.array([hinge, hinge + width * shut])), plan.at(hinge + width * opening.opens)[0]
    sheet.line(*view.at([h[0], s[0]], [h[1], s[1]]), width=1.0, name=f"shut-{name}")
    sheet.line(*view.at([h[0], o[0]], [h[1], o[1]]), width=pens.MEDIUM, dash=pens.DASHED, name=f"open-{name}")
    angle = np.linspace(0, math.pi / 2, 31)[:, None]
    x, y = plan.at(hinge + width * (np.cos(angle) * shut + np.sin(angle) * opening.opens)).T
    sheet.line(*view.at(x, y), width=pens.HAIR, colour=pens.SOFT, name=f"swing-{name}")
    sheet.circle(*view.point(*h), 0.6, inside=pens.INK)


def _draw_vehicle(sheet: Sheet, view: View, plan: GatePlan) -> None:
    """The vehicle set, between the swing of the leaves and the other end of the airlock."""
    gate, fence = plan.gate, plan.project.fence
    leaf = gate.leaves[0]
    long, wide = fence.vehicle_length_m, fence.vehicle_width_m
    start = -long / 2
    if gate.openings[0].room is not None:
        free = leaf.spare_length / 2
        start = (leaf.width if plan.project.gates.swing == "in" else 0.0) + free
    bad = leaf.spare_width < 0 or leaf.spare_length < 0
    colour = pens.RED if bad else pens.INK
    corners = [(-wide / 2, start), (wide / 2, start), (wide / 2, start + long), (-wide / 2, start + long)]
    x, y = view.at(*np.array([*corners, corners[0]]).T)
    sheet.line(x, y, colour=colour, dash=pens.CHAIN, width=pens.MEDIUM, name="vehicle")
    x_mid, y_mid = view.point(0, start + long * (0.5 if gate.openings[0].room else 0.78))
    text = f"vehicle {plan.wording.dimension(long)} x {plan.wording.dimension(wide)}"
    room = long * (1.0 if gate.openings[0].room else 0.44) * 1000 / view.scale - 2
    sheet.text(x_mid, y_mid, text, size=pens.SMALL, colour=colour, turn=90, across="center", up="center", most=room)


def _plan_dimensions(sheet: Sheet, view: View, plan: GatePlan) -> None:
    outer, fence, wording = plan.gate.openings[0], plan.project.fence, plan.wording
    half = outer.clear / 2
    y = view.point(0, -plan.low)[1] - 5
    posts = view.point(-half, 0)[0], view.point(half, 0)[0]
    for x in posts:
        sheet.line([x, x], [view.point(0, 0)[1] - 1, y - 1.2], colour=pens.SOFT, width=pens.HAIR)
    sheet.measure((posts[0], y), (posts[1], y), f"clear {wording.dimension(outer.clear)}", name="clear-width")
    if outer.room is not None:
        a, b, *_ = plan.at(outer.room.corners)
        wall = min(view.point(*a)[0], view.point(*b)[0])
        ends = [(wall, view.point(0, d)[1]) for d in (0.0, fence.airlock_length_m)]
        text = f"airlock {wording.dimension(fence.airlock_length_m)}"
        sheet.measure(ends[0], ends[1], text, shift=-6, name="airlock-length")
        across = abs(float(a[0] - b[0]))
        y = view.point(0, plan.high - plan.low)[1] + 1
        xs = view.point(float(a[0]), 0)[0], view.point(float(b[0]), 0)[0]
        sheet.measure((min(xs), y), (max(xs), y), f"airlock {wording.dimension(across)}", name="airlock-width")
    for up, word in ((0.15 - plan.low, "outside"), (plan.high - plan.low - 0.4, "enclosed ground")):
        sheet.text(*view.point(plan.half, up), word, size=pens.SMALL, bold=True, across="right")


def _plan_words(plan: GatePlan) -> Iterator[Styled]:
    gate, show = plan.gate, plan.wording.dimension
    leaf = gate.leaves[0]
    if leaf.spare_width < 0:
        yield f"Gate {show(-leaf.spare_width)} too narrow for the vehicle.", pens.GRAVE
    else:
        yield f"Gate {show(leaf.spare_width)} wider than the vehicle.", {}
    if math.isnan(leaf.spare_length):
        yield "No airlock: a single gate.", pens.GRAVE
    elif leaf.spare_length < 0:
        yield f"Airlock {show(-leaf.spare_length)} too short for vehicle and leaf.", pens.GRAVE
    else:
        yield f"Airlock {show(leaf.spare_length)} longer than vehicle and leaf.", {}
    if len(gate.openings) > 1:
        yield "One of the two gates is always shut: interlock them.", {"bold": True}
