"""Places of gates: what they keep off on made ground, what decides where nothing is good, and what is told then."""

import dataclasses
import math

import numpy as np
import pytest
import shapely
from pydantic import ValidationError
from shapely.geometry import LineString, MultiPolygon, Point, box

from packpale.enclosure.airlocks import airlocks
from packpale.enclosure.egg import Egg
from packpale.enclosure.gate_places import SHORT_M, STEP_M, KeepOff, gate_place_notes, place_gates
from packpale.enclosure.leaves import hung
from packpale.settings import GateSettings
from packpale.site.grid import Grid
from packpale.values.notes import ESCAPE, LAW, phrase
from told import told
from trench_cases import project_of, site_on

EGG = Egg(0.0, 0.0, 0.0, 60.0, 40.0, 55.0)
"""Axis to the north."""
GRID = Grid(-150.0, 200.0, 1.0, 300, 300)
X, Y = np.meshgrid(*GRID.centres())
FLAT = np.full(GRID.shape, 250.0)
EAST = (Point(90.0, 0.0),)
"""Access due east of the widest place, at the point (60, 0)."""


def placed(n=1, ground=FLAT, *, plot=None, access=(), keep_off=(), trench=None, **settings):
    """Gates of 4 m, with airlocks of 10 by 5 m and 7 m before them."""
    site = site_on(GRID, ground, access=access)
    if plot is not None:
        site = dataclasses.replace(site, outline=MultiPolygon([plot]))
    fence = {
        "gates": n,
        "gate_width_m": 4.0,
        "airlock_length_m": 10.0,
        "airlock_width_m": 5.0,
        "vehicle_length_m": 7.0,
    }
    return place_gates(EGG, site, project_of(fence=fence, gates=settings, trench=trench or {}), keep_off)


def footprint(gates, k=0, outward=7.0):
    """What a gate, its airlock and the machine before it take, drawn from the airlock."""
    room = airlocks(EGG, gates, length=10.0, width=5.0, spacing=3.0)[k].corners
    out = (room[0] - room[3]) / 10.0 * outward
    return shapely.Polygon([room[0] + out, room[1] + out, room[2], room[3]])


def gaps(gates, ground, settings):
    """Greatest gap below the outer and the inner leaves of each gate, in the room's own geometry. [m]"""
    rooms = airlocks(EGG, gates, length=10.0, width=5.0, spacing=3.0)
    found = []
    for at, room in zip(gates.chainage, rooms, strict=True):
        ends = EGG.points_at(at + np.array([2.0, -2.0]))
        outer = np.column_stack([ends.x, ends.y])
        found.append(
            max(
                float(hung(sides[None], settings, ground, GRID, in_the_line=line, step=0.1).gap.max())
                for sides, line in ((outer, True), (room.inner_gate, False))
            )
        )
    return np.array(found)


def dome():
    return 250 - (0.1 + 0.0003 * (X + 60)) * np.hypot(X, Y)


def test_on_flat_dry_ground_the_first_gate_is_where_access_is_nearest():
    gates = placed(access=EAST)
    assert gates.x[0] == pytest.approx(60.0, abs=0.1)
    assert abs(gates.y[0]) < 1.0
    assert gates.on == ((),)


@pytest.mark.parametrize(
    "ditch",
    [
        # Below the leaves, below the inner gate, between the two, and before the gate.
        pytest.param((59.0, 61.5), id="line"),
        pytest.param((48.5, 51.0), id="inner gate"),
        pytest.param((54.0, 56.5), id="airlock"),
        pytest.param((63.0, 65.5), id="way in"),
    ],
)
def test_a_ditch_where_the_gate_would_stand_is_kept_off(ditch):
    # A ditch 1.5 m deep and 30 m long along the line beside the access, and a place that is nearest to it.
    ground = np.where((ditch[0] < X) & (ditch[1] > X) & (abs(Y) < 15), 248.5, 250.0)
    gates = placed(access=EAST, ground=ground)
    cut = box(ditch[0], -13.5, ditch[1], 13.5)
    assert not footprint(gates).intersects(cut)
    # The nearest place beside it, not just any.
    assert 15.0 < abs(gates.y[0]) < 26.0
    assert gaps(gates, ground, GateSettings())[0] <= GateSettings().max_gap_m


@pytest.mark.parametrize("reach", [(66.0, 80.0), (40.0, 52.0)], ids=["before the gate", "in the airlock"])
def test_water_is_kept_off_by_the_distance_set(reach):
    # A stream that ends in the way in, or in the airlock, where nothing of the line itself meets it.
    stream = LineString([(reach[0], 0.0), (reach[1], 0.0)])
    for apart in (0.0, 5.0, 12.0):
        water = (KeepOff(phrase("a stream"), np.array([stream]), apart),)
        gates = placed(access=EAST, keep_off=water)
        assert apart < footprint(gates).distance(stream) < apart + 2.5
        assert gates.on == ((),)


def test_gap_and_slope_allowed_are_settings():
    # East of the line's widest place the ground falls along it by 5 %: 0.10 m over a leaf of 2 m, and 0.05 m below it.
    fall = np.where(X > 0, 250 - 0.05 * Y, 250.0)
    near = placed(access=EAST, ground=fall, max_gap_m=0.2)
    far = placed(access=EAST, ground=fall)
    assert near.x[0] == pytest.approx(60.0, abs=0.1)
    assert far.x[0] < 30.0
    steep = placed(access=EAST, ground=fall, max_gap_m=0.2, max_slope_deg=2.0)
    assert steep.x[0] < 5.0


def test_where_every_gap_is_too_wide_the_least_decides():
    # A dome: leaves that open inward swing over rising ground everywhere; it rises least in the west.
    ground = dome()
    gates = placed(access=EAST, ground=ground)
    settings = GateSettings()
    here = gaps(gates, ground, settings)[0]
    assert here > settings.max_gap_m
    some = EGG.points_at(np.arange(0, EGG.perimeter, 1.5))
    every = type(gates)(np.arange(0, EGG.perimeter, 1.5), some.x, some.y, 4.0)
    assert here <= gaps(every, ground, settings).min() + 2 * SHORT_M
    assert gates.x[0] < -50


def test_water_outweighs_the_gap():
    # Level ground is wet all along; dry ground rises.
    ground = np.where(Y > 20, dome(), 250.0)
    wet = (KeepOff(phrase("wet ground"), np.array([box(-150, -100, 150, 20)])),)
    gates = placed(access=EAST, ground=ground, keep_off=wet)
    assert gates.y[0] > 20
    assert gates.on == ((),)
    assert gaps(gates, ground, GateSettings())[0] > 0.1


def test_where_all_is_wet_the_nearest_wet_place_is_taken_and_told():
    wet = (KeepOff(phrase("wet ground"), np.array([box(-150, -100, 150, 200)])),)
    gates = placed(2, access=EAST, keep_off=wet)
    assert gates.x[0] == pytest.approx(60.0, abs=0.1)
    assert [len(names) for names in gates.on] == [1, 1]
    (note,) = gate_place_notes(1, gates, 7.0)
    assert note.severity == ESCAPE
    (words,) = told([note])
    assert "no place for 2 of 2 gates" in words
    assert "wet ground; gate 2 (chainage" in words
    assert gate_place_notes(1, placed(2, access=EAST), 7.0) == []


def test_the_second_gate_leaves_its_part_of_the_line_only_for_a_better_place():
    # Opposite the first the line is wet over a third of it and more.
    wet = (KeepOff(phrase("wet ground"), np.array([box(-150, -60, 0, 150)])),)
    gates = placed(2, access=EAST, keep_off=wet)
    assert gates.on == ((), ())
    assert gates.x[1] > 0
    apart = abs(gates.chainage[1] - gates.chainage[0])
    assert min(apart, EGG.perimeter - apart) > EGG.perimeter / 6 - 2
    alone = placed(2, access=EAST)
    assert abs(alone.chainage[1] - alone.chainage[0]) == pytest.approx(EGG.perimeter / 2, abs=2)


def test_gates_never_crowd_where_alone_it_is_dry():
    dry = box(30, -25, 100, 25)
    wet = (KeepOff(phrase("wet ground"), np.array([box(-150, -100, 150, 200).difference(dry)])),)
    gates = placed(2, access=EAST, keep_off=wet)
    assert [len(names) for names in gates.on] == [0, 1]
    apart = abs(gates.chainage[1] - gates.chainage[0])
    assert min(apart, EGG.perimeter - apart) > EGG.perimeter / 6 - 2


def test_corners_and_ground_that_is_not_known_come_last():
    hole = np.where((abs(X - 52) < 1) & (abs(Y) < 1), np.nan, 250.0)
    wet = (KeepOff(phrase("wet ground"), np.array([box(-150, -100, 150, 200)])),)
    gates = placed(access=EAST, ground=hole, keep_off=wet)
    assert 2 < abs(gates.y[0]) < 8
    assert np.isfinite(gaps(gates, hole, GateSettings())[0])


def test_places_are_judged_to_the_same_gap_as_the_sheet_of_gates_tells():
    # Rough ground: noise of some centimetres in each cell. The coarser step misses no more than it is said to.
    rough = 250 + np.random.default_rng(5).normal(0, 0.03, GRID.shape)
    s = np.linspace(0, EGG.perimeter, 60, endpoint=False)
    sides = np.stack([np.column_stack(EGG.points_at(s + side)[:2]) for side in (2.0, -2.0)], axis=1)
    for settings in (GateSettings(), GateSettings(leaves=1, swing="out", below="concrete sill")):
        fine, coarse = (
            hung(sides, settings, rough, GRID, in_the_line=True, step=step).gap.max(axis=1) for step in (0.1, STEP_M)
        )
        assert (np.median(fine - coarse), (fine - coarse).max()) < (SHORT_M, 5 * SHORT_M)


def test_gates_of_two_enclosures_side_by_side_do_not_open_towards_each_other():
    other = Egg(125.0, 0.0, 0.0, 60.0, 40.0, 55.0)
    gates = placed(4, access=(Point(63.0, 0.0),), keep_off=[KeepOff(phrase("other"), np.array([other.polygon()]))])
    for k in range(4):
        assert footprint(gates, k).distance(other.polygon()) > 0
    assert math.hypot(gates.x[0] - 60, gates.y[0]) > 8


def test_a_machine_waits_inside_the_plot():
    # The boundary runs 5 m east of the widest place, straight north. On the big circle, turned by t from east, the
    # outer corner of a place 5 m wide and 7 m long lies at 66.948 cos t + 2.5 sin t = 66.995 cos(t - 2.139 degrees),
    # since the chord of 5 m lies 59.948 m from the centre. That is 65 at t = 16.16 degrees, where y = -16.70. To the
    # north the line turns more slowly, and the next such place is farther from the access.
    gates = placed(access=EAST, plot=box(-150, -100, 65, 200))
    assert -16.7 - EGG.perimeter / 300 < gates.y[0] < -16.7
    assert gates.to_boundary == (None,)


@pytest.mark.parametrize(("end", "leads_there"), [(66.5, True), (67.5, False)])
def test_before_a_track_a_machine_may_stand_past_the_boundary(end, leads_there):
    # The machine takes the 7 m before the gate at (60, 0).
    track = (LineString([(140.0, 0.0), (end, 0.0)]),)
    gates = placed(access=track, plot=box(-150, -100, 65, 200))
    assert (abs(gates.y[0]) < 1.0) == leads_there
    assert gates.to_boundary == (None,)


def test_ground_of_another_within_the_plot_is_kept_off():
    # Smaller than the machine, whose corners all lie in the plot.
    fold = box(63, -1, 64, 1)
    gates = placed(access=EAST, plot=box(-150, -100, 150, 200).difference(fold))
    assert not footprint(gates).intersects(fold)
    assert abs(gates.y[0]) < 6.0


def test_in_a_narrow_plot_water_and_gaps_still_decide_and_it_is_told():
    narrow = EGG.polygon().buffer(3.0)
    wet = (KeepOff(phrase("wet ground"), np.array([box(-150, -100, 150, 20)])),)
    gates = placed(2, access=EAST, plot=narrow, keep_off=wet)
    assert gates.y.min() > 20
    assert gates.on == ((), ())
    assert gates.to_boundary == pytest.approx((3.0, 3.0), abs=0.02)
    (note,) = gate_place_notes(1, gates, 7.0)
    assert note.severity == LAW
    (words,) = told([note])
    assert "before 2 of 2 gates a machine stands past the plot's boundary" in words
    assert f"gate 2 (chainage {gates.chainage[1]:.0f} m): 3" in words
    # The ground before the gates and the water are told apart.
    wet = (KeepOff(phrase("wet ground"), np.array([box(-150, -100, 150, 200)])),)
    assert len(gate_place_notes(1, placed(plot=narrow, keep_off=wet), 7.0)) == 2


def test_the_working_strip_before_a_gate_may_be_wider_than_the_plot():
    # 8 m to the boundary hold a vehicle of 7 m.
    gates = placed(plot=EGG.polygon().buffer(8.0), trench={"working_strip_m": 12.0})
    assert gates.to_boundary == (None,)


def test_no_gate_with_a_gap_within_what_is_allowed_is_given_up_for_the_boundary():
    # Level ground lies only where the boundary is near; elsewhere leaves hang high over a dome.
    ground = np.where((X > 40) & (abs(Y) < 12), 250.0, dome())
    gates = placed(access=EAST, plot=box(-150, -100, 62, 200), ground=ground)
    assert gaps(gates, ground, GateSettings())[0] <= GateSettings().max_gap_m
    assert gates.to_boundary == pytest.approx((2.0,), abs=0.2)


def test_where_every_gap_is_too_wide_the_boundary_decides_before_the_least():
    # The least gap is in the west, where the boundary is near.
    ground = dome()
    alone, gates = (placed(ground=ground, plot=box(west, -100, 150, 200)) for west in (-150, -62))
    assert alone.x[0] < -50
    assert gates.to_boundary == (None,)
    assert -55 < gates.x[0] < 0
    assert gaps(gates, ground, GateSettings())[0] > gaps(alone, ground, GateSettings())[0]


def test_a_line_drawn_past_the_boundary_has_no_room_before_its_gates():
    gates = placed(plot=box(100, -100, 150, 200))
    assert gates.to_boundary == pytest.approx((100 - gates.x[0],))


def test_no_leaf_hangs_lower_than_its_clearance():
    with pytest.raises(ValidationError, match="raise max_gap_m"):
        project_of(gates={"clearance_m": 0.1})
    assert project_of(gates={"clearance_m": 0.1, "max_gap_m": 0.15}).gates.max_gap_m == 0.15
