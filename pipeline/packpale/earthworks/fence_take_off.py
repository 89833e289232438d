"""What the fence itself takes: mesh by kind and in rolls, posts by kind, footings, arms, wires, gates and airlocks.

Lengths are on the ground. A gate interrupts the fence and its overhang; skirt and apron run under it. The airlock of a
gate stands inside the line: two sides and an end with a second gate, with overhang but without skirt, since the
enclosure's own mesh runs under its outer gate.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from packpale.earthworks.mesh_fixings import Fixings, how_many, seams
from packpale.earthworks.mesh_rolls import across, pieces, rolls
from packpale.enclosure.model import Pack, PostKind
from packpale.settings import FenceSettings, GateSettings, MeshSettings, TrenchSettings
from packpale.site import Array
from packpale.values.notes import Note, Value
from packpale.values.quantity import Quantity, given

SAME_AS_BY_DEFAULT = GateSettings()
POST_KINDS: tuple[PostKind, ...] = ("line", "bend", "steep", "gate")


@dataclass(frozen=True)
class MeshArea:
    """Mesh of one kind."""

    net: float
    """Area that is covered. [m2]"""
    with_laps: float
    """Area with all laps, end to end, side by side and along the joint with the next kind. [m2]"""


@dataclass(frozen=True)
class FenceTakeOff:
    """Fence of one pack."""

    pack: int
    hung_length: float
    """Fence to hang, gates taken off and airlocks added. [m]"""
    airlock_length: float
    """Part of it round the airlocks. [m]"""
    mesh: Mapping[str, MeshArea]
    """By kind: fence, overhang, skirt, apron."""
    rolls: Mapping[str, int]
    """Rolls to buy: hung (fence and overhang) and buried (skirt and apron)."""
    roll_area: float
    """Mesh on one roll. [m2]"""
    posts: Mapping[PostKind, int]
    """By kind, those of the airlocks included."""
    concrete: float
    """In the footings of all posts, the posts' own volume not taken off. [m3]"""
    sills: float
    """In sills below gates. [m3]"""
    arms: int
    """Overhang arms."""
    wire: float
    """Straining wire. [m]"""
    fixings: Fixings
    gates: int
    """Gates, those at the inner end of airlocks included."""
    airlocks: int
    largest_deflection_deg: float
    """Largest angle in plan between panels at a post without struts. [deg]"""
    deflection_chainage: float
    """Where that is. [m]"""

    def bought(self, mesh: str) -> float:
        """Mesh that comes on the rolls, hung or buried. [m2]"""
        return self.rolls[mesh] * self.roll_area

    @property
    def holes(self) -> int:
        """Footing holes: one for each post."""
        return sum(self.posts.values())


def fence_take_off(
    pack: Pack,
    *,
    fence: FenceSettings,
    trench: TrenchSettings,
    mesh: MeshSettings,
    gates: GateSettings = SAME_AS_BY_DEFAULT,
) -> FenceTakeOff:
    """Count and measure the fence of one pack.

    The apron is measured in plan at its own place, outside or inside the line, which turns through one full circle:
    ``reach (length +- pi reach)``; on sloping ground by the ratio of the line's length on the ground to that in plan.
    """
    n_gates = pack.gates.chainage.size
    airlocks = n_gates if fence.airlock_length_m > 0 else 0
    around = airlocks * airlock_fence(fence)
    hung = pack.length_3d - n_gates * fence.gate_width_m + around
    posts = {kind: pack.posts.of(kind) + airlocks * n for kind, n in airlock_posts(fence).items()}
    n_posts = sum(posts.values())
    bends = _unstrutted(pack)
    i = int(np.argmax(bends)) if bends.size else 0
    reach = trench.apron_reach_m
    plan = pack.alignment.step * pack.alignment.chainage.size
    sign = 1.0 if trench.side == "outside" else -1.0
    apron_length = (plan + sign * math.pi * reach) * pack.length_3d / plan
    joint = pack.length_3d - n_gates * fence.gate_width_m
    return FenceTakeOff(
        pack=pack.number,
        hung_length=hung,
        airlock_length=around,
        mesh={
            "fence": mesh_area(hung, fence.height_m, mesh, joint=False),
            "overhang": mesh_area(hung, fence.overhang_m, mesh, joint=True),
            "skirt": mesh_area(pack.length_3d, trench.depth_m, mesh, joint=True),
            "apron": mesh_area(apron_length, reach, mesh, joint=True),
        },
        rolls={
            "hung": rolls((hung, fence.height_m, False), (hung, fence.overhang_m, True), mesh),
            "buried": rolls((pack.length_3d, trench.depth_m, True), (apron_length, reach, True), mesh),
        },
        roll_area=mesh.roll_width_m * mesh.roll_length_m,
        posts=posts,
        concrete=n_posts * math.pi / 4 * fence.hole_diameter_m**2 * fence.hole_depth_m,
        arms=n_posts if fence.overhang_m > 0 else 0,
        wire=fence.straining_wires * hung,
        fixings=Fixings(
            on_wires=how_many(fence.straining_wires * hung, mesh.wire_tie_spacing_m),
            on_posts=n_posts * how_many(fence.height_m, mesh.post_tie_spacing_m),
            in_laps=how_many(
                seams(hung, fence.height_m, mesh, joint=False)
                + seams(hung, fence.overhang_m, mesh, joint=True)
                + seams(pack.length_3d, trench.depth_m, mesh, joint=True)
                - pack.length_3d
                + seams(apron_length, reach, mesh, joint=True),
                mesh.lap_tie_spacing_m,
            ),
            in_joint=how_many(joint, mesh.lap_tie_spacing_m),
            joint_length=joint,
            anchors=how_many(apron_length, mesh.anchor_spacing_m) if reach > 0 else 0,
        ),
        sills=sill_concrete(n_gates, fence, gates),
        gates=n_gates + airlocks,
        airlocks=airlocks,
        largest_deflection_deg=float(bends[i]) if bends.size else 0.0,
        deflection_chainage=float(pack.posts.chainage[i]) if bends.size else 0.0,
    )


def mesh_area(length: float, width: float, mesh: MeshSettings, *, joint: bool) -> MeshArea:
    """Mesh that covers ``length`` by ``width`` [m]; ``joint`` adds one lap along a long edge."""
    if not (width > 0 and length > 0):
        return MeshArea(0.0, 0.0)
    area = (length + pieces(length, mesh) * mesh.lap_m) * across(width, mesh, joint=joint)
    return MeshArea(length * width, area)


def sill_concrete(gates: int, fence: FenceSettings, settings: GateSettings) -> float:
    """Concrete in the sills below so many gates of the fence line. [m3]"""
    if settings.below != "concrete sill":
        return 0.0
    height = settings.sill_depth_m + settings.sill_above_ground_m
    return gates * fence.gate_width_m * settings.sill_width_m * height


def fence_notes(pack: Pack, found: FenceTakeOff, fence: FenceSettings, *, leaves: int = 2) -> list[Note]:
    """What a reader of the fence's quantities must know; ``leaves`` of each gate."""
    packs, notes = (pack.number,), []
    limit = fence.max_panel_deflection_deg
    if found.largest_deflection_deg > limit:
        arcs = pack.alignment.radius[np.isfinite(pack.alignment.radius)] if pack.drawn is None else np.empty(0)
        radius = float(arcs.min(initial=math.inf))
        closer: dict[str, Value] = {}
        if math.isfinite(radius):
            closer = {"closer": Quantity(2 * radius * math.sin(math.radians(limit) / 2), "dimension")}
        notes.append(
            Note(
                "panels at an angle",
                "panels meet at up to {angle} (chainage {chainage})",
                "{many} posts without struts are above {setting:fence.max_panel_deflection_deg}, {limit}; set "
                "{setting:fence.post_spacing_m} lower"
                + ("; on its tightest arc posts at most {closer} apart do." if closer else "."),
                {
                    "angle": Quantity(found.largest_deflection_deg, "slope"),
                    "chainage": Quantity(found.deflection_chainage, "length"),
                    "many": int((_unstrutted(pack) > limit).sum()),
                    "limit": given(limit, "slope"),
                    **closer,
                },
                packs,
                found.deflection_chainage,
                found.largest_deflection_deg,
            )
        )
    if found.airlocks:
        notes += _airlock_notes(packs, fence, fence.gate_width_m / leaves)
    elif found.gates:
        notes.append(
            Note(
                "single gates",
                "its gates have no second gate behind them",
                "Ohio Adm. Code 901:1-4-01.1 asks for a safety entrance with two doors: set "
                "{setting:fence.airlock_length_m}.",
                packs=packs,
            )
        )
    return notes


def _airlock_notes(packs: tuple[int, ...], fence: FenceSettings, leaf: float) -> list[Note]:
    notes = []
    # The leaves of one gate swing into the airlock, the vehicle stands behind them.
    needed = fence.vehicle_length_m + leaf
    if fence.airlock_length_m < needed:
        notes.append(
            Note(
                "airlock too short",
                "a vehicle of {vehicle} and a leaf of {leaf} need an airlock {needed} long",
                "{setting:fence.airlock_length_m} is {length}.",
                {
                    "vehicle": given(fence.vehicle_length_m, "dimension"),
                    "leaf": given(leaf, "dimension"),
                    "needed": given(needed, "dimension"),
                    "length": given(fence.airlock_length_m, "dimension"),
                },
                packs,
            )
        )
    if fence.gate_width_m < fence.vehicle_width_m:
        notes.append(
            Note(
                "gate too narrow",
                "a vehicle {vehicle} wide does not pass gates of {gate}",
                "Raise {setting:fence.gate_width_m}.",
                {
                    "vehicle": given(fence.vehicle_width_m, "dimension"),
                    "gate": given(fence.gate_width_m, "dimension"),
                },
                packs,
            )
        )
    return notes


def _unstrutted(pack: Pack) -> Array:
    """Angle between panels at each post, 0 at posts that are strutted for a bend. [deg]"""
    bend = np.array([kind == "bend" for kind in pack.posts.kind] or [False] * pack.posts.x.size, bool)
    return np.where(bend, 0.0, np.abs(pack.posts.deflection_deg))


def airlock_fence(fence: FenceSettings) -> float:
    """Fence round one airlock: two sides, and the end beside the inner gate. [m]"""
    return 2 * fence.airlock_length_m + fence.airlock_width_m - fence.gate_width_m


def airlock_posts(fence: FenceSettings) -> dict[PostKind, int]:
    """Posts of one airlock beyond those of the fence line.

    Two at the inner gate; where the airlock is wider than the gate, two at the inner corners and two where its sides
    leave the fence line; between them line posts no farther apart than the spacing.
    """
    spacing = fence.post_spacing_m
    beside = (fence.airlock_width_m - fence.gate_width_m) / 2
    between = math.ceil(fence.airlock_length_m / spacing - 1e-9) - 1
    between += max(math.ceil(beside / spacing - 1e-9) - 1, 0)
    return {"line": 2 * between, "bend": 4 if beside > 0 else 0, "steep": 0, "gate": 2}
