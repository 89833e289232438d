"""Where water crosses the fence: closed forms on a tilted valley, a count on real ground."""

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest
import shapely
from pydantic import ValidationError

from packpale.care.assess import assess
from packpale.care.crossings import RISE_M, SIDE_M, Crossing, crossing_notes, find_crossings, flat_length
from packpale.care.hydraulics import intensity_at, manning_flow, open_share, opening_width
from packpale.enclosure.alignment import stations
from packpale.enclosure.egg import Egg
from packpale.enclosure.flow_links import links_across
from packpale.enclosure.model import Fit
from packpale.land.assess import assess as assess_land
from packpale.land.drainage import Flow, flow_over, longest_paths, upstream_cells
from packpale.settings import CrossingSettings
from packpale.site import Around, Grid
from packpale.values.notes import COST
from told import told
from trench_cases import enclosure_of, pack_of, project_of, site_of

EGG = Egg(0.0, 0.0, 0.0, 20.0, 12.0, 18.0)
"""Axis to the north: its line crosses x = 0 at y = -20 and y = 30."""
RAIN = {"rain_mm_per_h": 100.0, "rain_source": "invented storm"}


def valley(*, half=60.0, fall=0.05, sides=0.2):
    """A valley along x = 0.5 that falls to the south; its bottom is one column of cells."""
    return site_of(lambda x, y: 100 + fall * y + sides * np.abs(x - 0.5), half=half)


def crossings_in(site, **settings):
    project = project_of(crossings=settings)
    pack = pack_of(stations(EGG, step=1.0, elevation=site.elevation, grid=site.grid))
    return find_crossings(site, assess_land(site, project), pack, project)


def test_a_stream_enters_and_leaves_a_tilted_valley_once():
    # The sides (.2) are steeper than the diagonals ((.2 + .05) / sqrt 2), so that rain runs straight along each row to
    # the bottom: every row of 120 cells drains there whole.
    into, out = crossings_in(valley(), min_area_ha=0.3)
    assert (into.number, into.inward, out.number, out.inward) == (1, True, 2, False)
    # Where x = 0.5 meets the small end and the big end.
    assert (into.x, into.y) == pytest.approx((0.5, 18 + math.sqrt(12**2 - 0.25)))
    assert (out.x, out.y) == pytest.approx((0.5, -math.sqrt(20**2 - 0.25)))
    assert into.chainage == pytest.approx(EGG.perimeter / 2 + 12 * math.asin(0.5 / 12), abs=2e-3)
    assert out.chainage == pytest.approx(EGG.perimeter - 20 * math.asin(0.5 / 20), abs=2e-3)
    # Rows 59.5 to 30.5, and down to -19.5.
    assert (into.area, out.area) == (30 * 120, 80 * 120)
    # From the far corner 60 cells along the top row, down the bottom to the last cell, and on to the line.
    assert into.path_length == pytest.approx(60 + 29 + 30.5 - into.y)
    assert out.path_length == pytest.approx(60 + 79 - 19.5 - out.y)
    assert into.path_slope == pytest.approx((60 * 0.2 + 29 * 0.05) / into.path_length)
    assert into.bed_slope == pytest.approx(0.05)
    assert into.is_lower_bound


def test_where_the_bed_s_slope_is_not_known_no_opening_is_made_up():
    site = valley()
    # Beside the upper crossing, so that its cell has no slope; the stream itself still runs.
    site.elevation[site.grid.rows // 2 - 31, site.grid.cols // 2 + 1] = np.nan
    into, out = crossings_in(site, min_area_ha=0.2, **RAIN)
    assert np.isnan(into.bed_slope)
    assert into.opening is None
    assert out.opening is not None
    notes = told(crossing_notes((into, out), project_of(crossings=RAIN)))
    assert any("At 1 of the 2 crossings elevation is missing beside the fence line" in n for n in notes)


def test_the_catchment_beyond_the_window_counts():
    # As before, and closed by divides: 90 cells to each side, and on y = 100 to the north.
    def closed(x, y):
        across = np.abs(x - 0.5)
        return 0.2 * np.minimum(across, 179 - across) - 0.05 * np.abs(y - 100)

    whole = valley(half=120.0)
    site = valley()
    (far_x, far_y), (near_x, near_y) = (np.meshgrid(*s.grid.centres()) for s in (whole, site))
    ground = 100 + closed(far_x, far_y)
    for coarse in (1, 2, 3):
        n = 240 // coarse
        means = ground.reshape(n, coarse, n, coarse).mean(axis=(1, 3))
        around = Around(Grid(-120.0, 120.0, float(coarse), n, n), means)
        windowed = dataclasses.replace(site, elevation=100 + closed(near_x, near_y), around=around)
        into, out = crossings_in(windowed, min_area_ha=0.3)
        close = {"rel": 1e-9 if coarse == 1 else 0.05}
        # 179 columns; rows 99.5 to 30.5, and down to -19.5.
        assert (into.area, out.area) == (pytest.approx(70 * 179, **close), pytest.approx(120 * 179, **close))
        # From the divide along the top row, down the bottom to the last cell, and on to the line.
        assert into.path_length == pytest.approx(89 + 69 + 30.5 - into.y, **close)
        assert into.path_slope == pytest.approx((89 * 0.2 + 69 * 0.05) / into.path_length, **close)
        assert not into.is_lower_bound
        assert not out.is_lower_bound


def cut(z, rows, cols, *, cell, coarse):
    """Some rows and columns of a ground as the window of a site, and all of it round that."""
    n, m = z.shape[0] // coarse * coarse, z.shape[1] // coarse * coarse
    means = z[:n, :m].reshape(n // coarse, coarse, m // coarse, coarse).mean(axis=(1, 3))
    whole = Grid(0.0, 0.0, cell, *z.shape)
    window = whole.part(rows, cols)
    site = site_of(100.0, half=window.rows * cell / 2, cell=cell)
    around = Around(Grid(0.0, 0.0, coarse * cell, *means.shape), means)
    return dataclasses.replace(site, grid=window, elevation=z[rows, cols].copy(), around=around)


def crossings_of(site, egg, **settings):
    project = project_of(crossings=settings)
    line = stations(egg, step=1.0, elevation=site.elevation, grid=site.grid)
    pack = dataclasses.replace(pack_of(line), fit=Fit(egg, 1.0, 0.0))
    return find_crossings(site, assess_land(site, project), pack, project)


def test_in_a_window_water_is_that_of_all_real_ground(real_ground):
    egg = Egg(200.0, -200.0, 37.0, 45.0, 30.0, 40.0)
    part = slice(80, 320)
    windowed = cut(real_ground, part, part, cell=1.0, coarse=1)
    whole = cut(real_ground, slice(0, 400), slice(0, 400), cell=1.0, coarse=1)
    expected = crossings_of(dataclasses.replace(whole, around=None), egg, min_area_ha=0.05)
    assert len(expected) > 3
    assert crossings_of(windowed, egg, min_area_ha=0.05) == expected
    assert crossings_of(dataclasses.replace(windowed, around=None), egg, min_area_ha=0.05) != expected


@pytest.fixture(scope="module")
def upland():
    """The invented upland of data_samples/demo, 2 m cells: 700 x 700 of them from both files side by side."""
    import rasterio

    folder = Path(__file__).parents[2] / "data_samples" / "demo"
    parts = []
    for side in ("west", "east"):
        with rasterio.open(folder / f"elevation_{side}.tif") as source:
            parts.append(source.read(1).astype(np.float64))
    return np.hstack(parts)[:, 150:]


@pytest.mark.parametrize("coarse", [2, 3, 4])
@pytest.mark.parametrize(("row", "col"), [(350, 420), (250, 250), (450, 560)])
def test_coarser_ground_beyond_the_window_gives_areas_within_a_fifth(upland, coarse, row, col):
    egg = Egg(2.0 * col, -2.0 * row, 70.0, 110.0, 70.0, 90.0)
    windowed = cut(upland, slice(row - 120, row + 120), slice(col - 120, col + 120), cell=2.0, coarse=coarse)
    whole = cut(upland, slice(0, 700), slice(0, 700), cell=2.0, coarse=1)
    expected, found = (
        crossings_of(s, egg, min_area_ha=0.5) for s in (dataclasses.replace(whole, around=None), windowed)
    )
    cut_off = crossings_of(dataclasses.replace(windowed, around=None), egg, min_area_ha=0.5)
    assert len(found) == pytest.approx(len(expected), abs=max(1, 0.2 * len(expected)))
    # What matters: the large ones, each by its place, and all water together.
    largest = sorted(expected, key=lambda c: -c.area)[:3]
    by_place = {(c.x, c.y): c for c in found}
    for c in largest:
        assert by_place[c.x, c.y].area == pytest.approx(c.area, rel=0.2)
        assert by_place[c.x, c.y].path_length == pytest.approx(c.path_length, rel=0.2)
    total, here, before = (sum(c.area for c in which) for which in (expected, found, cut_off))
    assert here == pytest.approx(total, rel=0.1)
    assert before < 0.8 * total


def test_the_least_area_decides_what_counts():
    assert [c.area for c in crossings_in(valley(), min_area_ha=0.36)] == [3600, 9600]
    assert [c.area for c in crossings_in(valley(), min_area_ha=0.361)] == [9600]
    assert crossings_in(valley(), min_area_ha=0.97) == ()


def test_a_path_up_a_diagonal_is_measured_along_it():
    # Cells 0 -> 4 down the diagonal of a 5 x 5 grid, one cell beside it joins half way.
    direction = np.full((5, 5), -1, np.int8)
    direction[np.arange(4), np.arange(4)] = 1
    direction[2, 3] = 4
    level = np.arange(25, 0, -1.0).reshape(5, 5)
    length, head = longest_paths(Flow(level, direction, np.zeros((5, 5), bool)))
    assert length[4, 4] == pytest.approx(4 * math.sqrt(2))
    assert length[3, 3] == pytest.approx(3 * math.sqrt(2))
    assert head[4, 4] == head[3, 3] == 25
    assert (length[2, 3], head[2, 3]) == (0, level[2, 3])


@pytest.fixture(scope="module")
def real_flow():
    """Flow over the laser-scanned ground of data_samples/real, 400 x 400 cells of 1 m."""
    import rasterio

    path = Path(__file__).parents[2] / "data_samples" / "real" / "lidar_1m_utm15n.tif"
    with rasterio.open(path) as source:
        return flow_over(source.read(1).astype(np.float64))


@pytest.mark.parametrize("bearing", [0.0, 37.0, 213.0])
def test_on_real_ground_every_link_is_found_once_and_no_water_is_lost(real_flow, bearing):
    """What leaves is what enters and what falls inside, to the last cell; and the links again, by geometry."""
    flow = real_flow
    count, _ = upstream_cells(flow)
    grid = Grid(0.0, 400.0, 1.0, 400, 400)
    egg = Egg(190.0, 205.0, bearing, 90.0, 60.0, 80.0)
    found = links_across(egg, grid, flow.direction, count >= 1)
    x, y = np.meshgrid(*grid.centres())
    drains = count[found.row, found.col].astype(int)
    outlets_inside = (flow.direction == -1) & egg.contains(x, y)
    assert not outlets_inside.any()
    assert drains[~found.inward].sum() - drains[found.inward].sum() == egg.contains(x, y).sum()
    assert len({(r, c) for r, c in zip(found.row.tolist(), found.col.tolist(), strict=True)}) == found.row.size
    # Another way: the segments of all links against the outline, which is met an odd number of times.
    row, col = np.nonzero(flow.direction >= 0)
    k = flow.direction[row, col]
    down, right = np.array([0, 1, 1, 1, 0, -1, -1, -1])[k], np.array([1, 1, 0, -1, -1, -1, 0, 1])[k]
    ends = np.stack([x[row, col], y[row, col], x[row + down, col + right], y[row + down, col + right]], axis=1)
    outline, segments = egg.polygon(1e-4).exterior, shapely.linestrings(ends.reshape(-1, 2, 2))
    shapely.prepare(outline)
    near = np.flatnonzero(shapely.intersects(outline, segments))
    met = shapely.intersection(segments[near], outline)
    odd = shapely.get_num_geometries(met) % 2 == 1
    assert found.row.size == odd.sum() > 500
    np.testing.assert_array_equal(found.row, row[near[odd]])
    np.testing.assert_array_equal(found.col, col[near[odd]])
    first = shapely.get_coordinates(shapely.get_geometry(met[odd], 0))
    single = shapely.get_num_geometries(met[odd]) == 1
    np.testing.assert_allclose(np.column_stack([found.x, found.y])[single], first[single], atol=1e-2)


# Flow and opening.


def test_the_opening_carries_the_flow_through_what_bars_and_debris_leave():
    into, _ = crossings_in(valley(), min_area_ha=0.3, **RAIN)
    opening = into.opening
    # .35 x 1.25 of 100 mm/h from .36 ha.
    assert opening.flow == pytest.approx(0.4375 * 0.100 / 3600 * 3600)
    b, h = opening.width, opening.height
    open_area = b * h * (0.08 / 0.10) * 0.5
    velocity = (b * h / (b + 2 * h)) ** (2 / 3) * math.sqrt(0.05) / 0.05
    assert open_area * velocity == pytest.approx(opening.flow, rel=1e-5)
    assert opening.bars == math.ceil(b / 0.10)


def test_more_than_all_rain_does_not_run_off():
    into, _ = crossings_in(valley(), min_area_ha=0.3, runoff_coefficient=0.95, **RAIN)
    assert into.opening.flow == pytest.approx(0.1 / 3600 * 3600)


def test_a_very_wide_opening_carries_like_a_sheet():
    # Without its sides R tends to the depth: b = Q n / (h^(5/3) sqrt S).
    width = opening_width(1000.0, height=0.5, slope=0.01, roughness=0.05, share=1.0)
    assert width == pytest.approx(1000 * 0.05 / (0.5 ** (5 / 3) * 0.1), rel=2e-3)
    assert manning_flow(area=width / 2, wetted_perimeter=width + 1, slope=0.01, roughness=0.05) >= 1000 - 1e-6


def test_bars_and_debris_take_their_part():
    assert open_share(bar_gap=0.08, bar_thickness=0.02, blocked_share=0.5) == pytest.approx(0.4)
    assert open_share(bar_gap=0.1, bar_thickness=0.1, blocked_share=0.0) == pytest.approx(0.5)


def test_intensity_is_read_from_the_table_at_the_time_of_concentration():
    table = ((5.0, 160.0), (20.0, 80.0), (60.0, 40.0))
    assert intensity_at(table, 5.0) == intensity_at(table, 1.0) == 160
    # Half way in the logarithm between 5 and 20 min.
    assert intensity_at(table, 10.0) == pytest.approx(math.sqrt(160 * 80))
    assert intensity_at(table, 60.0) == intensity_at(table, 500.0) == 40
    assert intensity_at(90.0, 500.0) == 90
    # On the ground: 1.29 min is before the table begins.
    (into, _) = crossings_in(valley(), min_area_ha=0.3, rain_mm_per_h=[[5, 160], [20, 80]], rain_source="invented")
    assert into.opening.intensity_mm_per_h == 160


@pytest.mark.parametrize("bad", [{"height": 0.0}, {"slope": 0.0}, {"share": 0.0}])
def test_an_impossible_opening_is_refused(bad):
    with pytest.raises(ValueError, match="no such opening"):
        opening_width(1.0, **{"height": 0.5, "slope": 0.1, "roughness": 0.05, "share": 0.4, **bad})


# What is said, and settings.


def test_without_rain_areas_and_times_are_told_and_what_is_missing():
    site, project = valley(), project_of(crossings={"min_area_ha": 0.3})
    pack = pack_of(stations(EGG, step=1.0, elevation=site.elevation, grid=site.grid))
    care = assess(site, assess_land(site, project), enclosure_of(pack), project)
    assert [c.opening for c in care.crossings] == [None, None]
    assert all(c.concentration_min > 1 for c in care.crossings)
    said = "\n".join(told(care.notes))
    assert "Streams or valleys that drain 0.3 ha or more cross the fence at 2 places or more" in said
    assert "crossings.rain_mm_per_h and crossings.rain_source are not set" in said
    assert "At 2 of the 2 crossings water may come from beyond the elevation" in said


def crossing(area):
    return Crossing(1, 1, 0.0, 0.0, 0.0, True, area, False, 100.0, 0.1, 5.0, 0.1, None)


@pytest.mark.parametrize(("first", "said"), [(5.1, 1), (5.0, 0), (2.0, 0)])
def test_water_faster_than_the_shortest_rain_given_is_said(first, said):
    # The water of this crossing comes together in 5 min.
    project = project_of(crossings={**RAIN, "rain_mm_per_h": [[first, 160], [20, 80]]})
    notes = told(crossing_notes((crossing(9000.0),), project))
    assert sum("flow and opening are too small there" in note for note in notes) == said
    assert not any(
        "too small" in note for note in told(crossing_notes((crossing(9000.0),), project_of(crossings=RAIN)))
    )


def test_a_catchment_beyond_the_method_is_said():
    project = project_of(crossings=RAIN)
    assert (
        "1 of the 2 crossings the catchment is larger than the 80 ha"
        in told(crossing_notes((crossing(800_001.0), crossing(799_999.0)), project))[-1]
    )
    assert len(crossing_notes((crossing(799_999.0),), project)) == 1
    assert crossing_notes((), project) == []


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"rain_mm_per_h": 100.0}, "rain_mm_per_h needs rain_source"),
        ({"rain_source": "a book"}, "rain_source needs rain_mm_per_h"),
        ({**RAIN, "rain_mm_per_h": [[10, 100], [5, 150]]}, "rising order"),
        ({"blocked_share": 0.7}, "blocked_share has no effect without rain_mm_per_h"),
    ],
)
def test_settings_that_do_not_go_together_are_refused(given, said):
    with pytest.raises(ValidationError, match=said):
        CrossingSettings.model_validate(given)


# Kinds, neighbours, flat ground.


def crossings_on(ground, **settings):
    site, project = site_of(ground, half=60.0), project_of(**settings)
    pack = pack_of(stations(EGG, step=1.0, elevation=site.elevation, grid=site.grid))
    land = assess_land(site, project)
    return find_crossings(site, land, pack, project), flat_length(site, land, pack)


def test_water_in_a_valley_is_told_from_water_on_an_open_slope():
    # Under 1 ha throughout. The sides rise by 2 m in SIDE_M, and by RISE_M in 10 m where they rise by RISE_M / 10.
    small = {"crossings": {"min_area_ha": 0.3}}
    (into, out), _ = crossings_on(lambda x, y: 100 + 0.05 * y + 0.2 * abs(x - 0.5), **small)
    assert (into.kind, out.kind) == ("valley line", "valley line")
    for sides, kind in ((1.02 * RISE_M / SIDE_M, "valley line"), (0.98 * RISE_M / SIDE_M, "sheet flow")):
        found, _ = crossings_on(lambda x, y, n=sides: 100 + 0.005 * y + n * abs(x - 0.5), **small)
        assert {c.kind for c in found if abs(c.x - 0.5) < 1} == {kind}
    # As much ground as makes a channel is a valley line, whatever its sides.
    found, _ = crossings_on(lambda x, y: 100 + 0.005 * y + 0.019 * abs(x - 0.5), land={"channel_area_ha": 0.3}, **small)
    assert {c.kind for c in found} == {"valley line"}
    # An inclined plane is none: straight down each column runs a strip one cell wide.
    found, flat = crossings_on(lambda x, y: 100 + 0.05 * y + 0 * x, crossings={"min_area_ha": 0.005})
    assert {c.kind for c in found} == {"sheet flow"}
    assert (len(found) > 2, flat) == (True, 0.0)


def test_what_crosses_within_a_post_spacing_is_one_place():
    # Two furrows 4 cells apart, where the line runs nearly across; what falls beyond them drains to the nearer.
    def furrows(x, y):
        return 100 + 0.05 * y + 0.2 * np.minimum(abs(x - 0.5), abs(x - 4.5))

    few = {"min_area_ha": 0.1}
    apart, _ = crossings_on(furrows, crossings=few, fence={"post_spacing_m": 3.9})
    joined, _ = crossings_on(furrows, crossings=few, fence={"post_spacing_m": 4.9})
    assert [c.paths for c in apart] == [1, 1, 1, 1]
    assert [c.paths for c in joined] == [2, 2]
    assert [c.number for c in joined] == [1, 2]
    # Nothing is lost: rows of all 120 cells.
    assert sum(c.area for c in joined) == pytest.approx(sum(c.area for c in apart))
    into, out = joined
    assert (into.inward, out.inward) == (True, False)
    # The large one gives the place. The southern group lies on both sides of the line's start.
    assert {c.chainage for c in joined} < {c.chainage for c in apart}
    assert min(out.chainage, EGG.perimeter - out.chainage) < 6


def test_water_that_goes_in_and_out_again_is_counted_once():
    # A furrow down the east side, 0.1 m inside the line where it bulges most: in and out again 4.7 m on.
    site = site_of(lambda x, y: 100 + 0.05 * y + 0.2 * abs(x - 19.5), half=60.0)
    egg = dataclasses.replace(EGG, big_x=-0.4)
    line = stations(egg, step=1.0, elevation=site.elevation, grid=site.grid)
    pack = dataclasses.replace(pack_of(line), fit=Fit(egg, 1.0, 0.0))

    def crossings(spacing):
        project = project_of(crossings={"min_area_ha": 0.3}, fence={"post_spacing_m": spacing})
        return find_crossings(site, assess_land(site, project), pack, project)

    into, out = crossings(3)
    (one,) = crossings(6)
    assert (into.inward, out.inward, out.chainage - into.chainage > 3) == (True, False, True)
    assert (one.paths, one.inward) == (2, False)
    assert one.area == max(into.area, out.area)


def test_on_flat_ground_the_place_is_arbitrary_and_said_to_be():
    # Falls 2 mm in a metre: 0.04 m over the next 20 m. The perimeter whole is flat.
    found, flat = crossings_on(lambda x, y: 100 + 0.002 * y + 0 * x, crossings={"min_area_ha": 0.005})
    assert found
    assert all(c.arbitrary for c in found)
    assert flat == pytest.approx(EGG.perimeter, rel=0.02)
    steep, none = crossings_on(lambda x, y: 100 + 0.006 * y + 0 * x, crossings={"min_area_ha": 0.005})
    assert not any(c.arbitrary for c in steep)
    assert none == 0
    (note,) = [n for n in told(crossing_notes(found, project_of(), flat=flat)) if "too flat" in n]
    assert f"The places of {len(found)} of the {len(found)} crossings are arbitrary" in note
    # Without any crossing it is said all the more: nobody can tell that none is there.
    assert "Over 30 m of fence line the ground is too flat" in told(crossing_notes((), project_of(), flat=30.0))[0]


def test_sheet_flow_does_not_sound_like_a_stream():
    sheet = dataclasses.replace(crossing(6000.0), gathered=False)
    (note,) = (n for n in crossing_notes((sheet,), project_of(crossings=RAIN)))
    assert (note.kind, note.severity) == ("sheet flow crosses", COST)
    stream = dataclasses.replace(sheet, mapped=True)
    said = crossing_notes((stream, sheet), project_of(crossings=RAIN))
    assert [n.kind for n in said] == ["water crosses", "sheet flow crosses"]
    assert "Mapped watercourses: 1; valley lines: 0." in told(said)[0]


@pytest.mark.parametrize(("row", "col"), [(350, 420), (250, 250), (450, 560), (300, 520)])
def test_another_library_finds_as_many_crossings_and_areas_on_the_whole_demo(upland, row, col):
    """By topotoolbox: it fills the ground and takes the steepest of eight ways; shapely tells where these cross."""
    import topotoolbox

    egg = Egg(2.0 * col, -2.0 * row, 70.0, 110.0, 70.0, 90.0)
    windowed = cut(upland, slice(row - 120, row + 120), slice(col - 120, col + 120), cell=2.0, coarse=2)
    project = project_of(crossings={"min_area_ha": 0.5}, fence={"post_spacing_m": 3.0})
    line = stations(egg, step=1.0, elevation=windowed.elevation, grid=windowed.grid)
    pack = dataclasses.replace(pack_of(line), fit=Fit(egg, 1.0, 0.0))
    found = find_crossings(windowed, assess_land(windowed, project), pack, project)

    grid = topotoolbox.GridObject()
    grid.z, grid.cellsize = upland.astype(np.float32), 2.0
    flow = topotoolbox.FlowObject(grid)
    cells = flow.flow_accumulation().z
    (r, c), (r2, c2) = (np.unravel_index(a, upland.shape, order=flow.order) for a in (flow.source, flow.target))
    ends = np.stack([2 * c + 1, -2 * r - 1, 2 * c2 + 1, -2 * r2 - 1], axis=1)[cells[r, c] * 4.0 >= 5000].astype(float)
    drains = cells[r, c][cells[r, c] * 4.0 >= 5000] * 4.0
    inside = egg.polygon(1e-3)
    ring = inside.exterior
    from_inside, to_inside = shapely.contains_xy(inside, ends[:, :2]), shapely.contains_xy(inside, ends[:, 2:])
    met = np.flatnonzero(from_inside != to_inside)
    steps = shapely.linestrings(ends[met].reshape(-1, 2, 2))
    at = shapely.line_locate_point(ring, shapely.centroid(shapely.intersection(steps, ring)))
    order = np.argsort(at)
    areas = (drains[met] * np.where(from_inside[met], -1.0, 1.0))[order]
    groups = np.split(areas, np.flatnonzero(np.diff(at[order]) > 3.0) + 1)
    # Signed: what enters is positive. Water that enters and leaves again is there once.
    places = [max(np.abs(g).max(), abs(g.sum())) for g in groups]
    assert len(found) > 4
    assert len(found) == pytest.approx(len(places), abs=max(1, 0.2 * len(places)))
    assert sum(c.area for c in found) == pytest.approx(sum(places), rel=0.2)
    largest = sorted(places)[-3:]
    np.testing.assert_allclose(sorted(c.area for c in found)[-3:], largest, rtol=0.2)
