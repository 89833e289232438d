"""The bill of quantities: what is to be done and bought, one line for each rate of the settings."""

from collections.abc import Sequence

from packpale.earthworks.model import Item, Volumes
from packpale.enclosure.model import Pack
from packpale.settings import FenceSettings, RateSettings, TrenchSettings


def take_off(
    packs: Sequence[Pack],
    volumes: Sequence[Volumes],
    *,
    fence: FenceSettings,
    trench: TrenchSettings,
    rates: RateSettings,
) -> tuple[Item, ...]:
    """Quantities of all packs of one plot, each with its rate.

    Mesh is the length of the fence on the ground surface times height, overhang, skirt depth and apron reach, laps
    and waste not included, gates not deducted. Digging is paid for in the ground: soil and rock once each, and the
    wet part once more as an extra. Backfill is paid for compacted, and what is brought in of it once more for the
    bringing; what is left over is paid for loose.
    """
    length = sum(p.length_3d for p in packs)
    mesh_width = fence.height_m + fence.overhang_m + trench.depth_m + trench.apron_reach_m
    rows: tuple[tuple[str, str, str, float], ...] = (
        ("strip_and_clear_per_m2", "Clear and strip the ground that is cut open", "m2", _sum(volumes, "stripped_area")),
        (
            "excavate_soil_per_m3",
            "Dig soil, measured in the ground",
            "m3",
            _sum(volumes, "cut") - _sum(volumes, "rock"),
        ),
        ("excavate_rock_per_m3", "Break and dig rock, measured in the ground", "m3", _sum(volumes, "rock")),
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
        ("mesh_per_m2", "Mesh for fence, overhang, skirt and apron, laps not included", "m2", length * mesh_width),
        ("post_each", "Line posts with their footings", "each", float(sum(p.posts.chainage.size for p in packs))),
        ("gate_each", "Gates with their posts", "each", float(sum(p.gates.chainage.size for p in packs))),
        ("erect_fence_per_m", "Set posts and hang mesh, along the ground", "m", length),
    )
    return tuple(Item(key, text, unit, quantity, getattr(rates, key)) for key, text, unit, quantity in rows)


def _sum(volumes: Sequence[Volumes], name: str) -> float:
    return float(sum(getattr(v, name) for v in volumes))
