"""Lines of sight: exact on planes and behind a wall, a plain twin on real ground, shares, limits, screens."""

import dataclasses
import math

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point, box

from packpale.care import _kernels_viewing
from packpale.care.dens import DenSite, Passage
from packpale.care.sights import lines_of_sight, peaks
from packpale.care.viewing import den_notes, ground_inside, in_view, screens, seen_cells, viewing
from packpale.enclosure.egg import Egg
from packpale.enclosure.model import Fit
from packpale.settings import ViewingSettings
from packpale.site import Around, Grid
from told import told
from trench_cases import egg_line, pack_of, plane, site_of

LAX = {"least_seen_share": 0.0, "least_refuge_share": 0.0}


def egg_pack(x=0.0, number=1):
    """An egg from x - 30 to x + 20 along y = 0."""
    egg = Egg(x - 10, 0.0, 90.0, 20.0, 12.0, 18.0)
    return dataclasses.replace(pack_of(egg_line(egg, step=1.0), number=number), fit=Fit(egg, 2000.0, 0.0))


def looked_at(ground, *points, **more):
    return lines_of_sight(dataclasses.replace(site_of(ground, **more), features={"viewpoints": tuple(points)}))


def test_the_kernels_run_compiled():
    sights = looked_at(plane(), Point(60, 0))
    found = viewing(sights, [egg_pack()], ViewingSettings())
    in_view(sights, found, 0.0, 0.0, height=1.0, settings=ViewingSettings())
    assert _kernels_viewing.sweep.nopython_signatures
    assert _kernels_viewing.what_hides.nopython_signatures


@pytest.mark.parametrize(("east", "north"), [(0.0, 0.0), (0.3, -0.2), (-1.5, 0.7)])
@pytest.mark.parametrize("height", [0.0, 0.6])
def test_on_a_plane_all_is_seen(east, north, height):
    sights = looked_at(plane(east, north), Point(70.3, 20.8), cell=2.0)
    found = viewing(sights, [egg_pack()], ViewingSettings(target_height_m=height, **LAX))
    assert found.packs[0].seen_share == 1
    assert found.packs[0].refuge_share == 0
    assert found.viewpoints[0].seen_share == 1
    assert np.nansum(found.seen_from) == ground_inside(egg_pack(), sights.site).sum()


@pytest.mark.parametrize("side", ["east", "north"])
def test_a_ridge_hides_what_lies_under_the_line_over_its_edge(side):
    # A tent of 5 m, its edge along x = 40.5; eyes 1.6 m up at x = 80.5. Behind the edge the line over it falls by
    # (5 - 1.6) / 40 a metre toward the eye, so it rises away from it: all on that side lower than it is hidden.
    def ground(x, y):
        across = x if side == "east" else y
        return 5.0 * np.maximum(1 - np.abs(across - 40.5) / 5, 0)

    x, y = (80.5, 0.5) if side == "east" else (0.5, 80.5)
    sights = looked_at(ground, Point(x, y))
    everywhere = np.ones(sights.site.grid.shape, bool)
    for height in (4.9, 9.0):
        seen = seen_cells(sights, Point(x, y), everywhere, ViewingSettings(target_height_m=3.0, eye_height_m=height))
        line = seen[99, :] if side == "east" else seen[::-1, 100]
        at = sights.site.grid.centres()[0]
        # 9 m eyes look over the edge down to where 5 - (9 - 5) / 40 u = 3 m: u = 20 m behind it, up to x = 20.5.
        expected = (at > 40) if height == 4.9 else (at > 40) | (at < 20.5 + 1e-9)
        beside = np.abs(at - 40.5) < 6
        np.testing.assert_array_equal(line[~beside], expected[~beside])


def sees(z, *line, ready=None):
    """Column, row and height of the eye and of what is looked for."""
    return _kernels_viewing.what_hides(z, *(ready or peaks(z)), *line, -1) < 0


def plain_sight(grid, z, start, end, per_cell=40):
    """Twin: ground by the grid's own interpolation at many points of the line."""
    (x, y, eye), (to_x, to_y, top) = start, end
    n = max(int(per_cell * math.hypot(to_x - x, to_y - y) / grid.cell), 2)
    t = np.arange(1, n) / n
    ground = grid.bilinear(z, x + t * (to_x - x), y + t * (to_y - y))
    return not (ground - (eye + t * (top - eye)) > 1e-9).any(), float(np.max(ground - (eye + t * (top - eye))))


def test_sights_on_real_ground_agree_with_a_plain_twin(real_ground):
    z = real_ground
    grid = Grid(0.0, 400.0, 1.0, *z.shape)
    ready = peaks(z)
    rng = np.random.default_rng(5)
    seen = hidden = 0
    for _ in range(200):
        x, y = rng.uniform(5, 395, 2)
        col, row = rng.integers(0, 400, 2)
        to_x, to_y = grid.centres()[0][col], grid.centres()[1][row]
        eye = float(grid.bilinear(z, x, y)) + 1.6
        top = z[row, col] + 0.6
        found = sees(z, x - 0.5, 400 - y - 0.5, eye, float(col), float(row), top, ready=ready)
        expected, highest = plain_sight(grid, z, (x, y, eye), (to_x, to_y, top))
        # Between its points the twin may miss a hair of ground.
        assert found == expected or abs(highest) < 0.01
        seen, hidden = seen + expected, hidden + (not expected)
    assert min(seen, hidden) > 20


def holed(z):
    """The same ground with missing heights: a block of them, a strip, and here and there one."""
    z = z.copy()
    z[40:90, 120:150] = z[200:203] = np.nan
    z[np.random.default_rng(8).random(z.shape) < 0.01] = np.nan
    return z


@pytest.mark.parametrize("ground", [lambda z: z, holed], ids=["whole", "holed"])
@pytest.mark.parametrize(("col", "row"), [(0.0, 0.0), (201.3, 119.8), (390.0, 77.0), (63.5, 210.5)])
def test_blocks_passed_over_hide_nothing(real_ground, ground, col, row):
    z = np.ascontiguousarray(ground(real_ground)[:310, :397])
    eye = real_ground[round(row), round(col)] + 2.6
    targets = np.zeros(z.shape, bool)
    targets[::3, ::4] = True
    seen = np.zeros(z.shape, bool)
    _kernels_viewing.sweep(z, *peaks(z), z, *peaks(z), 1.0, col, row, targets, col, row, eye, 0.6, 250.0, seen)
    r, c = np.nonzero(targets)
    near = np.hypot(c - col, r - row) <= 250
    # Every line walked from cell to cell, no block left out.
    expected = np.zeros(z.shape, bool)
    for at_r, at_c in zip(r[near].tolist(), c[near].tolist(), strict=True):
        fall = z[at_r, at_c] + 0.6 - eye
        hidden = _kernels_viewing._hidden(z, col, row, eye, at_c - col, at_r - row, fall, 0.0, 1.0)
        expected[at_r, at_c] = not hidden
    np.testing.assert_array_equal(seen, expected)
    assert 200 < seen.sum() < near.sum() - 200


@pytest.mark.parametrize("shape", [(2, 2), (5, 5), (6, 9), (34, 17), (100, 3)])
def test_a_block_knows_its_highest_ground(shape):
    z = np.random.default_rng(9).normal(size=shape)
    high, levels = peaks(z)
    for k, (start, rows, cols) in enumerate(levels.tolist()):
        side = _kernels_viewing.BLOCK << k
        for r, c in np.ndindex(rows, cols):
            # Down to the first centres of the next block: the ground between two centres belongs to the block too.
            part = z[r * side : (r + 1) * side + 1, c * side : (c + 1) * side + 1]
            assert high[start + r * cols + c] == part.max()
    assert levels[-1, 1:].tolist() == [1, 1]


def test_sight_is_mutual_on_real_ground(real_ground):
    ready = peaks(real_ground)
    rng = np.random.default_rng(6)
    for _ in range(300):
        (c, r), (to_c, to_r) = rng.integers(0, 400, (2, 2)).tolist()
        a, b = real_ground[r, c] + 1.0, real_ground[to_r, to_c] + 1.0
        there = sees(real_ground, float(c), float(r), a, float(to_c), float(to_r), b, ready=ready)
        back = sees(real_ground, float(to_c), float(to_r), b, float(c), float(r), a, ready=ready)
        assert there == back


def test_a_bulge_between_two_cell_crossings_hides():
    # One cell of a saddle: along its diagonal bilinear ground is 4 s (1 - s), 1 m high halfway and 0 at both corners.
    z = np.array([[0.0, 2.0], [2.0, 0.0]])
    assert not sees(z, 0.0, 0.0, 0.99, 1.0, 1.0, 0.99)
    assert sees(z, 0.0, 0.0, 1.01, 1.0, 1.0, 1.01)


def test_counts_are_by_cell_and_far_ground_is_not_made_out():
    sights = looked_at(plane(), Point(60.5, 0.5), Point(-60.5, 0.5), cell=2.0)
    found = viewing(sights, [egg_pack()], ViewingSettings(sight_m=70.0, **LAX))
    x, y = np.meshgrid(*sights.site.grid.centres())
    expected = (np.hypot(x - 60.5, y - 0.5) <= 70.0).astype(float) + (np.hypot(x + 60.5, y - 0.5) <= 70.0)
    inside = ground_inside(egg_pack(), sights.site)
    assert set(expected[inside]) == {1.0, 2.0}
    np.testing.assert_array_equal(found.seen_from[inside], expected[inside])
    assert np.isnan(found.seen_from[~inside]).all()
    assert found.packs[0].refuge_share == pytest.approx((expected[inside] == 0).mean())


def test_stand_off_limits_and_the_edge_of_the_model_are_said():
    # The egg's tip is at x = 20 on y = 0.
    sights = looked_at(plane(), Point(21, 0), Point(23, 0), Point(150, 0), Point(5000, 0))
    found = viewing(sights, [egg_pack()], ViewingSettings(stand_off_m=1.5))
    assert [p.keeps_off for p in found.viewpoints] == [False, True, True, True]
    assert found.viewpoints[0].fence_distance == pytest.approx(1.0, abs=0.02)
    assert np.isnan(found.viewpoints[2].seen_share)
    assert found.viewpoints[3].seen_share == 0
    said = " ".join(told(found.notes))
    assert (
        "Pack 1: viewing point 1 stands nearer to the fence than the stand-off, 1.00 m away. The stand-off is 1.5 m"
        in said
    )
    assert "iewing point 2" not in said
    assert "Viewing point 3 lies beyond the elevation model" in said
    assert "iewing point 4" not in said
    assert "only 0 % of the ground inside is out of sight" in said
    assert found.packs[0].is_bound
    blind = viewing(looked_at(plane(), Point(5000, 0)), [egg_pack()], ViewingSettings())
    assert "see 0 % of the ground" in " ".join(told(blind.notes))


def test_what_is_not_known_is_neither_nothing_nor_all():
    beyond, near, far_off = Point(150, 0), Point(60, 0), Point(5000, 0)
    found = viewing(looked_at(plane(), beyond, far_off), [egg_pack()], ViewingSettings())
    assert np.isnan(found.packs[0].seen_share)
    assert np.isnan(found.packs[0].refuge_share)
    assert told(found.notes) == [
        "Viewing point 1 lies beyond the elevation model. What it sees is not known: more may be seen, and less be "
        "refuge, than is shown. Supply files of elevation that reach it."
    ]
    # Seen at least, and certainly too little refuge.
    found = viewing(looked_at(plane(), beyond, near), [egg_pack()], ViewingSettings())
    assert (found.packs[0].seen_share, found.packs[0].is_bound) == (1.0, True)
    assert any("out of sight of all viewing points" in note for note in told(found.notes))
    assert not viewing(looked_at(plane(), near, far_off), [egg_pack()], ViewingSettings()).packs[0].is_bound


def cut(z, *, half, coarse):
    """Square ground with its middle as the window, ``half`` cells to each side, and all of it round that."""
    n = z.shape[0]
    whole = Grid(-n / 2, n / 2, 1.0, n, n)
    part = slice(n // 2 - half, n // 2 + half)
    means = z.reshape(n // coarse, coarse, n // coarse, coarse).mean(axis=(1, 3))
    around = Around(Grid(whole.west, whole.north, float(coarse), n // coarse, n // coarse), means)
    site = site_of(100.0, half=half)
    return dataclasses.replace(site, grid=whole.part(part, part), elevation=z[part, part].copy(), around=around)


@pytest.mark.parametrize(("coarse", "apart"), [(1, 0.0), (2, 0.02), (4, 0.02)])
@pytest.mark.parametrize(("x", "y"), [(150.3, 20.7), (-99.0, 170.2), (-60.5, -190.1), (10.0, 100.2)])
def test_from_beyond_the_window_real_ground_is_seen_as_over_all_of_it(real_ground, coarse, apart, x, y):
    everywhere = lines_of_sight(dataclasses.replace(site_of(100.0, half=200.0), elevation=real_ground))
    windowed = lines_of_sight(cut(real_ground, half=100, coarse=coarse))
    settings = ViewingSettings(eye_height_m=2.5)
    middle = np.zeros((400, 400), bool)
    middle[100:300, 100:300] = True
    expected = seen_cells(everywhere, Point(x, y), middle, settings)[100:300, 100:300]
    found = seen_cells(windowed, Point(x, y), np.ones((200, 200), bool), settings)
    assert 0 < expected.mean() < 1
    assert (found != expected).mean() <= apart
    # One line by itself: the same answer.
    eye = (x, y, windowed.ground(x, y) + 2.5)
    col, row = windowed.site.grid.centres()
    for r, c in [(3, 7), (100, 100), (60, 180), (190, 20)]:
        end = (col[c], row[r], windowed.site.elevation[r, c] + settings.target_height_m)
        assert windowed.clear(eye, end) == found[r, c]


def test_without_viewing_points_there_is_nothing_to_say():
    assert viewing(lines_of_sight(site_of(plane())), [egg_pack()], ViewingSettings()) is None


def test_a_line_is_looked_from_at_its_middle_and_an_area_within():
    path, deck = LineString([(60, 0), (60, 20)]), box(-80, -5, -70, 5)
    found = viewing(looked_at(plane(), path, deck), [egg_pack()], ViewingSettings())
    assert (found.viewpoints[0].x, found.viewpoints[0].y) == (60, 10)
    assert shapely.contains_xy(deck, found.viewpoints[1].x, found.viewpoints[1].y)


def test_a_screen_stands_where_the_line_of_sight_meets_the_fence():
    settings = ViewingSettings()
    sights = looked_at(plane(), Point(60.0, 0.0), Point(-60.0, 0.0), Point(0.0, 5000.0))
    pack = egg_pack()
    found = viewing(sights, [pack], settings)
    assert in_view(sights, found, 0.0, 0.0, height=0.4, settings=settings) == [1, 2]
    east, west = screens(sights, found, pack, 0.0, 0.0, height=0.4, settings=settings)
    assert (east.x, east.y) == pytest.approx((20.0, 0.0), abs=0.02)
    assert (west.x, west.y) == pytest.approx((-30.0, 0.0), abs=0.02)
    # On level ground the line falls evenly from 1.6 m at the eye to 0.4 m.
    assert east.height == pytest.approx(1.6 - 1.2 * 40 / 60, abs=1e-3)
    assert west.height == pytest.approx(1.6 - 1.2 * 30 / 60, abs=1e-3)


def test_a_den_in_view_is_said_with_the_sheet_that_hides_it():
    settings = ViewingSettings()
    passage = Passage("mound", 2.0, 0.1, 0.6)
    den = DenSite(1, 2, 0.0, 0.0, 0.5, {}, 0.0, math.nan, 5.0, 0.0, {}, passage)
    sights = looked_at(plane(), Point(60.0, 0.0))
    (note,) = den_notes(sights, viewing(sights, [egg_pack()], settings), [egg_pack()], [den], settings)
    # The line falls evenly from 1.6 m at the eye to 0.6 m, and meets the fence after 40 of 60 m: 0.93 m.
    (said,) = told([note])
    assert said.startswith("Pack 1: den site 2 is in view")
    assert "0.9" in said
    far = looked_at(plane(), Point(5000.0, 0.0))
    assert den_notes(far, viewing(far, [egg_pack()], settings), [egg_pack()], [den], settings) == []
