"""The shortest tunnel under the mesh: closed forms on planes, and shortest paths found another way on rough ground."""

import dataclasses
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from packpale.care import _kernels
from packpale.care.assess import assess
from packpale.care.digout import shortest_tunnels, shortest_ways
from packpale.faults import Faults
from packpale.land.assess import assess as assess_land
from told import told
from trench_cases import circle_line, enclosure_of, pack_of, plane, project_of, site_of

D, REACH, COVER = 1.2, 1.8, 0.3
FORMATIONS = pytest.mark.parametrize("formation", ["follow", "level"])
SIDES = pytest.mark.parametrize("side", ["outside", "inside"])


def tunnels(ground, *, depth=D, reach=REACH, cover=COVER, side="outside", formation="follow", cell=1.0):
    """Tunnels at the stations of a circle, every degree; the first stands south, 90 on west, 270 on east."""
    line = circle_line(30.0, step=2 * math.pi * 30 / 360, elevation=ground)
    site = site_of(ground, half=45.0 + 2 * cell, cell=cell)
    return line, shortest_tunnels(
        line, site, depth=depth, apron_reach=reach, apron_cover=cover, side=side, formation=formation
    )


# Closed forms.


@FORMATIONS
@SIDES
@pytest.mark.parametrize("cell", [0.2, 1.0, 30.0])
@pytest.mark.parametrize(
    ("depth", "reach", "cover"), [(1.2, 1.8, 0.3), (1.2, 0.6, 1.2), (0.8, 3.0, 0.0), (2.5, 6.0, 1.0)]
)
def test_tunnel_on_flat_ground(*, depth, reach, cover, side, formation, cell):
    # Down along the skirt, straight to the apron's free end, straight up from there.
    _, found = tunnels(plane(), depth=depth, reach=reach, cover=cover, side=side, formation=formation, cell=cell)
    np.testing.assert_allclose(found, depth + math.hypot(reach, depth - cover) + cover, rtol=1e-9)


@FORMATIONS
def test_without_apron_the_tunnel_goes_down_and_up_along_the_skirt(formation):
    _, found = tunnels(plane(), reach=0.0, formation=formation)
    np.testing.assert_allclose(found, 2 * D, rtol=1e-9)


@SIDES
@pytest.mark.parametrize("slope", [-0.45, -0.2, 0.2, 0.45])
def test_tunnel_across_a_slope_with_an_apron_that_follows(slope, side):
    # Ground z = m u, u to the apron side; c = cos of the slope's angle. The skirt's lower end is D c from the ground
    # line, and the foot lies on the other side of the fence where m > 0; where m < 0 the nearest point over there is
    # at the fence itself, D away. Then to the free end (a, m a - h), and from there h c to the ground.
    line, found = tunnels(plane(east=slope), side=side)
    at = int(np.argmax(line.x) if side == "outside" else np.argmin(line.x))
    c = 1 / math.hypot(1, slope)
    down = D * c if slope > 0 else D
    expected = down + math.hypot(REACH, slope * REACH - COVER + D) + COVER * c
    assert found[at] == pytest.approx(expected, rel=1e-9)


@SIDES
@pytest.mark.parametrize("slope", [-0.15, 0.1, 0.4])
def test_tunnel_across_a_slope_with_a_level_apron(slope, side):
    # As above, but the apron lies level: its free end (a, -h) is (m a + h) c from the ground.
    line, found = tunnels(plane(east=slope), side=side, formation="level")
    at = int(np.argmax(line.x) if side == "outside" else np.argmin(line.x))
    c = 1 / math.hypot(1, slope)
    down = D * c if slope > 0 else D
    assert found[at] == pytest.approx(down + math.hypot(REACH, D - COVER) + (slope * REACH + COVER) * c, rel=1e-9)


def test_level_apron_that_comes_out_of_the_ground_protects_only_as_far_as_it_is_buried():
    # Falling at 0.25, ground and apron meet at u = h / 0.25 = 1.2. The perpendicular from the skirt's end to the ground
    # would pass through the apron, so the way ends where the apron comes out.
    line, found = tunnels(plane(east=-0.25), formation="level")
    east = int(np.argmax(line.x))
    assert found[east] == pytest.approx(D + math.hypot(COVER / 0.25, D - COVER), rel=1e-6)


def test_on_steep_ground_the_way_out_is_straight_to_the_face():
    # Falling at 1:1 the level apron is bare from 0.3 on; the perpendicular from the skirt's end meets the face 0.6 out,
    # below the apron: D / sqrt(2).
    line, found = tunnels(plane(east=-1.0), formation="level")
    east = int(np.argmax(line.x))
    assert found[east] == pytest.approx(D + D / math.sqrt(2), rel=1e-9)


def shortest(ground_x, ground_z, depth, apron_x, apron_z):
    """Of one section. [m]"""
    (length,) = shortest_ways(ground_x, ground_z[None], np.array([depth]), apron_x[None], apron_z[None])
    return length


def test_fence_on_a_narrow_bank_is_tunnelled_straight_through():
    # A bank 0.4 m to each side of the fence, with steep faces 2 m high: straight through under the skirt.
    x = np.array([-4.0, -0.5, -0.4, 0.0, 0.4, 0.5, 4.0])
    z = np.array([-2.0, -2.0, 0.0, 0.0, 0.0, -2.0, -2.0])
    found = shortest(x, z, 1.0, np.zeros(1), np.array([0.0]))
    # At z = -1, right under the skirt, the faces stand 0.45 away and lean inward by 0.1 on 2: perpendicular to each.
    assert found == pytest.approx(2 * 0.45 * 2 / math.hypot(2, 0.1), abs=1e-9)


@pytest.mark.parametrize("reach", [0.5, 1.8])
def test_longer_skirt_or_apron_never_shortens_the_tunnel(reach):
    ground = lambda x, y: 100 + 0.4 * np.sin(x / 1.7) + 0.3 * np.cos(y / 1.3)  # noqa: E731 - ground of one test
    _, short = tunnels(ground, reach=reach)
    _, deep = tunnels(ground, reach=reach, depth=D + 0.3)
    _, wide = tunnels(ground, reach=reach + 0.5)
    assert (deep > short).all()
    assert (wide > short).all()


# Another way: a dense graph of ground points and mesh corners, mesh with a thickness, lines of sight by shapely.


def dense_shortest(ground_x, ground_z, depth, apron_x, apron_z, *, thickness=2e-3):
    """Shortest way between the two sides from many ground points; mesh as thin bodies, so slightly too long."""
    skirt = shapely.LineString([(0, 50), (0, -depth)]).buffer(thickness, cap_style="square", join_style="mitre")
    mesh = skirt
    if apron_x[-1] > 0:
        apron = shapely.LineString(np.column_stack([apron_x, apron_z]))
        mesh = skirt | apron.buffer(thickness, cap_style="square", join_style="mitre", mitre_limit=2)
    corners = shapely.get_coordinates(mesh.buffer(thickness / 10, join_style="mitre", mitre_limit=2))[:-1]
    corners = corners[corners[:, 1] < 40]
    away = np.union1d(np.geomspace(2 * thickness, 0.2, 12), np.arange(0.025, 4, 0.025))
    u = np.concatenate([-away, away])
    points = np.vstack([corners, np.column_stack([u, np.interp(u, ground_x, ground_z)])])
    shapely.prepare(mesh)
    i, j = np.triu_indices(len(points), 1)
    # Ground to ground on one side is free by way of two extra nodes, so it needs no edges.
    n = len(corners)
    keep = ~((i >= n) & (j >= n) & (np.sign(points[i, 0]) == np.sign(points[j, 0])))
    i, j = i[keep], j[keep]
    ways = shapely.linestrings(np.stack([points[i], points[j]], axis=1))
    clear = ~shapely.intersects(mesh, ways)
    i, j, length = i[clear], j[clear], shapely.length(ways[clear])
    left, right = len(points), len(points) + 1
    on_left = n + np.flatnonzero(u < 0)
    on_right = n + np.flatnonzero(u > 0)
    rows = np.concatenate([i, np.full(on_left.size, left), on_right])
    cols = np.concatenate([j, on_left, np.full(on_right.size, right)])
    # scipy drops edges of length 0.
    weights = np.concatenate([length, np.full(on_left.size + on_right.size, 1e-9)])
    graph = coo_array((weights, (rows, cols)), shape=(right + 1, right + 1)).tocsr()
    return float(dijkstra(graph, directed=False, indices=left)[right])


HEIGHTS = st.lists(st.floats(-0.5, 0.5), min_size=32, max_size=32)


@settings(deadline=None, max_examples=12)
@given(
    heights=HEIGHTS,
    tilt=st.floats(-0.5, 0.5),
    cover=st.sampled_from([0.1, 0.2, 0.5]),
    reach=st.sampled_from([0.5, 1.5]),
)
def test_rough_ground_agrees_with_a_dense_graph(heights, tilt, cover, reach):
    x = np.linspace(-4, 4, 33)
    z = np.insert(np.array(heights), 16, 0.0) + tilt * x
    on_apron = (x >= 0) & (x <= reach)
    apron_x, apron_z = x[on_apron], z[on_apron] - cover
    found = shortest(x, z, 1.0, apron_x, apron_z)
    # The dense way avoids a thicker mesh and ends on chosen points, so it is never shorter; it comes down to the exact
    # one as points and mesh get finer.
    dense = dense_shortest(x, z, 1.0, apron_x, apron_z)
    assert dense - 0.04 < found < dense + 1e-6


@pytest.mark.parametrize("seed", range(6))
def test_bank_and_ditch_agree_with_a_dense_graph(seed):
    # Steep faces close to the fence on random sides, so that ways end in faces, under the apron or pass right through.
    rng = np.random.default_rng(seed)
    x = np.linspace(-4, 4, 33)
    z = np.where(x < 0, rng.uniform(-2.5, 1), rng.uniform(-2.5, 1)) * np.clip(
        (np.abs(x) - 0.25) / rng.uniform(0.3, 2), 0, 1
    )
    on_apron = (x >= 0) & (x <= 1.5)
    apron_x, apron_z = x[on_apron], z[on_apron] - 0.3
    found = shortest(x, z, 1.0, apron_x, apron_z)
    # The dense way avoids a thicker mesh and ends on chosen points, so it is never shorter; it comes down to the exact
    # one as points and mesh get finer.
    dense = dense_shortest(x, z, 1.0, apron_x, apron_z)
    assert dense - 0.04 < found < dense + 1e-6


def test_kernel_is_compiled():
    tunnels(plane())
    assert _kernels.shortest_tunnels.signatures


# The room as a whole.


def assessed(ground, *, checks=None, **trench):
    line = circle_line(30.0, step=1.0, elevation=ground)
    trench = {"depth_m": D, "apron_reach_m": REACH, "apron_cover_m": COVER, **trench}
    project = project_of(trench=trench, checks=checks or {}, dens={"count": 0})
    site = site_of(ground, half=45.0)
    return assess(site, assess_land(site, project), enclosure_of(pack_of(line)), project), line


def test_digging_rate_is_the_shortest_tunnel_over_the_unattended_hours():
    care, _ = assessed(plane(), checks={"rounds": ["07:00", "20:00"]})
    assert (care.unattended_h, care.night.hours, care.rounds_a_day) == (13, 11, 2)
    tunnel = D + math.hypot(REACH, D - COVER) + COVER
    assert care.dig_out[0].shortest == pytest.approx(tunnel)
    assert care.escape_dig_rate == pytest.approx(tunnel / 13)
    assert care.dig_out[0].night_dig_rate == pytest.approx(tunnel / 11)
    # On level ground nobody can tell where water would cross.
    assert {note.kind for note in care.notes} <= {"route of water"}


@pytest.mark.parametrize("slope", [0.0, 0.3])
@pytest.mark.parametrize("side", ["outside", "inside"])
def test_without_the_lap_the_way_leads_round_the_skirt_alone(side, slope):
    # Straight down along one face of the skirt and the shortest way up on the other: on level ground twice its depth.
    # On a plane that rises by ``slope`` across the fence the shortest ways from the skirt's foot to the ground, on
    # either side, are the perpendicular downhill, D cos(slope angle), and the skirt itself uphill.
    care, line = assessed(plane(east=slope), side=side)
    result = care.dig_out[0]
    assert result.without_lap == pytest.approx(D + D / math.hypot(1, slope), abs=1e-4)
    assert result.without_lap_rate == pytest.approx(result.without_lap / 13)
    assert result.without_lap < result.shortest
    # There the ground rises straight across: in the east or the west of the circle.
    i = int(np.flatnonzero(line.chainage == result.without_lap_chainage)[0])
    assert slope == 0 or abs(line.y[i]) < 1.0


def test_weakest_station_is_where_the_ground_helps_most():
    # A ditch across the line in the north, just outside the apron: the way up is shorter there.
    ground = lambda x, y: 100 - 1.2 * np.exp(-((x - 3) ** 2 + (y - 32.5) ** 2) / 2)  # noqa: E731 - ground of one test
    care, line = assessed(ground)
    result = care.dig_out[0]
    i = int(np.argmin(result.tunnel))
    assert result.weakest_chainage == line.chainage[i]
    assert result.shortest == result.tunnel[i]
    assert line.x[i] == pytest.approx(3, abs=2)
    assert line.y[i] > 29


def test_bare_level_apron_is_said():
    care, _ = assessed(plane(east=-0.25), formation="level")
    assert sum("the level apron comes out of the ground" in note for note in told(care.notes)) == 1
    followed, _ = assessed(plane(east=-0.25), formation="follow")
    assert not any("apron" in note for note in told(followed.notes))


def test_missing_ground_beside_the_fence_is_a_fault():
    line = circle_line(30.0, step=1.0, elevation=plane())
    site = site_of(100.0, half=45.0)
    elevation = site.elevation.copy()
    elevation[:, 75] = np.nan
    site, project = dataclasses.replace(site, elevation=elevation), project_of()
    with pytest.raises(Faults, match=r'plot "field", pack 1: no elevation beside the fence at chainage \d+\.\d m'):
        assess(site, assess_land(site, project), enclosure_of(pack_of(line)), project)
