"""Where the round along the fence meets water: closed forms round a circle."""

import dataclasses
import math

import numpy as np
import pytest
from shapely.geometry import LineString, MultiPoint, Point, box

from packpale.care.assess import assess
from packpale.care.wading import wading_notes
from packpale.enclosure.egg import Egg
from packpale.enclosure.model import Fit
from packpale.land.assess import assess as assess_land
from told import told
from trench_cases import egg_line, enclosure_of, pack_of, plane, project_of, site_of

EGG = Egg(0.0, 0.0, 0.0, 40.0, 30.0, 30.0)
RADIUS = 41.5
"""Of the round about the big end, 1.5 m outside the fence."""


def site_with(*water, ground=None):
    return dataclasses.replace(site_of(ground or plane(), half=90.0, cell=0.5), features={"watercourses": water})


def walked(site):
    project = project_of(patrol={"offset_m": 1.5})
    pack = dataclasses.replace(pack_of(egg_line(EGG, step=1.0, elevation=plane())), fit=Fit(EGG, EGG.area, 0.0))
    land = assess_land(site, project)
    return land, assess(site, land, enclosure_of(pack), project)


def said(site, **settings):
    land, care = walked(site)
    return told(wading_notes(site, land, care.rounds, **({"deeper_than": 0.3} | settings)))


def test_a_dry_round_is_not_spoken_of():
    assert said(site_with(LineString([(-20, 0), (20, 5)]), Point(0, 0).buffer(30))) == []
    assert said(dataclasses.replace(site_with(), features={})) == []


@pytest.mark.parametrize(
    ("stream", "places"),
    [(LineString([(0, 0), (0, -80)]), "1 place"), (LineString([(5, 80), (5, -80)]), "2 places")],
)
def test_streams_are_counted_where_the_round_crosses_them(stream, places):
    (note,) = said(site_with(stream, MultiPoint([(0, -41.5)])))
    assert f"the round meets water. It crosses mapped streams at {places};" in note


def test_length_in_a_pond_is_that_of_the_arc_in_it():
    # The strip 10 m to either side of the axis cuts 2 asin(10 / 41.5) from the round about the big end.
    (note,) = said(site_with(box(-10, -80, 10, 0)))
    assert f"runs over {2 * RADIUS * math.asin(10 / RADIUS):.0f} m that can stand more than 0.3 m deep" in note


def test_length_over_a_hollow_by_the_depth_set_and_both_in_one_sentence():
    bowl = lambda x, y: np.where((np.abs(x) < 10) & (np.abs(y + 41) < 20), 99.6, 100.0)  # noqa: E731
    site = site_with(LineString([(0, 0), (0, -80)]), ground=bowl)
    (note,) = said(site)
    arc = 2 * RADIUS * math.asin(10 / RADIUS)
    assert f"crosses mapped streams at 1 place and runs over {arc:.0f} m that can stand more than 0.3 m" in note
    (shallow,) = said(site, deeper_than=0.5)
    assert "runs over" not in shallow
    _, care = walked(site)
    assert note in told(care.notes)
