"""Trees and boulders near a fence: distances, sides and what is left of the height, in closed form on planes."""

import dataclasses
import math

import pytest
from shapely.geometry import LineString, Point

from packpale.care.aids import aid_notes, climbing_aids, weakening
from packpale.enclosure.egg import Egg
from packpale.enclosure.model import Fit
from packpale.site import Standing
from told import told
from trench_cases import egg_line, pack_of, plane, project_of, site_of

HEIGHT = 2.5
EGG = Egg(-10.0, 0.0, 90.0, 20.0, 12.0, 18.0)
"""From x = -30 to x = 20 along y = 0; its line begins in the west and runs by the north."""
EAST = 20.0


def egg_pack():
    return dataclasses.replace(pack_of(egg_line(EGG, step=1.0)), fit=Fit(EGG, 2000.0, 0.0))


def found(*things, ground=plane(), **checks):  # noqa: B008 - a function without state
    site = dataclasses.replace(site_of(ground, half=45.0, cell=0.5), standing=tuple(things))
    files = {"elevation": ["dem.tif"], "plots": "p.gpkg", "plot_id": "name", "trees_and_boulders": "t.gpkg"}
    project = project_of(inputs=files, checks=checks, fence={"height_m": HEIGHT})
    return climbing_aids(site, egg_pack(), project), project


def test_distance_side_and_place_on_the_line():
    # North of the big end's centre a quarter of its circle has been walked, at the other tip half of the line.
    stump = Point(-10, 17).buffer(1, quad_segs=64)
    (north, east), _ = found(Standing(Point(EAST + 2, 0), 1.0), Standing(stump, 0.4))
    assert (north.number, east.number) == (2, 1)
    assert (north.outside, east.outside) == (False, True)
    assert (north.distance, east.distance) == pytest.approx((2, 2), abs=2e-3)
    assert (north.chainage, east.chainage) == pytest.approx((math.pi / 2 * 20, EGG.perimeter / 2), abs=0.1)
    assert (north.x, north.y, east.x, east.y) == pytest.approx((-10, 18, EAST + 2, 0), abs=0.1)
    assert (north.left, east.left) == pytest.approx((HEIGHT - 0.4, HEIGHT - 1.0))


@pytest.mark.parametrize("slope", [-0.2, 0.3])
def test_on_a_slope_the_ground_it_stands_on_counts(slope):
    (boulder,), _ = found(Standing(Point(EAST - 4, 0), 0.7), ground=plane(east=slope))
    # 4 m west of the foot of the fence the ground lies 4 slope lower.
    assert boulder.left == pytest.approx(HEIGHT + 4 * slope - 0.7, abs=1e-3)


def test_only_within_the_distance_and_what_reaches_over_the_line_is_at_it():
    near, far, log = Point(-10, 24.9), Point(-10, 25.1), LineString([(-10, -29), (-10, -17)])
    things, _ = found(Standing(near, math.nan), Standing(far, 9.0), Standing(log, 0.5))
    assert {aid.number for aid in things} == {1, 3}
    assert min(aid.distance for aid in things) == 0
    (over,) = [aid for aid in things if aid.number == 3]
    assert over.outside  # 9 of its 12 m
    assert over.side == "on the line"
    assert found(Standing(far, 9.0), tree_distance_m=6.0)[0][0].number == 1


@pytest.mark.parametrize(("height", "weak"), [(0.29, False), (0.31, True), (math.nan, True), (8.0, True)])
def test_what_takes_more_than_is_let_pass_or_is_not_known_is_told(height, weak):
    (aid,), project = found(Standing(Point(EAST + 1, 0), height), climb_loss_m=0.3)
    assert weakening(aid, project) == weak
    assert len(aid_notes([aid], project)) == weak


def test_the_note_names_the_nearest_and_the_highest():
    things, project = found(
        Standing(Point(EAST + 2, 0), math.nan), Standing(Point(-27, 0), 1.1), Standing(Point(-10, 23), 0.1)
    )
    (note,) = told(aid_notes(things, project))
    assert note.startswith(
        "Pack 1: 2 trees, boulders or other things stand within 5 m of the fence. The nearest is 2.00 m out"
    )
    assert "the highest leaves 1.40 m of its height" in note
    (tall,), project = found(Standing(Point(EAST + 2, 0), 12.0))
    assert "1 tree, boulder or other thing stands" in told(aid_notes([tall], project))[0]
    assert "one is higher than it" in told(aid_notes([tall], project))[0]
