"""The gate sheet: leaves on inclined planes in closed form, and what a sill and another swing change."""

import dataclasses
import math

import numpy as np
import pytest
from pydantic import ValidationError

from packpale.earthworks.fence_take_off import fence_take_off
from packpale.earthworks.gates import INNER, OUTER, gate_leaves, gate_notes
from packpale.earthworks.work_out import likely_price
from packpale.enclosure.alignment import stations
from packpale.enclosure.egg import Egg
from packpale.enclosure.model import Fit, Gates
from packpale.review.assumed import settings_used
from packpale.values.notes import ESCAPE
from told import told
from trench_cases import pack_of, project_of, site_of

EGG = Egg(0.0, 0.0, 0.0, 40.0, 25.0, 30.0)
"""Axis to the north: chainage begins at the southern tip, where the line runs west and the enclosed ground is north."""
WIDTH = 4.0
CLEAR = 0.05


def leaves(ground, *, fence=None, **gates):
    site = site_of(ground, half=70.0, cell=0.5)
    project = project_of(fence={"gate_width_m": WIDTH, "airlock_length_m": 0.0, **(fence or {})}, gates=gates)
    return gate_leaves(site, packed(site), project)


def packed(site):
    """A gate at the southern tip."""
    here = EGG.points_at(np.array([0.0]))
    line = stations(EGG, step=1.0, elevation=site.elevation, grid=site.grid)
    gates = Gates(np.array([0.0]), here.x, here.y, WIDTH)
    return dataclasses.replace(pack_of(line), fit=Fit(EGG, EGG.area, 0.0), gates=gates)


CHORD = 2 * 40 * math.sin(WIDTH / 2 / 40)
"""Between the posts, in a straight line."""


@pytest.mark.parametrize("count", [1, 2])
def test_on_level_ground_the_gap_is_the_clearance(count):
    found = leaves(lambda x, y: 100 + 0 * x, leaves=count)
    assert [g.leaf for g in found] == list(range(1, count + 1))
    for g in found:
        assert (g.gap, g.underside) == (pytest.approx(CLEAR), pytest.approx(100 + CLEAR))
        assert g.width == pytest.approx(CHORD / count)
        assert g.height == 2.5
    # Left as seen from outside, from the south, is west.
    if count == 2:
        assert found[0].x == pytest.approx(-CHORD / 4)
        assert found[1].x == pytest.approx(CHORD / 4)


@pytest.mark.parametrize(("count", "swing"), [(1, "in"), (2, "in"), (2, "out")])
def test_across_a_slope_each_leaf_leaves_what_the_ground_falls_over_its_width(count, swing):
    slope = 0.1
    found = leaves(lambda x, y: 100 + slope * x, leaves=count, swing=swing)
    for g in found:
        assert g.gap == pytest.approx(slope * CHORD / count + CLEAR)


def test_of_two_leaves_the_second_hangs_on_the_right_post():
    # A mound inside, nearer to the right post than a leaf is wide, and farther than that from the middle.
    found = leaves(lambda x, y: 100 + 0.5 * (np.hypot(x - CHORD / 2, y + 38.5) < 0.6))
    assert [g.highest_in_swing for g in found] == [pytest.approx(100.0), pytest.approx(100.5)]


def test_uphill_a_leaf_needs_what_the_ground_rises_over_its_swing():
    slope = 0.1
    rise = slope * CHORD / 2
    inward = leaves(lambda x, y: 100 + slope * y)
    outward = leaves(lambda x, y: 100 + slope * y, swing="out")
    assert [g.gap for g in inward] == [pytest.approx(rise + CLEAR)] * 2
    assert [g.gap for g in outward] == [pytest.approx(CLEAR)] * 2
    assert {g.swing for g in inward} == {"into the enclosure"}
    assert {g.swing for g in outward} == {"to the outside"}
    # One leaf as wide as the gate needs twice that.
    (one,) = leaves(lambda x, y: 100 + slope * y, leaves=1)
    assert one.gap == pytest.approx(2 * rise + CLEAR)


def test_a_sill_as_high_as_the_ground_closes_what_slopes_along_the_line_and_no_more():
    along, up = (lambda x, y: 100 + 0.1 * x), (lambda x, y: 100 + 0.1 * y)
    for g in leaves(along, below="concrete sill"):
        assert g.gap == pytest.approx(CLEAR)
        assert g.sill_top == pytest.approx(100 + 0.1 * CHORD / 2)
        assert "the skirt is cast into it" in g.below
    rise = 0.1 * CHORD / 2
    assert [g.gap for g in leaves(up, below="concrete sill")] == [pytest.approx(rise + CLEAR)] * 2
    # One that stands as high as the leaf has to pass closes that too.
    high = leaves(up, below="concrete sill", sill_above_ground_m=rise)
    assert [g.gap for g in high] == [pytest.approx(CLEAR)] * 2


def test_both_gates_of_an_airlock_have_a_sheet_and_the_room_is_told():
    fence = {"airlock_length_m": 12.0, "airlock_width_m": 5.0, "vehicle_length_m": 7.0, "vehicle_width_m": 2.5}
    found = leaves(lambda x, y: 100 + 0.05 * y, fence=fence, below="concrete sill")
    assert [(g.place, g.leaf) for g in found] == [(OUTER, 1), (OUTER, 2), (INNER, 1), (INNER, 2)]
    outer, inner = found[0], found[2]
    # The inner gate stands 12 m further in, on the same side, without a sill.
    assert inner.y - outer.y == pytest.approx(12.0, abs=0.1)
    assert inner.x < 0
    assert math.isnan(inner.sill_top)
    assert outer.spare_length == pytest.approx(12 - CHORD / 2 - 7)
    assert inner.spare_width == pytest.approx(1.5, abs=0.01)
    assert (outer.swing, inner.swing) == ("into the airlock", "into the enclosure")
    # Opening outward the inner one swings into the airlock.
    out = leaves(lambda x, y: 100 + 0.05 * y, fence=fence, swing="out")
    assert (out[0].swing, out[2].swing) == ("to the outside", "into the airlock")


def test_a_wide_gap_is_a_way_out_and_missing_ground_is_not_known():
    found = leaves(lambda x, y: 100 + 0.1 * x)
    (note,) = gate_notes(found, 0.1)
    assert note.severity == ESCAPE
    assert "leaves 0.25 m open below it" in told([note])[0]
    assert gate_notes(leaves(lambda x, y: 100 + 0.02 * x), 0.1) == []
    hole = leaves(lambda x, y: np.where((abs(x - 1) < 1) & (abs(y + 39) < 1), np.nan, 100.0))
    assert any(math.isnan(g.gap) for g in hole)
    (note,) = gate_notes(hole, 0.1)
    assert "elevation is missing" in told([note])[0]


def test_what_a_sill_measures_has_no_effect_without_one():
    with pytest.raises(ValidationError, match="sill_depth_m has no effect without below"):
        project_of(gates={"sill_depth_m": 0.6})
    assert not any(s.key.startswith("gates.sill") for s in settings_used(project_of()))
    assert any(s.key.startswith("gates.sill") for s in settings_used(project_of(gates={"below": "concrete sill"})))


def test_a_sill_is_paid_for():
    site = site_of(lambda x, y: 100 + 0 * x, half=70.0)
    pack = packed(site)
    sill = {"below": "concrete sill", "sill_width_m": 0.3, "sill_depth_m": 0.4, "sill_above_ground_m": 0.1}
    with_sill, without = (project_of(fence={"gate_width_m": WIDTH}, gates=g) for g in (sill, {}))

    def taken(project):
        return fence_take_off(pack, fence=project.fence, trench=project.trench, mesh=project.mesh, gates=project.gates)

    assert taken(with_sill).sills == pytest.approx(4 * 0.3 * 0.5)
    assert taken(without).sills == 0
    rate = with_sill.rates.concrete_per_m3[1]
    more = likely_price(site, pack, with_sill) - likely_price(site, pack, without)
    assert more == pytest.approx(4 * 0.3 * 0.5 * rate)
