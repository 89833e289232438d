"""The round along the fence: closed forms on planes, check points in walking order, what is said of it."""

import dataclasses
import math

import numpy as np
import pytest
from shapely.geometry import LineString, Polygon

from packpale.care.assess import assess
from packpale.care.patrol import Mark, gate_marks, longest_unseen_h, rounds, weak_places
from packpale.enclosure.alignment import stations
from packpale.enclosure.drawn import DrawnLine
from packpale.enclosure.egg import Egg
from packpale.enclosure.model import Fit, Gates, Pack
from packpale.land.assess import assess as assess_land
from packpale.settings import PatrolSettings, TrenchSettings
from told import told
from trench_cases import circle_line, enclosure_of, pack_of, plane, project_of, site_of

EGG = Egg(4.0, -10.0, 35.0, 30.0, 16.0, 28.0)


def pack(line, site, *, gates=(10.0, 120.0)):
    """A pack round a real line, with gates at chainages."""
    at = np.array(gates, float)
    points = line.points_at(at)
    egg = isinstance(line, Egg)
    bare = pack_of(stations(line, step=1.0, elevation=site.elevation, grid=site.grid))
    return Pack(
        number=1,
        fit=Fit(line, line.area, 0.0) if egg else None,
        given=None if egg else line,
        alignment=bare.alignment,
        posts=bare.posts,
        gates=Gates(at, points.x, points.y, 4.0),
        length_3d=line.perimeter,
        mean_suitability=0.5,
        mean_slope=0.0,
    )


def walk(line=EGG, ground=None, *, marks=None, gates=(10.0, 120.0), cell=1.0, trench=None, **patrol):
    site = site_of(ground or plane(), half=90.0, cell=cell)
    one = pack(line, site, gates=gates)
    marks = gate_marks(one) if marks is None else marks
    found, notes = rounds(site, [one], {1: marks}, patrol=PatrolSettings(**patrol), trench=trench or TrenchSettings())
    return (found[0] if found else None), notes


def square(*, notch=False):
    corners = [(-40, -40), (-40, 40), (40, 40), (40, -40)]
    if notch:  # a dumbbell: two rooms with a corridor 4 m wide between them
        corners = [(-60, -20), (-60, 20), (-20, 20), (-20, 2), (20, 2), (20, 30), (60, 30), (60, -20), (20, -20),
                   (20, -2), (-20, -2), (-20, -20)]  # fmt: skip
    return DrawnLine.from_polygon(Polygon(corners), corner_deg=10.0)


@pytest.mark.parametrize("offset", [1.5, 8.0])
@pytest.mark.parametrize("side", ["outside", "inside"])
def test_length_of_the_round_is_that_of_the_parallel_egg(side, offset):
    # A parallel curve of a closed convex line is longer, or shorter, by 2 pi times the offset.
    found, _ = walk(side=side, offset_m=offset)
    sign = 1 if side == "outside" else -1
    assert found.length == pytest.approx(EGG.perimeter + sign * 2 * math.pi * offset, rel=1e-4)
    assert np.abs(EGG.distance(*found.path.T) - sign * offset).max() < 2e-3
    assert found.offset == sign * offset


def test_round_outside_a_square_turns_round_its_corners():
    found, notes = walk(square(), offset_m=2.0, trench=TrenchSettings(working_strip_m=2.0))
    assert found.length == pytest.approx(4 * 80 + 2 * math.pi * 2, rel=1e-4)
    assert notes == []


def test_time_on_level_ground_is_length_over_speed():
    found, _ = walk(pace_factor=0.6, stop_s=45.0)
    metres_per_second = 0.6 * 6 * math.exp(-0.175) / 3.6
    assert found.walking_s == pytest.approx(found.length / metres_per_second, rel=1e-9)
    assert found.other_way_s == pytest.approx(found.walking_s)
    assert found.stops_s == 90.0
    assert found.total_s == found.walking_s + 90
    assert found.climb == pytest.approx(0, abs=1e-9)
    assert found.length_on_ground == pytest.approx(found.length)


def test_climb_and_time_on_a_plane():
    # Round a square that lies along the slope: 80 m up and 80 m down at 0.1, 160 m level, the corners left out by
    # walking inside, where the parallel is a square again.
    found, _ = walk(square(), plane(north=0.1), side="inside", offset_m=5.0, pace_factor=1.0, stop_s=0.0)
    assert found.length == pytest.approx(280)
    assert found.climb == pytest.approx(7.0, abs=0.02)
    assert found.steepest == pytest.approx(0.1, rel=1e-6)
    kmh = [6 * math.exp(-3.5 * abs(s + 0.05)) for s in (0.1, -0.1, 0.0, 0.0)]
    assert found.walking_s == pytest.approx(sum(70 / (v / 3.6) for v in kmh), rel=2e-3)
    assert found.length_on_ground == pytest.approx(140 + 140 * math.hypot(1, 0.1), rel=1e-3)


def test_walked_the_other_way_it_takes_as_long_as_on_mirrored_ground():
    # Whoever walks clockwise rises gently and falls steeply, on the northern side as on the southern.
    tooth = lambda x: np.where(x < 20, 0.02 * (x + 60), 1.6 - 0.08 * (x - 20))  # noqa: E731
    ground = lambda x, y: 100 + np.where(y > 0, tooth(x), tooth(-x))  # noqa: E731
    line = square()
    clockwise, _ = walk(line, ground, side="inside", offset_m=5.0)
    mirrored, _ = walk(line, lambda x, y: ground(-x, y), side="inside", offset_m=5.0)
    assert clockwise.other_way_s == pytest.approx(mirrored.walking_s, rel=1e-3)
    assert abs(clockwise.other_way_s - clockwise.walking_s) > 1.0


def test_check_points_are_numbered_in_walking_order_from_the_first_gate():
    places = [Mark("weak place", "w", 100.0), Mark("gate", "gate 1", 50.0), Mark("crossing", "c", 20.0),
              Mark("gate", "gate 2", 130.0)]  # fmt: skip
    found, _ = walk(marks=places, gates=(50.0, 130.0))
    assert [(c.number, c.mark.chainage) for c in found.checks] == [(1, 50), (2, 100), (3, 130), (4, 20)]
    assert found.checks[0].along == pytest.approx(0, abs=1e-6)
    for check in found.checks:
        place = EGG.points_at(check.mark.chainage)
        assert (check.x, check.y) == pytest.approx((float(place.x), float(place.y)))
    assert sum(c.leg for c in found.checks) + found.last_leg == pytest.approx(found.length)
    assert found.longest_leg == max(*(c.leg for c in found.checks), found.last_leg)
    # On level ground time goes with the way.
    for check in found.checks:
        assert check.leg_s == pytest.approx(check.leg / found.length * found.walking_s, rel=1e-6, abs=1e-6)


def test_round_starts_and_ends_beside_the_first_gate_and_runs_clockwise():
    found, _ = walk(gates=(75.0,))
    gate = EGG.points_at(75.0)
    expected = np.array([gate.x, gate.y]) + 1.5 * gate.outward
    assert found.path[0] == pytest.approx(expected, abs=0.01)
    assert (found.path[0] == found.path[-1]).all()
    assert Polygon(found.path).exterior.is_ccw is False
    bare, _ = walk(gates=(), marks=())
    start = EGG.points_at(0.0)
    assert bare.path[0] == pytest.approx(np.array([start.x, start.y]) + 1.5 * start.outward, abs=0.01)
    assert bare.longest_leg == bare.length


def test_way_along_a_leg_is_the_fence_beside_it_on_a_straight_side():
    found, _ = walk(square(), gates=(10.0, 70.0), offset_m=3.0)
    assert found.checks[1].leg == pytest.approx(60.0)


def test_no_round_where_the_small_end_is_tighter_than_the_offset():
    found, notes = walk(side="inside", offset_m=16.0)
    assert found is None
    assert "no round 16 m inside" in told(notes)[0]


def test_round_inside_a_drawn_line_may_fall_into_parts_and_says_so():
    found, notes = walk(square(notch=True), side="inside", offset_m=3.0)
    # The larger room drawn in by 3 m, 34 x 44 m, but for the mouth of the corridor, where arcs of 3 m round its two
    # corners 4 m apart meet.
    assert found.length == pytest.approx(2 * (34 + 44) - 4 + 2 * 3 * math.asin(2 / 3), rel=1e-4)
    assert "2 parts" in told(notes)[0]


def test_round_beyond_the_strip_that_is_kept_free_is_told():
    # The apron's bench ends 1.5 + 1.0 x 0.3 from the line, the skirt's trench 0.3 + 0.5 on the other side.
    trench = TrenchSettings(apron_reach_m=1.5, side_slope=1.0, depth_m=0.5, working_strip_m=1.5)
    _, outside = walk(offset_m=3.4, trench=trench)
    assert "beyond the 3.3 m" in told(outside)[0]
    _, within = walk(offset_m=3.2, trench=trench)
    assert within == []
    _, inside = walk(offset_m=2.4, side="inside", trench=trench)
    assert "beyond the 2.3 m" in told(inside)[0]


def test_missing_ground_counts_as_level_and_is_told():
    ground = lambda x, y: np.where(x > 30, np.nan, 100 + 0.05 * y)  # noqa: E731
    found, notes = walk(square(), ground, side="inside", offset_m=5.0)
    assert "no elevation" in told(notes)[0]
    # The eastern side of 70 m and about 5 m at both of its ends.
    assert found.unknown == pytest.approx(80, abs=4)
    assert found.climb == pytest.approx(70 * 0.05, abs=0.05)


def test_weak_places_are_the_shortest_tunnels_apart_from_each_other():
    line = circle_line(50.0, step=1.0)
    tunnel = np.full(line.chainage.size, 4.0)
    at = line.step * np.arange(line.chainage.size)
    for index, depth in ((0, 0.9), (100, 0.5), (104, 0.6), (200, 0.7), (line.chainage.size - 3, 1.0)):
        tunnel[index] -= depth
    found = weak_places(line, tunnel, count=3, apart=20.0)
    # Over the seam the last station and the first are neighbours.
    assert [m.chainage for m in found] == pytest.approx([at[-3], at[200], at[104]])
    assert [m.chainage for m in weak_places(line, tunnel, count=1, apart=20.0)] == pytest.approx([at[-3]])


def test_level_ground_has_no_weak_places():
    line = circle_line(50.0, step=1.0)
    tunnel = 4.0 + 1e-9 * np.sin(np.arange(line.chainage.size))
    assert weak_places(line, tunnel, count=5, apart=10.0) == ()


def test_hours_unseen_when_rounds_go_opposite_ways():
    found, _ = walk()
    assert longest_unseen_h([found, found], unattended_h=11.0) == pytest.approx(11 + 2 * found.total_s / 3600)


def test_care_of_a_plot_holds_the_round_with_gates_and_weak_places():
    ground = lambda x, y: 100 + 0.15 * x + np.sin(y / 5)  # noqa: E731
    site = site_of(ground, half=90.0)
    one = pack(EGG, site)
    project = project_of(patrol={"weak_places": 2})
    found = assess(site, assess_land(site, project), enclosure_of(one), project)
    (walked,) = found.rounds
    kinds = [check.mark.kind for check in walked.checks]
    assert sorted(k for k in kinds if k != "crossing") == ["gate", "gate", "weak place", "weak place"]
    assert sorted(c.mark.chainage for c in walked.checks if c.mark.kind == "crossing") == [
        c.chainage for c in found.crossings
    ]
    (dug,) = found.dig_out
    assert dug.weakest_chainage in {c.mark.chainage for c in walked.checks if c.mark.kind == "weak place"}


@pytest.mark.parametrize("gap", [1.0, 2.9, 3.1])
def test_a_round_stays_out_of_the_other_pack_s_enclosure(gap):
    # Two circles of radius 30, as eggs all but; the round is set 1.5 m outside. Nearer than 3 m it keeps half the gap
    # from the other fence and is no nearer to its own.
    site = site_of(plane(), half=90.0)
    first = Egg(-30.0 - gap / 2, 0.0, 0.0, 30.0, 29.9, 0.2)
    second = Egg(30.0 + gap / 2, 0.0, 0.0, 30.0, 29.9, 0.2)
    packs = [pack(first, site), dataclasses.replace(pack(second, site), number=2)]
    marks = {p.number: gate_marks(p) for p in packs}
    found, notes = rounds(site, packs, marks, patrol=PatrolSettings(offset_m=1.5), trench=TrenchSettings())
    areas = [p.line.polygon(0.001) for p in packs]
    for walk_, own, other in zip(found, areas, areas[::-1], strict=True):
        path = LineString(walk_.path)
        assert path.distance(other) == pytest.approx(max(gap / 2, gap - 1.5), abs=0.01)
        assert path.distance(own) == pytest.approx(min(gap / 2, 1.5), abs=0.01)
        # All the rest is the parallel.
        assert path.length == pytest.approx(first.perimeter + 2 * math.pi * 1.5, rel=0.01)
    said = [note for note in told(notes) if "midway between the two" in note]
    assert len(said) == (2 if gap < 3 else 0)
    assert all(f"{gap / 2:.2f} m away" in note for note in said)
