"""Exact geometry of the egg against closed forms, numerical integration and shapely."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from packpale.enclosure.egg import Egg

FAR = {"big_x": 500_000.0, "big_y": 5_400_000.0}
SHAPES = [(0.5, 1.1), (0.9, 1.6), (0.9, 1.1), (0.05, 2.5), (0.99999, 1.4), (0.7, 1.0001)]


def eggs():
    return st.builds(
        Egg.from_shape,
        st.floats(0.02, 0.999),
        st.floats(1.001, 4.0),
        big_x=st.sampled_from([0.0, 500_000.0]),
        big_y=st.sampled_from([0.0, 5_400_000.0]),
        axis_bearing_deg=st.floats(0, 360),
        big_radius=st.floats(0.5, 3000.0),
    )


@settings(deadline=None, max_examples=60)
@given(eggs())
def test_line_by_chainage_has_the_length_the_area_and_one_full_turn(egg):
    n = 20_000
    points = egg.points_at(np.arange(n) * egg.perimeter / n)
    x, y = points.x - egg.big_x, points.y - egg.big_y
    dx, dy = np.roll(x, -1) - x, np.roll(y, -1) - y
    # Rounding at northings of 5,400,000 leaves about a nanometre on each of the 20,000 steps.
    assert np.hypot(dx, dy).sum() == pytest.approx(egg.perimeter, rel=1e-6)
    # Green's theorem; clockwise makes it negative.
    assert -(x * np.roll(y, -1) - np.roll(x, -1) * y).sum() / 2 == pytest.approx(egg.area, rel=1e-6)
    turned = np.diff(points.bearing_deg, append=points.bearing_deg[:1])
    turned = (turned + 180) % 360 - 180
    assert (turned > -1e-9).all()
    assert turned.sum() == pytest.approx(360)


@settings(deadline=None, max_examples=60)
@given(eggs(), st.floats(-0.9, 3.0))
def test_parallel_curves_obey_steiner(egg, share):
    offset = share * egg.small_radius
    parallel = egg.parallel(offset)
    assert parallel.perimeter == pytest.approx(egg.perimeter + 2 * math.pi * offset, rel=1e-9)
    expected = egg.area + egg.perimeter * offset + math.pi * offset**2
    assert parallel.area == pytest.approx(expected, rel=1e-9, abs=1e-9 * egg.area)
    points = egg.points_at(np.linspace(0, egg.perimeter, 50))
    moved = points.x + offset * points.outward[:, 0], points.y + offset * points.outward[:, 1]
    assert parallel.distance(*moved) == pytest.approx(0, abs=1e-8 * egg.length + 3e-9)


@settings(deadline=None, max_examples=60)
@given(eggs(), st.floats(-0.95, 5.0), st.floats(0, 1))
def test_distance_along_a_normal_is_how_far_one_walked(egg, share, where):
    # Inside this holds up to the smallest radius of curvature, outside without end.
    walked = share * egg.small_radius
    at = egg.points_at([where * egg.perimeter])
    x, y = at.x + walked * at.outward[:, 0], at.y + walked * at.outward[:, 1]
    assert egg.distance(x, y)[0] == pytest.approx(walked, abs=1e-8 * egg.length + 3e-9)
    assert egg.contains(x, y)[0] == (walked <= 0) or abs(walked) < 1e-6


@pytest.mark.parametrize(("taper", "aspect"), SHAPES)
def test_distance_agrees_with_shapely_all_over(taper, aspect):
    egg = Egg.from_shape(taper, aspect, axis_bearing_deg=77.0, big_radius=10.0)
    x, y = np.meshgrid(np.linspace(-45, 60, 43), np.linspace(-45, 45, 41))
    line = egg.polygon(1e-6).exterior
    points = shapely.points(x.ravel(), y.ravel())
    sign = np.where(shapely.contains(shapely.Polygon(line), points), -1, 1)
    assert egg.distance(x, y).ravel() == pytest.approx(sign * shapely.distance(line, points), abs=3e-6)


@pytest.mark.parametrize(("taper", "aspect"), SHAPES)
def test_polygon_is_inscribed_within_the_chord_error(taper, aspect):
    egg = Egg.from_shape(taper, aspect, axis_bearing_deg=123.0, big_radius=80.0, **FAR)
    polygon = egg.polygon(0.001)
    assert polygon.is_valid
    middles = np.asarray(polygon.exterior.coords)
    middles = (middles[1:] + middles[:-1]) / 2
    away = egg.distance(middles[:, 0], middles[:, 1])
    assert away.max() <= 1e-8
    assert away.min() >= -0.001 - 1e-8
    assert 0 < egg.area - polygon.area <= 0.001 * egg.perimeter
    assert egg.polygon(1e-5).area == pytest.approx(egg.area, abs=1e-5 * egg.perimeter)


@pytest.mark.parametrize(("taper", "aspect"), SHAPES)
def test_shape_is_what_was_asked_for(taper, aspect):
    egg = Egg.from_shape(taper, aspect, area=5000.0, **FAR)
    assert (egg.taper, egg.aspect, egg.area) == pytest.approx((taper, aspect, 5000.0), rel=1e-12)
    assert egg.length / egg.width == pytest.approx(aspect)
    # The ends along the axis, which points north.
    tip, other = egg.points_at([0.0]), egg.points_at([egg.perimeter / 2])
    assert (tip.x[0], tip.y[0]) == pytest.approx((egg.big_x, egg.big_y - egg.big_radius))
    assert (other.x[0], other.y[0]) == pytest.approx((egg.big_x, egg.big_y + egg.centre_spacing + egg.small_radius))


def test_clockwise_from_the_tip_of_the_big_end():
    egg = Egg(0.0, 0.0, 90.0, 10.0, 6.0, 9.0)  # the axis points east
    arcs = egg.arcs()
    assert [a.name for a in arcs] == ["big end", "flank 1", "small end", "flank 2", "big end"]
    start = egg.points_at([0.0])
    assert (start.x[0], start.y[0]) == pytest.approx((-10, 0), abs=1e-12)
    # Clockwise round a figure that lies to the east means setting out north, with the outside to the west.
    assert start.bearing_deg[0] == pytest.approx(0, abs=1e-9)
    assert start.outward[0] == pytest.approx([-1, 0], abs=1e-12)
    # Flank 1 is left of the axis: north of it.
    assert arcs[1].start_y == pytest.approx(10)
    assert arcs[3].end_y == pytest.approx(-10)
    for one, following in zip(arcs, arcs[1:] + arcs[:1], strict=True):
        assert (one.end_x, one.end_y) == pytest.approx((following.start_x, following.start_y), abs=1e-12)
        assert one.end_bearing_deg == pytest.approx(following.start_bearing_deg, abs=1e-9)
    assert sum(a.length for a in arcs) == pytest.approx(egg.perimeter)
    assert sum(a.turn_deg for a in arcs) == pytest.approx(360)
    points = egg.points_at([a.chainage for a in arcs])
    assert points.arc.tolist() == [0, 1, 2, 3, 4]
    assert points.radius.tolist() == [a.radius for a in arcs]
    lap = egg.points_at([1.0, 1.0 + egg.perimeter, 1.0 - egg.perimeter])
    assert lap.x == pytest.approx(lap.x[0])


def test_support_function_is_the_farthest_point():
    egg = Egg.from_shape(0.6, 1.5, axis_bearing_deg=200.0, big_radius=25.0)
    line = egg.points_at(np.linspace(0, egg.perimeter, 20_001))
    for angle in np.linspace(0, 2 * math.pi, 73):
        nx, ny = math.cos(angle), math.sin(angle)
        assert egg.support(nx, ny) == pytest.approx((line.x * nx + line.y * ny).max(), abs=1e-5)


def test_nearly_straight_flanks_keep_their_digits():
    # As r goes to R the egg becomes two half circles and a rectangle between them: a stadium, here of width 2 and
    # centre spacing 1.5. The difference is of the order of 1 - taper.
    egg = Egg(0.0, 0.0, 0.0, 1.0, 1 - 1e-9, 1.5)
    assert egg.area == pytest.approx(math.pi + 3.0, rel=3e-9)
    assert egg.perimeter == pytest.approx(2 * math.pi + 3.0, rel=3e-9)
    points = egg.points_at(np.linspace(0, egg.perimeter, 1000))
    assert egg.distance(points.x, points.y) == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"small_radius": 10.0}, "small_radius"),
        ({"small_radius": 0.0}, "small_radius"),
        ({"centre_spacing": 4.0}, "centre_spacing"),
        ({"big_x": math.nan}, "not finite"),
        ({"axis_bearing_deg": math.inf}, "not finite"),
    ],
)
def test_no_such_egg(change, message):
    whole = {"big_x": 0.0, "big_y": 0.0, "axis_bearing_deg": 0.0}
    whole |= {"big_radius": 10.0, "small_radius": 6.0, "centre_spacing": 9.0}
    Egg(**whole)
    with pytest.raises(ValueError, match=message):
        Egg(**(whole | change))


def test_what_can_not_be_made_is_refused():
    egg = Egg(0.0, 0.0, 0.0, 10.0, 6.0, 9.0)
    with pytest.raises(ValueError, match="no parallel curve"):
        egg.parallel(-6.0)
    with pytest.raises(ValueError, match="chord_error"):
        egg.polygon(0.0)
    with pytest.raises(ValueError, match="either big_radius or area"):
        Egg.from_shape(0.5, 1.2)
    with pytest.raises(ValueError, match="between 0 and 1"):
        Egg.from_shape(1.0, 1.2, area=1.0)
    with pytest.raises(ValueError, match="positive"):
        Egg.from_shape(0.5, 1.2, area=-1.0)


@settings(deadline=None, max_examples=60)
@given(eggs(), st.floats(0, 5.0))
def test_nearest_point_of_the_line_is_the_foot_of_the_normal(egg, share):
    offset = share * egg.big_radius
    chainage = np.linspace(0, egg.perimeter, 60, endpoint=False) + 1e-3 * egg.perimeter
    points = egg.points_at(chainage)
    nx, ny = points.outward.T
    # Rounding of coordinates turns the normal at the line by their spacing over the radius.
    loose = {"rel": 1e-9, "abs": 1e-8 * egg.length + 4e-9 * egg.flank_radius / egg.small_radius}
    assert egg.nearest(points.x + offset * nx, points.y + offset * ny) == pytest.approx(chainage, **loose)
    # On nearly straight flanks a small turn of the normal is a long way.
    assert egg.facing(nx, ny) == pytest.approx(chainage, abs=1e-14 * egg.flank_radius + 1e-9 * egg.length)
