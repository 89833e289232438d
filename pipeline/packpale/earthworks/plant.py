"""Machine hours: what an excavator digs in an hour, breaking of rock, pumping, and the days it all takes."""

from collections.abc import Sequence

from packpale.earthworks.model import Plant, PlantTask, Profile, Stretch, Volumes
from packpale.earthworks.stretches import stretches, total, where
from packpale.enclosure.model import Pack
from packpale.settings import BulkingSettings, PlantSettings
from packpale.values.notes import Note
from packpale.values.quantity import Quantity


def excavator_output(bucket: float, *, cycle: float, fill: float, efficiency: float) -> float:
    """What an excavator moves in an hour, loose: Q = 3600 / Tc q Kf E. [unit of the bucket per h]

    ``bucket`` is its heaped capacity q, ``cycle`` the time Tc of one bucket [s], ``fill`` the part Kf of it that is
    filled, ``efficiency`` the part E of the hour that is worked. Divided by one plus the swell it is the volume in
    the ground.

    Raises ValueError if one of them is not positive.
    """
    if not min(bucket, cycle, fill, efficiency) > 0:
        raise ValueError(f"no such machine: {bucket=}, {cycle=}, {fill=}, {efficiency=}")
    return 3600 / cycle * bucket * fill * efficiency


def machine_work(
    packs: Sequence[Pack],
    volumes: Sequence[Volumes],
    profiles: Sequence[Profile],
    *,
    bulking: BulkingSettings,
    plant: PlantSettings,
) -> Plant:
    """Hours for digging, breaking, filling, spreading, and days of pumping, for all packs of one plot.

    One excavator does everything. Wet ground takes longer by ``wet_factor``: the wet part of the cut is shared over
    soil and rock in proportion, since the two surfaces are not crossed with each other. Filling handles the loose
    volume of what goes into the trench once more, placing what is left over the same; compacting follows behind
    and is not counted, nor is moving the machine, stripping of turf and setting of posts.
    """

    def output(fill: float, cycle: float) -> float:
        return excavator_output(plant.bucket_m3, cycle=cycle, fill=fill, efficiency=plant.efficiency)

    cut, wet = sum(v.cut for v in volumes), sum(v.wet for v in volumes)
    soft, hard = sum(v.soft_rock for v in volumes), sum(v.hard_rock for v in volumes)
    # Time per cubic metre rises to 1 / wet_factor on the wet share.
    slower = 1 + (wet / cut if cut else 0.0) * (1 / plant.wet_factor - 1)
    soil_loose, rock_loose = output(plant.fill_soil, plant.cycle_s), output(plant.fill_rock, plant.rock_cycle_s)
    back = sum(v.backfill_compacted for v in volumes) / (1 - bulking.soil_shrink) * (1 + bulking.soil_swell)
    left_soil = sum(v.surplus_soil_loose for v in volumes)
    left_rock = sum(v.surplus_loose for v in volumes) - left_soil
    bank, loose = "m3 in the ground", "m3 loose"
    digging = (
        _task("dig soil", cut - soft - hard, bank, soil_loose / (1 + bulking.soil_swell) / slower),
        _task(
            "dig soft rock",
            soft,
            bank,
            output(plant.fill_soft_rock, plant.rock_cycle_s) / (1 + bulking.soft_rock_swell) / slower,
        ),
        _task("break hard rock", hard, bank, plant.breaker_m3_per_h / slower),
        _task("dig broken rock", hard, bank, rock_loose / (1 + bulking.rock_swell) / slower),
    )
    tasks = (
        *digging,
        _task("fill the trench", back, loose, soil_loose),
        _task("place soil left over", left_soil, loose, soil_loose),
        _task("place rock left over", left_rock, loose, rock_loose),
    )
    hours = sum(t.hours for t in tasks)
    wet_places = tuple((p.number, _wet(p, profile)) for p, profile in zip(packs, profiles, strict=True))
    wet_length = sum(total(found) for _, found in wet_places)
    line = sum(v.fence_length for v in volumes)
    digging_days = sum(t.hours for t in digging) / plant.hours_per_day
    pump_days = wet_length / line * digging_days + plant.open_days if wet_length else 0.0
    return Plant(
        tasks=tasks,
        machine_hours=hours,
        crew_days=hours / plant.hours_per_day,
        wet_length=wet_length,
        wet=wet_places,
        pump_days=pump_days,
    )


def _task(name: str, quantity: float, unit: str, output: float) -> PlantTask:
    return PlantTask(name, quantity, unit, output, quantity / output)


def _wet(pack: Pack, profile: Profile) -> tuple[Stretch, ...]:
    over = profile.depth - profile.water_depth
    return stretches(over > 0, over, step=pack.alignment.step)


def plant_notes(found: Plant) -> list[Note]:
    """Where the trench stands in water, a note for each pack."""
    return [
        Note(
            "trench in water",
            "the trench stands in water over {length}, up to {depth} over its bottom",
            "It does {where}; it has to be pumped while it is open.",
            {
                "length": Quantity(total(wet), "length"),
                "depth": Quantity(max(s.worst for s in wet), "dimension"),
                "where": where(wet),
            },
            (number,),
            size=total(wet),
        )
        for number, wet in found.wet
        if wet
    ]
