"""Walls that are steeper in hard rock than in soil: two layers in closed form, by slices and as polygons."""

import math

import numpy as np
import pytest
from pydantic import ValidationError
from shapely.geometry import LineString, Polygon

from packpale.earthworks.section import TrenchSection, outlines
from packpale.earthworks.volume import along_curve, cut_sections, mean_curvature
from packpale.earthworks.wall_heights import wall_heights
from packpale.earthworks.work_out import work_out
from packpale.settings import TrenchSettings
from told import told
from trench_cases import circle_line, enclosure_of, pack_of, plane, project_of, site_of

DEPTH, WIDTH = 1.5, 0.6
TRENCH = TrenchSection(DEPTH, WIDTH, 0.0, 0.0, 1.0, 0.25)
"""Without an apron: a bottom and two walls, 1:1 in soil and 0.25:1 in rock."""


def pieces_area(pieces):
    inner, outer, a, b = pieces.T
    return float(np.sum((outer - inner) * (a + b) / 2))


@pytest.mark.parametrize("rock", [0.0, 0.3, 0.9, 1.5, 4.0, math.inf])
@pytest.mark.parametrize("steep", [0.0, 0.25, 1.0])
def test_area_of_two_layers_in_closed_form(rock, steep):
    # Of each wall: a triangle in rock; above it a strip as wide as that runs, and a triangle in soil.
    section = TrenchSection(DEPTH, WIDTH, 0.0, 0.0, 1.0, steep)
    (pieces,) = outlines(section, np.array([DEPTH]), np.array([rock])).pieces
    in_rock, soil = max(DEPTH - rock, 0.0), min(rock, DEPTH)
    wall = steep * in_rock**2 / 2 + steep * in_rock * soil + soil**2 / 2
    assert pieces_area(pieces) == pytest.approx(WIDTH * DEPTH + 2 * wall)
    assert pieces[-1, 1] == pytest.approx(WIDTH / 2 + steep * in_rock + soil)
    assert pieces[0, 0] == pytest.approx(-pieces[-1, 1])


@pytest.mark.parametrize("rock", [0.0, 0.2, 0.3, 0.7, 1.2, math.inf])
@pytest.mark.parametrize("steep", [0.0, 0.3, 0.8])
@pytest.mark.parametrize(("reach", "cover"), [(1.8, 0.3), (0.6, 0.3), (1.2, 0.8), (3.0, 0.0), (1.0, 1.2)])
def test_area_with_the_bench_by_level_slices(reach, cover, steep, rock):
    section = TrenchSection(1.2, 0.6, reach, cover, 0.8, steep)
    (pieces,) = outlines(section, np.array([1.2]), np.array([rock])).pieces
    there = pieces[pieces[:, 1] > pieces[:, 0]]
    np.testing.assert_allclose(there[1:, 0], there[:-1, 1], atol=1e-12)
    n = 200_000
    c = (np.arange(n) + 0.5) * 1.2 / n

    def run(depth):
        return 0.8 * np.minimum(depth, rock) + steep * np.maximum(depth - rock, 0.0)

    left = 0.3 + run(1.2) - run(c)
    bench = np.where(c <= cover, reach + run(cover) - run(c), -np.inf)
    assert pieces_area(pieces) == pytest.approx(float((left + np.maximum(left, bench)).sum() * 1.2 / n), abs=1e-4)


def test_with_one_slope_for_both_nothing_changes():
    alike = TrenchSection(1.2, 0.6, 1.8, 0.3, 1.0, 1.0)
    line, site = circle_line(30.0, step=2.0, elevation=plane(0.1)), site_of(plane(0.1), half=50.0, rock=0.7)
    for formation in ("follow", "level"):
        one, two = (
            cut_sections(s, line, site, side="outside", formation=formation)
            for s in (TrenchSection(1.2, 0.6, 1.8, 0.3, 1.0), alike)
        )
        for part in ("cut", "rock", "hard", "wet", "open", "edges"):
            np.testing.assert_allclose(getattr(two, part), getattr(one, part), atol=1e-9)


@pytest.mark.parametrize("formation", ["follow", "level"])
def test_volumes_round_a_circle_on_level_ground(formation):
    # Alike on both sides of the line, so that the volume is the area times the line.
    line, site = circle_line(30.0, step=0.5, elevation=plane()), site_of(plane(), half=50.0, rock=0.9)
    cuts = cut_sections(TRENCH, line, site, side="outside", formation=formation)
    curvature, around = mean_curvature(line, side="outside"), 60 * math.pi
    in_rock = DEPTH - 0.9
    rock = WIDTH * in_rock + 0.25 * in_rock**2
    wall = 0.25 * in_rock**2 / 2 + 0.25 * in_rock * 0.9 + 0.9**2 / 2
    assert along_curve(cuts.cut, curvature, step=line.step) == pytest.approx((WIDTH * DEPTH + 2 * wall) * around)
    for part in (cuts.rock, cuts.hard):
        assert along_curve(part, curvature, step=line.step) == pytest.approx(rock * around)
    assert cuts.edges[0] == pytest.approx([-1.35, 1.35])
    # Soft rock is dug as soil is: its walls stay.
    site.soil.rock_is_hard[:] = False
    soft = cut_sections(TRENCH, line, site, side="outside", formation=formation)
    assert soft.cut[0, 0] == pytest.approx(WIDTH * DEPTH + DEPTH**2)


@pytest.mark.parametrize("slope", [0.0, 0.2, -0.3])
@pytest.mark.parametrize("steep", [0.0, 0.25])
def test_a_level_trench_on_an_inclined_plane_as_a_polygon(slope, steep):
    section = TrenchSection(DEPTH, WIDTH, 0.0, 0.0, 1.0, steep)
    ground = plane(slope)
    line, site = circle_line(30.0, step=1.0, elevation=ground), site_of(ground, half=60.0, rock=0.9)
    cuts = cut_sections(section, line, site, side="outside", formation="level")
    heights = wall_heights(
        section, line, site, side="outside", formation="level", depth=np.full(line.chainage.shape, DEPTH)
    )
    in_rock, far = DEPTH - 0.9, 30.0
    for i in (0, 10, 47, 94, 140):
        across = slope * line.outward[i, 0]  # rise to the outside
        top = WIDTH / 2 + steep * in_rock
        trench = Polygon(
            [
                (-WIDTH / 2, -DEPTH), (WIDTH / 2, -DEPTH), (top, -0.9), (top + far, far - 0.9),
                (-top - far, far - 0.9), (-top, -0.9),
            ]
        )  # fmt: skip
        below = Polygon([(-far, -50), (far, -50), (far, far * across), (-far, -far * across)])
        dug = trench.intersection(below)
        assert cuts.cut[i, 0] == pytest.approx(dug.area, rel=1e-9)
        edge = [x for x, z in LineString([(-far, -far * across), (far, far * across)]).intersection(trench).coords]
        assert sorted(cuts.edges[i]) == pytest.approx(sorted(edge))
        assert heights[i] == pytest.approx(DEPTH + max(x * across for x in edge), abs=1e-6)


@pytest.mark.parametrize("slope", [0.0, 0.3])
def test_depth_from_the_higher_edge_follows_the_steeper_wall(slope):
    ground = plane(slope)
    line, site = circle_line(30.0, step=1.0, elevation=ground), site_of(ground, half=60.0, rock=0.5)
    found = wall_heights(
        TRENCH, line, site, side="outside", formation="follow", depth=np.full(line.chainage.shape, DEPTH)
    )
    across = np.abs(slope * line.outward[:, 0])
    np.testing.assert_allclose(found, DEPTH + across * (0.25 * (DEPTH - 0.5) + 0.5))


def test_rock_that_lies_elsewhere_by_chance_moves_the_walls_too():
    line, site = circle_line(30.0, step=1.0, elevation=plane()), site_of(plane(), half=50.0, rock=0.9)
    shift = np.full(line.chainage.shape, -0.4)
    shifted = cut_sections(TRENCH, line, site, side="outside", formation="follow", rock_shift=shift)
    there = cut_sections(TRENCH, line, site_of(plane(), half=50.0, rock=0.5), side="outside", formation="follow")
    np.testing.assert_allclose(shifted.cut, there.cut)
    np.testing.assert_allclose(shifted.hard, there.hard)


def test_a_plot_says_how_its_rock_walls_were_reckoned_and_digs_less_and_sooner():
    site = site_of(plane(), half=60.0, rock=0.4)
    enclosure = enclosure_of(pack_of(circle_line(30.0, step=1.0, elevation=plane())))
    wide, steep = (work_out(site, enclosure, project_of(trench=t)) for t in ({}, {"rock_side_slope": 0.0}))
    assert any("Walls in hard rock are reckoned as flat as in soil" in n for n in told(wide.notes))
    assert any("drawn at 0:1 (run to rise), in soil at 1:1" in n for n in told(steep.notes))
    assert steep.volumes[0].hard_rock < 0.8 * wide.volumes[0].hard_rock
    assert steep.plant.machine_hours < wide.plant.machine_hours
    assert steep.cost["likely"] < wide.cost["likely"]


def test_rock_is_no_flatter_than_soil():
    with pytest.raises(ValidationError, match="rock stands as steep as soil or steeper"):
        TrenchSettings(side_slope=0.5, rock_side_slope=0.75)
    with pytest.raises(ValueError, match="as steep as in soil or steeper"):
        TrenchSection(1.2, 0.6, 1.8, 0.3, 0.5, 0.75)
