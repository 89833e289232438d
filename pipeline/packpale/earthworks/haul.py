"""Where what was dug goes: loose volumes by material, mounds it makes near the line, or truck loads."""

import math
from collections.abc import Sequence

from packpale.earthworks.model import Haul, Material, Mounds, Volumes
from packpale.settings import BulkingSettings, PlantSettings
from packpale.values.notes import Note
from packpale.values.quantity import Quantity, Span
from packpale.values.volume_factors import swell_range

NOTHING_M3 = 1e-6
"""Less than this is rounding."""


def haul(volumes: Sequence[Volumes], *, bulking: BulkingSettings, plant: PlantSettings) -> Haul:
    """Loose volumes of all packs of one plot, and mounds and truck loads of what is left over.

    Fill that is brought in is carried loose, at the swell of soil: its compacted volume times
    ``(1 + soil_swell) / (1 - soil_shrink)``.
    """
    soil = sum(v.cut - v.rock for v in volumes)
    banks = (
        ("soil", soil, bulking.soil_swell),
        ("soft rock", sum(v.soft_rock for v in volumes), bulking.soft_rock_swell),
        ("hard rock", sum(v.hard_rock for v in volumes), bulking.rock_swell),
    )
    materials = tuple(Material(name, bank, bank * (1 + swell), swell, swell_range(name)) for name, bank, swell in banks)
    left_soil = sum(v.surplus_soil_loose for v in volumes)
    left_rock = sum(v.surplus_loose for v in volumes) - left_soil
    imported = sum(v.import_compacted for v in volumes)
    imported_loose = imported * (1 + bulking.soil_swell) / (1 - bulking.soil_shrink)
    mounds = tuple(
        m
        for kind, volume in (("soil", left_soil), ("rock", left_rock))
        if (m := mounds_of(kind, volume, plant=plant)).count
    )
    one_mound = cone_volume(plant.mound_height_m, side_slope=plant.mound_slope)
    return Haul(
        materials=materials,
        backfill_compacted=sum(v.backfill_compacted for v in volumes),
        import_compacted=imported,
        import_loads=loads(imported_loose, truck=plant.truck_m3),
        mounds=mounds,
        den_mounds=math.floor(left_soil / one_mound + 1e-9),
    )


def cone_volume(height: float, *, side_slope: float) -> float:
    """Volume of a round mound: pi n^2 h^3 / 3, its side running n per unit of rise. [m3]"""
    return math.pi * side_slope**2 * height**3 / 3


def cone_height(volume: float, *, side_slope: float) -> float:
    """Height of the round mound of a volume. [m]"""
    return math.cbrt(3 * volume / (math.pi * side_slope**2))


def bank_length(volume: float, *, height: float, side_slope: float) -> float:
    """Length of the level ridge of a bank with half cones as its ends; 0 where a cone alone holds the volume. [m]

    A triangle of area n h^2 carried along the ridge, and one cone: V = n h^2 L + pi n^2 h^3 / 3.
    """
    over = volume - cone_volume(height, side_slope=side_slope)
    return max(0.0, over) / (side_slope * height**2)


def mounds_of(kind: str, volume: float, *, plant: PlantSettings) -> Mounds:
    """Equal round mounds, as few as keep below the height set, and the one bank that holds the same."""
    if volume < NOTHING_M3:
        return Mounds(kind, 0.0, 0, 0.0, 0.0, 0.0, 0.0, 0)
    slope, highest = plant.mound_slope, plant.mound_height_m
    count = max(1, math.ceil(volume / cone_volume(highest, side_slope=slope) - 1e-9))
    height = cone_height(volume / count, side_slope=slope)
    length = bank_length(volume, height=highest, side_slope=slope)
    return Mounds(
        kind=kind,
        volume=volume,
        count=count,
        height=height,
        base_radius=slope * height,
        bank_length=length,
        bank_width=2 * slope * highest if length else 2 * slope * height,
        truck_loads=loads(volume, truck=plant.truck_m3),
    )


def loads(volume: float, *, truck: float) -> int:
    """Truck loads of a loose volume."""
    return math.ceil(volume / truck - 1e-9) if volume >= NOTHING_M3 else 0


def haul_notes(found: Haul) -> list[Note]:
    """What a reader must know of swell and of mounds."""
    notes = []
    for material in found.materials:
        least, most = material.published_swell
        if material.bank >= 0.5 and not least <= material.swell <= most:
            notes.append(
                Note(
                    "swell off the tables",
                    "the swell of {material} is set to {set}, outside the {published} of published tables",
                    values={
                        "material": material.name,
                        "set": Quantity(material.swell, "number"),
                        "published": Span(least, most, "number"),
                    },
                )
            )
    rock = next((m for m in found.mounds if m.kind == "rock"), None)
    if rock is not None and rock.volume >= 0.5 and not found.den_mounds:
        notes.append(
            Note(
                "no soil left over",
                "what is left over is {volume} of loose rock and no soil worth a mound",
                "Soil for a den mound has to be brought in.",
                {"volume": Quantity(rock.volume, "volume")},
            )
        )
    return notes
