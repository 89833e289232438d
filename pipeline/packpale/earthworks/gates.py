"""The gates one by one: how a leaf hangs over this ground, what gap it leaves, what lies below, who gets through."""

import math
from dataclasses import dataclass

import numpy as np

from packpale.enclosure import leaves as geometry
from packpale.enclosure.airlocks import Airlock, airlocks
from packpale.enclosure.model import Pack
from packpale.settings import GateSettings, Project
from packpale.site import Array, Site
from packpale.values.notes import Note
from packpale.values.quantity import Quantity, given

STEP_M = 0.1
"""Between the places under a leaf and its swing at which ground is looked at. [m]"""
OUTER, INNER = "in the fence line", "at the inner end of the airlock"


@dataclass(frozen=True)
class GateLeaf:
    """One leaf of one gate. Lengths and levels in metres; levels and gap are NaN where elevation is missing."""

    pack: int
    gate: int
    """Number of the gate along the line, from 1; both gates of an airlock have one."""
    place: str
    """OUTER or INNER."""
    leaf: int
    """From 1, seen from outside from left to right."""
    chainage: float
    """Of the middle of the gate, or of that before whose airlock it stands."""
    x: float
    y: float
    """Middle of the leaf when it is shut."""
    width: float
    height: float
    underside: float
    """Level of its lower edge."""
    lowest: float
    """Lowest ground below it when it is shut."""
    highest: float
    """Highest ground there."""
    highest_in_swing: float
    """Highest ground on its way."""
    sill_top: float
    """Level of the sill, one piece below all leaves of a gate; NaN without one."""
    gap: float
    """Greatest gap below it when it is shut."""
    below: str
    """What lies below it, in words."""
    swing: str
    """Which way it opens, in words."""
    spare_width: float
    """Clear width of the gate less that of the vehicle."""
    spare_length: float
    """Length of the airlock less that of a leaf and the vehicle; NaN without an airlock."""


@dataclass(frozen=True)
class Opening:
    """What the leaves of one gate shut: the way between two posts."""

    gate: int
    """Number of the gate along the line, from 1; both gates of an airlock have one."""
    place: str
    """OUTER or INNER."""
    sides: Array
    """Its posts, shape (2, 2), the left one first as seen from outside. [m]"""
    room: Airlock | None
    """The airlock that it leads into or out of."""
    leaves: int
    swing: str
    """in or out, as set."""

    @property
    def clear(self) -> float:
        """Width between the posts. [m]"""
        return float(math.dist(*self.sides))

    @property
    def leaf_width(self) -> float:
        """[m]"""
        return self.clear / self.leaves

    @property
    def along(self) -> Array:
        """Unit vector from the left post to the right one."""
        return geometry.along(self.sides)

    @property
    def inward(self) -> Array:
        """Unit vector towards the enclosed ground."""
        return geometry.inward(self.sides)

    @property
    def opens(self) -> Array:
        """Unit vector the way its leaves swing."""
        return self.inward if self.swing == "in" else -self.inward

    def edges(self, leaf: int) -> tuple[Array, Array]:
        """Ends of a leaf, counted from 0, when it is shut, the left one first. [m]"""
        return geometry.edges(self.sides, leaf, self.leaves)

    def hinge(self, leaf: int) -> tuple[Array, Array]:
        """Where a leaf hangs [m], and the unit vector along it when it is shut."""
        at, to = geometry.hinge(self.sides, leaf, self.leaves)
        return at, (to - at) / self.leaf_width


def openings(pack: Pack, project: Project) -> tuple[Opening, ...]:
    """All openings of a pack's gates, gate by gate: in the fence line, then at the inner end of its airlock."""
    fence, gates, settings = project.fence, pack.gates, project.gates
    size = {"length": fence.airlock_length_m, "width": fence.airlock_width_m, "spacing": fence.post_spacing_m}
    rooms = {room.gate: room for room in airlocks(pack.line, gates, **size)}
    found: list[Opening] = []
    for k in range(gates.chainage.size):
        half, room = gates.width / 2, rooms.get(k + 1)
        ends = pack.line.points_at(gates.chainage[k] + np.array([half, -half]))
        # From outside the line runs to the left; inward of it lies the enclosed ground.
        sides = np.column_stack([ends.x, ends.y])
        found.append(Opening(k + 1, OUTER, sides, room, settings.leaves, settings.swing))
        if room is not None:
            found.append(Opening(k + 1, INNER, room.inner_gate, room, settings.leaves, settings.swing))
    return tuple(found)


def gate_leaves(site: Site, pack: Pack, project: Project) -> tuple[GateLeaf, ...]:
    """All leaves of a pack's gates, opening by opening."""
    return tuple(leaf for opening in openings(pack, project) for leaf in _leaves(site, pack, opening, project))


def _leaves(site: Site, pack: Pack, opening: Opening, project: Project) -> list[GateLeaf]:
    settings, fence, place = project.gates, project.fence, opening.place
    width = opening.leaf_width
    hung = geometry.hung(
        opening.sides[None], settings, site.elevation, site.grid, in_the_line=place == OUTER, step=STEP_M
    )
    leaves = []
    for n in range(opening.leaves):
        middle = np.mean(opening.edges(n), axis=0)
        leaves.append(
            GateLeaf(
                pack=pack.number,
                gate=opening.gate,
                place=place,
                leaf=n + 1,
                chainage=float(pack.gates.chainage[opening.gate - 1]),
                x=float(middle[0]),
                y=float(middle[1]),
                width=width,
                height=settings.height_m or fence.height_m,
                underside=float(hung.underside[0, n]),
                lowest=float(hung.lowest[0, n]),
                highest=float(hung.highest[0, n]),
                highest_in_swing=float(hung.highest_in_swing[0, n]),
                sill_top=float(hung.sill_top[0, 0]),
                gap=float(hung.gap[0, n]),
                below=_below(settings, place),
                swing=_swings(settings, place, airlock=opening.room is not None),
                spare_width=opening.clear - fence.vehicle_width_m,
                spare_length=(fence.airlock_length_m - width - fence.vehicle_length_m) if opening.room else math.nan,
            )
        )
    return leaves


def _below(settings: GateSettings, place: str) -> str:
    if place == INNER:
        return "ground: skirt and apron run below the gate in the fence line"
    if settings.below == "mesh":
        return "mesh: skirt and apron run through, the skirt's upper edge fixed to a sill beam at the ground"
    return "concrete sill from post to post; the skirt is cast into it, the apron runs through"


def _swings(settings: GateSettings, place: str, *, airlock: bool) -> str:
    room = "the airlock" if airlock else "the enclosure"
    if settings.swing == "in":
        return f"into {room if place == OUTER else 'the enclosure'}"
    return "to the outside" if place == OUTER else "into the airlock"


def gate_notes(leaves: tuple[GateLeaf, ...], max_gap: float) -> list[Note]:
    """Gates of one pack under whose leaves an animal may get: with more than ``max_gap`` open [m], the worst named."""
    notes = []
    wide = [g for g in leaves if g.gap > max_gap + 1e-9]
    if wide:
        worst = max(wide, key=lambda g: g.gap)
        notes.append(
            Note(
                "gap under a gate",
                "on this ground a leaf that swings free leaves {gap} open below it",
                "It does at gate {gate} ({place}, chainage {chainage}); more than {limit} at {few} of {all} leaves. "
                "Level the ground there, change {setting:gates.swing} or {setting:gates.below}, or take rising hinges. "
                "No published figure for that gap was found.",
                {
                    "gap": Quantity(worst.gap, "dimension"),
                    "gate": worst.gate,
                    "place": worst.place,
                    "chainage": Quantity(worst.chainage, "length"),
                    "limit": given(max_gap, "dimension"),
                    "few": len(wide),
                    "all": len(leaves),
                },
                (worst.pack,),
                worst.chainage,
                worst.gap,
            )
        )
    blind = sum(math.isnan(g.gap) for g in leaves)
    if blind:
        notes.append(
            Note(
                "gate without elevation",
                "under {few} of {all} leaves of gates elevation is missing",
                "Their gap is not known.",
                {"few": blind, "all": len(leaves)},
                (leaves[0].pack,),
                size=blind,
            )
        )
    return notes
