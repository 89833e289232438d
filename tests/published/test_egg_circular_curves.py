"""Elements of circular curves as surveying books work them out, on arcs of an egg's fence line.

L = R I, long chord 2 R sin(I / 2); formulas as in FM 5-430-00-1 App. F. Worked examples: route surveying notes on
scribd.com 338936993 (R 716.20, I 25 deg 30 min) and 668791838 (R 311 m, I 26 deg).
"""

import math

import pytest

from packpale.enclosure.egg import Egg
from packpale.enclosure.fence import posts
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
    # chord goes three times into a quarter circle, exactly; the arc as long as that would not.
    egg = Egg(0.0, 0.0, 0.0, 30.0, 20.0, 15.0)
    flat = Grid(-100.0, 100.0, 10.0, 20, 20)
    exact = 2 * 30 * math.sin(math.radians(15))
    assert exact == pytest.approx(15.529, abs=5e-4)
    standing = posts(egg, exact, 0.0 * flat.centres()[0][:, None] * flat.centres()[1], flat)
    first = standing.chainage < egg.arcs()[1].chainage - 1e-9
    assert first.sum() == 3
    assert standing.deflection_deg[1:3] == pytest.approx(30.0)
