"""Two packs: gaps, lanes and facing lengths of eggs set a known distance apart, sight over a ridge, howls, refuge."""

import dataclasses
import math

import numpy as np
import pytest
from shapely.geometry import Point

from packpale.care.howl import howl
from packpale.care.neighbours import neighbour_notes, neighbours
from packpale.care.sights import lines_of_sight
from packpale.care.viewing import viewing
from packpale.enclosure.egg import Egg
from packpale.enclosure.model import Fit
from told import told
from trench_cases import egg_line, pack_of, plane, project_of, site_of


def egg_pack(x, number):
    """An egg from x - 30 to x + 20 along y = 0."""
    egg = Egg(x - 10, 0.0, 90.0, 20.0, 12.0, 18.0)
    return dataclasses.replace(pack_of(egg_line(egg, step=0.5), number=number), fit=Fit(egg, 2000.0, 0.0))


def two(gap, ground=plane(), **sections):  # noqa: B008 - a function without state
    """Two eggs in a row with ``gap`` between the tip of the first and the big end of the second."""
    site = dataclasses.replace(site_of(ground), features={"viewpoints": (Point(0, -90),)})
    packs, project = [egg_pack(-20 - gap, 1), egg_pack(30, 2)], project_of(**sections)
    howls = howl(site, packs, project.howl)
    sights = lines_of_sight(site)
    views = viewing(sights, packs, project.viewing)
    return neighbours(sights, packs, howls, views, project), howls, views, project


@pytest.mark.parametrize(
    ("gap", "between", "keeps"),
    [(0.5, "too close", False), (1.0, "double fence", False), (2.3, "double fence", True), (5.0, "lane", True)],
)
def test_gap_and_what_it_is(gap, between, keeps):
    # Trenches so narrow that not even the nearest two meet.
    narrow = {"side": "inside", "bottom_width_m": 0.3, "side_slope": 0.0}
    (found,), _, _, project = two(gap, enclosure={"separation_m": 2.0}, fence={"vehicle_width_m": 2.5}, trench=narrow)
    assert found.gap == pytest.approx(gap, abs=0.02)
    assert (found.between, found.keeps_separation) == (between, keeps)
    (x1, y1), (x2, y2) = found.ends
    assert math.hypot(x2 - x1, y2 - y1) == pytest.approx(found.gap)
    assert x2 == pytest.approx(0, abs=0.02)
    assert len(neighbour_notes([found], project)) == (between == "too close") + (not keeps)


@pytest.mark.parametrize(
    ("gap", "side", "said"),
    [
        (3.5, "outside", "each apron reaches 1.8 m out and the gap between the fences is 3.50 m. Lay one mesh"),
        (3.7, "outside", "each trench takes 1.95 m outside its fence and the gap between the fences is 3.70 m"),
        (3.88, "outside", "each trench takes 1.95 m outside"),
        (3.92, "outside", None),
        (1.78, "inside", "each trench takes 0.90 m outside"),
        (1.82, "inside", None),
    ],
)
def test_aprons_and_trenches_that_meet_between_two_fences_are_said(gap, side, said):
    # Two aprons of 1.8 m need 3.6 m, two trenches 2 (1.8 + 0.5 x 0.3) = 3.9 m; with the aprons inside, the skirts'
    # own trenches 2 (0.3 + 0.5 x 1.2) = 1.8 m.
    trench = {"apron_reach_m": 1.8, "side_slope": 0.5, "depth_m": 1.2, "side": side}
    (found,), _, _, project = two(gap, trench=trench, enclosure={"separation_m": 0.5})
    notes = told(neighbour_notes([found], project))
    assert len(notes) == (said is not None)
    assert all(said in note for note in notes)


def test_facing_length_of_the_small_end():
    # Small end of radius 12 against the big end of radius 20, centres 12 + 5 + 20 apart. A point of the first at the
    # angle t from the axis is hypot(37 - 12 cos t, 12 sin t) - 20 from the second.
    (found,), *_ = two(5.0, fence={"vehicle_width_m": 2.5})
    t = np.linspace(0, math.pi / 2, 200_001)
    away = np.hypot(37 - 12 * np.cos(t), 12 * np.sin(t)) - 20
    assert found.facing == pytest.approx(2 * 12 * t[away <= 7.5].max(), abs=1.1)


def test_on_a_plane_packs_see_all_of_each_other_and_a_ridge_hides_them():
    (found,), howls, views, _ = two(5.0)
    assert found.sees == (1.0, 1.0)
    assert found.refuge == tuple(p.refuge_share for p in views.packs)
    assert found.excess == tuple(h.excess for h in howls.heard)
    (hidden,), quiet, *_ = two(5.0, lambda x, y: 40 * np.maximum(1 - np.abs(x + 2.5) / 2, 0) + 0 * y)
    assert max(hidden.sees) < 0.05
    assert quiet.heard[0].excess < howls.heard[0].excess


def test_a_single_pack_has_no_neighbours():
    site, project = site_of(plane()), project_of()
    one = [egg_pack(0, 1)]
    assert neighbours(lines_of_sight(site), one, howl(site, one, project.howl), None, project) == ()
