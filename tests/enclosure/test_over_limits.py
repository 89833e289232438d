"""Length of a fence line over limits against closed forms and against shapely on cross-sections in fine steps."""

import math

import numpy as np
import pytest
import shapely
from shapely import affinity
from shapely.geometry import MultiPolygon, Point, Polygon, box

from packpale.enclosure.drawn import DrawnLine
from packpale.enclosure.egg import Egg
from packpale.enclosure.line_ground import LineGround
from packpale.enclosure.over_limits import over_limits_m, stretches, union_length

FAR = (500_000.0, 5_400_000.0)
INSIDE, OUTSIDE = 4.5, 5.1


def an_egg(taper=0.7, aspect=1.4, radius=60.0, bearing=0.0, at=FAR):
    return Egg.from_shape(taper, aspect, big_x=at[0], big_y=at[1], axis_bearing_deg=bearing, big_radius=radius)


def around(egg, low, high):
    """Ground between two parallel curves of an egg, with a hair's breadth of chords."""
    return egg.parallel(high).polygon(1e-6).difference(egg.parallel(low).polygon(1e-6))


def by_sections(line, soft, inside, outside, step=0.02):
    """Chainages in fine steps, and whether shapely finds that the cross-section there touches the ground."""
    n = round(line.perimeter / step)
    s = (np.arange(n) + 0.5) * line.perimeter / n
    points = line.points_at(s)
    at = np.stack([points.x, points.y], axis=-1)
    ground = shapely.union_all(list(soft.values()))
    shapely.prepare(ground)
    if inside == outside == 0:
        return s, shapely.intersects_xy(ground, points.x, points.y)
    ends = np.stack([at - inside * points.outward, at + outside * points.outward], axis=1)
    return s, shapely.intersects(ground, shapely.linestrings(ends))


def is_over(s, found, perimeter):
    held = np.zeros(s.size, bool)
    for stretch in found:
        held |= (s >= stretch.from_m) & (s <= stretch.to_m)
        held |= s + perimeter <= stretch.to_m
    return held


def patches(rng, count, reach, at):
    """Turned rectangles, discs with holes and slivers, some over one another."""
    found = []
    for x, y in rng.uniform(-reach, reach, (count, 2)) + at:
        if rng.random() < 0.7:
            found.append(
                affinity.rotate(box(x, y, x + rng.uniform(0.1, 15), y + rng.uniform(0.5, 25)), rng.uniform(0, 90))
            )
        else:
            r = rng.uniform(1, 40)
            found.append(Point(x, y).buffer(r).difference(Point(x, y).buffer(0.8 * r)))
    return MultiPolygon(found)


@pytest.mark.parametrize("seed", range(24))
def test_as_shapely_finds_it_on_cross_sections(seed):
    """Every sample agrees but next to an end, where half a step decides."""
    rng = np.random.default_rng(seed)
    # Radii down to a third of the inner strip, shapes up to nearly straight flanks.
    radius = (3.0, 12.0, 40.0, 90.0)[seed % 4]
    egg = an_egg(rng.uniform(0.1, 0.98), rng.uniform(1.05, 2.5), radius, rng.uniform(0, 360))
    soft = {kind: patches(rng, int(rng.integers(1, 25)), 2.5 * radius, FAR) for kind in "abc"}
    inside, outside = (0.0, 2.0, INSIDE, 10.0)[seed // 2 % 4], (0.0, OUTSIDE)[seed % 2]
    drawn = DrawnLine.from_polygon(an_egg(radius=radius, bearing=seed).polygon(radius / 30), corner_deg=10)
    for line in (egg, drawn):
        # Polygons of one kind lie over one another: they count as their union does.
        found = stretches(line, soft, inside=inside, outside=outside)
        united = {kind: shapely.union_all(ground) for kind, ground in soft.items()}
        s, held = by_sections(line, united, inside, outside)
        wrong = is_over(s, found, line.perimeter) != held
        assert held.any()
        near = np.array([e % line.perimeter for f in found for e in (f.from_m, f.to_m)])
        for at in s[wrong]:
            apart = np.abs(near - at)
            # At a corner of a drawn line the sections of two pieces lie over each other: rounding may pick either.
            assert min(apart.min(), (line.perimeter - apart).min()) < 1e-6, (at, found)
        total = over_limits_m(line, soft, inside=inside, outside=outside)
        assert total == pytest.approx(held.mean() * line.perimeter, abs=0.02 * (len(found) + 1))


@pytest.mark.parametrize("width", [0.1, 1.0, 10.0])
@pytest.mark.parametrize("radius", [20.0, 60.0])
def test_a_bar_straight_across_the_big_end_is_crossed_twice(width, radius):
    """The ray under the angle w from across the axis meets the bar |u| <= b / 2 while R - i <= t <= R + o if
    (R - i) sin w <= b / 2; so 2 asin(b / 2 / (R - i)) R of the line on either side, half of it on a flank.

    On a flank, radius F, the same about the flank's centre on the same line.
    """
    egg = an_egg(radius=radius)
    bar = box(FAR[0] - 500, FAR[1] - width / 2, FAR[0] + 500, FAR[1] + width / 2)
    found = stretches(egg, {"bank": MultiPolygon([bar])}, inside=INSIDE, outside=OUTSIDE)
    assert len(found) == 2
    R, F = egg.big_radius, egg.flank_radius
    each = sum(r * math.asin(width / 2 / (r - INSIDE)) for r in (R, F))
    for stretch, middle in zip(found, (egg.bends[0], egg.bends[3]), strict=True):
        assert stretch.length_m == pytest.approx(each, abs=1e-6)
        assert stretch.from_m <= middle <= stretch.to_m
    assert union_length(found, egg.perimeter) == pytest.approx(2 * each, abs=1e-6)


def test_a_bar_along_the_axis_holds_both_tips_and_the_stretch_over_the_start_is_one():
    egg = an_egg(radius=50.0)
    bar = box(FAR[0] - 3, FAR[1] - 500, FAR[0] + 3, FAR[1] + 500)
    small, big = stretches(egg, {"bank": MultiPolygon([bar])}, inside=INSIDE, outside=OUTSIDE)
    assert big.from_m < egg.perimeter < big.to_m
    assert big.length_m == pytest.approx(2 * 50 * math.asin(3 / (50 - INSIDE)), abs=1e-9)
    r = egg.small_radius
    assert small.length_m == pytest.approx(2 * r * math.asin(3 / (r - INSIDE)), abs=1e-9)
    assert (small.from_m + small.to_m) / 2 == pytest.approx(egg.perimeter / 2, abs=1e-6)


@pytest.mark.parametrize(
    ("low", "high", "held"),
    [(-4.4, 5.0, True), (5.0, 30.0, True), (5.2, 30.0, False), (-30.0, -4.4, True), (-30.0, -4.6, False)],
)
def test_a_ring_round_the_line_is_met_everywhere_or_nowhere(low, high, held):
    egg = an_egg(radius=60.0, bearing=33.0)
    found = stretches(egg, {"ditch": MultiPolygon([around(egg, low, high)])}, inside=INSIDE, outside=OUTSIDE)
    if held:
        assert [(f.from_m, f.to_m) for f in found] == [(0.0, pytest.approx(egg.perimeter))]
    else:
        assert found == ()


@pytest.mark.parametrize("line", [an_egg(), DrawnLine.from_polygon(an_egg().polygon(0.5), corner_deg=10)])
def test_all_of_a_line_wholly_in_soft_ground(line):
    everywhere = {"rock": MultiPolygon([Point(*FAR).buffer(400)])}
    assert over_limits_m(line, everywhere, inside=INSIDE, outside=OUTSIDE) == pytest.approx(line.perimeter)
    assert stretches(line, {"rock": MultiPolygon()}, inside=INSIDE, outside=OUTSIDE) == ()


def test_a_square_beside_a_drawn_square():
    """The sections of a straight side meet what lies beside it over the length of its shadow."""
    x, y = FAR
    line = DrawnLine.from_polygon(box(x, y, x + 100, y + 100), corner_deg=10)
    # Clockwise from the south-east corner, as shapely's box begins: along the south side to the west.
    start = line.points[0]
    assert tuple(start) == (x + 100, y)
    soft = {
        "a": MultiPolygon([box(x + 30, y - 9, x + 40, y - 5)]),
        "b": MultiPolygon([box(x + 35, y + 4, x + 60, y + 9)]),
    }
    found = {s.kind: (s.from_m, s.to_m) for s in stretches(line, soft, inside=INSIDE, outside=OUTSIDE)}
    assert found == {"a": (pytest.approx(60), pytest.approx(70)), "b": (pytest.approx(40), pytest.approx(65))}
    assert over_limits_m(line, soft, inside=INSIDE, outside=OUTSIDE) == pytest.approx(30)
    assert stretches(line, soft, inside=3.9, outside=4.9) == ()


def test_flanks_of_a_hundred_kilometres_keep_their_metres():
    """Nearly a cigar: the flanks are as good as straight, so the shadow of a square is its side."""
    egg = an_egg(1 - 1e-7, 3.0, 20.0)
    assert egg.flank_radius > 1e9
    x, y = egg.big_x + 20.0, egg.big_y + 30.0
    soft = {"a": MultiPolygon([box(x - 2, y, x + 2, y + 10)])}
    (only,) = stretches(egg, soft, inside=INSIDE, outside=OUTSIDE)
    assert only.length_m == pytest.approx(10, abs=1e-5)


def test_shifted_turned_and_mirrored_ground_gives_the_same_length():
    rng = np.random.default_rng(3)
    egg = an_egg(radius=70.0, bearing=20.0, at=(0.0, 0.0))
    soft = {"a": patches(rng, 30, 120, (0, 0))}
    length = over_limits_m(egg, soft, inside=INSIDE, outside=OUTSIDE)
    assert 10 < length < egg.perimeter - 10
    turned = {"a": affinity.translate(affinity.rotate(soft["a"], -50, origin=(0, 0)), *FAR)}
    assert over_limits_m(an_egg(radius=70.0, bearing=70.0), turned, inside=INSIDE, outside=OUTSIDE) == pytest.approx(
        length, abs=1e-5
    )
    mirrored = {"a": affinity.scale(soft["a"], xfact=-1, origin=(0, 0))}
    other = an_egg(radius=70.0, bearing=-20.0, at=(0.0, 0.0))
    assert over_limits_m(other, mirrored, inside=INSIDE, outside=OUTSIDE) == pytest.approx(length, abs=1e-9)


def test_a_needle_of_ground_through_the_centre_of_a_short_radius():
    """With a radius of 3 m and sections of 4.5 m all sections of an arc meet at its centre."""
    egg = an_egg(0.5, 1.5, 3.0)
    dot = Polygon([(FAR[0] - 0.1, FAR[1] - 0.1), (FAR[0] + 0.1, FAR[1] - 0.1), (FAR[0], FAR[1] + 0.1)])
    length = over_limits_m(egg, {"a": MultiPolygon([dot])}, inside=INSIDE, outside=OUTSIDE)
    _, held = by_sections(egg, {"a": dot}, INSIDE, OUTSIDE, 0.001)
    assert length == pytest.approx(held.mean() * egg.perimeter, abs=0.005)
    assert length > math.pi * 3.0 - 1e-9


def test_wrong_reaches_are_refused():
    with pytest.raises(ValueError, match="cross-section"):
        stretches(an_egg(), {}, inside=-1.0, outside=1.0)
    with pytest.raises(ValueError, match="strips"):
        LineGround(MultiPolygon(), {}, -1.0, 1.0)
    with pytest.raises(ValueError, match="finite"):
        LineGround(MultiPolygon(), {}, 1.0, math.inf)
