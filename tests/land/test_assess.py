"""The land of a whole plot, put together."""

import dataclasses

import numpy as np
import pytest
from scipy.ndimage import correlate
from shapely.geometry import MultiPolygon, box

from packpale.faults import Faults
from packpale.land.assess import assess
from packpale.land.memberships import degree
from packpale.land.model import Land
from packpale.land.surroundings import distance_to
from packpale.values.curves import criteria
from told import say, told

RIDGED = 0.05 * np.hypot(*np.mgrid[-20:20, -25:25]) + np.random.default_rng(5).normal(0, 0.02, (40, 50)).cumsum(axis=1)


def test_default_weights_come_from_the_register_and_add_up_to_one(make_site, make_project):
    land = assess(make_site(RIDGED), make_project())
    assert land.weights == pytest.approx({"slope": 3 / 7, "drainage": 2 / 7, "diggability": 2 / 7})
    assert land.consistency_ratio is None


def test_suitability_is_the_weighted_sum_of_the_memberships(make_site, make_project):
    features = {"access": (box(1000, 2000, 1010, 2010),)}
    project = make_project("access", weights={"slope": 1, "drainage": 0, "access": 3})
    site = make_site(RIDGED, features=features)
    land = assess(site, project)
    assert land.weights == {"slope": 0.25, "access": 0.75}
    near = degree(distance_to(features["access"], site.grid), criteria()["access", "distance to access"])
    expected = 0.25 * degree(100 * land.slope, criteria()["slope", "slope"]) + 0.75 * near
    assert land.suitability == pytest.approx(expected, nan_ok=True)
    assert 0 <= np.nanmin(land.suitability) <= np.nanmax(land.suitability) <= 1


def test_comparisons_give_the_weights(make_site, make_project):
    land = assess(make_site(RIDGED), make_project(pairwise={"slope": {"drainage": 4}}))
    assert land.weights == pytest.approx({"slope": 0.8, "drainage": 0.2})
    assert land.consistency_ratio == 0
    assert not any("consistency" in note for note in told(land.notes))


def test_comparisons_that_contradict_each_other_are_noted(make_site, make_project):
    cycle = {"slope": {"drainage": 3}, "drainage": {"diggability": 3}, "diggability": {"slope": 3}}
    land = assess(make_site(RIDGED), make_project(pairwise=cycle))
    assert land.consistency_ratio == pytest.approx(1.149, abs=1e-3)
    assert any("consistency ratio 1.15" in note for note in told(land.notes))


def test_a_missing_comparison_is_a_fault_of_the_settings(make_site, make_project):
    pairwise = {"slope": {"drainage": 3}, "diggability": {"slope": 2}}
    with pytest.raises(Faults) as caught:
        assess(make_site(RIDGED), make_project(pairwise=pairwise))
    assert caught.value.lines == (
        "land.pairwise: diggability is not compared with drainage; give land.pairwise.diggability.drainage",
    )


def test_every_array_has_the_shape_of_the_grid_and_is_nan_where_nothing_is_known(make_site, make_project):
    z = RIDGED.copy()
    z[20, 30] = np.nan
    features = {"access": (box(1000, 2000, 1010, 2010),)}
    site = make_site(z, features=features)
    land = assess(site, make_project("access", weights={"access": 1}))
    unknown = np.ones(z.shape, bool)
    unknown[1:-1, 1:-1] = False
    unknown[19:22, 29:32] = True
    for name in ("slope", "wetness", "limitation", "diggability", "suitability"):
        np.testing.assert_array_equal(np.isnan(getattr(land, name)), unknown, err_msg=name)
    for name in ("filled", "ponding", "upstream_area"):
        np.testing.assert_array_equal(np.isnan(getattr(land, name)), np.isnan(z), err_msg=name)
    arrays = {f.name: getattr(land, f.name) for f in dataclasses.fields(Land)}
    assert {a.shape for a in arrays.values() if isinstance(a, np.ndarray)} == {z.shape}
    # A plot's largest need of memory.
    kept = {a.dtype.name for a in arrays.values() if isinstance(a, np.ndarray) and a.dtype.kind == "f"}
    assert kept == {"float32"}
    assert (land.limiting_feature[unknown] == -1).all()


def test_same_ground_gives_the_same_land(make_site, make_project):
    first, second = (assess(make_site(RIDGED), make_project()) for _ in range(2))
    for field in dataclasses.fields(Land):
        one, other = getattr(first, field.name), getattr(second, field.name)
        if isinstance(one, np.ndarray):
            np.testing.assert_array_equal(one, other)
        else:
            assert one == other


def test_water_from_outside_is_noted_where_it_runs_in_a_channel(make_site, make_project):
    valley = 0.2 * np.abs(np.arange(-25, 25))[None, :] + 0.05 * np.arange(40)[:, None]
    land = assess(make_site(valley), make_project(channel_area_ha=0.01))
    assert any("at least the figure shown" in note for note in told(land.notes))
    cone = -0.1 * np.hypot(*np.mgrid[-20:20, -25:25])
    assert assess(make_site(cone), make_project()).notes == ()


def test_the_note_counts_the_channel_cells_of_the_plot(make_site, make_project):
    """On a cone only the cells on the window's edge can take water in from outside."""
    cone = -0.1 * np.hypot(*np.mgrid[-20:20, -25:25])
    site = make_site(cone, outline=box(1000, 2000, 1050, 2008))
    land = assess(site, make_project(channel_area_ha=0.0005))
    edge = np.ones(cone.shape, bool)
    edge[1:-1, 1:-1] = False
    channel = (land.upstream_area >= 5) & site.inside
    share = (channel & edge).sum() / channel.sum()
    assert 0.1 < share < 0.9
    (note,) = told(land.notes)
    assert f" in {100 * share:.0f} % of the plot's channel cells" in note


def test_real_ground_goes_through_whole(real_ground, make_site, make_project):
    site = make_site(real_ground, outline=MultiPolygon([box(1050, 2050, 1350, 2350)]))
    land = assess(site, make_project())
    assert land.usable.is_valid
    taken = MultiPolygon([part for limit in land.limits for part in limit.area.geoms]).buffer(0)
    assert land.usable.intersection(taken).area < 1e-6
    for limit in land.limits:
        assert limit.area.is_valid
        assert limit.share == pytest.approx(limit.area.area / 90_000)
    # An independent plane through 5 x 5 cells: scipy's correlation with the offsets.
    offsets = np.tile(np.arange(-2.0, 3.0), (5, 1))
    gradients = [correlate(real_ground, way) / (offsets**2).sum() for way in (offsets, offsets.T)]
    steep = np.degrees(np.arctan(np.hypot(*gradients))) > 20
    assert land.enclosable.area > land.usable.area
    expected = (steep & site.inside).sum()
    assert next(x for x in land.limits if say(x.name).startswith("steeper")).area.area == pytest.approx(expected)
