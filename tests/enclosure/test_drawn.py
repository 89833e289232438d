"""Drawn fence lines: geometry, turning, and the strips beside them, against shapely and Steiner's formula."""

import math

import numpy as np
import pytest
import shapely
from shapely.geometry import Point, Polygon, box

from packpale.enclosure.alignment import length_on_ground, stations
from packpale.enclosure.drawn import DrawnLine
from packpale.enclosure.egg import Egg
from packpale.enclosure.fence import posts
from packpale.enclosure.gate_places import place_gates
from packpale.site.grid import Grid
from trench_cases import project_of, site_on

WEST, SOUTH = 500_000.0, 5_400_000.0
SQUARE = box(WEST, SOUTH, WEST + 40, SOUTH + 40)
# An L with one inner corner, from the south-west on, counter-clockwise.
L_SHAPE = Polygon(
    [(WEST + e, SOUTH + n) for e, n in ((0, 0), (60, 0), (60, 20), (25, 20), (25, 50), (0, 50))],
)
SHAPES = {"square": SQUARE, "L": L_SHAPE, "circle": Point(WEST, SOUTH).buffer(30, quad_segs=64)}
GRID = Grid(WEST - 100, SOUTH + 150, 1.0, 300, 300)
FLAT = np.full(GRID.shape, 250.0)


def line_of(shape, corner_deg=10.0):
    return DrawnLine.from_polygon(shape, corner_deg=corner_deg)


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
def test_area_length_and_turning_are_those_of_the_polygon(shape):
    line = line_of(shape)
    assert line.area == pytest.approx(shape.area, rel=1e-12)
    assert line.perimeter == pytest.approx(shape.length, rel=1e-12)
    assert not line.polygon().exterior.is_ccw
    assert line.polygon().equals(shape)
    assert line.turns.sum() == pytest.approx(2 * math.pi, abs=1e-12)
    assert line.polygon().exterior.coords[0] == shape.exterior.coords[0]


def test_turns_and_corners_of_an_l():
    line = line_of(L_SHAPE)
    assert sorted(np.degrees(line.turns).round(9).tolist()) == [-90.0, 90.0, 90.0, 90.0, 90.0, 90.0]
    # Clockwise from the south-west: north 50, east 25, south 30, east 35, south 20, west 60.
    assert line.corners.tolist() == [0.0, 50.0, 75.0, 105.0, 140.0, 160.0]
    assert line.breaks.tolist() == line.bends.tolist() == line.corners.tolist()
    assert [round(a.start_bearing_deg) for a in line.arcs()] == [0, 90, 180, 90, 180, 270]
    assert all(math.isinf(a.radius) for a in line.arcs())


def test_a_curve_drawn_through_many_points_has_no_corner():
    line = line_of(SHAPES["circle"])
    assert line.corners.size == 0
    assert line.breaks.tolist() == [0.0]


def test_points_lie_on_the_line_and_normals_point_away():
    line = line_of(L_SHAPE)
    chainage = np.linspace(-30, 400, 237)
    points = line.points_at(chainage)
    ring = L_SHAPE.exterior
    assert shapely.distance(shapely.points(points.x, points.y), ring).max() < 1e-8
    # shapely's own measure along the same ring, the other way round.
    along = [ring.length - ring.project(Point(x, y)) for x, y in zip(points.x, points.y, strict=True)]
    assert np.mod(np.array(along) - chainage + 1, ring.length) == pytest.approx(1.0, abs=1e-6)
    outer = shapely.points(points.x + 0.01 * points.outward[:, 0], points.y + 0.01 * points.outward[:, 1])
    assert not shapely.contains(L_SHAPE, outer).any()
    bearing = np.radians(points.bearing_deg)
    assert np.allclose(points.outward, np.column_stack([-np.cos(bearing), np.sin(bearing)]), atol=1e-12)


@pytest.mark.parametrize("step", [0.7, 3.0, 26.0])
@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
def test_stations_carry_all_the_turning(shape, step):
    line = line_of(shape)
    along = stations(line, step=step, elevation=FLAT, grid=GRID)
    assert along.turning.sum() == pytest.approx(2 * math.pi, abs=1e-9)
    turned = along.turning != 0
    assert np.isinf(along.radius[~turned]).all()
    assert along.radius[turned] == pytest.approx(along.step / np.abs(along.turning[turned]))
    # Brute force: each point's turn belongs to the nearest station along the line.
    expected = np.zeros(along.chainage.size)
    for corner, turn in zip(np.cumsum([0, *line._lengths[:-1]]), line.turns, strict=True):
        apart = np.abs((corner - along.chainage + line.perimeter / 2) % line.perimeter - line.perimeter / 2)
        if np.sort(apart)[1] - apart.min() > 1e-6:  # a corner half way between two stations may go to either
            expected[np.argmin(apart)] += turn
        else:
            expected[int(np.floor(corner / along.step + 0.5)) % expected.size] += turn
    assert along.turning == pytest.approx(expected, abs=1e-9)


def test_a_curve_through_many_points_has_the_radius_of_the_curve():
    along = stations(line_of(SHAPES["circle"]), step=5.0, elevation=FLAT, grid=GRID)
    # 256 points, 38 stations: 6 or 7 points a station, so within a seventh of 30 m.
    assert along.radius == pytest.approx(30.0, rel=1 / 6)


def test_strips_outside_follow_steiner_and_inside_overlap_in_kites():
    """With pieces of turning t: outside L w + sum t w^2 / 2, inside L w - w^2 sum tan(t / 2)."""
    line, w = line_of(SQUARE), 3.0
    outside = line.outline_at(w, 1e-6).area - line.area
    assert outside == pytest.approx(160 * w + math.pi * w**2, rel=1e-6)
    assert line.area - line.outline_at(-w).area == pytest.approx(160 * w - 4 * math.tan(math.pi / 4) * w**2, rel=1e-12)
    # An L: five corners out and one in; outside, the inner corner's two strips overlap in a kite.
    line = line_of(L_SHAPE)
    kite = math.tan(math.pi / 4) * w**2
    expected = line.perimeter * w + 5 * (math.pi / 2) * w**2 / 2 - kite
    assert line.outline_at(w, 1e-6).area - line.area == pytest.approx(expected, rel=1e-6)


def test_chords_of_a_rounded_corner_keep_to_their_error():
    for error in (0.001, 0.05):
        outline = line_of(SQUARE).outline_at(2.0, error)
        exact = SQUARE.buffer(2.0, quad_segs=2000)
        assert 0.05 * error < exact.hausdorff_distance(outline) <= error


def test_lengths_on_an_inclined_plane():
    x, _ = np.meshgrid(*GRID.centres())
    along = length_on_ground(line_of(SQUARE), elevation=0.75 * x, grid=GRID)
    # Two sides climb 3 in 4, two are level.
    assert along == pytest.approx(80 + 80 * 1.25, rel=2e-3)


def test_every_corner_has_a_bend_post_and_chords_keep_the_spacing():
    line = line_of(L_SHAPE)
    found = posts(line, 3.0, FLAT, GRID)
    assert found.chainage[[k == "bend" for k in found.kind]].tolist() == line.corners.tolist()
    assert sorted(np.abs(found.deflection_deg).round(6).tolist())[-6:] == [90.0] * 6
    assert found.deflection_deg.sum() == pytest.approx(360.0)
    gaps = np.hypot(np.diff(found.x, append=found.x[0]), np.diff(found.y, append=found.y[0]))
    assert gaps.max() <= 3.0 + 1e-9
    # 50, 25, 30, 35, 20 and 60 m in panels of 3 m at most.
    assert found.x.size == 17 + 9 + 10 + 12 + 7 + 20


def test_panels_are_as_long_on_the_ground_as_the_spacing_allows():
    # On a plane that rises by 0.75 eastwards a metre east is 1.25 m on the ground: 40 m are 50 m, 17 panels of 2.94 m
    # on the ground and 2.353 m in plan; north and south 14 of 2.857 m.
    x, _ = np.meshgrid(*GRID.centres())
    found = posts(line_of(SQUARE), 3.0, 0.75 * x, GRID)
    assert found.x.size == 2 * 17 + 2 * 14
    plan = np.hypot(np.roll(found.x, -1) - found.x, np.roll(found.y, -1) - found.y)
    assert np.sort(plan)[:34] == pytest.approx(40 / 17, abs=1e-6)
    assert np.sort(plan)[34:] == pytest.approx(40 / 14, abs=1e-6)


def test_posts_stand_closer_in_plan_where_a_bank_is():
    # 20 m level, 8 m at 0.75, 12 m level: 42 m of ground on a side of 40 m take 14 panels of 3 m.
    x, _ = np.meshgrid(*GRID.centres())
    bank = np.clip(0.75 * (x - WEST - 20), 0, 6)
    found = posts(line_of(SQUARE), 3.0, bank, GRID)
    south = np.flatnonzero(found.y < SOUTH + 1e-6)
    south = south[np.argsort(found.x[south])]
    apart = np.diff(found.x[south])
    assert apart.size == 14
    assert apart[:6] == pytest.approx(3.0, abs=0.02)
    assert apart[7:9] == pytest.approx(2.4, abs=0.02)
    assert np.hypot(apart, np.diff(found.ground[south])).max() <= 3.0 + 1e-6


def test_no_gate_hangs_round_a_corner():
    line = line_of(L_SHAPE)
    ground = site_on(GRID, FLAT, access=(Point(WEST - 5, SOUTH - 5),))  # at the first corner
    single = project_of(fence={"airlock_length_m": 0.0})
    gates = place_gates(line, ground, single)
    apart = np.abs((gates.chainage[:, None] - line.corners + 110) % 220 - 110)
    assert apart.min() > 2.0
    assert math.hypot(gates.x[0] - WEST, gates.y[0] - SOUTH) < 5.0
    # With an airlock behind it, as near as its length allows.
    gates = place_gates(line, ground, project_of())
    assert 12.0 < math.hypot(gates.x[0] - WEST, gates.y[0] - SOUTH) < 14.0
    # Where no side is long enough for that, still not round the corner.
    small = line_of(box(WEST, SOUTH, WEST + 14, SOUTH + 14))
    gates = place_gates(small, ground, project_of())
    assert 3.0 < math.hypot(gates.x[0] - WEST, gates.y[0] - SOUTH) < 5.0


def test_contains_agrees_with_the_polygon():
    line = line_of(L_SHAPE)
    x, y = np.meshgrid(np.linspace(WEST - 5, WEST + 65, 36), np.linspace(SOUTH - 5, SOUTH + 55, 31))
    assert (line.contains(x, y) == shapely.intersects_xy(L_SHAPE, x, y)).all()
    assert line.contains(WEST, SOUTH)


def test_an_egg_drawn_point_by_point_is_that_egg():
    egg = Egg(WEST, SOUTH, 40.0, 40.0, 25.0, 40.0)
    line = line_of(egg.polygon())
    assert line.perimeter == pytest.approx(egg.perimeter, rel=1e-4)
    chainage = np.linspace(0, 200, 41)
    a, b = line.points_at(chainage), egg.points_at(chainage)
    assert np.hypot(a.x - b.x, a.y - b.y).max() < 0.02


def test_points_at_the_same_place_are_one():
    doubled = Polygon([(0, 0), (0, 10), (0, 10.0001), (10, 10), (10, 0), (0.0001, 0.0002)])
    assert len(line_of(doubled).points) == 4


@pytest.mark.parametrize(
    "points",
    [[(0, 0), (1, 1)], [(0, 0), (1, 0), (1, 1), (0, 1)], [(0, 0), (1, 1), (1, 0), (0, 1)]],
    ids=["two points", "counter-clockwise", "crossing"],
)
def test_what_is_no_ring_is_refused(points):
    with pytest.raises(ValueError, match="do not make one simple ring"):
        DrawnLine(np.array(points, float), 10.0)
