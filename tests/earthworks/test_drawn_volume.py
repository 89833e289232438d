"""Volumes along drawn lines with corners, against areas of strips by shapely."""

import math

import numpy as np
import pytest
from shapely.geometry import Polygon, box

from packpale.earthworks.section import TrenchSection
from packpale.earthworks.volume import along_curve, cut_sections, mean_curvature
from packpale.earthworks.work_out import work_out
from packpale.enclosure.alignment import stations
from packpale.enclosure.drawn import DrawnLine
from packpale.enclosure.fence import posts
from packpale.enclosure.gate_places import place_gates
from packpale.enclosure.model import Enclosure, Gates, Pack
from trench_cases import plane, project_of, site_of

SQUARE = box(-30, -30, 30, 30)
L_SHAPE = Polygon([(-40, -40), (40, -40), (40, 0), (0, 0), (0, 40), (-40, 40)])
SECTION = TrenchSection(1.2, 0.6, 1.8, 0.3, 1.0)
NO_GATES = Gates(*np.empty((3, 0)), 4.0)


def line_of(shape):
    return DrawnLine.from_polygon(shape, corner_deg=10.0)


def volume(shape, side, step):
    site = site_of(100.0)
    along = stations(line_of(shape), step=step, elevation=site.elevation, grid=site.grid)
    cuts = cut_sections(SECTION, along, site, side=side, formation="follow")
    return along_curve(cuts.cut, mean_curvature(along, side=side), step=along.step)


def depth_at(offsets):
    """Cut depth of the section by its definition: the deeper of two trapezoids with walls 1 in 1."""
    skirt = np.clip(1.2 - np.maximum(np.abs(offsets) - 0.3, 0), 0, None)
    bench = np.clip(0.3 - np.maximum(np.maximum(-offsets, offsets - 1.8), 0), 0, None)
    return np.maximum(skirt, bench)


def dug(shape, side):
    """Cut as it is dug: at every point the depth for its distance from the line, in rings by shapely's buffers."""
    h, sign = 0.01, 1 if side == "outside" else -1
    offsets = np.round(np.arange(-2.2, 2.2 + h / 2, h), 6) + 0.0
    areas = np.array([shape.buffer(sign * o, quad_segs=64).area for o in offsets])
    return float((np.abs(np.diff(areas)) * depth_at((offsets[:-1] + offsets[1:]) / 2)).sum())


ZIGZAG = Polygon([(-40, -40), (40, -40), (40, 0), (30, 25), (22, 0), (10, 30), (0, 5), (-12, 34), (-40, 40)])


@pytest.mark.parametrize("step", [0.8, 7.0])
@pytest.mark.parametrize("side", ["outside", "inside"])
@pytest.mark.parametrize("shape", [SQUARE, L_SHAPE, ZIGZAG], ids=["square", "L", "zigzag"])
def test_the_volume_is_that_dug(shape, side, step):
    # Corners outward and inward, turns of 45 to 155 degrees.
    assert volume(shape, side, step) == pytest.approx(dug(shape, side), rel=2e-4)


def test_corners_nearer_together_than_their_overlaps_make_volumes_too_large_not_too_small():
    # Teeth of 2 m on one side of a square, as a line drawn by a shaking hand.
    teeth = [(x, -30 + (1.5 if x % 2 else 0)) for x in range(-30, 30)]
    shape = Polygon([*teeth, (30, -30), (30, 30), (-30, 30)])
    for side in ("outside", "inside"):
        assert dug(shape, side) * (1 - 1e-4) < volume(shape, side, 1.0) < 1.35 * dug(shape, side)


def test_corners_take_sectors_outside_and_kites_inside():
    # Of a section with area A, moments M outside and m inside, four corners of a right angle: L A + 2 pi M on the
    # outer side of each, 2 tan(45 degrees) m on the inner.
    o = np.linspace(0, 2.2, 220001)
    area, moment = (np.trapezoid(depth_at(o) + depth_at(-o), o), np.trapezoid(depth_at(o) * o, o))
    inner = -np.trapezoid(depth_at(-o) * o, o)
    assert volume(SQUARE, "outside", 1.0) == pytest.approx(240 * area + 2 * math.pi * moment + 8 * inner, rel=1e-5)
    # Five corners outward and one inward.
    expected = 320 * area + (2.5 * math.pi - 2) * moment + (10 - math.pi / 2) * inner
    assert volume(L_SHAPE, "outside", 1.0) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("formation", ["follow", "level"])
def test_a_drawn_line_goes_through_the_earthworks(formation):
    site = site_of(plane(east=0.05))
    project = project_of(trench={"formation": formation})
    line = line_of(L_SHAPE)
    grid, z = site.grid, site.elevation
    gates = place_gates(line, site, project)
    pack = Pack(
        number=1,
        fit=None,
        given=line,
        alignment=stations(line, step=1.0, elevation=z, grid=grid),
        posts=posts(line, 3.0, z, grid, gates=gates),
        gates=gates,
        length_3d=line.perimeter,
        mean_suitability=0.5,
        mean_slope=0.05,
    )
    works = work_out(site, Enclosure((pack,), None), project)
    (volumes,), (fence,), (profile,) = works.volumes, works.fences, works.profiles
    assert volumes.cut == pytest.approx(volume(L_SHAPE, "outside", 1.0), rel=0.02)
    assert fence.posts["bend"] == pack.posts.of("bend") + 8  # and those of two airlocks
    # On a plane the bottom runs as deep everywhere, round the corners too.
    assert profile.shallower == profile.deeper == ()


def test_a_fine_hump_at_a_corner_is_seen():
    # Ground that rises 1 m within a metre of one corner, between two stations.
    site = site_of(lambda x, y: 100 + np.where(np.hypot(x - 30, y - 30) < 1.2, 1.0, 0.0), cell=0.5)
    project = project_of()
    line = line_of(box(-30, -30, 30, 30))
    z, grid = site.elevation, site.grid
    pack = Pack(
        number=1,
        fit=None,
        given=line,
        alignment=stations(line, step=8.0, elevation=z, grid=grid),
        posts=posts(line, 3.0, z, grid),
        gates=NO_GATES,
        length_3d=line.perimeter,
        mean_suitability=0.5,
        mean_slope=0.0,
    )
    (profile,) = work_out(site, Enclosure((pack,), None), project).profiles
    corner = next(c for c in line.corners if np.hypot(*(np.array(line.points_at(c)[:2]) - 30)) < 1e-6)
    assert np.abs(pack.alignment.chainage - corner).min() > 1.5
    (deeper,) = profile.deeper
    assert deeper.start < corner < deeper.end
    assert deeper.worst == pytest.approx(2.2, abs=0.01)


def test_pack_needs_a_line():
    site = site_of(100.0)
    along = stations(line_of(SQUARE), step=1.0, elevation=site.elevation, grid=site.grid)
    standing = posts(line_of(SQUARE), 3.0, site.elevation, site.grid)
    gates = NO_GATES
    with pytest.raises(ValueError, match="either a fit or a line that was given"):
        Pack(1, None, along, standing, gates, 240.0, 0.5, 0.0)
