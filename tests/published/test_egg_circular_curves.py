"""Elements of circular curves as surveying books work them out, on arcs of an egg's fence line.

L = R I, long chord 2 R sin(I / 2), T = R tan(I / 2), deflection 1718.873 s / R minutes; formulas as in FM 5-430-00-1
App. F. Worked examples: route surveying notes on scribd.com 338936993 (R 716.20, I 25 deg 30 min; R 716.20, I 103 deg
30 min) and 668791838 (R 311 m, I 26 deg; R 30 m, I 60 deg); deflections by Rankine's method for R 30 m on gyaneee.com.
"""

import math

import pytest

from packpale.enclosure.egg import Egg
from packpale.enclosure.fence import posts
from packpale.enclosure.setting_out import chord_of, curve_elements, deflection_deg
from packpale.site.grid import Grid
from printed import printed


def flank_of(radius, intersection_deg):
    """A flank of the radius that turns through the angle: c = F - r, d = c sin I, F - R = c cos I, with c chosen."""
    turn, c = math.radians(intersection_deg), 0.6 * radius
    egg = Egg(0.0, 0.0, 0.0, radius - c * math.cos(turn), radius - c, c * math.sin(turn))
    return egg.arcs()[1]


@pytest.mark.parametrize(
    ("radius", "intersection_deg", "length", "long_chord"),
    [(716.20, 25.5, "318.75", None), (311, 26, "141.13", "139.92")],
)
def test_length_and_long_chord(radius, intersection_deg, length, long_chord):
    arc = flank_of(radius, intersection_deg)
    assert arc.radius == pytest.approx(radius)
    assert arc.length == printed(length)
    chord = math.hypot(arc.end_x - arc.start_x, arc.end_y - arc.start_y)
    if long_chord:
        assert chord == printed(long_chord)
    # The long chord makes half the intersection angle with the tangent at the start.
    bearing = math.degrees(math.atan2(arc.end_x - arc.start_x, arc.end_y - arc.start_y))
    assert bearing - arc.start_bearing_deg == pytest.approx(intersection_deg / 2, abs=1e-9)


def test_posts_deflect_by_the_chord_not_by_the_arc():
    # On R = 30 m a chord c turns the line by 2 asin(c / 60), an arc as long only by c / 30. With c = 60 sin 15 deg the
    # chord goes six times into a half circle, exactly; the arc as long as that would not.
    egg = Egg(0.0, 0.0, 0.0, 30.0, 20.0, 15.0)
    flat = Grid(-100.0, 100.0, 10.0, 20, 20)
    exact = 2 * 30 * math.sin(math.radians(15))
    assert exact == pytest.approx(15.529, abs=5e-4)
    standing = posts(egg, exact, 0.0 * flat.centres()[0][:, None] * flat.centres()[1], flat)
    # The big end runs from the last change of arc through the tip to the first.
    big_end = (standing.chainage < egg.bends[0] - 1e-9) | (standing.chainage > egg.bends[-1] + 1e-9)
    assert big_end.sum() == 5
    assert standing.deflection_deg[big_end] == pytest.approx(30.0)


@pytest.mark.parametrize(
    ("radius", "intersection_deg", "tangent", "length"),
    [
        (716.20, 25.5, "162.06", "318.75"),
        (716.20, 103.5, "908.50", None),
        (311, 26, "71.8", "141.13"),
        (30, 60, "17.32", "31.42"),
    ],
)
def test_tangent_length(radius, intersection_deg, tangent, length):
    found = curve_elements(radius, intersection_deg)
    assert found.tangent == printed(tangent)
    assert found.deflection_deg == intersection_deg / 2
    if length:
        assert radius * math.radians(intersection_deg) == printed(length)


def test_long_chord_of_the_curve_of_311_m():
    assert curve_elements(311, 26).long_chord == printed("139.92")


@pytest.mark.parametrize(
    ("arc", "degrees", "minutes", "seconds"), [(7.32, 6, 59, 20), (20.0, 19, 5, 56), (4.09, 3, 54, 20)]
)
def test_rankine_deflections_on_30_m(arc, degrees, minutes, seconds):
    # The page's first angle is 4 seconds off its own formula, the others less than one.
    expected = degrees + minutes / 60 + seconds / 3600
    assert deflection_deg(arc, 30.0) == pytest.approx(expected, abs=5 / 3600)
    assert deflection_deg(arc, 30.0) == pytest.approx(1718.873 * arc / 30 / 60, rel=1e-6)


def test_an_arc_of_20_m_is_not_a_chord_of_20_m():
    assert float(deflection_deg(20.0, 30.0)) == printed("19.099")
    assert math.degrees(math.asin(20 / 60)) == printed("19.471")
    # The chord over that arc, taped, is shorter than 20 m by s^3 / 24 R^2.
    assert 20 - float(chord_of(20.0, 30.0)) == pytest.approx(20**3 / (24 * 30**2), rel=0.01)
