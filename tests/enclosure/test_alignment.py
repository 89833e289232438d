"""Stations, the length on the ground, posts and gates."""

import itertools
import math

import numpy as np
import pytest
import shapely

from packpale.enclosure.alignment import length_on_ground, stations
from packpale.enclosure.egg import Egg
from packpale.enclosure.fence import posts
from packpale.enclosure.gate_places import KeepOff, place_gates
from packpale.enclosure.model import Gates
from packpale.site.grid import Grid
from packpale.values.notes import phrase
from trench_cases import project_of, site_on

EGG = Egg(500_000.0, 5_400_000.0, 40.0, 60.0, 40.0, 55.0)
GRID = Grid(500_000.0 - 200, 5_400_000.0 + 200, 2.0, 200, 200)
X, Y = np.meshgrid(*GRID.centres())
FLAT = np.full(GRID.shape, 250.0)
PLANE = 250 + 0.2 * (X - EGG.big_x) - 0.1 * (Y - EGG.big_y)


def placed(elevation, n, keep_off=(), **features):
    return place_gates(EGG, site_on(GRID, elevation, **features), project_of(fence={"gates": n}), keep_off)


def test_stations_are_equal_steps_from_the_tip():
    line = stations(EGG, step=1.0, elevation=PLANE, grid=GRID)
    n = len(line.chainage)
    assert n == math.ceil(EGG.perimeter)
    assert line.step * n == pytest.approx(EGG.perimeter, rel=1e-14)
    assert line.step <= 1.0
    assert line.chainage == pytest.approx(np.arange(n) * line.step)
    assert (line.x[0], line.y[0]) == pytest.approx((EGG.points_at([0.0]).x[0], EGG.points_at([0.0]).y[0]))
    assert line.ground == pytest.approx(250 + 0.2 * (line.x - EGG.big_x) - 0.1 * (line.y - EGG.big_y))
    assert np.hypot(*line.outward.T) == pytest.approx(1.0)
    # Steiner's formula as a sum over the stations: the strip of width w outside has the area P w + pi w^2, the integral
    # of w (1 + w / 2 R). The sum jumps where the arc changes, so it is good to a step's share there.
    assert (6 * (1 + 3 / line.radius) * line.step).sum() == pytest.approx(6 * EGG.perimeter + 36 * math.pi, rel=1e-3)


def test_a_perimeter_of_whole_steps_gets_no_extra_station():
    egg = Egg.from_shape(0.7, 1.3, big_radius=100.0)
    line = stations(egg, step=egg.perimeter / 400, elevation=FLAT, grid=Grid(-300.0, 300.0, 3.0, 200, 200))
    assert len(line.chainage) == 400


def test_missing_ground_is_nan():
    hole = np.where((abs(X - EGG.points_at([0.0]).x[0]) < 5) & (abs(Y - EGG.points_at([0.0]).y[0]) < 5), np.nan, FLAT)
    line = stations(EGG, step=1.0, elevation=hole, grid=GRID)
    assert np.isnan(line.ground[0])
    assert np.isnan(line.ground).sum() < 30
    # The part that is known is not the length.
    assert np.isnan(length_on_ground(EGG, elevation=hole, grid=GRID))


def test_length_on_flat_ground_is_the_perimeter():
    assert length_on_ground(EGG, elevation=FLAT, grid=GRID) == pytest.approx(EGG.perimeter, rel=1e-12)


def test_length_on_an_inclined_plane():
    # On the plane z = g x along a curve with the direction t: integral of sqrt(1 + (g t)^2) ds, here by an independent
    # fine sum over the tangents.
    tangent = np.radians(EGG.points_at((np.arange(200_000) + 0.5) * EGG.perimeter / 200_000).bearing_deg)
    rise = 0.2 * np.sin(tangent) - 0.1 * np.cos(tangent)
    expected = EGG.perimeter * np.sqrt(1 + rise**2).mean()
    assert length_on_ground(EGG, elevation=PLANE, grid=GRID) == pytest.approx(expected, rel=1e-6)
    assert expected > 1.01 * EGG.perimeter


@pytest.mark.parametrize("spacing", [2.5, 3.0, 7.3])
def test_posts_stand_no_farther_apart_than_the_spacing(spacing):
    fence = posts(EGG, spacing, PLANE, GRID)
    plan = np.hypot(np.roll(fence.x, -1) - fence.x, np.roll(fence.y, -1) - fence.y)
    panels = np.hypot(plan, np.roll(fence.ground, -1) - fence.ground)
    assert panels.max() <= spacing + 1e-9
    # In plan alone it would be fewer: the plane falls by 0.22.
    assert fence.x.size > posts(EGG, spacing, FLAT, GRID).x.size
    # No more posts than one to an arc above the least number.
    assert len(fence.x) <= length_on_ground(EGG, elevation=PLANE, grid=GRID) / spacing + 6
    for start, end in itertools.pairwise([*EGG.bends, EGG.bends[0] + EGG.perimeter]):
        along = (fence.chainage - start + 1e-9) % EGG.perimeter
        on_arc = along < end - start - 1e-6
        assert along[on_arc].min() == pytest.approx(0, abs=2e-9)
        # As much ground to each; the straight way is shorter by what its arc bulges, c^3 / 24 R^2.
        assert np.ptp(panels[on_arc]) < spacing**3 / 24 / EGG.small_radius**2 + 1e-4
    assert fence.deflection_deg.sum() == pytest.approx(360)
    assert (fence.deflection_deg > 0).all()
    assert fence.ground == pytest.approx(250 + 0.2 * (fence.x - EGG.big_x) - 0.1 * (fence.y - EGG.big_y))
    # A post in the middle of an arc deflects by twice the asin of half a panel over the radius.
    assert fence.deflection_deg[1] == pytest.approx(2 * math.degrees(math.asin(plan[1] / 2 / EGG.big_radius)), rel=1e-3)


def test_posts_stand_evenly_from_gate_to_gate():
    # Where chainage starts there is no corner of an egg and no post: a gate a metre past it has whole panels beside it.
    middle = np.array([3.0, EGG.bends[1] + 4.0])
    at = EGG.points_at(middle)
    found = posts(EGG, 3.0, FLAT, GRID, gates=Gates(middle, at.x, at.y, 4.0))
    panels = np.diff(found.chainage, append=found.chainage[0] + EGG.perimeter)
    assert panels.min() >= 2.0 - 1e-9
    assert np.abs(found.chainage).min() > 0.9
    kinds = np.array(found.kind)
    # The change of arc 2 m from the second gate's opening keeps its post, one 1.4 m from it would not.
    assert (kinds == "bend").sum() == 4
    nearer = EGG.points_at(middle - 0.6)
    found = posts(EGG, 3.0, FLAT, GRID, gates=Gates(middle - 0.6, nearer.x, nearer.y, 4.0))
    assert found.of("bend") == 3
    assert np.diff(found.chainage).min() > 1.5


def test_first_gate_is_nearest_to_the_track_and_the_others_are_spread():
    track = shapely.LineString([(EGG.big_x + 300, EGG.big_y - 300), (EGG.big_x + 300, EGG.big_y + 300)])
    gates = placed(FLAT, 3, access=(track,))
    line = EGG.points_at(np.linspace(0, EGG.perimeter, 5000))
    assert gates.x[0] == pytest.approx(line.x.max(), abs=0.05)
    assert EGG.distance(gates.x, gates.y) == pytest.approx(0, abs=1e-6)
    assert gates.width == 4.0
    apart = np.diff(np.sort(gates.chainage), append=np.sort(gates.chainage)[0] + EGG.perimeter)
    assert apart == pytest.approx(EGG.perimeter / 3, rel=0.02)


def test_gates_avoid_steep_ground_and_channels():
    # Ground rises at 60 % across the eastern half; a channel crosses the line in the south-west.
    steep = np.where(EGG.big_x < X, 250 + 0.6 * (X - EGG.big_x), 250.0)
    channel = (EGG.big_x - 20 > X) & (EGG.big_y > Y)
    water = (KeepOff(phrase("a channel"), shapely.points(X[channel], Y[channel]), GRID.cell / 2),)
    gates = placed(steep, 4, water)
    first = gates.x[0] < EGG.big_x and not GRID.nearest(channel, gates.x[:1], gates.y[:1])[0]
    assert first
    # With the track on the steep side the first gate still stands on gentle ground.
    track = shapely.Point(EGG.big_x + 190, EGG.big_y)
    gates = placed(steep, 1, water, access=(track,))
    assert gates.x[0] < EGG.big_x + 4
    assert not GRID.nearest(channel, gates.x, gates.y)[0]


def test_no_gates_and_no_sense():
    assert len(placed(FLAT, 0).x) == 0
    with pytest.raises(ValueError, match="spacing"):
        posts(EGG, 0.0, FLAT, GRID)
    with pytest.raises(ValueError, match="step"):
        stations(EGG, step=-1.0, elevation=FLAT, grid=GRID)
