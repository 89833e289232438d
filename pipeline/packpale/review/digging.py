"""What pages, map and layers show of the digging: how sure the price is, hauling, machine hours, safety, stretches."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import shapely

from packpale.earthworks.model import Earthworks, Stretch
from packpale.review.model import PlotResult
from packpale.review.stretch_shapes import stretch_line

DRIVERS_SHOWN = 10
PUBLISHED_CLASSES = "AACE International Recommended Practice 18R-97"


@dataclass(frozen=True)
class StretchKind:
    """One reason for which a stretch of trench is shown."""

    key: str
    """As in the layer trench_stretches."""
    title: str
    worst: str
    """What the worst value is."""


PROTECTION = StretchKind("walls protected", "As deep as walls must be protected", "Greatest depth")
EGRESS = StretchKind("way out", "As deep as a way out is asked for", "Greatest depth")
PROTECTION_OVER_DIG = StretchKind(
    "walls protected if over-dug", "Walls must be protected if dug deeper than drawn", "Depth as drawn"
)
EGRESS_OVER_DIG = StretchKind("way out if over-dug", "Trench so deep that a way out is asked for", "Depth as drawn")
IN_WATER = StretchKind("in water", "Trench stands in water", "Water over the bottom")
TOO_DEEP = StretchKind("bottom too deep", "Bottom deeper than the mesh is drawn", "Greatest depth")
TOO_SHALLOW = StretchKind("bottom too shallow", "Bottom less deep than the mesh is drawn", "Least depth")


def stretches_of(works: Earthworks | None) -> Iterable[tuple[int, StretchKind, Stretch]]:
    """Every stretch of every pack, with the reason for which it is shown."""
    if works is None:
        return
    wet = dict(works.plant.wet) if works.plant else {}
    for safety, profile in zip(works.safety, works.profiles, strict=True):
        for kind, found in (
            (PROTECTION, safety.protection),
            (PROTECTION_OVER_DIG, safety.protection_with_over_dig),
            (EGRESS, safety.egress),
            (EGRESS_OVER_DIG, safety.egress_with_over_dig),
            (IN_WATER, wet.get(safety.pack, ())),
            (TOO_DEEP, profile.deeper),
            (TOO_SHALLOW, profile.shallower),
        ):
            yield from ((safety.pack, kind, stretch) for stretch in found)


def stretch_rows(result: PlotResult) -> Iterable[dict[str, Any]]:
    """Rows of the layer trench_stretches, but the plot's name."""
    packs = {pack.number: pack for pack in result.enclosure.packs}
    for number, kind, stretch in stretches_of(result.earthworks):
        yield {
            "pack": number,
            "kind": kind.key,
            "start_chainage_m": stretch.start,
            "end_chainage_m": stretch.end,
            "length_m": stretch.length,
            "worst_m": stretch.worst,
            "geometry": stretch_line(packs[number], stretch),
        }


def pit_rows(result: PlotResult) -> Iterable[dict[str, Any]]:
    """Rows of the layer advised_pits, but the plot's name."""
    works = result.earthworks
    for number, pit in enumerate(works.uncertainty.pits if works and works.uncertainty else (), start=1):
        yield {
            "pack": pit.pack,
            "pit": number,
            "flank": pit.flank,
            "chainage_m": pit.chainage,
            "geometry": shapely.Point(pit.x, pit.y),
        }
