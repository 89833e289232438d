"""How long the buried mesh holds along the line: the rate that beats the hours unwatched, the margin, rock under it."""

from dataclasses import dataclass

import numpy as np

from packpale.earthworks.model import Stretch
from packpale.earthworks.stretches import stretches, total, where
from packpale.enclosure.model import Alignment
from packpale.settings import CheckSettings, TrenchSettings
from packpale.site import Array, Site
from packpale.values.notes import Note
from packpale.values.quantity import Quantity, as_set, hours, metres_per_hour


@dataclass(frozen=True)
class Holding:
    """How one pack's mesh holds; arrays of shape (stations,)."""

    pack: int
    rate: Array
    """Digging rate that gets out there within the unattended hours. [m/h]"""
    margin_h: Array | None
    """Hours for which the mesh would hold longer than nobody looks, at the rate given; negative where it would not.
    None where no rate is given. [h]"""
    skirt_depth: Array
    """How deep the skirt goes. [m]"""
    too_short: tuple[Stretch, ...]
    """Where the margin is negative; the worst is the least margin. [h]"""
    on_rock: tuple[Stretch, ...]
    """Where the skirt ends on rock above its full depth; the worst is the least depth. [m]"""


def skirt_depths(line: Alignment, site: Site, trench: TrenchSettings) -> Array:
    """Depth to which the skirt goes at each station, shape (stations,): on rock no deeper than that, if so set. [m]"""
    if not trench.end_on_rock:
        return np.full(line.x.size, trench.depth_m)
    return np.minimum(trench.depth_m, site.grid.nearest(site.soil.depth_to_rock, line.x, line.y))


def holding(
    pack: int, line: Alignment, tunnel: Array, depth: Array, *, trench: TrenchSettings, checks: CheckSettings
) -> Holding:
    """What the shortest tunnels [m] mean in hours; ``depth`` of the skirt at each station [m]."""
    margin = None if checks.dig_rate_m_per_h is None else tunnel / checks.dig_rate_m_per_h - checks.unattended_h
    first = float(line.chainage[0])
    return Holding(
        pack=pack,
        rate=tunnel / checks.unattended_h,
        margin_h=margin,
        skirt_depth=depth,
        too_short=() if margin is None else stretches(margin < 0, margin, step=line.step, largest=False, first=first),
        on_rock=stretches(depth < trench.depth_m, depth, step=line.step, largest=False, first=first),
    )


def holding_notes(found: Holding, checks: CheckSettings) -> list[Note]:
    """What a reader must know of one pack's mesh."""
    packs, notes = (found.pack,), []
    if found.too_short and checks.dig_rate_m_per_h is not None:
        notes.append(
            Note(
                "dug out while nobody looks",
                "an animal is under the mesh within the {hours} nobody looks over {length} of the fence",
                "At {rate} ({source}), {where}, {early} before the round at {next} at the weakest place. Lengthen "
                "apron or skirt there, or look more often.",
                {
                    "hours": hours(checks.unattended_h),
                    "next": checks.longest_gap.end,
                    "length": Quantity(total(found.too_short), "length"),
                    "rate": as_set(metres_per_hour(checks.dig_rate_m_per_h)),
                    "source": str(checks.dig_rate_source),
                    "where": where(found.too_short),
                    "early": hours(-min(s.worst for s in found.too_short)),
                },
                packs,
                size=total(found.too_short),
            )
        )
    if found.on_rock:
        notes.append(
            Note(
                "skirt ends on rock",
                "the skirt ends on rock over {length} of the fence",
                "It does {where}, {least} deep at the least. The way under it is reckoned as if rock were dug like "
                "soil; fix the mesh to the rock without a gap. Volumes and prices still hold the full depth.",
                {
                    "length": Quantity(total(found.on_rock), "length"),
                    "where": where(found.on_rock),
                    "least": Quantity(min(s.worst for s in found.on_rock), "dimension"),
                },
                packs,
                size=total(found.on_rock),
            )
        )
    return notes
