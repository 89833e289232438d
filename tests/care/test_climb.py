"""How high the fence is beside banks: closed forms on planes, steps and ridges."""

import dataclasses
import math

import numpy as np
import pytest
import shapely
from pydantic import ValidationError

from packpale.care.climb import climb, climb_notes, effective_height, tree_distance
from told import told
from trench_cases import circle_line, pack_of, plane, project_of, site_of

R = 30.0
HEIGHT = 2.5


def heights(ground, *, distance=2.0, outward=-1.0, cell=1.0):
    line = circle_line(R, step=2 * math.pi * R / 360, elevation=ground)
    site = site_of(ground, half=45.0, cell=cell)
    return line, effective_height(line, site, height=HEIGHT, distance=distance, outward=outward)


def climbed(ground, *, woodland=(), **checks):
    line = circle_line(R, step=2 * math.pi * R / 360, elevation=ground)
    site = dataclasses.replace(site_of(ground, half=45.0, cell=0.5), features={"woodland": tuple(woodland)})
    project = project_of(checks=checks)
    return climb(site, pack_of(line), project), line, project


def test_on_flat_ground_the_fence_is_as_high_as_it_is():
    for outward in (-1.0, 1.0):
        np.testing.assert_allclose(heights(plane(), outward=outward)[1], HEIGHT)


@pytest.mark.parametrize("distance", [0.5, 2.0, 3.3])
@pytest.mark.parametrize("outward", [-1.0, 1.0])
def test_on_a_slope_the_uphill_ground_takes_slope_times_distance(distance, outward):
    # Ground rises by .3 towards the east. At the normal (nx, ny) the ground at distance d is higher by .3 nx d outside
    # and lower inside; what falls away costs nothing.
    line, found = heights(plane(east=0.3), distance=distance, outward=outward)
    rise = 0.3 * outward * line.outward[:, 0] * distance
    np.testing.assert_allclose(found, HEIGHT - np.maximum(rise, 0), atol=1e-9)


def test_a_ridge_within_reach_counts_by_its_crest_and_one_beyond_does_not():
    # A round bank whose crest, .8 high, stands 1.5 m inside the fence; its foot is 1 m wide on both sides.
    ground = lambda x, y: 100 + 0.8 * np.clip(1 - np.abs(np.hypot(x, y) - (R - 1.5)), 0, 1)  # noqa: E731
    line = circle_line(R, step=1.0, elevation=lambda x, y: 100 + 0 * x)
    site = site_of(ground, half=45.0, cell=0.05 * 2)
    at = lambda d: effective_height(line, site, height=HEIGHT, distance=d, outward=-1.0)  # noqa: E731
    np.testing.assert_allclose(at(2.0), HEIGHT - 0.8, atol=0.06)
    np.testing.assert_allclose(at(1.0), HEIGHT - 0.4, atol=0.06)
    np.testing.assert_allclose(at(0.4), HEIGHT, atol=0.06)


def test_weakest_place_and_stretches_of_a_slope():
    found, line, _ = climbed(plane(east=0.3), climb_loss_m=0.3)
    # Inside, the west of the circle looks uphill: lost is .6 |cos| of the angle from due west, over .3 within 60 deg.
    assert found.least == pytest.approx(HEIGHT - 0.6, abs=1e-9)
    assert found.weakest_chainage == pytest.approx(R * math.pi / 2, abs=0.6)
    (bank,) = found.banks_inside
    assert bank.length == pytest.approx(R * math.radians(120), abs=1.5)
    assert bank.worst == found.least
    (other,) = found.banks_outside
    assert other.length == pytest.approx(R * math.radians(120), abs=1.5)
    assert (other.start + other.length / 2) % (2 * math.pi * R) == pytest.approx(R * math.pi * 1.5, abs=1.0)
    assert line.x[np.argmin(found.outside)] == pytest.approx(R, abs=0.01)


def test_missing_ground_is_not_known_and_said():
    line = circle_line(R, step=1.0, elevation=plane())
    site = site_of(100.0, half=45.0)
    elevation = site.elevation.copy()
    elevation[:, 17] = np.nan  # 27.5 m west of the middle
    site = dataclasses.replace(site, elevation=elevation)
    found = climb(site, pack_of(line), project_of(checks={"climb_distance_m": 3.0}))
    unknown = np.isnan(found.inside)
    assert 0 < unknown.sum() < line.x.size / 4
    assert (line.x[unknown] < -20).all()
    assert found.least == pytest.approx(HEIGHT)
    (note,) = told(climb_notes((found,), project_of(checks={"climb_distance_m": 3.0})))
    either = unknown | np.isnan(found.outside)
    assert unknown.sum() < either.sum()
    assert f"at {either.sum()} of {line.x.size} stations the ground within 3 m" in note


def test_woods_are_measured_to_their_edge():
    line = circle_line(R, step=1.0, elevation=plane())
    wood = shapely.Point(0, 80).buffer(46, quad_segs=256)
    away = tree_distance(line, (wood, shapely.Polygon(), shapely.Point(0, 200).buffer(1)))
    np.testing.assert_allclose(away, np.hypot(line.x, line.y - 80) - 46, atol=2e-3)
    assert np.isinf(tree_distance(line, ())).all()
    project = project_of()
    site = dataclasses.replace(site_of(100.0, half=45.0), features={"woodland": (wood,)})
    found = climb(site, pack_of(line), project)
    (near,) = found.near_trees
    assert near.worst == pytest.approx(4.0, abs=0.02)
    # Law of cosines: 51 m from (0, 80) at 30 m from the middle.
    half = math.acos((80**2 + R**2 - 51**2) / (2 * 80 * R))
    assert near.length == pytest.approx(2 * R * half, abs=2.0)
    (note,) = told(climb_notes((found,), project))
    assert "woodland stands within 5 m of the fence" in note


def test_notes_tell_what_is_left_of_the_height():
    found, _, project = climbed(plane(east=0.3))
    inside, outside = told(climb_notes((found,), project))
    assert "high ground inside leaves only 1.90 m of the fence's 2.5 m at the worst place" in inside
    assert "within 2 m of the fence" in inside
    assert "high ground outside" in outside
    flat, _, _ = climbed(plane())
    assert flat.weakest_chainage == 0.0
    assert climb_notes((flat,), project) == []


def test_a_distance_to_woods_without_woods_is_refused():
    with pytest.raises(ValidationError, match=r"tree_distance_m has no effect without inputs\.woodland"):
        project_of(checks={"tree_distance_m": 8.0})
