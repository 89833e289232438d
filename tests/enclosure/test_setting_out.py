"""Pegs, baselines and curve elements: each way of setting out leads to the same place."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon

from packpale.enclosure.drawn import DrawnLine
from packpale.enclosure.egg import Egg
from packpale.enclosure.fence import posts
from packpale.enclosure.gate_places import place_gates
from packpale.enclosure.model import Gates
from packpale.enclosure.setting_out import (
    Stake,
    baselines,
    chord_of,
    curve_elements,
    deflection_deg,
    distances,
    pegging,
    pegs,
)
from packpale.site.grid import Grid
from trench_cases import project_of, site_on

EGG = Egg(500_000.0, 5_400_000.0, 40.0, 60.0, 40.0, 55.0)
BENT = DrawnLine.from_polygon(
    Polygon([(500_000 + e, 5_400_000 + n) for e, n in ((0, 0), (60, -20), (75, 20), (25, 20), (30, 70), (-10, 50))]),
    corner_deg=10.0,
)
LINES = {"egg": EGG, "drawn": BENT}
GRID = Grid(500_000.0 - 200, 5_400_000.0 + 200, 2.0, 200, 200)
X, Y = np.meshgrid(*GRID.centres())
PLANE = 250 + 0.2 * (X - 500_000) - 0.1 * (Y - 5_400_000)


def pegs_on(line, step=10.0, n_gates=2):
    gates = place_gates(line, site_on(GRID, PLANE), project_of(fence={"gates": n_gates}))
    standing = posts(line, 3.0, PLANE, GRID, gates=gates)
    return pegs(line, standing, gates, step=step, elevation=PLANE, grid=GRID), standing, gates


@pytest.mark.parametrize("line", LINES.values(), ids=LINES)
def test_there_is_a_peg_for_every_post_bend_gate_and_step(line):
    found, standing, gates = pegs_on(line)
    assert (np.diff(found.chainage) >= 0.001).all()
    numbers = [p for p in found.post if p is not None]
    assert numbers == list(range(1, standing.x.size + 1))
    at_posts = [i for i, p in enumerate(found.post) if p is not None]
    assert found.chainage[at_posts].tolist() == standing.chainage.tolist()
    assert [found.kind[i] for i in at_posts] == [f"{k} post" for k in standing.kind]
    for wanted in (*line.bends, *gates.chainage, *np.arange(0, line.perimeter, 10.0)):
        assert np.abs(found.chainage - wanted).min() < 0.001
    assert found.ground == pytest.approx(250 + 0.2 * (found.x - 500_000) - 0.1 * (found.y - 5_400_000), abs=1e-6)


def test_a_change_of_arc_in_a_gate_has_its_own_peg():
    # No post stands in the gate's opening, but the change of arc has to be found.
    middle = float(EGG.bends[1])
    gates = Gates(np.array([middle]), *(np.array([float(v)]) for v in EGG.points_at(middle)[:2]), 4.0)
    standing = posts(EGG, 3.0, PLANE, GRID, gates=gates)
    found = pegs(EGG, standing, gates, step=10.0, elevation=PLANE, grid=GRID)
    assert np.abs(standing.chainage - middle).min() > 1.9
    assert found.kind[int(np.argmin(np.abs(found.chainage - middle)))] == "arc change"


@pytest.mark.parametrize("line", LINES.values(), ids=LINES)
def test_deflection_and_chord_from_the_start_of_the_arc_lead_to_the_peg(line):
    found, *_ = pegs_on(line)
    begin = {(a.name, round(a.chainage, 6)): a for a in line.arcs()}
    assert found.deflection_deg.max() > 20 or line is BENT
    for i in range(found.x.size):
        arc = begin[found.arc[i], round(float(found.chainage[i] - found.arc_from_start[i]), 6)]
        bearing = math.radians(arc.start_bearing_deg + found.deflection_deg[i])
        x = arc.start_x + found.chord_from_start[i] * math.sin(bearing)
        y = arc.start_y + found.chord_from_start[i] * math.cos(bearing)
        assert math.hypot(x - found.x[i], y - found.y[i]) < 1e-6


@pytest.mark.parametrize("line", LINES.values(), ids=LINES)
def test_offsets_from_both_baselines_lead_to_the_peg(line):
    found, *_ = pegs_on(line)
    frame = baselines(line)
    a, b = frame.stakes[:2]
    length = math.hypot(b.x - a.x, b.y - a.y)
    ux, uy = (b.x - a.x) / length, (b.y - a.y) / length
    # Right of the direction (ux, uy) is (uy, -ux).
    assert a.x + found.along * ux + found.right * uy == pytest.approx(found.x, abs=1e-6)
    assert a.y + found.along * uy - found.right * ux == pytest.approx(found.y, abs=1e-6)
    # The distance to a line by shapely, as the second opinion.
    far = shapely.LineString([(a.x - 500 * ux, a.y - 500 * uy), (a.x + 500 * ux, a.y + 500 * uy)])
    assert shapely.distance(far, shapely.points(found.x, found.y)) == pytest.approx(np.abs(found.right), abs=1e-6)


def test_chords_between_pegs_are_straight():
    found, *_ = pegs_on(EGG)
    at = np.column_stack([found.x, found.y])
    assert found.chord_from_previous == pytest.approx(np.hypot(*(at - np.roll(at, 1, axis=0)).T))
    assert found.chord_from_previous.sum() < EGG.perimeter
    assert found.chord_from_previous.sum() == pytest.approx(EGG.perimeter, rel=1e-3)


@pytest.mark.parametrize("egg", [EGG, Egg(0.0, 0.0, 250.0, 50.0, 49.0, 40.0), Egg(0.0, 0.0, 0.0, 80.0, 20.0, 61.0)])
def test_an_egg_pegged_from_its_stakes_is_that_egg(egg):
    found = pegging(egg)
    stakes = {s.name: s for s in found.stakes}
    R, r, d, F = egg.big_radius, egg.small_radius, egg.centre_spacing, egg.flank_radius
    apart = {a + b: length for a, b, length in found.checks}
    expected = {"AB": d, "AC": R, "AD": R, "CD": 2 * R, "BC": math.hypot(R, d), "AP": R, "BQ": r, "PQ": egg.length}
    expected |= {"BG": r, "BH": r, "EC": F, "EG": F, "FD": F, "FH": F}
    # G and H are mirror images, r cos(phi) off the axis.
    expected["GH"] = 2 * r * math.cos(egg.flank_turn)
    for pair, length in expected.items():
        assert apart[pair] == pytest.approx(length, rel=1e-9), pair
    for name in "CDGHPQ":
        assert egg.distance(stakes[name].x, stakes[name].y) == pytest.approx(0, abs=1e-7)
    a, b, c = (np.array([stakes[n].x, stakes[n].y]) for n in "ABC")
    # C lies left of A to B.
    assert (b - a)[0] * (c - a)[1] - (b - a)[1] * (c - a)[0] > 0
    assert sum(s.elements.deflection_deg for s in found.swings) == pytest.approx(180)
    for swing in found.swings:
        start, end, centre = (stakes[n] for n in (swing.start, swing.end, swing.centre))
        for stake in (start, end):
            assert math.hypot(stake.x - centre.x, stake.y - centre.y) == pytest.approx(swing.arc.radius, rel=1e-9)
        along = np.array([end.x - start.x, end.y - start.y])
        assert np.hypot(*along) == pytest.approx(swing.elements.long_chord, rel=1e-9)
        along /= np.hypot(*along)
        # Clockwise: the arc bulges to the left of its chord.
        out = np.array([-along[1], along[0]])
        for t, h in swing.offsets:
            x, y = np.array([start.x, start.y]) + t * along + h * out
            assert egg.distance(x, y) == pytest.approx(0, abs=1e-6)
        middle = swing.offsets[len(swing.offsets) // 2]
        assert middle == pytest.approx((swing.elements.long_chord / 2, swing.elements.mid_ordinate))


def test_baselines_of_a_drawn_line_run_between_its_farthest_points():
    a, b, c, d = baselines(BENT).stakes
    points = BENT.points
    longest = max(math.dist(p, q) for p in points for q in points)
    assert math.hypot(a.x - b.x, a.y - b.y) == pytest.approx(longest)
    corners = {tuple(p) for p in points.tolist()}
    assert {(s.x, s.y) for s in (a, b, c, d)} <= corners
    along, right = baselines(BENT).along_and_right(points[:, 0], points[:, 1])
    assert baselines(BENT).along_and_right([c.x], [c.y])[1] == pytest.approx(right.min())
    assert baselines(BENT).along_and_right([d.x], [d.y])[1] == pytest.approx(right.max())
    assert along.max() == pytest.approx(longest)


def test_distances_are_between_each_two():
    stakes = [Stake("A", "", 0, 0), Stake("B", "", 3, 4), Stake("C", "", 3, 0)]
    assert distances(stakes) == (("A", "B", 5.0), ("A", "C", 3.0), ("B", "C", 4.0))


@given(radius=st.floats(1, 1e6), turn=st.floats(0.01, 179))
def test_curve_elements_are_those_of_the_circle(radius, turn):
    found = curve_elements(radius, turn)
    # From points on the circle: start on the x axis, middle, end.
    half = math.radians(turn / 2)
    assert found.long_chord / (2 * radius) == pytest.approx(math.sin(half), rel=1e-9)
    # Right-angled triangles: centre, middle of the chord, end; centre, end, meeting of the tangents.
    assert (radius - found.mid_ordinate) ** 2 + (found.long_chord / 2) ** 2 == pytest.approx(radius**2, rel=1e-9)
    assert radius**2 + found.tangent**2 == pytest.approx((radius + found.external) ** 2, rel=1e-9)


def test_flat_curves_keep_their_digits():
    # 100 m of arc on a radius of 10,000 km: M = s^2 / 8 R to the first order.
    found = curve_elements(1e7, math.degrees(100 / 1e7))
    assert found.mid_ordinate == pytest.approx(100**2 / 8e7, rel=1e-9)
    assert chord_of(100.0, 1e7) == pytest.approx(100.0)
    assert (chord_of(7.0, math.inf), deflection_deg(7.0, math.inf)) == (7.0, 0.0)


@pytest.mark.parametrize(("radius", "turn"), [(0.0, 10.0), (-1.0, 10.0), (math.inf, 10.0), (5.0, 0.0), (5.0, 360.0)])
def test_what_is_no_curve_is_refused(radius, turn):
    with pytest.raises(ValueError, match="no such curve"):
        curve_elements(radius, turn)


def test_a_step_is_positive():
    with pytest.raises(ValueError, match="must be positive"):
        pegs_on(EGG, step=0.0)


def test_half_a_circle_has_no_tangents_that_meet():
    assert curve_elements(5.0, 180.0).tangent == math.inf
