"""Where mapped water crosses the fence: closed forms on an egg, and what the ground model makes of the same places."""

import dataclasses
import math

import pytest
from shapely.geometry import GeometryCollection, LineString, MultiLineString, Point, box

from packpale.care.assess import assess
from packpale.care.crossings import find_crossings
from packpale.care.streams import StreamCrossing, stream_crossings, stream_notes
from packpale.enclosure.alignment import stations
from packpale.enclosure.egg import Egg
from packpale.enclosure.model import Fit
from packpale.land.assess import assess as assess_land
from packpale.settings import CrossingSettings
from told import told
from trench_cases import enclosure_of, pack_of, plane, project_of, site_of

EGG = Egg(0.0, 0.0, 0.0, 20.0, 12.0, 18.0)
"""Axis to the north: its line crosses x = 0 at y = -20, where chainage begins, and at y = 30."""


def with_water(*features, ground=None):
    return dataclasses.replace(site_of(ground or plane(), half=60.0), features={"watercourses": features})


def pack(site, egg=EGG, number=1):
    bare = pack_of(stations(egg, step=1.0, elevation=site.elevation, grid=site.grid), number=number)
    return dataclasses.replace(bare, fit=Fit(egg, egg.area, 0.0))


def found(*features):
    site = with_water(*features)
    return stream_crossings(site, pack(site), ())


def test_a_stream_through_the_enclosure_crosses_twice():
    first, second = found(LineString([(4, 50), (4, -50)]))
    # Clockwise from the southern tip: over the small end first, and back to the big end, 20 asin(4 / 20) before it.
    assert (first.x, first.y) == pytest.approx((4, 18 + math.sqrt(12**2 - 4**2)), abs=2e-3)
    assert (second.x, second.y) == pytest.approx((4, -math.sqrt(20**2 - 4**2)), abs=2e-3)
    assert first.chainage == pytest.approx(EGG.perimeter / 2 + 12 * math.asin(4 / 12), abs=5e-3)
    assert second.chainage == pytest.approx(EGG.perimeter - 20 * math.asin(4 / 20), abs=5e-3)
    assert (first.width, second.width, first.crossing) == (0, 0, None)


def test_water_that_does_not_reach_the_line_crosses_nowhere():
    assert found(Point(0, 0).buffer(8), LineString([(-5, 0), (5, 3)]), box(40, -50, 50, 50)) == ()
    assert found() == ()
    site = site_of(plane(), half=60.0)
    assert stream_crossings(site, pack(site), ()) == ()


def test_a_pond_under_the_line_is_as_wide_as_the_line_lies_in_it():
    # A sector of the big end, from 30 to 60 degrees east of its tip, where the line ends.
    a, b = math.radians(30), math.radians(60)
    corners = [(0, 0), (90 * math.sin(a), -90 * math.cos(a)), (90 * math.sin(b), -90 * math.cos(b))]
    (pond,) = found(LineString(corners).convex_hull)
    assert pond.width == pytest.approx(20 * (b - a), abs=5e-3)
    assert pond.chainage == pytest.approx(EGG.perimeter - 20 * (a + b) / 2, abs=5e-3)


def test_a_pond_over_the_start_of_the_line_is_one():
    a = math.radians(25)
    corners = [(0, 0), (90 * math.sin(a), -90 * math.cos(a)), (-90 * math.sin(a), -90 * math.cos(a))]
    (pond,) = found(LineString(corners).convex_hull)
    assert pond.width == pytest.approx(40 * a, abs=5e-3)
    assert min(pond.chainage, EGG.perimeter - pond.chainage) == pytest.approx(0, abs=5e-3)
    (whole,) = found(box(-99, -99, 99, 99))
    assert whole.width == pytest.approx(EGG.perimeter, rel=1e-4)


def test_one_stream_mapped_twice_or_in_pieces_is_counted_once():
    line, bed = LineString([(4, 50), (4, 0)]), box(2, 0, 6, 50)
    (one,) = found(line, bed, MultiLineString([[(4.5, 50), (4.5, 0)]]), GeometryCollection([line]))
    assert one.width == pytest.approx(12 * (math.asin(6 / 12) - math.asin(2 / 12)), abs=5e-3)
    assert len(found(line, LineString([(8, 50), (8, 0)]))) == 2


def valley(x, y):
    return 100 + 0.05 * y + 0.2 * abs(x - 0.5)


def test_a_stream_is_the_flow_path_that_crosses_near_it():
    project = project_of(crossings={"min_area_ha": 0.3})
    # A stream 9 m beside the flow path is 20 (asin(9.5 / 20) - asin(0.5 / 20)) = 9.4 m from it along the big end, and
    # 12 (asin(9.5 / 12) - asin(0.5 / 12)) = 10.5 m along the small one.
    for shift, crossings in ((0.0, [1, 2]), (9.0, [None, 2]), (11.5, [None, None])):
        site = with_water(LineString([(0.5 + shift, 50), (0.5 + shift, -50)]), ground=valley)
        here = pack(site)
        paths = find_crossings(site, assess_land(site, project), here, project)
        assert [p.number for p in paths] == [1, 2]
        streams = stream_crossings(site, here, paths)
        assert [s.crossing for s in streams] == crossings
        # Those of another pack are none of this one's.
        others = [dataclasses.replace(p, pack=2) for p in paths]
        assert {s.crossing for s in stream_crossings(site, here, others)} == {None}


def test_what_only_the_map_shows_is_said_and_looked_at_on_every_round():
    site = with_water(LineString([(0, 0), (0, 50)]))
    project = project_of()
    here = pack(site)
    care = assess(site, assess_land(site, project), enclosure_of(here), project)
    (stream,) = care.streams
    assert care.crossings == ()
    (note,) = [n for n in told(care.notes) if n.startswith("Mapped water")]
    assert "at 1 place that the ground model does not show. It has no flow path from 0.5 ha there: " in note
    assert f"chainage {EGG.perimeter / 2:.0f} m" in note
    checks = [c for walk in care.rounds for c in walk.checks if c.mark.kind == "crossing"]
    assert [(c.mark.what, c.mark.chainage) for c in checks] == [("where mapped water crosses", stream.chainage)]


def test_a_stream_that_the_ground_model_shows_is_said_once():
    project = project_of(crossings={"min_area_ha": 0.3})
    site = with_water(LineString([(0.5, 50), (0.5, -50)]), ground=valley)
    care = assess(site, assess_land(site, project), enclosure_of(pack(site)), project)
    assert [s.crossing for s in care.streams] == [1, 2]
    assert sum("cross the fence at" in note for note in told(care.notes)) == 1
    assert len([c for c in care.rounds[0].checks if c.mark.kind == "crossing"]) == 2
    assert stream_notes((), CrossingSettings()) == []


def test_a_note_names_a_few_of_many_places_and_whose_they_are():
    many = [StreamCrossing(1 + k // 8, 10.0 * k, 0.0, 0.0, 0.0, None) for k in range(9)]
    (note,) = told(stream_notes(many, CrossingSettings()))
    assert "pack 1, chainage 0 m, pack 1, chainage 10 m" in note
    assert "pack 1, chainage 50 m, and 3 more." in note
