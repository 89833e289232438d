"""What the map says of how an egg is made up and of what holds it, against the egg's own geometry."""

import math

import numpy as np
import pytest
import shapely
from pyproj import Transformer

from packpale.review.maps.plot_map import plot_map
from packpale.review.words import Wording, plain
from review import factory

METRIC = Wording(imperial=False, currency="EUR")


@pytest.fixture(scope="module")
def layers(fitting):
    return {layer.title: layer for layer in plot_map(fitting, factory.project(), METRIC).vectors}


@pytest.fixture(scope="module")
def egg(fitting):
    return fitting.enclosure.packs[0].fit.egg


def in_metres(shape):
    """Geometry of a shape in the run's CRS; degrees are given to about a centimetre."""
    back = Transformer.from_crs("EPSG:4326", factory.CRS, always_xy=True)
    return shapely.transform(shapely.geometry.shape(shape.geometry), lambda at: np.column_stack(back.transform(*at.T)))


def by_title(layer):
    return {shape.title: shape for shape in layer.shapes}


def plainly(shape):
    """Its rows with common spaces."""
    return {name: plain(value) for name, value in shape.rows}


def test_touches_are_shown_and_the_construction_waits_to_be_asked_for(layers):
    assert layers["What holds the fence line"].show
    assert not layers["Axis, arcs and centres"].show
    assert layers["Trial pits"].show


def test_each_touch_is_a_line_from_the_fence_and_a_point_on_the_limit(layers, fitting):
    (pack,) = fitting.enclosure.packs
    shapes = layers["What holds the fence line"].shapes
    assert len(shapes) == 2 * len(pack.touches)
    for touch, line, point in zip(pack.touches, shapes[::2], shapes[1::2], strict=True):
        for shape in (line, point):
            assert shape.title == f"Touches: {' and '.join(map(METRIC.say, touch.limits))}"
            assert plainly(shape) == {
                "Fence line of pack": "1",
                "Chainage": plain(METRIC.dimension(touch.chainage)),
                "From the fence line to here": "5.00 m",
            }
        limit = shapely.Point(touch.limit_x, touch.limit_y)
        assert in_metres(point).distance(limit) < 0.02
        ends = shapely.get_coordinates(in_metres(line))
        assert ends == pytest.approx(np.array([[touch.x, touch.y], [touch.limit_x, touch.limit_y]]), abs=0.02)


def test_four_arcs_lie_on_the_line_and_leave_none_of_it_out(layers, egg):
    shapes = by_title(layers["Axis, arcs and centres"])
    names = ["Big end", "Flank 1", "Small end", "Flank 2"]
    arcs = [in_metres(shapes[f"{name} of pack 1"]) for name in names]
    assert sum(arc.length for arc in arcs) == pytest.approx(egg.perimeter, abs=0.2)
    for arc in arcs:
        assert np.abs(egg.distance(*shapely.get_coordinates(arc).T)).max() < 0.02
    # The big end is an exact half circle.
    assert arcs[0].length == pytest.approx(math.pi * egg.big_radius, abs=0.05)
    assert dict(shapes["Big end of pack 1"].rows)["Angle that it turns through"] == "180°"
    styles = {name: shapes[f"{name} of pack 1"].style for name in names}
    assert styles["Flank 1"] == styles["Flank 2"]
    assert len(set(styles.values())) == 3


def test_ticks_stand_where_arcs_meet(layers, egg):
    (ticks,) = (s for s in layers["Axis, arcs and centres"].shapes if s.geometry["type"] == "MultiLineString")
    joints = [shapely.Point(arc.start_x, arc.start_y) for arc in egg.arcs()[1:]]
    parts = shapely.get_parts(in_metres(ticks))
    assert len(parts) == 4
    for joint, tick in zip(joints, parts, strict=True):
        assert tick.centroid.distance(joint) < 0.02
        assert tick.length > 2


def test_centres_and_axis(layers, egg):
    shapes = by_title(layers["Axis, arcs and centres"])
    for arc in egg.arcs()[1:]:
        name = f"{arc.name.capitalize()} of pack 1"
        centre = shapely.Point(arc.centre_x, arc.centre_y)
        cross = in_metres(shapes[f"Centre: {name}"])
        assert cross.centroid.distance(centre) < 0.02
        assert cross.is_valid
        # Four arms: far less than the square round them.
        assert 0.1 < cross.area / cross.envelope.area < 0.4
        rows = dict(shapes[f"Centre: {name}"].rows)
        assert rows["Radius"] == METRIC.dimension(arc.radius)
        assert rows["Centre, easting"] == f"{arc.centre_x:.2f}"
        assert rows["Centre, northing"] == f"{arc.centre_y:.2f}"
    axis = in_metres(shapes["Axis of pack 1"])
    assert axis.length == pytest.approx(egg.length, abs=0.03)
    (x0, y0), (x1, y1) = axis.coords
    assert math.degrees(math.atan2(x1 - x0, y1 - y0)) == pytest.approx(egg.axis_bearing_deg, abs=0.02)
    assert axis.distance(shapely.Point(egg.big_x, egg.big_y)) < 0.02


def test_pits_say_what_they_found_and_what_they_did_not(layers, fitting):
    first, second = layers["Trial pits"].shapes
    rows = plainly(first)
    assert (rows["Depth to rock"], rows["Stones"], rows["Depth to water"]) == ("0.42 m", "12.5 %", "not given")
    rows = plainly(second)
    assert (rows["Depth to rock"], rows["Drainage"], rows["Depth to water"]) == ("not given", "poorly", "0.30 m")
    for shape, pit in zip((first, second), fitting.site.pits, strict=True):
        assert in_metres(shape).distance(shapely.Point(pit.x, pit.y)) < 0.02


def test_in_feet(fitting):
    feet = plot_map(fitting, factory.project(units="imperial"), Wording(imperial=True, currency="USD"))
    layers = {layer.title: layer for layer in feet.vectors}
    # 0.42 m / 0.3048 = 1.38 ft, 5 m = 16.4 ft.
    assert plainly(layers["Trial pits"].shapes[0])["Depth to rock"] == "1.4 ft"
    assert plainly(layers["What holds the fence line"].shapes[0])["From the fence line to here"] == "16.4 ft"
