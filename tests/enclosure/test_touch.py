"""Where a fence line is held, against eggs set into land by hand and against shapely on land of all kinds."""

import dataclasses
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import MultiPolygon, Point, box

import polygons
from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import fit_largest
from packpale.enclosure.packs import fit_packs
from packpale.enclosure.touch import PLOT_BOUNDARY, SAME_PLACE, TOLERANCE_M, TOLERANCE_SHARE, touches
from packpale.land.model import Limit
from told import say

EAST = Egg(500_000.0, 5_400_000.0, 90.0, 50.0, 30.0, 60.0)
"""An egg 100 m wide and 140 m long; its axis points east."""
X, Y = EAST.big_x, EAST.big_y
FLANK = EAST.big_radius + 1e-3
BOX = box(X - 50, Y - FLANK, X + 90, Y + FLANK)
"""It touches the two ends at the tips and stands a millimetre from the two long sides beside O."""


def limit(name, area):
    return Limit("rock", name, area if isinstance(area, MultiPolygon) else MultiPolygon([area]), 0.1, False)


def in_order(found):
    """From the tip of the big end on, where rounding may leave the chainage just below a whole lap."""
    return sorted(found, key=lambda t: (t.chainage + 1) % EAST.perimeter)


def where(found):
    """Points on the line from O, in whole millimetres."""
    return [(round(t.x - X, 3) + 0.0, round(t.y - Y, 3) + 0.0) for t in found]


def test_egg_in_a_box_touches_its_four_sides():
    found = in_order(touches(EAST, BOX))
    # Clockwise from the tip of the big end in the west: north, east, south.
    assert where(found) == [(-50, 0), (0, 50), (90, 0), (0, -50)]
    joints = [arc.chainage for arc in EAST.arcs()]
    middle_of_small_end = (joints[2] + joints[3]) / 2
    assert [(t.chainage + 1) % EAST.perimeter - 1 for t in found] == pytest.approx(
        [0, 50 * math.pi / 2, middle_of_small_end, EAST.perimeter - 50 * math.pi / 2], abs=2e-3
    )
    assert [t.spare for t in found] == pytest.approx([0, 1e-3, 0, 1e-3], abs=1e-8)
    assert [(t.limit_x, t.limit_y) for t in found] == pytest.approx(
        [pytest.approx(p, abs=2e-3) for p in ((X - 50, Y), (X, Y + FLANK), (X + 90, Y), (X, Y - FLANK))]
    )
    assert all(t.limits == () for t in found)


def test_the_strip_is_part_of_what_touches():
    wider = box(X - 54, Y - 54, X + 94, Y + 54)
    assert touches(EAST, wider) == ()
    found = in_order(touches(EAST, wider, clearance=4.0))
    assert where(found) == [(-50, 0), (0, 50), (90, 0), (0, -50)]
    assert [math.hypot(t.limit_x - t.x, t.limit_y - t.y) for t in found] == pytest.approx([4] * 4, abs=1e-6)
    assert [t.spare for t in found] == pytest.approx([0] * 4, abs=1e-8)


def test_an_egg_that_is_free_touches_nothing():
    assert touches(EAST, box(X - 200, Y - 200, X + 200, Y + 200), clearance=4.0) == ()
    assert touches(EAST, MultiPolygon()) == ()


def test_just_out_of_reach_is_no_touch():
    land = box(X - 200, Y - 200, X + 90 + 1.01 * TOLERANCE_M, Y + 200)
    assert touches(EAST, land) == ()
    (found,) = touches(EAST, box(X - 200, Y - 200, X + 90 + 0.99 * TOLERANCE_M, Y + 200))
    assert found.spare == pytest.approx(0.99 * TOLERANCE_M, abs=1e-8)


def test_corner_of_a_hole_touches_at_the_foot_of_its_normal():
    # A square north-west of the big end; its nearest corner lies 7 m out on the normal at 135 degrees from east.
    out = (50 + 7) / math.sqrt(2)
    corner = X - out, Y + out
    hole = box(corner[0] - 9, corner[1], corner[0], corner[1] + 9)
    land = box(X - 200, Y - 200, X + 200, Y + 200).difference(hole)
    (found,) = touches(EAST, land, clearance=7.0, limits=[limit("pond", hole)])
    assert (found.limit_x, found.limit_y) == pytest.approx(corner, abs=1e-6)
    assert where([found]) == [(round(-50 / math.sqrt(2), 3), round(50 / math.sqrt(2), 3))]
    assert found.chainage == pytest.approx(50 * math.pi / 4)
    assert found.limits == ("pond",)


def test_keep_away_disc_holds_the_small_end():
    # A house 80 m beyond the small end's centre, 40 m kept from it, 10 m of strip: 30 + 10 + 40 = 80.
    turn = math.radians(20)
    house = Point(X + 60 + 80 * math.cos(turn), Y + 80 * math.sin(turn))
    kept = house.buffer(40, quad_segs=400)
    land = box(X - 300, Y - 300, X + 300, Y + 300).difference(kept)
    (found,) = touches(EAST, land, clearance=10.0, limits=[limit("within 40 m of dwellings", kept)])
    assert found.limits == ("within 40 m of dwellings",)
    assert (found.x, found.y) == pytest.approx((X + 60 + 30 * math.cos(turn), Y + 30 * math.sin(turn)), abs=0.3)
    assert found.spare == pytest.approx(0, abs=1e-3)


STEEP = limit("steeper than 20 degrees", box(X - 200, Y + FLANK, X + 200, Y + 200))
STREAM = limit("within 10 m of watercourses", box(X + 90, Y - 200, X + 200, Y + 200))
FAR = limit("inside keep-out", box(X - 200, Y - 200, X - 120, Y + 200))


def test_each_touch_names_the_limit_on_its_other_side():
    plot = box(X - 200, Y - FLANK, X + 200, Y + 200)
    land = plot
    for one in (STEEP, STREAM, FAR):
        land = land.difference(one.area)
    found = touches(EAST, land, limits=[STEEP, STREAM, FAR], outline=plot)
    assert {p: t.limits for p, t in zip(where(found), found, strict=True)} == {
        (0, 50): ("steeper than 20 degrees",),
        (90, 0): ("within 10 m of watercourses",),
        (0, -50): (PLOT_BOUNDARY,),
    }


def test_setback_stands_for_the_boundary():
    plot = BOX.buffer(3, join_style="mitre")
    setback = limit("plot boundary setback of 3 m", plot.difference(BOX))
    assert {t.limits for t in touches(EAST, BOX, limits=[setback], outline=plot)} == {(setback.name,)}


def test_limits_that_hold_at_the_same_place_are_all_named():
    both = [STEEP, dataclasses.replace(STEEP, name="rock nearer to the surface than 0.3 m")]
    found = touches(EAST, box(X - 200, Y - 200, X + 200, Y + FLANK), limits=both)
    assert [t.limits for t in found] == [(both[0].name, both[1].name)]


def stairs(steps, size):
    """Corners of raster cells a centimetre or less from the north flank, ``size`` metres apart."""
    points = []
    for i in range(steps):
        x = X + (i - steps / 2) * size
        points += [(x, Y + FLANK), (x + size / 2, Y + FLANK), (x + size / 2, Y + FLANK + 1), (x + size, Y + FLANK + 1)]
    return shapely.Polygon([*points, (points[-1][0], Y + 100), (points[0][0], Y + 100)])


def test_neighbouring_corners_are_one_place_and_distant_ones_are_not():
    land = box(X - 200, Y - 200, X + 200, Y + 200)
    near = touches(EAST, land.difference(stairs(4, 0.5)), limits=[limit("steep", stairs(4, 0.5))])
    assert len(near) == 1
    posts = [box(X + x - 0.1, Y + FLANK, X + x + 0.1, Y + FLANK + 1) for x in (-0.6, 0.5)]
    one = touches(EAST, land.difference(shapely.union_all(posts)), limits=[limit("p", p) for p in posts[:1]])
    # The same place twice, but what holds there has nothing in common.
    assert [t.limits for t in one] == [("p",), ()]


def test_contacts_on_both_sides_of_the_tip_are_one_place():
    tip = [box(X - 60, Y + y - 0.1, X - 50, Y + y + 0.1) for y in (-0.3, 0.3)]
    land = box(X - 200, Y - 200, X + 200, Y + 200).difference(shapely.union_all(tip))
    (found,) = touches(EAST, land)
    assert min(found.chainage, EAST.perimeter - found.chainage) < 0.5


def test_room_of_the_eggs_own_shape_holds_it_all_round():
    (found,) = touches(EAST, EAST.parallel(2.0).polygon(1e-4), clearance=2.0)
    assert abs(found.spare) < 1e-3


def test_other_packs_hold_at_their_distance():
    # Small end to small end, 12 m apart.
    other = Egg(X + 60 + 30 + 12 + 30 + 60, Y, 270.0, 50.0, 30.0, 60.0)
    land = box(X - 300, Y - 300, X + 500, Y + 300)
    (found,) = touches(EAST, land, others={2: other}, separation=12.0)
    assert [say(limit) for limit in found.limits] == ["distance kept from pack 2"]
    assert where([found]) == [(90, 0)]
    assert (found.limit_x, found.limit_y) == pytest.approx((X + 102, Y), abs=1e-3)
    assert found.spare == pytest.approx(0, abs=1e-9)
    assert touches(EAST, land, others={2: other}, separation=11.9) == ()


@pytest.mark.parametrize("wrong", [{"clearance": -1.0}, {"separation": math.nan}])
def test_no_such_distances(wrong):
    with pytest.raises(ValueError, match="no such distances"):
        touches(EAST, BOX, **wrong)


LANDS = polygons.lands()
CLEARANCES = (0.0, 1.5)


@pytest.mark.parametrize("clearance", CLEARANCES)
@pytest.mark.parametrize("name", LANDS)
def test_the_largest_egg_is_held_on_every_land(name, clearance, ranges):
    land = affinity.translate(LANDS[name], 500_000, 5_400_000)
    egg = fit_largest(land, **ranges(clearance=clearance)).egg
    found = touches(egg, land, clearance=clearance)
    tolerance = max(TOLERANCE_M, TOLERANCE_SHARE * egg.big_radius)
    assert len(found) >= 2
    # Were three quarters of the line free, the egg could move that way and grow.
    gaps = np.diff([t.chainage for t in found], append=found[0].chainage + egg.perimeter)
    assert gaps.max() < 0.75 * egg.perimeter
    # Each touch lies on both curves, by shapely.
    line, edge = egg.polygon(1e-5).exterior, land.boundary
    for t in found:
        assert Point(t.x, t.y).distance(line) < 2e-5
        assert Point(t.limit_x, t.limit_y).distance(edge) < 1e-6
        assert math.hypot(t.limit_x - t.x, t.limit_y - t.y) == pytest.approx(clearance + t.spare, abs=1e-7)
        assert -1e-6 < t.spare <= tolerance
    # And none is left out: every part of the strip's edge that shapely finds that near has a touch beside it.
    strip = egg.parallel(clearance).polygon(1e-5).exterior
    near = shapely.get_parts(strip.intersection(edge.buffer(0.9 * tolerance)))
    assert near.size > 0
    at = np.array([t.chainage for t in found])
    reach = SAME_PLACE * egg.perimeter
    held = np.sort(np.concatenate([egg.nearest(*shapely.get_coordinates(part).T) for part in near]))
    for group in np.split(held, np.flatnonzero(np.diff(held) > reach) + 1):
        # Groups at either end of the line are one place.
        if group[0] > reach and group[-1] < egg.perimeter - reach:
            assert ((at > group[0] - 0.02) & (at < group[-1] + 0.02)).any()


@settings(deadline=None, max_examples=15)
@given(st.integers(0, 10_000), st.floats(0, 360), st.floats(0, 3))
def test_turned_land_is_touched_at_the_same_places(seed, angle, clearance):
    land = polygons.blob(seed, 60)
    ranges = {"clearance": clearance, "taper": (0.5, 0.9), "aspect": (1.1, 1.6), "min_radius": 0.0}
    egg = fit_largest(land, **ranges).egg
    ((x, y),) = affinity.rotate(Point(egg.big_x, egg.big_y), angle, (0, 0)).coords
    turned = dataclasses.replace(egg, big_x=x, big_y=y, axis_bearing_deg=egg.axis_bearing_deg - angle)
    before = touches(egg, land, clearance=clearance)
    after = touches(turned, affinity.rotate(land, angle, (0, 0)), clearance=clearance)
    assert [t.chainage for t in after] == pytest.approx([t.chainage for t in before], abs=1e-3)


def test_packs_that_crowd_each_other_say_so(ranges):
    fits = fit_packs(box(0, 0, 200, 100), 2, 10.0, **ranges(clearance=3.0))
    eggs = {k + 1: f.egg for k, f in enumerate(fits)}
    for number, egg in eggs.items():
        others = {k: e for k, e in eggs.items() if k != number}
        found = touches(egg, box(0, 0, 200, 100), clearance=3.0, others=others, separation=10.0)
        assert [t for t in found if [say(x) for x in t.limits] == [f"distance kept from pack {3 - number}"]]
