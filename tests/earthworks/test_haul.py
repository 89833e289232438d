"""Where what was dug goes: loose volumes, mounds, truck loads."""

import math

import numpy as np
import pytest

from packpale.earthworks.haul import bank_length, cone_height, cone_volume, haul, haul_notes, loads, mounds_of
from packpale.earthworks.model import Volumes
from packpale.settings import BulkingSettings, PlantSettings
from told import told
from trench_cases import volumes_of

BULKING = BulkingSettings(soil_swell=0.25, soil_shrink=0.1, rock_swell=0.5, soft_rock_swell=0.4)
PLANT = PlantSettings(mound_slope=2.0, mound_height_m=2.0, truck_m3=8.0)


def test_cone_by_turning_its_triangle_round():
    # Pappus: triangle of area n h^2 / 2, its centroid n h / 3 from the axis.
    n, h = 1.7, 2.3
    assert cone_volume(h, side_slope=n) == pytest.approx(n * h * h / 2 * 2 * math.pi * n * h / 3)
    assert cone_height(cone_volume(h, side_slope=n), side_slope=n) == pytest.approx(h)


def test_bank_by_a_sum_over_a_fine_grid():
    h, n, length = 2.0, 2.0, 7.0
    volume = cone_volume(h, side_slope=n) + n * h * h * length
    assert bank_length(volume, height=h, side_slope=n) == pytest.approx(length)
    # Height over each point: h less the distance from the ridge over n.
    x = np.arange(-5.0, 12.0, 0.02) + 0.01
    y = np.arange(-5.0, 5.0, 0.02) + 0.01
    xx, yy = np.meshgrid(x, y)
    away = np.hypot(np.maximum(np.maximum(-xx, xx - length), 0.0), yy)
    assert np.maximum(h - away / n, 0.0).sum() * 0.02**2 == pytest.approx(volume, rel=1e-4)


def test_bank_of_no_more_than_a_cone_has_no_ridge():
    assert bank_length(1.0, height=2.0, side_slope=2.0) == 0.0


def test_mounds_hold_the_volume_and_none_is_too_high():
    one = cone_volume(2.0, side_slope=2.0)  # 33.5 m3
    for volume, count in ((one / 3, 1), (one, 1), (one * 1.01, 2), (5 * one, 5), (1000.0, 30)):
        found = mounds_of("soil", volume, plant=PLANT)
        assert found.count == count
        assert found.count * cone_volume(found.height, side_slope=2.0) == pytest.approx(volume)
        assert found.height <= 2.0 + 1e-9
        assert found.base_radius == pytest.approx(2 * found.height)
        if found.bank_length:
            assert one + 2.0 * 4.0 * found.bank_length == pytest.approx(volume)
            assert found.bank_width == pytest.approx(8.0)
        else:
            assert found.bank_width == pytest.approx(4 * found.height)


@pytest.mark.parametrize(("volume", "count"), [(0.0, 0), (0.01, 1), (8.0, 1), (8.01, 2), (80.0, 10)])
def test_truck_loads(volume, count):
    assert loads(volume, truck=8.0) == count


def test_nothing_left_over_is_no_mound():
    assert mounds_of("rock", 0.0, plant=PLANT).count == 0


def test_what_was_dug_by_material_and_where_it_goes():
    # 900 m3 of soil, 60 of soft and 40 of hard rock, over two packs.
    found = haul(
        [volumes_of(500.0, soft=30.0, hard=20.0), volumes_of(500.0, soft=30.0, hard=20.0, pack=2)],
        bulking=BULKING,
        plant=PLANT,
    )
    assert [(m.name, m.bank) for m in found.materials] == [("soil", 900.0), ("soft rock", 60.0), ("hard rock", 40.0)]
    assert [m.loose for m in found.materials] == pytest.approx([1125.0, 84.0, 60.0])
    assert found.backfill_compacted == 1000.0
    # 900 m3 compacted to 810; 190 lack, carried loose: 190 / 0.9 x 1.25 = 263.9 m3, 33 loads of 8 m3.
    assert found.import_compacted == pytest.approx(190.0)
    assert found.import_loads == 33
    assert [(m.kind, m.volume) for m in found.mounds] == [("rock", pytest.approx(144.0))]
    assert found.den_mounds == 0


def test_soil_left_over_makes_den_mounds():
    fluffy = BulkingSettings(soil_swell=0.25, soil_shrink=0.0)
    # Nothing shrinks: all soil goes back and none is left.
    assert haul([volumes_of(bulking=fluffy)], bulking=fluffy, plant=PLANT).den_mounds == 0
    v = volumes_of()
    left = 100.5
    found = haul(
        [Volumes(**{**vars(v), "surplus_loose": left, "surplus_soil_loose": left})], bulking=BULKING, plant=PLANT
    )
    # Cones of pi 4 8 / 3 = 33.51 m3: two whole ones in 100.5, three in 100.54.
    assert found.den_mounds == 2
    more = haul(
        [Volumes(**{**vars(v), "surplus_loose": 100.54, "surplus_soil_loose": 100.54})], bulking=BULKING, plant=PLANT
    )
    assert more.den_mounds == 3


def test_swell_outside_published_tables_is_said():
    odd = BulkingSettings(soil_swell=0.9, rock_swell=0.1)
    notes = told(haul_notes(haul([volumes_of(100.0, hard=10.0, bulking=odd)], bulking=odd, plant=PLANT)))
    assert any("swell of soil is set to 0.90, outside the 0.05 to 0.43" in n for n in notes)
    assert any("swell of hard rock is set to 0.10, outside the 0.50 to 0.72" in n for n in notes)
    usual = haul_notes(haul([volumes_of()], bulking=BULKING, plant=PLANT))
    assert not any("swell" in n for n in usual)


def test_rock_left_over_is_no_den():
    notes = told(haul_notes(haul([volumes_of(100.0, hard=10.0)], bulking=BULKING, plant=PLANT)))
    assert any("15 m³ of loose rock and no soil worth a mound" in n for n in notes)
