"""What pages, map and layers show of the digging: how sure the price is, hauling, machine hours, safety, stretches."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import shapely

from packpale.earthworks.model import Earthworks, Stretch, TrenchSafety
from packpale.earthworks.safety import EGRESS_DEPTH, PROTECTION_DEPTH
from packpale.earthworks.stretches import total
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


def details(works: Earthworks | None) -> dict[str, Any]:
    """What the page's sections on price, machine and safety show, as plain values; None where nothing is dug."""
    if works is None or works.uncertainty is None or works.haul is None or works.plant is None:
        return dict.fromkeys(("spread", "haul", "plant", "safety"))
    return {
        "spread": _spread(works),
        "haul": _haul(works),
        "plant": {
            "tasks": [
                {"name": t.name, "quantity_m3": t.quantity, "output_m3_per_h": t.output, "hours": t.hours}
                for t in works.plant.tasks
                if t.quantity > 0
            ],
            "machine_hours": works.plant.machine_hours,
            "crew_days": works.plant.crew_days,
            "wet_length_m": works.plant.wet_length,
            "pump_days": works.plant.pump_days,
        },
        "safety": {
            "protection_depth_m": PROTECTION_DEPTH.si,
            "egress_depth_m": EGRESS_DEPTH.si,
            "packs": [_safety(s) for s in works.safety],
        },
    }


def _spread(works: Earthworks) -> dict[str, Any]:
    found = works.uncertainty
    if found is None:
        return {}
    texts = {f"rate: {item.key}": f"Rate: {item.text.partition(',')[0]}" for item in works.items}
    return {
        "draws": found.draws,
        "volumes": {name: list(values) for name, values in found.volumes.items()},
        "price": list(found.price),
        "drivers": [
            {"name": texts.get(d.name, f"{d.name[0].upper()}{d.name[1:]}"), "rank_correlation": d.rank_correlation}
            for d in found.drivers[:DRIVERS_SHOWN]
        ],
        "flanks": [
            {
                "name": f.name,
                "pack": f.pack,
                "share": f.share,
                "pit_distance_m": f.pit_distance,
                "chainage_m": f.chainage,
            }
            for f in found.flanks
        ],
        "estimate_class": found.estimate_class,
        "class_reason": found.class_reason,
        "class_low": list(found.class_low),
        "class_high": list(found.class_high),
        "class_source": PUBLISHED_CLASSES,
        "narrowing": found.narrowing,
        "pits": [{"pack": p.pack, "flank": p.flank, "chainage_m": p.chainage} for p in found.pits],
    }


def _haul(works: Earthworks) -> dict[str, Any]:
    found = works.haul
    if found is None:
        return {}
    return {
        "materials": [
            {
                "name": m.name,
                "bank_m3": m.bank,
                "loose_m3": m.loose,
                "swell": m.swell,
                "published_swell": list(m.published_swell),
            }
            for m in found.materials
            if m.bank > 0
        ],
        "backfill_compacted_m3": found.backfill_compacted,
        "import_compacted_m3": found.import_compacted,
        "import_loads": found.import_loads,
        "mounds": [
            {
                "kind": m.kind,
                "volume_m3": m.volume,
                "count": m.count,
                "height_m": m.height,
                "base_radius_m": m.base_radius,
                "bank_length_m": m.bank_length,
                "bank_width_m": m.bank_width,
                "truck_loads": m.truck_loads,
            }
            for m in found.mounds
        ],
        "den_mounds": found.den_mounds,
    }


def _safety(found: TrenchSafety) -> dict[str, Any]:
    return {
        "pack": found.pack,
        "deepest_m": found.deepest,
        "protection_m": total(found.protection),
        "protection_over_dig_m": total(found.protection_with_over_dig),
        "egress_m": total(found.egress),
        "egress_over_dig_m": total(found.egress_with_over_dig),
        "over_dig_m": found.over_dig,
        "ladders": found.ladders,
        "ladder_spacing_m": found.ladder_spacing,
        "spoil_setback_m": found.spoil_setback,
        "spoil_width_m": found.spoil_width,
        "spoil_strip_m": found.spoil_strip,
        "spoil_strip_two_sides_m": found.spoil_strip_two_sides,
        "working_strip_m": found.working_strip,
        "strip_too_narrow": found.strip_too_narrow,
        "soil_type": found.soil_type,
        "side_slope": found.side_slope,
        "side_slope_asked": found.side_slope_asked,
        "too_steep": found.too_steep,
        "wet_length_m": found.wet_length,
    }


@dataclass(frozen=True)
class Bar:
    """One bar of the chart of drivers, in the units of its drawing."""

    name: str
    value: str
    y: float
    x: float
    width: float
    value_x: float
    anchor: str
    """Which end of the value's text stands at ``value_x``."""


@dataclass(frozen=True)
class Chart:
    """Bars to both sides of a zero line."""

    bars: Sequence[Bar]
    width: float
    height: float
    zero: float
    top: float
    bottom: float
    alt: str


CHART_WIDTH, NAMES_WIDTH, VALUE_WIDTH, BAR_STEP, BAR_HEIGHT = 760.0, 330.0, 48.0, 24.0, 15.0


def driver_chart(drivers: Sequence[Mapping[str, Any]]) -> Chart | None:
    """Rank correlations as horizontal bars; None if nothing varies."""
    if not drivers:
        return None
    values = [float(d["rank_correlation"]) for d in drivers]
    # One scale to both sides, so that bars can be compared by their length.
    below, above = max(0.0, -min(values)), max(0.0, *values)
    room = CHART_WIDTH - NAMES_WIDTH - 2 * VALUE_WIDTH
    scale = room / max(below + above, 1e-9)
    zero = NAMES_WIDTH + VALUE_WIDTH + below * scale
    bars = []
    for k, (driver, value) in enumerate(zip(drivers, values, strict=True)):
        length = abs(value) * scale
        end = zero + value * scale
        bars.append(
            Bar(
                name=str(driver["name"]),
                value=f"{value:+.2f}".replace("-", "\N{MINUS SIGN}"),
                y=4 + k * BAR_STEP,
                x=min(zero, end),
                width=length,
                value_x=end + (5 if value >= 0 else -5),
                anchor="start" if value >= 0 else "end",
            )
        )
    text = "; ".join(f"{bar.name} {bar.value}" for bar in bars)
    return Chart(
        bars=bars,
        width=CHART_WIDTH,
        height=len(bars) * BAR_STEP + 8,
        zero=zero,
        top=0.0,
        bottom=len(bars) * BAR_STEP + 4,
        alt=f"Rank correlation of the price with each uncertain input, the strongest first: {text}.",
    )
