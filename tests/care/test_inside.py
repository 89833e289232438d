"""What ground a fence encloses: closed forms on planes, strips and circles; what is not known is never none."""

import dataclasses
import math

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point, box

from packpale.care.inside import MUCH_WATER, MUCH_WET, ground_inside, inside_notes
from packpale.enclosure.drawn import DrawnLine
from packpale.enclosure.egg import Egg
from packpale.enclosure.model import Fit
from packpale.land.assess import assess as assess_land
from packpale.land.surroundings import cells_within
from packpale.land.water import EDGE_M
from packpale.settings import DRAINAGE_CLASSES
from told import told
from trench_cases import egg_line, enclosure_of, pack_of, plane, project_of, site_of

EGG = Egg(0.0, -12.0, 0.0, 40.0, 25.0, 35.0)
"""Axis to the north, from y = -52 to 48."""
SOIL = {"depth_to_rock_m": 0.9, "water_table_m": 1.4}


def pack(egg=EGG, number=1):
    return dataclasses.replace(pack_of(egg_line(egg, step=2.0), number=number), fit=Fit(egg, egg.area, 0.0))


def inside(ground=100.0, *, features=None, rock=100.0, water=100.0, classes=None, packs=None, plot=None, **sections):
    site = site_of(ground, half=90.0, cell=0.5, rock=rock, water=water)
    soil = site.soil if classes is None else dataclasses.replace(site.soil, drainage_class=classes(site))
    outline = site.outline if plot is None else shapely.MultiPolygon([plot])
    site = dataclasses.replace(site, features=features or {}, soil=soil, outline=outline)
    project = project_of(**{"soil": SOIL, **sections})
    return ground_inside(site, assess_land(site, project), packs or [pack()], project)


def part_of_egg(shape, egg=EGG):
    return egg.polygon(1e-4).intersection(shape).area / egg.area


def test_on_bare_level_ground_there_is_nothing():
    (found,) = inside(features={"woodland": (), "watercourses": ()})
    assert found.area == pytest.approx(EGG.area)
    assert (found.wood, found.mapped_water, found.hollows, found.water_edge, found.steep) == (0, 0, 0, 0, 0)
    assert (found.rocky, found.wet, found.streams, found.relief) == (0, 0, 0, 0)


def test_what_is_not_given_is_not_known():
    (found,) = inside(soil={})
    assert (found.wood, found.mapped_water, found.streams, found.rocky, found.wet) == (None,) * 5
    # The ground model shows these by itself.
    assert (found.hollows, found.steep, found.water_edge, found.relief) == (0, 0, 0, 0)
    (of_rock,) = inside(soil={"depth_to_rock_m": 0.9})
    assert (of_rock.rocky, of_rock.wet) == (0, None)
    (of_pits,) = inside(soil={}, inputs={"elevation": ["a"], "plots": "b", "plot_id": "c", "pits": "pits.csv"})
    assert (of_pits.rocky, of_pits.wet) == (0, 0)


def test_missing_ground_is_not_known():
    hole = lambda x, y: np.where(np.hypot(x - 5, y) < 1, np.nan, 100 + 0.5 * x)  # noqa: E731
    (found,) = inside(hole, features={"woodland": (box(-90, -90, 0, 90),)})
    assert (found.hollows, found.steep, found.water_edge, found.relief) == (None,) * 4
    assert found.wood == pytest.approx(0.5, abs=1e-3)


def test_wood_and_water_by_area_and_streams_by_length():
    wood, pond = box(10, -90, 90, 90), Point(-10, 0).buffer(12, 64)
    stream = LineString([(-90, 20), (90, 20)])
    (found,) = inside(features={"woodland": (wood,), "watercourses": (pond, stream)})
    assert found.wood == pytest.approx(part_of_egg(wood), abs=1e-3)
    assert found.mapped_water == pytest.approx(math.pi * 12**2 / EGG.area, abs=1e-3)
    assert found.hollows == 0
    # The bank of the pond adds nothing to the length.
    assert found.streams == pytest.approx(stream.intersection(EGG.polygon(1e-4)).length, abs=0.02)
    edge = shapely.union_all([pond.buffer(EDGE_M), stream.buffer(EDGE_M)]).difference(pond)
    assert found.water_edge == pytest.approx(part_of_egg(edge), abs=5e-3)


@pytest.mark.parametrize(("deep", "counts"), [(0.29, False), (0.31, True)])
def test_hollows_deeper_than_the_limit_are_water_and_have_an_edge(deep, counts):
    bowl = lambda x, y: np.where(np.hypot(x, y) < 15, 100 - deep, 100.0)  # noqa: E731
    (found,) = inside(bowl)
    disc, ring = math.pi * 15**2, math.pi * (25**2 - 15**2)
    assert found.hollows == pytest.approx(counts * disc / EGG.area, abs=2e-3)
    assert found.water_edge == pytest.approx(counts * ring / EGG.area, abs=5e-3)
    assert found.relief == pytest.approx(deep)
    (deeper,) = inside(bowl, land={"max_ponding_m": 0.5})
    assert deeper.hollows == 0


@pytest.mark.parametrize(("slope_deg", "share"), [(19.9, 0), (20.1, 1)])
def test_relief_and_steepness_of_a_plane(slope_deg, share):
    (found,) = inside(plane(north=math.tan(math.radians(slope_deg))))
    assert found.steep == share
    # From tip to tip, to within half a cell at both.
    assert found.relief == pytest.approx(100 * math.tan(math.radians(slope_deg)), abs=0.4)
    assert found.lowest == pytest.approx(100 - 52 * math.tan(math.radians(slope_deg)), abs=0.2)


def test_a_bank_is_steep_between_its_foot_and_its_top():
    bank = lambda x, y: 100 + np.clip(x, 0, 10)  # noqa: E731 - 45 degrees from x = 0 to 10
    (found,) = inside(bank, land={"footprint_m": 0})
    assert found.steep == pytest.approx(part_of_egg(box(0, -90, 10, 90)), abs=0.015)
    assert found.relief == pytest.approx(10.0)


def test_rocky_and_wet_ground_by_what_the_soil_says():
    half = box(0, -90, 90, 90)
    (found,) = inside(rock=lambda x, y: np.where(x > 0, 0.29, 0.31))
    assert found.rocky == pytest.approx(part_of_egg(half), abs=1e-3)
    (shallow,) = inside(water=lambda x, y: np.where(x > 0, 0.25, 0.26))
    assert shallow.wet == pytest.approx(part_of_egg(half), abs=1e-3)

    def classes(wettest):
        def by_place(site):
            x, _ = np.meshgrid(*site.grid.centres())
            return np.where(x > 0, DRAINAGE_CLASSES.index(wettest), 0).astype(np.int8)

        return by_place

    for name, share in (("somewhat poorly", 0), ("poorly", 0.5), ("very poorly", 0.5)):
        (found,) = inside(classes=classes(name))
        assert found.wet == pytest.approx(share, abs=1e-3)


def test_each_pack_has_its_own_and_a_line_beyond_the_plot_is_looked_at_whole():
    square = DrawnLine.from_polygon(box(-80, 55, -20, 85), corner_deg=20.0)
    drawn = dataclasses.replace(pack(number=2), fit=None, given=square)
    ground = lambda x, y: np.where(y > 54, 100 + 0.5 * x, 100.0)  # noqa: E731
    plot = box(-60, -60, 60, 50)
    first, second = inside(ground, packs=[pack(), drawn], plot=plot, land={"footprint_m": 0})
    assert (first.pack, first.steep) == (1, 0)
    assert (second.pack, second.steep) == (2, 1)
    assert second.relief == pytest.approx(30.0, abs=0.3)
    assert second.area == pytest.approx(1800.0)


def test_on_laser_scanned_ground_shares_are_those_of_cells_counted_one_by_one(real_ground):
    from packpale.site import Grid

    base = site_of(100.0, half=200.0)
    grid = Grid(0.0, 400.0, 1.0, 400, 400)
    egg = Egg(190.0, 205.0, 37.0, 90.0, 60.0, 80.0)
    outline = shapely.MultiPolygon([box(*grid.bounds)])
    site = dataclasses.replace(base, grid=grid, elevation=real_ground, outline=outline)
    project = project_of(soil=SOIL)
    land = assess_land(site, project)
    (found,) = ground_inside(site, land, [pack(egg)], project)
    x, y = np.meshgrid(*grid.centres())
    within = egg.contains(x, y)
    (slope,) = (limit for limit in land.limits if limit.kind == "slope")
    (ponds,) = (limit for limit in land.limits if limit.kind == "ponding")
    for share, limit in ((found.steep, slope), (found.hollows, ponds)):
        assert share == pytest.approx(cells_within([limit.area], grid)[within].mean(), abs=1e-4)
        assert 0.001 < share < 0.9
    assert found.relief == pytest.approx(np.ptp(real_ground[within]))


def test_much_water_and_much_wet_ground_are_said():
    (bare,) = inside()
    assert inside_notes([bare], project_of()) == []
    (unknown,) = inside(soil={})
    assert inside_notes([dataclasses.replace(unknown, hollows=None)], project_of()) == []
    wet = dataclasses.replace(bare, pack=2, hollows=MUCH_WATER, wet=MUCH_WET)
    water, ground = told(inside_notes([bare, wet], project_of(land={"max_ponding_m": 0.4})))
    assert water.startswith("Pack 2: 25 % of the ground inside can stand more than 0.4 m deep in water.")
    assert ground.startswith("Pack 2: 50 % of the ground inside is wet (")
    nearly = dataclasses.replace(wet, hollows=MUCH_WATER - 0.001, wet=MUCH_WET - 0.001)
    assert inside_notes([nearly], project_of()) == []


def test_a_bog_is_said_among_the_notes_of_a_plot():
    from packpale.care.assess import assess

    bowl = lambda x, y: np.where(np.hypot(x, y) < 30, 99.0, 100.0)  # noqa: E731
    site = site_of(bowl, half=90.0)
    project = project_of()
    care = assess(site, assess_land(site, project), enclosure_of(pack()), project)
    assert care.insides[0].hollows > MUCH_WATER
    assert sum("of the ground inside can stand" in note for note in told(care.notes)) == 1
