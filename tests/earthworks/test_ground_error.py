"""Errors of the ground along fence lines: segments, what pits take away, and what a level section feels."""

import dataclasses
import math

import numpy as np
import pytest

from packpale.earthworks.ground_error import (
    covariance_left,
    distances,
    level_error,
    root,
    segments,
    sum_over_segments,
    telling,
)
from packpale.earthworks.section import TrenchSection
from packpale.earthworks.volume import cut_sections
from packpale.site import Pit
from trench_cases import circle_line, pack_of, site_of


@pytest.mark.parametrize("correlation", [5.0, 30.0, 1000.0])
def test_segments_cover_every_station_once(correlation):
    packs = [pack_of(circle_line(r, step=1.0), number=k) for k, r in ((1, 30.0), (2, 11.0))]
    found = segments(packs, correlation)
    for k, pack in enumerate(packs):
        own = found.pack == k
        line = pack.alignment
        assert found.stations[own].sum() == line.chainage.size
        assert found.length[own].sum() == pytest.approx(line.step * line.chainage.size)
        assert own.sum() >= 8
        assert found.length[own].max() <= max(correlation / 3, 188.5 / 8) + line.step
        np.testing.assert_array_equal(found.x[own], line.x[found.middle[own]])
        inside = (found.first[own] <= found.middle[own]) & (found.middle[own] < found.first[own] + found.stations[own])
        assert inside.all()
        ones = sum_over_segments(np.ones(line.chainage.size), found, k)
        np.testing.assert_array_equal(ones, found.stations[own])


def test_very_long_line_has_no_more_segments_than_can_be_drawn():
    assert segments([pack_of(circle_line(3000.0, step=5.0))], 10.0).x.size <= 401


def test_without_pits_errors_are_alike_by_distance():
    points = np.array([[0.0, 0.0], [30.0, 40.0]])
    k = covariance_left(points, np.empty((0, 2)), correlation=50.0, variance=0.25)
    np.testing.assert_allclose(k, [[0.25, 0.25 / math.e], [0.25 / math.e, 0.25]])


@pytest.mark.parametrize("away", [0.0, 1.0, 20.0, 50.0, 150.0, 2000.0])
def test_variance_grows_with_the_distance_from_a_single_pit(away):
    k = covariance_left(np.array([[away, 0.0]]), np.zeros((1, 2)), correlation=50.0, variance=0.36)
    # 1e-6 of the variance is left at the pit, so that two pits in one place can be told apart.
    assert k[0, 0] == pytest.approx(0.36 * (1 - math.exp(-2 * away / 50.0)), abs=1e-6)


def test_covariance_left_by_pits_is_that_of_the_inverse():
    # Of jointly normal values, the covariance of some given the others is the inverse of their block of the inverse.
    r = np.random.default_rng(5)
    points, pits = r.uniform(0, 200, (6, 2)), r.uniform(0, 200, (4, 2))
    both = np.vstack([points, pits])
    joint = 0.3 * np.exp(-np.hypot(*(both[:, None] - both[None]).T) / 40.0)
    expected = np.linalg.inv(np.linalg.inv(joint)[:6, :6])
    np.testing.assert_allclose(covariance_left(points, pits, correlation=40.0, variance=0.3), expected, atol=1e-6)


def test_second_pit_in_the_same_place_tells_nothing_more():
    points = np.array([[10.0, 0.0], [0.0, 30.0]])
    one, two = (covariance_left(points, np.zeros((n, 2)), correlation=50.0, variance=0.3) for n in (1, 2))
    np.testing.assert_allclose(one, two, atol=1e-5)


def test_pits_tell_only_of_what_they_say():
    pits = (Pit(1.0, 2.0, {"depth_to_rock_m": 1.0}), Pit(3.0, 4.0, {"water_table_m": 0.5}), Pit(5.0, 6.0, {}))
    np.testing.assert_array_equal(telling(pits, "depth_to_rock_m"), [[1.0, 2.0]])
    np.testing.assert_array_equal(telling(pits, "water_table_m"), [[3.0, 4.0]])
    assert telling((), "water_table_m").shape == (0, 2)


def test_root_gives_back_the_covariance():
    r = np.random.default_rng(1)
    points = r.uniform(0, 100, (12, 2))
    k = 0.4 * np.exp(-distances(points, points) / 30.0)
    found = root(k)
    np.testing.assert_allclose(found @ found.T, k, atol=1e-8)
    assert (root(np.zeros((3, 3))) == 0).all()
    # All alike: one number for all.
    same = np.random.default_rng(2).standard_normal(4) @ root(np.full((4, 4), 0.09)).T
    np.testing.assert_allclose(same, same[0], atol=1e-3)


def test_error_of_a_narrow_section_is_that_of_a_random_walk():
    # Over lengths far below the correlation, e(o) - e(0) has the variance 2 s^2 |o| / L on either side: the integral
    # over a width w of such a walk has w^3 / 3 of it.
    line = circle_line(30.0, step=1.0)
    section = TrenchSection(1.2, 0.6, 1.8, 0.3, 0.0)
    cuts = cut_sections(section, line, site_of(0.0), side="outside", formation="level")
    got = level_error(cuts, np.arange(3), rmse=0.2, correlation=10_000.0)
    exact = 0.2 * math.sqrt(2 / 10_000 * (1.8**3 + 0.3**3) / 3)
    np.testing.assert_allclose(got, exact, rtol=0.01)


def test_shared_error_of_the_ground_is_not_felt():
    line = circle_line(30.0, step=1.0)
    cuts = cut_sections(TrenchSection(1.2, 0.6, 1.8, 0.3, 0.5), line, site_of(0.0), side="outside", formation="level")
    near, far = (level_error(cuts, np.arange(3), rmse=1.0, correlation=c) for c in (10.0, 1e7))
    assert (far < 0.002 * near).all()


def test_error_of_a_level_section_by_cutting_ground_with_errors():
    # A thousand pieces of ground whose errors depend on x alone, cut where the line runs north.
    section = TrenchSection(1.2, 0.6, 1.8, 0.3, 0.5)
    line = circle_line(5.0, step=5.0)
    east = int(np.argmax(line.x))
    only = np.array([east])
    half, cell, rmse, correlation = 10.0, 0.25, 0.1, 4.0
    site = site_of(50.0, half=half, cell=cell)
    x = site.grid.centres()[0]
    errors = np.random.default_rng(3).multivariate_normal(
        np.zeros(x.size), rmse**2 * np.exp(-np.abs(np.subtract.outer(x, x)) / correlation), 1000
    )
    # Turned so that the line's normal there points east.
    line = dataclasses.replace(
        line, outward=np.broadcast_to([1.0, 0.0], line.outward.shape).copy(), x=np.full(line.x.size, 0.1)
    )
    areas = []
    for e in errors:
        rough = dataclasses.replace(site, elevation=50.0 + np.broadcast_to(e, site.grid.shape).copy())
        ground = rough.grid.bilinear(rough.elevation, line.x, line.y)
        cut = cut_sections(section, dataclasses.replace(line, ground=ground), rough, side="outside", formation="level")
        areas.append(cut.cut[east, 0])
    flat = cut_sections(
        section, dataclasses.replace(line, ground=np.full(line.x.size, 50.0)), site, side="outside", formation="level"
    )
    assert np.mean(areas) == pytest.approx(flat.cut[east, 0], rel=0.02)
    # Within the sampling error of a standard deviation, and the smoothing of errors between cell centres.
    assert level_error(flat, only, rmse=rmse, correlation=correlation)[0] == pytest.approx(np.std(areas), rel=0.12)
