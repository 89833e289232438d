"""The bill of quantities: what is to be done and bought, one line for each rate of the settings."""

from collections.abc import Sequence

from packpale.earthworks.fence_take_off import FenceTakeOff
from packpale.earthworks.model import Item, Volumes
from packpale.enclosure.model import PostKind
from packpale.settings import RateSettings


def take_off(
    volumes: Sequence[Volumes],
    fences: Sequence[FenceTakeOff],
    *,
    rates: RateSettings,
    over_limits_m: float = 0.0,
) -> tuple[Item, ...]:
    """Quantities of all packs of one plot, each with its rate.

    Mesh is paid for in whole rolls. Digging is paid for in the ground: soil and rock once each, and the wet part once
    more as an extra. Backfill is paid for compacted, and what is brought in of it once more for the
    bringing; what is left over is paid for loose. ``over_limits_m`` is the length of all lines that runs over ground
    past a limit, which costs something on top of all else. [m]
    """
    rows: tuple[tuple[str, str, str, float], ...] = (
        ("strip_and_clear_per_m2", "Clear and strip the ground that is cut open", "m2", _sum(volumes, "stripped_area")),
        (
            "excavate_soil_per_m3",
            "Dig soil, measured in the ground",
            "m3",
            _sum(volumes, "cut") - _sum(volumes, "rock"),
        ),
        (
            "excavate_soft_rock_per_m3",
            "Dig soft rock, measured in the ground",
            "m3",
            _sum(volumes, "soft_rock"),
        ),
        (
            "excavate_rock_per_m3",
            "Break and dig hard rock, measured in the ground",
            "m3",
            _sum(volumes, "hard_rock"),
        ),
        ("extra_over_wet_per_m3", "Extra for digging below the water table", "m3", _sum(volumes, "wet")),
        (
            "backfill_and_compact_per_m3",
            "Fill the trench and compact, measured compacted",
            "m3",
            _sum(volumes, "backfill_compacted"),
        ),
        (
            "import_fill_per_m3",
            "Bring in fill that the trench's own soil lacks, measured compacted",
            "m3",
            _sum(volumes, "import_compacted"),
        ),
        ("place_surplus_per_m3", "Carry the surplus to mounds, measured loose", "m3", _sum(volumes, "surplus_loose")),
        *_fence_rows(fences),
        (
            "over_limit_per_m",
            "Extra for fence line over ground past a limit: digging by hand, drains",
            "m",
            over_limits_m,
        ),
    )
    return tuple(Item(key, text, unit, quantity, getattr(rates, key)) for key, text, unit, quantity in rows)


def _fence_rows(fences: Sequence[FenceTakeOff]) -> tuple[tuple[str, str, str, float], ...]:
    def mesh(kind: str) -> float:
        return sum(f.bought(kind) for f in fences)

    def posts(*kinds: PostKind) -> float:
        return float(sum(f.posts[kind] for f in fences for kind in kinds))

    return (
        ("mesh_per_m2", "Mesh for fence and overhang, in whole rolls", "m2", mesh("hung")),
        ("buried_mesh_per_m2", "Mesh for skirt and apron, in whole rolls", "m2", mesh("buried")),
        ("post_each", "Line posts", "each", posts("line")),
        ("strutted_post_each", "Posts with struts, at bends and on steep ground", "each", posts("bend", "steep")),
        ("gate_post_each", "Gate posts", "each", posts("gate")),
        ("overhang_arm_each", "Arms of the overhang", "each", float(sum(f.arms for f in fences))),
        ("straining_wire_per_m", "Straining wire", "m", sum(f.wire for f in fences)),
        (
            "tie_each",
            "Ties of the mesh, fastened: on wires and posts, in laps, where fence and skirt join",
            "each",
            float(sum(f.fixings.ties for f in fences)),
        ),
        ("anchor_each", "Pegs that hold the apron down, driven", "each", float(sum(f.fixings.anchors for f in fences))),
        ("footing_hole_each", "Dig the holes of footings", "each", float(sum(f.holes for f in fences))),
        ("concrete_per_m3", "Concrete in footings and sills", "m3", sum(f.concrete + f.sills for f in fences)),
        ("gate_each", "Gates, without their posts", "each", float(sum(f.gates for f in fences))),
        ("erect_fence_per_m", "Set posts and hang mesh, along the ground", "m", sum(f.hung_length for f in fences)),
    )


def _sum(volumes: Sequence[Volumes], name: str) -> float:
    return float(sum(getattr(v, name) for v in volumes))
