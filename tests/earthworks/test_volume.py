"""Volumes along the curve: Pappus and Steiner, ground whose answer is known, and slow integrations of rough ground."""

import dataclasses
import functools
import math
from pathlib import Path

import numpy as np
import pytest
import rasterio
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon, box

from packpale.earthworks import _kernels
from packpale.earthworks.section import TrenchSection
from packpale.earthworks.volume import CATCH_REACH, along_curve, cut_sections, mean_curvature
from packpale.enclosure.alignment import stations
from packpale.enclosure.drawn import DrawnLine
from packpale.enclosure.egg import Egg
from packpale.site import Grid
from trench_cases import circle_line, egg_line, length_of, plane, site_of

REAL_GROUND = Path(__file__).parents[2] / "data_samples" / "real" / "lidar_1m_utm15n.tif"
SLOPED = TrenchSection(1.2, 0.6, 1.8, 0.3, 1.0)
VERTICAL = TrenchSection(1.2, 0.6, 1.8, 0.3, 0.0)
EGG = Egg(3.0, -5.0, 37.0, 40.0, 24.0, 36.0)
SIDES = pytest.mark.parametrize(("side", "sign"), [("outside", 1), ("inside", -1)])
FORMATIONS = pytest.mark.parametrize("formation", ["follow", "level"])


def volume(section, line, site, *, side="outside", formation="follow", part="cut"):
    cuts = cut_sections(section, line, site, side=side, formation=formation)
    return along_curve(getattr(cuts, part), mean_curvature(line, side=side), step=line.step)


def hills(x, y):
    """Rough ground: waves of three lengths and directions."""
    return 100 + 0.8 * np.sin(x / 7 + 1) + 0.5 * np.cos(y / 4) + 0.15 * np.sin(1.3 * x - 0.9 * y)


# Closed forms on constant sections. Pappus's centroid theorem (Pappus of Alexandria, Collection, book VII): the volume
# swept is the area times the path of its centroid, which round a closed convex line is 2 pi times the offset longer.


@SIDES
@FORMATIONS
@pytest.mark.parametrize("section", [SLOPED, VERTICAL, TrenchSection(1.5, 1.0, 0.5, 0.5, 0.75)], ids=str)
@pytest.mark.parametrize("step", [0.7, 4.0])
def test_volume_on_flat_ground_is_that_of_pappus(section, side, sign, formation, step):
    site = site_of(100.0)
    flat = plane()
    for line in (circle_line(30.0, step=step, elevation=flat), egg_line(EGG, step=step, elevation=flat)):
        pappus = section.area * (length_of(line) + sign * 2 * math.pi * section.centroid_offset)
        assert volume(section, line, site, side=side, formation=formation) == pytest.approx(pappus, rel=1e-11)


@SIDES
def test_ring_round_a_circle_is_an_annulus_times_its_depth(side, sign):
    # Two annuli, each pi (r2^2 - r1^2) times its depth: the skirt 0.6 m wide about the fence, the bench beyond it.
    R = 20.0
    line = circle_line(R, step=1.0)
    radii = [R - 0.3, R + 0.3, R + sign * 0.3, R + sign * 1.8]
    ring = math.pi * (radii[1] ** 2 - radii[0] ** 2) * 1.2 + math.pi * abs(radii[3] ** 2 - radii[2] ** 2) * 0.3
    assert volume(VERTICAL, line, site_of(0.0), side=side) == pytest.approx(ring, rel=1e-12)


@SIDES
def test_stripped_area_is_that_of_steiner(side, sign):
    # J. Steiner, 1840: the parallel curve at distance w of a closed convex curve of length P adds P w + pi w^2.
    line = egg_line(EGG, step=1.0)
    P = length_of(line)
    inner, outer = SLOPED.edges
    strip = P * (outer - inner) + sign * math.pi * (outer**2 - inner**2)
    assert volume(SLOPED, line, site_of(0.0), side=side, part="open") == pytest.approx(strip, rel=1e-11)


@pytest.mark.parametrize("start", [0.0, 0.123])
@pytest.mark.parametrize("step", [0.5, 3.0])
def test_each_stretch_gets_its_own_turning(start, step):
    # The turning of a stretch is the difference of the exact bearings at its ends, here of a line with stations there.
    line = egg_line(EGG, step=step, start=start)
    ends = egg_line(EGG, step=step, start=start + line.step / 2)
    bearing = np.deg2rad(ends.bearing_deg)
    turning = (bearing - np.roll(bearing, 1) + math.pi) % (2 * math.pi) - math.pi
    # The last half step of the walk passes the start of the line, where the helper has no arc.
    inside = slice(1, -1)
    curvature, other = mean_curvature(line, side="outside").T
    np.testing.assert_array_equal(curvature, other)
    np.testing.assert_allclose(curvature[inside] * line.step, turning[inside], atol=1e-9)
    assert curvature.sum() * line.step == pytest.approx(2 * math.pi, abs=1e-9)
    np.testing.assert_array_equal(mean_curvature(line, side="inside")[:, 0], -curvature)


def test_direction_of_walking_does_not_matter():
    line = egg_line(EGG, step=1.0)
    back = dataclasses.replace(
        line,
        **{k: getattr(line, k)[::-1].copy() for k in ("x", "y", "outward", "arc", "radius", "ground")},
        bearing_deg=(line.bearing_deg[::-1] + 180) % 360,
    )
    np.testing.assert_allclose(
        mean_curvature(back, side="outside"), mean_curvature(line, side="outside")[::-1], atol=1e-12
    )


def test_line_that_does_not_close_is_refused():
    line = circle_line(20.0, step=1.0)
    open_line = dataclasses.replace(line, bearing_deg=line.bearing_deg / 2)
    with pytest.raises(ValueError, match="a closed one turns through 360"):
        mean_curvature(open_line, side="outside")
    with pytest.raises(ValueError, match="at least 3 stations"):
        mean_curvature(circle_line(1.0, step=4.0), side="outside")


# Ground whose answer is known.


@settings(deadline=None, max_examples=40)
@given(east=st.floats(-0.2, 0.2), north=st.floats(-0.2, 0.2), inside=st.booleans(), reach=st.floats(0.0, 1.8))
def test_level_vertical_trench_on_any_plane_cuts_as_much_as_on_flat_ground(east, north, inside, reach):
    # Ground z = g . p. Level bottoms put the cut at c(s, o) = D(o) + o g . n(s), n the unit normal to the apron side.
    # Integrated with the weight 1 + o k(s), the added terms are g . closed integral of n ds, and g . closed integral
    # of k n ds. Both vanish: n ds is the line element turned by a right angle and the line closes, and k ds is the
    # turning, so that k n ds runs through every direction of one full circle alike. So nothing changes while no
    # column comes out negative: here the cover of the bench, 0.52 m, exceeds 1.8 m times the slope of at most 0.283.
    section = TrenchSection(1.2, 0.6, reach, 0.52, 0.0)
    side = "inside" if inside else "outside"
    tilted = plane(east, north)
    site = site_of(tilted, half=80.0, cell=2.0)
    for line_of, rel in ((lambda e: circle_line(30.0, step=1.0, elevation=e), 1e-12), (_fine_egg, 1e-6)):
        on_plane = volume(section, line_of(tilted), site, side=side, formation="level")
        on_flat = volume(section, line_of(plane()), site_of(100.0, half=80.0, cell=2.0), side=side, formation="level")
        assert on_plane == pytest.approx(on_flat, rel=rel)


def _fine_egg(elevation):
    # The midpoint rule is exact on a circle; where arcs join on an egg its error falls with the square of the step.
    return egg_line(EGG, step=0.25, elevation=elevation)


@pytest.mark.parametrize("slope", [-0.4, -0.1, 0.25, 0.4])
def test_level_trench_across_a_slope_catches_the_ground_where_geometry_says(slope):
    # Walls with run n per rise start at the ends of a bottom b wide, d deep under the middle, ground rising with m to
    # the apron side. The wall meets the ground at x where d + m x = (x - b/2) / n: x = (b/2 + n d) / (1 - n m), and on
    # the other side at -(b/2 + n d) / (1 + n m). Area between: two triangles over the point where the walls meet,
    # less the one below the bottom.
    b, d, n = 0.6, 1.2, 1.0
    section = TrenchSection(d, b, 0.0, 0.0, n)
    # On ground that rises evenly to the east, the easternmost and westernmost stations look straight up and down it.
    ground = plane(east=slope)
    line = circle_line(40.0, step=2 * math.pi * 40 / 360, elevation=ground)
    cuts = cut_sections(section, line, site_of(ground, half=60.0), side="outside", formation="level")
    east = int(np.argmax(line.x))
    up, down = (b / 2 + n * d) / (1 - n * slope), (b / 2 + n * d) / (1 + n * slope)
    assert cuts.edges[east] == pytest.approx((-down, up), rel=1e-9)
    deep = d + b / 2 / n  # where the two walls would meet, below the fence
    area = deep * (up + down) / 2 - (b / 2) ** 2 / n
    assert cuts.cut[east, 0] == pytest.approx(area, rel=1e-9)
    assert cuts.open[east, 0] == pytest.approx(up + down, rel=1e-9)
    west = int(np.argmin(line.x))
    assert cuts.edges[west] == pytest.approx((-up, down), rel=1e-9)
    assert cuts.deepest[east] == pytest.approx(d + b / 2 * abs(slope), rel=1e-9)
    assert cuts.caught.all()


def foot_of_bank(rise, height):
    """Ground that is level to 1 m beyond the fence, rises 0.5:1 there to a height and is level again."""
    return lambda beyond: 100 + rise * np.clip(beyond - 1.0, 0.0, 2.0 * height) * 0.5


SKIRT = ((-1.5, 0.0), (-0.3, -1.2), (0.3, -1.2), (1.2, -0.3))
"""The section's outline from its inner edge to the floor of the bench; depths below the ground under the fence."""
ALONG_A_BANK = {
    # The wall, 1:1 from the end of the bench at 1.8 m, meets the bank where o - 2.1 = (o - 1) / 2: at 3.2 m.
    "bank as high as the wall goes": (
        (1, 1.5, +1),
        (*SKIRT, (1.8, -0.3), (3.2, 1.1), (1.0, 0.0)),
        (-1.5, 3.2),
        # Inside of the fence and to 1 m beyond, as on level ground; bench under the bank, and the wall's triangle.
        2.035 + (0.5 + 0.3) / 2 * 0.2 + 0.3 * 0.6 + 0.5 * 0.8**2 / 2 + 0.7 * 1.4 / 2,
    ),
    # The bank ends at 2.6 m, 0.8 m up, where the wall is still 0.3 m deep.
    "wall comes out on top of the bank": (
        (1, 0.8, +1),
        (*SKIRT, (1.8, -0.3), (2.9, 0.8), (2.6, 0.8), (1.0, 0.0)),
        (-1.5, 2.9),
        2.035 + (0.5 + 0.3) / 2 * 0.2 + 0.3 * 0.6 + 0.5 * 0.8**2 / 2 + (0.7 + 0.3) / 2 * 0.8 + 0.3**2 / 2,
    ),
    # The ground falls away: it meets the bench's floor where (o - 1) / 2 = 0.3, and no wall is left.
    "along the top of a bank": (
        (-1, 1.5, +1),
        (*SKIRT, (1.6, -0.3), (1.0, 0.0)),
        (-1.5, 1.8),  # where the mesh ends, and the strip is needed all the same
        2.035 + (0.5 + 0.2) / 2 * 0.2 + 0.2 * 0.4 / 2,
    ),
    # On the other side of the fence the wall from 0.3 m in and 1.2 m down meets the bank 2 m in.
    "bank on the side without apron": (
        (1, 1.5, -1),
        ((-2.0, 0.5), (-0.3, -1.2), (0.3, -1.2), (1.2, -0.3), (1.8, -0.3), (2.1, 0.0), (-1.0, 0.0)),
        (-2.0, 2.1),
        (1.2 + 0.5) / 2 * 0.7 + 0.5 * 1.0 / 2 + 0.6 * 1.2 + (1.2 + 0.3) / 2 * 0.9 + 0.3 * 0.6 + 0.3**2 / 2,
    ),
}


@pytest.mark.parametrize(("bank", "outline", "edges", "area"), ALONG_A_BANK.values(), ids=ALONG_A_BANK)
def test_level_trench_along_a_bank_is_cut_into_it(bank, outline, edges, area):
    """A line round a hill or hollow whose foot or brow runs along it, so that every section meets the same bank."""
    rise, height, side = bank
    radius, profile = 30.0, foot_of_bank(rise, height)
    ground = lambda x, y: profile(side * (np.hypot(x, y) - radius))  # noqa: E731
    line = circle_line(radius, step=0.5, elevation=ground)
    site = site_of(ground, half=36.0, cell=0.1)
    section = Polygon(outline)
    assert section.area == pytest.approx(area)
    cuts = cut_sections(SLOPED, line, site, side="outside", formation="level")
    assert cuts.cut[:, 0] == pytest.approx(area, rel=2e-3)
    assert np.abs(cuts.edges - edges).max() < 0.01
    assert cuts.caught.all()
    # Pappus: the path of the area's centroid.
    swept = 2 * math.pi * (radius + section.centroid.x) * area
    assert volume(SLOPED, line, site, formation="level") == pytest.approx(swept, rel=2e-3)
    # A trench that follows the ground has the same section wherever the bank is.
    even = SLOPED.area * (length_of(line) + 2 * math.pi * SLOPED.centroid_offset)
    assert volume(SLOPED, line, site, formation="follow") == pytest.approx(even, rel=1e-11)


def test_wall_that_never_meets_the_ground_is_cut_off_and_said():
    # Ground rises at 1:1 like the wall: parallel for ever on the eastern side.
    ground = plane(east=1.0)
    line = circle_line(40.0, step=2 * math.pi * 40 / 360, elevation=ground)
    cuts = cut_sections(
        TrenchSection(1.2, 0.6, 0.0, 0.0, 1.0), line, site_of(ground), side="outside", formation="level"
    )
    east, north = int(np.argmax(line.x)), int(np.argmax(line.y))
    assert not cuts.caught[east]
    assert cuts.caught[north]
    assert cuts.edges[east, 1] == pytest.approx(0.3 + CATCH_REACH * 1.2, abs=0.11)
    follow = cut_sections(SLOPED, line, site_of(ground), side="outside", formation="follow")
    assert follow.caught.all()


def test_cut_is_never_negative_where_the_ground_falls_below_the_bench():
    # Ground falls at 1:2 to the east: at 0.6 m it is below a level bench 0.3 m down. Vertical walls.
    ground = plane(east=-0.5)
    line = circle_line(40.0, step=2 * math.pi * 40 / 360, elevation=ground)
    cuts = cut_sections(VERTICAL, line, site_of(ground), side="outside", formation="level")
    east = int(np.argmax(line.x))
    # Skirt: 0.6 x 1.2 about the fence, the tilt cancels. Bench: triangle from 0.3 to 0.6, 0.15 deep at 0.3.
    assert cuts.cut[east, 0] == pytest.approx(0.72 + 0.3 * 0.15 / 2, rel=1e-9)
    assert cuts.open[east, 0] == pytest.approx(0.6 + 0.3, rel=1e-9)


# Rock and water.


@FORMATIONS
@pytest.mark.parametrize("limit", [0.0, 0.2, 0.3, 0.7, 1.2, 5.0])
@pytest.mark.parametrize(("layer", "part"), [("rock", "rock"), ("water", "wet")])
def test_part_below_an_even_limit_is_the_lower_part_of_the_section(layer, part, limit, formation):
    # Below depth r, what is left of walls 1:1 is the same outline with all depths less r: on flat ground the columns
    # deeper than r, each shortened by r.
    line = egg_line(EGG, step=1.0, elevation=plane())
    site = site_of(100.0, **{layer: limit})
    o = np.linspace(-2, 3, 500_001)
    below = np.maximum(SLOPED.depth_at(o) - limit, 0)
    step = o[1] - o[0]
    expected = below.sum() * step * length_of(line) + (o * below).sum() * step * 2 * math.pi
    assert volume(SLOPED, line, site, formation=formation, part=part) == pytest.approx(expected, rel=1e-6, abs=1e-9)


@FORMATIONS
def test_rock_at_the_surface_makes_the_whole_cut_rock(formation):
    line = egg_line(EGG, step=1.0, elevation=hills)
    site = site_of(hills, rock=0.0)
    cuts = cut_sections(SLOPED, line, site, side="outside", formation=formation)
    np.testing.assert_allclose(cuts.rock, cuts.cut, rtol=1e-12)
    assert not cuts.wet.any()


def test_soil_is_that_of_the_cell_under_the_column_not_under_the_fence():
    # Rock at the surface only where x > 41: outside the circle of 40 m, east of the fence.
    line = circle_line(40.0, step=2 * math.pi * 40 / 360)
    site = site_of(0.0, cell=1.0, rock=lambda x, y: np.where(x > 41, 0.0, 9.0))
    cuts = cut_sections(VERTICAL, line, site, side="outside", formation="follow")
    east, west = int(np.argmax(line.x)), int(np.argmin(line.x))
    assert cuts.rock[east, 0] == pytest.approx(0.8 * 0.3, rel=1e-6)
    assert cuts.rock[west, 0] == 0
    within = cut_sections(VERTICAL, line, site, side="inside", formation="follow")
    assert within.rock[east, 0] == 0


# Slow integrations of rough ground.


def slow_area(section, line, site, i, *, sign, formation, width=12.0, step=0.002, parts=40):
    """Area and moment at one station as the definitions read: two trapezoids, each dug by itself, the deeper counts."""
    o = np.arange(-width + step / 2, width, step)
    nx, ny = sign * line.outward[i]
    x, y = line.x[i] + nx * o, line.y[i] + ny * o
    ground = site.grid.bilinear(site.elevation, x, y)
    if formation == "follow":
        cut = section.depth_at(o)
    else:
        cut = np.zeros_like(o)
        half = section.bottom_width / 2
        for left, right, depth in ((-half, half, section.depth), (0.0, section.apron_reach, section.apron_cover)):
            away = np.maximum(np.maximum(left - o, o - right), 0)
            rise = away / section.side_slope if section.side_slope else np.where(away > 0, np.inf, 0)
            above = ground - (line.ground[i] - depth + rise)
            # A wall ends where it first meets the ground, seen from the bottom.
            to_right, to_left = o > right, o < left
            above[to_right] = np.where(np.logical_and.accumulate(above[to_right] > 0), above[to_right], 0)
            above[to_left] = np.where(np.logical_and.accumulate(above[to_left][::-1] > 0)[::-1], above[to_left], 0)
            cut = np.maximum(cut, above)
    few, n = slice(2, None, 5), line.chainage.size
    rock = np.zeros_like(o[few])
    for k in range(parts):
        # Rock along the stretch of the station, half the way to its neighbours; points at one offset are joined.
        part = (k + 0.5) / parts - 0.5
        other, part = (i + int(np.sign(part))) % n, abs(part)
        to_x, to_y = (
            line.x[other] + sign * line.outward[other, 0] * o,
            line.y[other] + sign * line.outward[other, 1] * o,
        )
        at = [a[few] + part * (b[few] - a[few]) for a, b in ((x, to_x), (y, to_y))]
        rock += np.maximum(cut[few] - site.grid.nearest(site.soil.depth_to_rock, *at), 0) / parts
    return np.array([cut.sum(), (o * cut).sum(), 5 * rock.sum(), 5 * (o[few] * rock).sum()]) * step


@FORMATIONS
@SIDES
@pytest.mark.parametrize("section", [SLOPED, VERTICAL], ids=["sloped", "vertical"])
def test_sections_agree_with_a_slow_twin_on_rough_ground(section, side, sign, formation):
    noise = np.random.default_rng(5).normal(0, 0.15, (120, 120))
    site = site_of(lambda x, y: hills(x, y) + noise, half=60.0, rock=lambda x, y: 0.4 + 0.3 * np.sin(x / 3) ** 2)
    line = egg_line(EGG, step=9.0, elevation=lambda x, y: site.grid.bilinear(site.elevation, x, y))
    cuts = cut_sections(section, line, site, side=side, formation=formation)
    stations = range(line.chainage.size)
    slow = np.array([slow_area(section, line, site, i, sign=sign, formation=formation) for i in stations])
    cut, rock = (np.column_stack([part[:, 0], part[:, 1:].sum(axis=1)]) for part in (cuts.cut, cuts.rock))
    np.testing.assert_allclose(cut, slow[:, :2], rtol=3e-3, atol=3e-3)
    np.testing.assert_allclose(rock, slow[:, 2:], rtol=3e-3, atol=3e-3)
    found = np.hstack([cut, rock]).sum(axis=0)
    np.testing.assert_allclose(found, slow.sum(axis=0), rtol=1e-3, atol=1e-3 * slow[:, 0].sum())


@pytest.mark.parametrize("side", ["outside", "inside"])
def test_level_volume_agrees_with_columns_on_a_fine_square_grid(side):
    # Independent of curvature weights and stations: every column of a fine grid, its cut from the foot on the circle.
    R, fine = 20.0, 0.04
    site = site_of(hills, half=40.0)
    ground = functools.partial(site.grid.bilinear, site.elevation)
    sign = 1 if side == "outside" else -1
    total = 0.0
    ticks = np.arange(-R - 2 + fine / 2, R + 2, fine)
    for column in ticks:
        y = ticks[np.abs(np.hypot(column, ticks) - R) < 2]
        x, r = np.full_like(y, column), np.hypot(column, y)
        o = sign * (r - R)
        bottom = np.where(np.abs(o) <= 0.3, 1.2, np.where((o > 0) & (o <= 1.8), 0.3, -np.inf))
        total += np.maximum(ground(x, y) - ground(x * R / r, y * R / r) + bottom, 0).sum() * fine**2
    line = circle_line(R, step=0.25, elevation=ground)
    assert volume(VERTICAL, line, site, side=side, formation="level") == pytest.approx(total, rel=1e-3)


@FORMATIONS
def test_volume_on_laser_scanned_ground_agrees_with_a_slow_integration(formation):
    with rasterio.open(REAL_GROUND) as raster:
        elevation = raster.read(1).astype(float)
        west, north, cell = raster.bounds.left, raster.bounds.top, raster.res[0]
    cx, cy = west + 200.0, north - 200.0
    site = site_of(0.0, half=200.0, cell=cell, centre=(cx, cy), rock=1.0)
    site = dataclasses.replace(site, elevation=elevation)
    egg = Egg(cx, cy, 140.0, 60.0, 40.0, 50.0)
    line = egg_line(egg, step=1.0, elevation=lambda x, y: site.grid.bilinear(elevation, x, y))
    slow = np.array(
        [
            slow_area(SLOPED, line, site, i, sign=1, formation=formation, width=8.0, step=0.01, parts=2)
            for i in range(line.chainage.size)
        ]
    )
    # Curvature here from the radius of the arc each station stands on, which errs only where arcs join.
    slow = np.sum((slow[:, ::2] + slow[:, 1::2] / line.radius[:, None]) * line.step, axis=0)
    assert volume(SLOPED, line, site, formation=formation) == pytest.approx(slow[0], rel=5e-4)
    assert volume(SLOPED, line, site, formation=formation, part="rock") == pytest.approx(slow[1], rel=5e-3)


@FORMATIONS
def test_stations_of_a_metre_are_as_good_as_twenty_times_as_many(formation, monkeypatch):
    with rasterio.open(REAL_GROUND) as raster:
        elevation = raster.read(1).astype(float)
        west, north, cell = raster.bounds.left, raster.bounds.top, raster.res[0]
    cx, cy = west + 200.0, north - 200.0
    # Two soils with a border at an angle, so that both surfaces jump; rock is uneven besides.
    wet = {"water": lambda x, y: np.where(y - cy > 0.4 * (x - cx) + 22, 0.8, 9.0)}
    site = site_of(0.0, half=200.0, cell=cell, centre=(cx, cy), rock=lambda x, y: 0.9 + 0.4 * np.sin(x / 13), **wet)
    site = dataclasses.replace(site, elevation=elevation)
    egg = Egg(cx, cy, 140.0, 30.0, 20.0, 25.0)

    def ground(x, y):
        return site.grid.bilinear(elevation, x, y)

    both = []
    for finer in (1, 20):
        # Across, where the cut is exact between breakpoints, less does.
        monkeypatch.setattr("packpale.earthworks.volume.STRIP_M", 0.05 / math.sqrt(finer))
        line = egg_line(egg, step=1.0 / finer, elevation=ground)
        both.append([volume(SLOPED, line, site, formation=formation, part=part) for part in ("cut", "rock", "wet")])
    assert both[0] == pytest.approx(both[1], rel=1e-3)
    assert both[1][2] < 0.05 * both[1][0]


# Soil that changes from cell to cell.


@pytest.mark.parametrize(("border", "cell"), [(0.0, 1.0), (10.0, 5.0), (20.0, 1.0), (25.0, 5.0), (28.0, 1.0)])
@pytest.mark.parametrize("step", [1.0, 3.0])
def test_soil_border_at_an_angle_parts_the_volume_as_circles_do(step, border, cell):
    # Wet where x > c: of the ring from R - 0.3 to R + 0.3 the part beyond a chord at distance c, a difference of two
    # circular segments r^2 acos(c / r) - c sqrt(r^2 - c^2), times 1.2 m less the 0.7 m to the water. The line meets
    # the border at an angle with cos = c / R, from square to 21 degrees. A station stands for a straight stretch,
    # off the arc by step^2 / 8 R at most, so that the error grows with the square of the step.
    R, c = 30.0, border
    beyond = [r * r * math.acos(c / r) - c * math.sqrt(r * r - c * c) for r in (R - 0.3, R + 0.3)]
    exact = (beyond[1] - beyond[0]) * 0.5
    line = circle_line(R, step=step)
    site = site_of(0.0, half=50.0, cell=cell, water=lambda x, y: np.where(x > c, 0.7, 9.0))
    skirt = TrenchSection(1.2, 0.6, 0.0, 0.0, 0.0)
    assert volume(skirt, line, site, part="wet") == pytest.approx(exact, rel=1e-3 * step**2)


@FORMATIONS
def test_soil_border_along_the_line_parts_the_section(formation):
    # A straight line along the border of a soil: from 0.137 m inside of it, walls 1:1, down to rock at 0.5 m in the
    # wide cells beyond. There the cut is 1.2 m to o = 0.3, falls to 0.5 at 1.0; the bench below is 0.3 m deep.
    x = 30.0 - 0.137
    line = DrawnLine.from_polygon(box(-x, -x, x, x), corner_deg=10.0)
    site = site_of(0.0, half=60.0, cell=5.0, rock=lambda x, y: np.where((x > 30) & (np.abs(y) < 20), 0.5, 9.0))
    along = stations(line, step=1.0, elevation=site.elevation, grid=site.grid)
    # On the straight every metre has one soil but for two stations, which each share it with the next.
    beyond = (0.3 - 0.137) * 0.7 + 0.7 * 0.7 / 2
    assert volume(SLOPED, along, site, formation=formation, part="rock") == pytest.approx(40 * beyond, rel=1e-9)


# The kernels.


def test_kernel_reads_the_grid_like_the_grid_itself():
    rng = np.random.default_rng(1)
    grid = Grid(10.0, 50.0, 2.0, 7, 9)
    values = rng.normal(size=grid.shape)
    values[2, 3] = values[6, 8] = np.nan
    edge_x, edge_y = (c.ravel() for c in np.meshgrid(*grid.centres()))
    x = np.concatenate([rng.uniform(8, 30, 500), edge_x])
    y = np.concatenate([rng.uniform(34, 52, 500), edge_y])
    ours = [_kernels.bilinear(values, grid.west, grid.north, grid.cell, *p) for p in zip(x, y, strict=True)]
    np.testing.assert_allclose(ours, grid.bilinear(values, x, y), rtol=1e-12, atol=1e-12)


def test_missing_ground_shows_as_nan_under_a_level_trench():
    site = site_of(100.0)
    elevation = site.elevation.copy()
    line = circle_line(30.0, step=1.0, elevation=plane())
    elevation[:, -70] = np.nan  # a gap that crosses the line
    holed = dataclasses.replace(site, elevation=elevation)
    cuts = cut_sections(VERTICAL, line, holed, side="outside", formation="level")
    missing = np.isnan(cuts.cut[:, 0])
    assert 0 < missing.sum() < missing.size


@pytest.mark.parametrize("formation", ["follow", "level"])
def test_depth_of_each_station_cuts_as_a_section_of_that_depth(formation):
    ground = plane(0.3, -0.2)
    line = circle_line(20.0, step=1.0, elevation=ground)
    site = site_of(ground, half=40.0, cell=0.5, rock=0.9, water=1.1)
    depth = np.where(np.arange(line.chainage.size) % 2, 1.2, 1.7)
    got = cut_sections(
        TrenchSection(1.2, 0.6, 1.8, 0.3, 0.5), line, site, side="outside", formation=formation, depth=depth
    )
    for d, some in ((1.2, depth == 1.2), (1.7, depth == 1.7)):
        section = TrenchSection(d, 0.6, 1.8, 0.3, 0.5)
        expected = cut_sections(section, line, site, side="outside", formation=formation)
        for part in ("cut", "rock", "wet", "open", "edges", "deepest"):
            np.testing.assert_allclose(getattr(got, part)[some], getattr(expected, part)[some], atol=1e-12)


@FORMATIONS
@pytest.mark.parametrize("rock_side_slope", [None, 0.25])
def test_several_shifts_cut_at_once_are_each_as_one_alone(formation, rock_side_slope):
    line = circle_line(20.0, step=1.0, elevation=hills)
    n = line.chainage.size
    section = TrenchSection(1.2, 0.6, 1.8, 0.3, 0.5, rock_side_slope)
    site = site_of(hills, half=40.0, cell=0.5, rock=lambda x, y: 0.9 + 0.3 * np.sin(x / 5 + y), water=0.8)
    depth, shifts = 1.2 + 0.3 * (np.arange(n) % 3), np.array([[-0.4], [0.15]])

    def cut(shift):
        more = {"depth": depth, "rock_shift": shift, "water_shift": -shift}
        return cut_sections(section, line, site, side="outside", formation=formation, **more)

    both, everywhere = cut(shifts), cut(np.broadcast_to(shifts, (2, n)))
    for k, shift in enumerate(shifts.ravel()):
        alone = cut(shift)
        for part in ("cut", "rock", "hard", "wet", "open", "edges", "deepest", "caught"):
            np.testing.assert_array_equal(getattr(both, part)[k], getattr(alone, part))
            np.testing.assert_array_equal(getattr(everywhere, part)[k], getattr(alone, part))


@pytest.mark.parametrize("formation", ["follow", "level"])
def test_shift_of_rock_and_water_is_the_same_as_soil_so_much_deeper(formation):
    ground = plane(0.1, 0.1)
    line = circle_line(20.0, step=1.0, elevation=ground)
    section = TrenchSection(1.2, 0.6, 1.8, 0.3, 0.5)
    up, down = np.full(line.chainage.size, -0.4), np.full(line.chainage.size, 0.15)
    site = site_of(ground, half=40.0, cell=0.5, rock=0.9, water=0.8)
    got = cut_sections(section, line, site, side="inside", formation=formation, rock_shift=up, water_shift=down)
    moved = site_of(ground, half=40.0, cell=0.5, rock=0.5, water=0.95)
    expected = cut_sections(section, line, moved, side="inside", formation=formation)
    for part in ("cut", "rock", "hard", "wet"):
        np.testing.assert_allclose(getattr(got, part), getattr(expected, part), atol=1e-12)
    # A depth never becomes negative: then all of the cut is rock, and no more.
    bare = cut_sections(section, line, site, side="inside", formation=formation, rock_shift=10 * up)
    np.testing.assert_allclose(bare.rock, bare.cut, atol=1e-12)


@pytest.mark.parametrize("formation", ["follow", "level"])
def test_rock_is_hard_where_its_cell_says_so(formation):
    ground = plane()
    line = circle_line(20.0, step=1.0, elevation=ground)
    site = site_of(ground, half=40.0, cell=0.5, rock=0.5)
    x = np.broadcast_to(site.grid.centres()[0], site.grid.shape)
    split = dataclasses.replace(site, soil=dataclasses.replace(site.soil, rock_is_hard=x > 0))
    cuts = cut_sections(TrenchSection(1.2, 0.6, 1.8, 0.3, 0.0), line, split, side="outside", formation=formation)
    east, west = line.x > 3.0, line.x < -3.0
    np.testing.assert_allclose(cuts.hard[east], cuts.rock[east])
    assert (cuts.rock[:, 0] > 0).all()
    assert (cuts.hard[west] == 0).all()


def test_kernels_are_compiled():
    cut_sections(SLOPED, circle_line(30.0, step=5.0), site_of(0.0, half=50.0), side="outside", formation="level")
    assert _kernels.level_sections.signatures
    cut_sections(SLOPED, circle_line(30.0, step=5.0), site_of(0.0, half=50.0), side="outside", formation="follow")
    assert _kernels.follow_sections.signatures
