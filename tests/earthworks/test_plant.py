"""Machine hours, crew days and pumping, by hand."""

import dataclasses

import numpy as np
import pytest

from packpale.earthworks.model import Profile
from packpale.earthworks.plant import excavator_output, machine_work, plant_notes
from packpale.settings import BulkingSettings, PlantSettings
from told import told
from trench_cases import circle_line, pack_of, volumes_of

BULKING = BulkingSettings(soil_swell=0.25, soil_shrink=0.1, rock_swell=0.5, soft_rock_swell=0.4)
PLANT = PlantSettings(
    bucket_m3=0.3,
    cycle_s=20.0,
    rock_cycle_s=30.0,
    fill_soil=1.0,
    fill_soft_rock=0.8,
    fill_rock=0.5,
    efficiency=0.75,
    breaker_m3_per_h=2.0,
    wet_factor=0.5,
    hours_per_day=10.0,
    open_days=2.0,
)


def work(volumes, water_over_bottom=None, radius=100 / (2 * np.pi)):
    line = circle_line(radius, step=1.0)
    n = line.chainage.size
    over = np.full(n, -1.0) if water_over_bottom is None else water_over_bottom(n)
    depth = np.full(n, 1.2)
    profile = Profile(1, depth, np.full(n, 9.0), depth - over, smoothed=False, deeper=(), shallower=())
    return machine_work([pack_of(line)], [volumes], [profile], bulking=BULKING, plant=PLANT)


def hours(found):
    return {t.name: t.hours for t in found.tasks}


def test_dry_soil():
    # 3600 / 20 x 0.3 x 1 x 0.75 = 40.5 m3 loose an hour, 32.4 in the ground. 324 m3: 10 hours.
    found = work(volumes_of(324.0))
    assert hours(found)["dig soil"] == pytest.approx(10.0)
    # All of it goes back but for what it lacks, which is filled in as well: 324 / 0.9 x 1.25 = 450 m3 loose.
    assert hours(found)["fill the trench"] == pytest.approx(450 / 40.5)
    assert found.machine_hours == pytest.approx(10.0 + 450 / 40.5)
    assert found.crew_days == pytest.approx(found.machine_hours / 10.0)
    assert found.wet_length == found.pump_days == 0.0
    assert plant_notes(found) == []


def test_rock_is_dug_or_broken_and_dug():
    found = hours(work(volumes_of(324.0, soft=20.0, hard=10.0)))
    # Soft: 3600 / 30 x 0.3 x 0.8 x 0.75 = 21.6 loose, 21.6 / 1.4 in the ground.
    assert found["dig soft rock"] == pytest.approx(20 / (21.6 / 1.4))
    assert found["break hard rock"] == pytest.approx(10 / 2.0)
    # Hard: 3600 / 30 x 0.3 x 0.5 x 0.75 = 13.5 loose, 9 in the ground.
    assert found["dig broken rock"] == pytest.approx(10 / 9.0)
    # Left over, loose: 28 and 15 m3.
    assert found["place rock left over"] == pytest.approx(43 / 13.5)
    assert found["place soil left over"] == pytest.approx(0.0)


def test_wet_ground_takes_longer_by_its_share():
    dry, half, wet = (hours(work(volumes_of(324.0, hard=10.0, wet=w))) for w in (0.0, 162.0, 324.0))
    for task in ("dig soil", "break hard rock", "dig broken rock"):
        # At half the output, twice the time; on half of the cut, one and a half.
        assert wet[task] == pytest.approx(2 * dry[task])
        assert half[task] == pytest.approx(1.5 * dry[task])
    assert wet["fill the trench"] == pytest.approx(dry["fill the trench"])


def test_pump_runs_while_wet_lengths_are_dug_and_stay_open():
    # A quarter of 100 m stands in water; the digging takes 10 hours, one day.
    found = work(volumes_of(324.0), lambda n: np.where(np.arange(n) < n // 4, 0.3, -0.1))
    assert found.wet_length == pytest.approx(25.0)
    assert found.pump_days == pytest.approx(0.25 * 1.0 + 2.0)
    ((number, stretches),) = found.wet
    assert number == 1
    assert [s.worst for s in stretches] == pytest.approx([0.3])
    assert "Pack 1: the trench stands in water over 25 m" in told(plant_notes(found))[0]


def test_twice_the_bucket_halves_the_hours_of_digging():
    big = PLANT.model_copy(update={"bucket_m3": 0.6})
    line = circle_line(20.0, step=1.0)
    depth = np.full(line.chainage.size, 1.2)
    profile = Profile(1, depth, depth + 1, depth + 1, smoothed=False, deeper=(), shallower=())
    one, two = (
        machine_work([pack_of(line)], [volumes_of(100.0)], [profile], bulking=BULKING, plant=p) for p in (PLANT, big)
    )
    assert two.machine_hours == pytest.approx(one.machine_hours / 2)


@pytest.mark.parametrize("wrong", ["bucket", "cycle", "fill", "efficiency"])
def test_no_machine(wrong):
    usual = {"bucket": 0.3, "cycle": 20.0, "fill": 0.9, "efficiency": 0.8, wrong: 0.0}
    with pytest.raises(ValueError, match="no such machine"):
        excavator_output(usual.pop("bucket"), **usual)


def test_no_trench_no_hours():
    empty = dataclasses.replace(
        volumes_of(100.0), cut=0.0, backfill_compacted=0.0, import_compacted=0.0, surplus_loose=0.0
    )
    assert work(empty).machine_hours == 0.0
