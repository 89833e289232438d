"""All of the room on one plot: figures that hang together, notes and faults."""

import dataclasses
import math

import numpy as np
import pytest

from packpale.earthworks.section import TrenchSection
from packpale.earthworks.work_out import work_out
from packpale.enclosure.egg import Egg
from packpale.faults import Faults
from told import told
from trench_cases import circle_line, egg_line, enclosure_of, length_of, pack_of, plane, project_of, site_of

EGG = Egg(0.0, 0.0, 20.0, 40.0, 24.0, 36.0)
TRENCH = {"depth_m": 1.2, "bottom_width_m": 0.6, "apron_reach_m": 1.8, "apron_cover_m": 0.3, "side_slope": 1.0}


def worked_out(ground, *, radius=None, soil=None, **trench):
    line = circle_line(radius, step=1.0, elevation=ground) if radius else egg_line(EGG, step=1.0, elevation=ground)
    project = project_of(trench={**TRENCH, **trench})
    return work_out(site_of(ground, **(soil or {})), enclosure_of(pack_of(line)), project), line


def test_figures_of_one_pack_hang_together():
    works, line = worked_out(plane(0.1, -0.05), soil={"rock": 0.8, "water": 1.0})
    v = works.volumes[0]
    section = TrenchSection(1.2, 0.6, 1.8, 0.3, 1.0)
    assert v.pack == 1
    assert v.fence_length == pytest.approx(length_of(line))
    assert v.section_area == pytest.approx(section.area)
    assert v.cut == pytest.approx(section.area * (length_of(line) + 2 * math.pi * section.centroid_offset))
    # Along the fence line, without the curve, as a surveyor would.
    assert v.average_end_area == pytest.approx(section.area * length_of(line))
    # Below 0.8 m only the skirt trench is left: 0.4 m high, 0.6 m wide at the bottom, walls 1:1, centred.
    assert v.rock == pytest.approx((0.6 + 0.4) * 0.4 * length_of(line))
    assert v.wet == pytest.approx((0.6 + 0.2) * 0.2 * length_of(line))
    assert v.backfill_compacted == v.cut
    assert v.cut_loose == pytest.approx((v.cut - v.rock) * 1.25 + v.rock * 1.5)
    assert v.surplus_loose == pytest.approx(v.rock * 1.5)
    assert v.import_compacted == pytest.approx(v.cut - (v.cut - v.rock) * 0.9)
    assert v.stripped_area == pytest.approx(3.6 * length_of(line) + math.pi * (2.1**2 - 1.5**2))
    np.testing.assert_allclose(v.cut_at_station, section.area)
    np.testing.assert_allclose(v.invert, line.ground - 1.2)
    quantity = {i.key: i.quantity for i in works.items}
    assert quantity["excavate_soil_per_m3"] + quantity["excavate_rock_per_m3"] == pytest.approx(v.cut)
    assert works.cost["p10"] < works.cost["p50"] < works.cost["p90"]


def test_apron_inside_needs_less_digging_than_outside():
    outside, _ = worked_out(plane())
    inside, _ = worked_out(plane(), side="inside")
    section = TrenchSection(1.2, 0.6, 1.8, 0.3, 1.0)
    # Pappus either way: the two differ by twice the path of the centroid round one full circle.
    difference = outside.volumes[0].cut - inside.volumes[0].cut
    assert difference == pytest.approx(4 * math.pi * section.moment)


def test_two_packs_are_two_rows_and_one_bill():
    line = circle_line(30.0, step=1.0, elevation=plane())
    two = enclosure_of(pack_of(line, number=1), pack_of(line, number=2))
    one = enclosure_of(pack_of(line, number=1))
    project = project_of(trench=TRENCH)
    works, single = (work_out(site_of(100.0), e, project) for e in (two, one))
    assert [v.pack for v in works.volumes] == [1, 2]
    for item, alone in zip(works.items, single.items, strict=True):
        assert item.quantity == pytest.approx(2 * alone.quantity)
    assert works.cost["likely"] == pytest.approx(2 * single.cost["likely"])


def test_rock_that_fills_the_whole_trench_is_never_more_than_the_cut():
    works, _ = worked_out(lambda x, y: 100 + 0.5 * np.sin(x / 5), soil={"rock": 0.0}, formation="level")
    v = works.volumes[0]
    assert v.rock == pytest.approx(v.cut)
    assert v.rock <= v.cut
    assert next(i.quantity for i in works.items if i.key == "excavate_soil_per_m3") >= 0


# Notes: what a reader must know.


def test_fill_that_has_to_come_from_elsewhere_is_said_in_cubic_metres():
    works, _ = worked_out(plane(), soil={"rock": 0.8})
    v = works.volumes[0]
    short = v.cut - 0.9 * (v.cut - v.rock)
    assert any(f"falls {short:.0f} m³ short of filling it" in note for note in told(works.notes))


@pytest.mark.parametrize(
    ("depth", "clause"),
    [(1.2, None), (1.22, "29 CFR 1926.651(c)(2)"), (1.3, "29 CFR 1926.651(c)(2)"), (1.53, "29 CFR 1926.652(a)(1)")],
)
def test_depth_at_which_rules_for_people_in_trenches_begin(depth, clause):
    # 29 CFR 1926.651(c)(2): 4 ft (1.22 m), a way out. 29 CFR 1926.652(a)(1): 5 ft (1.52 m), walls protected.
    works, _ = worked_out(plane(), depth_m=depth, over_dig_m=0.0, soil_type="B", working_strip_m=9.0)
    said = [note for note in told(works.notes) if "29 CFR" in note]
    assert [clause in note for note in said] == ([True] if clause else [])


@pytest.mark.parametrize(
    ("depth", "over_dig", "clauses"),
    [
        (1.2, 0.01, []),
        (1.2, 0.02, ["1926.651(c)(2)"]),
        (1.5, 0.03, ["1926.652(a)(1)", "1926.651(c)(2)"]),
        (1.53, 0.03, ["1926.652(a)(1)"]),
    ],
)
def test_depth_that_the_machine_adds_counts_for_the_rules(depth, over_dig, clauses):
    # 1.20 m is 19 mm short of 4 ft (1.2192 m); 5 ft is 1.524 m.
    works, line = worked_out(plane(), depth_m=depth, over_dig_m=over_dig, soil_type="B", working_strip_m=9.0)
    said = [note for note in told(works.notes) if "29 CFR" in note]
    assert len(said) == len(clauses)
    for note, clause in zip(said, clauses, strict=True):
        assert clause in note
        assert f"over {length_of(line):.0f} m" in note
    assert [f"dug {over_dig:.2f} m deeper than drawn" in n for n in said] == [
        clause == "1926.652(a)(1)" if depth == 1.5 and k == 0 else depth == 1.2 for k, clause in enumerate(clauses)
    ]


def test_hauling_machine_hours_and_safety_are_those_of_the_volumes():
    works, line = worked_out(plane(0.1, -0.05), soil={"rock": 0.8, "water": 1.0})
    v = works.volumes[0]
    assert sum(m.bank for m in works.haul.materials) == pytest.approx(v.cut)
    assert sum(m.loose for m in works.haul.materials) == pytest.approx(v.cut_loose)
    assert sum(m.volume for m in works.haul.mounds) == pytest.approx(v.surplus_loose)
    dug = {t.name: t.quantity for t in works.plant.tasks}
    assert dug["dig soil"] + dug["break hard rock"] == pytest.approx(v.cut)
    # 1.2 m deep, water at 1.0 m, all round.
    assert works.plant.wet_length == pytest.approx(length_of(line))
    assert works.safety[0].wet_length == pytest.approx(length_of(line))
    assert any("stands in water over" in n and "up to 0.20 m over its bottom" in n for n in told(works.notes))
    # Soil in water is Type C whoever classified it: 1.5:1 against the 1:1 set, but no wall is as deep as 5 ft.
    assert works.safety[0].side_slope_asked == 1.5
    assert not works.safety[0].too_steep


def test_bottom_off_the_depth_set_is_said():
    # Waves of 0.4 m every 20 m: the gradient reaches 0.2 pi / 10 = 0.063, three times what is allowed.
    works, _ = worked_out(lambda x, y: 100 + 0.2 * np.cos(x * np.pi / 10), max_gradient=0.02)
    assert any("the bottom lies more than 0.1 m deeper than 1.2 m over" in n for n in told(works.notes))
    flat, _ = worked_out(plane(), max_gradient=0.02)
    assert not any("the bottom lies" in n for n in told(flat.notes))


def test_a_line_that_climbs_a_bank_says_so():
    steep, _ = worked_out(lambda x, y: 100 + 0.7 * np.clip(x, 0, 8))
    assert any("more steeply than 20°" in note for note in told(steep.notes))
    gentle, _ = worked_out(lambda x, y: 100 + 0.3 * np.clip(x, 0, 8))
    assert not any("more steeply" in note for note in told(gentle.notes))


def test_level_trench_across_a_slope_can_be_deeper_than_its_depth_and_says_so():
    works, _ = worked_out(plane(0.4), formation="level")
    # The bottom's uphill edge is 1.2 + 0.3 x 0.4 = 1.32 m down; a wall of 1:1 meets that slope 1.32 / (1 - 0.4) m up.
    assert any("at most 2.20 m" in note for note in told(works.notes))


def test_wall_that_runs_out_along_the_slope_is_said():
    works, _ = worked_out(plane(1.0), formation="level")
    assert any("was cut off" in note for note in told(works.notes))
    flat, _ = worked_out(plane(), formation="level")
    assert not any("was cut off" in note for note in told(flat.notes))


def test_dig_beyond_the_free_strip_is_said():
    # Inside the strip on flat ground; ground rising 0.7:1 takes the wall 1 / 0.3 times as far.
    steep, _ = worked_out(plane(0.7), formation="level", working_strip_m=1.5)
    assert any("beyond the strip" in note for note in told(steep.notes))
    flat, _ = worked_out(plane(), formation="level", working_strip_m=1.5)
    assert not any("beyond the strip" in note for note in told(flat.notes))


# Faults.


def test_missing_ground_under_a_level_trench_is_a_fault():
    line = circle_line(30.0, step=1.0, elevation=plane())
    site = site_of(100.0)
    elevation = site.elevation.copy()
    elevation[:, -70] = np.nan
    holed = dataclasses.replace(site, elevation=elevation)
    with pytest.raises(Faults, match=r'plot "field", pack 1: no elevation under the trench at chainage \d+\.\d m') as e:
        work_out(holed, enclosure_of(pack_of(line)), project_of(trench={**TRENCH, "formation": "level"}))
    assert len(e.value.lines) == 1


def test_bend_too_tight_for_an_apron_inside_is_a_fault():
    with pytest.raises(Faults, match=r"bends with a radius of 2\.00 m and the trench reaches 2\.10 m"):
        worked_out(plane(), radius=2.0, side="inside")
    worked_out(plane(), radius=2.0, side="outside")


@pytest.mark.parametrize(("radius", "step"), [(10.0, 32.0), (60.0, 130.0)])
def test_stations_too_far_apart_for_the_bends_are_a_fault(radius, step):
    line = circle_line(radius, step=step, elevation=plane())
    with pytest.raises(Faults, match=r"stations \d+\.\d\d m apart on a fence line .*lower trench\.station_m"):
        work_out(site_of(100.0), enclosure_of(pack_of(line)), project_of(trench=TRENCH))
