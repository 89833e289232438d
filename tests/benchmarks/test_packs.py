"""Packs against cutting the land in two or three and fitting one egg in each part; how near the bounds of packs are."""

import itertools
import math
import time

import numpy as np
import pytest
import shapely
from shapely.geometry import MultiPolygon, Polygon

from packpale.enclosure.fit import fit_largest
from packpale.enclosure.packs import fit_packs
from packpale.enclosure.proven import with_proof
from polygons import lands

SHAPES = {"taper": (0.5, 0.9), "aspect": (1.1, 1.6)}
SEPARATION, CLEARANCE = 10.0, 5.0
DIRECTIONS, PLACES = 8, (0.3, 0.4, 0.5, 0.6, 0.7)


def polygons_in(area):
    return MultiPolygon([part for part in shapely.get_parts(area) if part.geom_type == "Polygon" and part.area > 1])


def best_cut(land):
    """Area of the smaller egg, the best of all cuts; the strips outside the fences fill the separation."""
    best, far = 0.0, 10 * math.hypot(*np.subtract(land.bounds[2:], land.bounds[:2]))
    for k in range(DIRECTIONS):
        normal = np.array([math.cos(math.pi * k / DIRECTIONS), math.sin(math.pi * k / DIRECTIONS)])
        along = np.array([-normal[1], normal[0]])
        reach = shapely.get_coordinates(land) @ normal
        for place in PLACES:
            middle = normal * (reach.min() + place * np.ptp(reach))
            smaller = math.inf
            for way in (-1, 1):
                side = [middle - along * far, middle + along * far]
                half = Polygon([*side, *(corner + way * far * normal for corner in reversed(side))])
                fit = fit_largest(polygons_in(land.intersection(half)), clearance=CLEARANCE, **SHAPES)
                smaller = min(smaller, fit.egg.area if fit else 0.0)
            best = max(best, smaller)
    return best


def half_plane(land, point, bearing):
    """The part of the land to the right of a line through a point."""
    ahead = np.array([math.sin(bearing), math.cos(bearing)])
    right = np.array([ahead[1], -ahead[0]])
    far = 10 * math.hypot(*np.subtract(land.bounds[2:], land.bounds[:2]))
    side = [point - far * ahead, point + far * ahead]
    return polygons_in(land.intersection(Polygon([*side, *(corner + far * right for corner in reversed(side))])))


def across(land, bearing, place):
    """Point at a share of the land's reach at right angles to a bearing, from its left."""
    right = np.array([math.cos(bearing), -math.sin(bearing)])
    reach = shapely.get_coordinates(land) @ right
    return right * (reach.min() + place * np.ptp(reach))


def halves(land, bearing, place):
    point = across(land, bearing, place)
    return half_plane(land, point, bearing), half_plane(land, point, bearing + math.pi)


def cuts_in_three(land):
    """Three parts each: by parallel lines, by three rays from a point, and by a line and another across one part."""
    for k, (left, right) in itertools.product(range(8), ((0.25, 0.6), (0.3, 0.65), (1 / 3, 2 / 3), (0.4, 0.75))):
        bearing = math.pi * k / 8
        outer, rest = halves(land, bearing, right)
        inner = across(land, bearing, left)
        yield outer, half_plane(rest, inner, bearing), half_plane(rest, inner, bearing + math.pi)
    middle, size = shapely.get_coordinates(land.centroid)[0], np.subtract(land.bounds[2:], land.bounds[:2])
    for k, east, north in itertools.product(range(8), (-0.12, 0.0, 0.12), (-0.12, 0.0, 0.12)):
        rays = [2 * math.pi * (k / 24 + i / 3) for i in range(3)]
        point = middle + size * (east, north)
        # Between two rays 120 degrees apart: right of the first and left of the second.
        yield tuple(half_plane(half_plane(land, point, a), point, a + 2 * math.pi / 3 + math.pi) for a in rays)
    for k, place, turned in itertools.product(range(8), (0.3, 0.4, 0.6, 0.7), range(6)):
        parts = halves(land, math.pi * k / 8, place)
        smaller, larger = sorted(parts, key=lambda part: part.area)
        yield smaller, *halves(larger, math.pi * (k / 8 + turned / 6), 0.5)


def best_cut_in_three(land):
    """Area of the smallest egg, the best of all cuts, and how many there were."""
    best, tried = 0.0, 0
    for parts in cuts_in_three(land):
        tried += 1
        smallest = math.inf
        # The smallest part first: where it holds no more than the best so far, the others need no look.
        for part in sorted(parts, key=lambda one: one.area):
            if min(part.area, smallest) <= best:
                smallest = 0.0
                break
            fit = fit_largest(part, clearance=CLEARANCE, **SHAPES)
            smallest = min(smallest, fit.egg.area if fit else 0.0)
        best = max(best, smallest)
    return best, tried


def proven_gap(name, land, n):
    """Gap of the bound on the smallest of n eggs and its processor time [s], with the eggs; the gap is None without."""
    fits = fit_packs(land, n, SEPARATION, clearance=CLEARANCE, **SHAPES)
    if len(fits) < n:
        return None, fits
    started = time.process_time()
    ranges = SHAPES | {"clearance": CLEARANCE, "min_radius": 0.0}
    proven, _ = with_proof(fits, land, gap=0.01, separation=SEPARATION, **ranges)
    took = time.process_time() - started
    smallest = proven[-1]
    gap = smallest.area_bound_m2 / smallest.egg.area - 1
    print(f"{name:24}{n} packs, gap {gap:6.1%} in {took:4.1f} s", flush=True)  # noqa: T201 - table
    return gap, fits


# Of a circle round some piece that a cut leaves; the quick bound, which alone uses it, does without.
@pytest.mark.filterwarnings("ignore:invalid value encountered in minimum_bounding_radius:RuntimeWarning")
@pytest.mark.parametrize("n", [2, 3])
def test_packs_beside_cuts_of_the_land_and_their_bound(n):
    gaps = []
    for name, land in lands().items():
        if shapely.get_num_coordinates(land) > 1000:
            continue
        gap, fits = proven_gap(name, land, n)
        if gap is not None:
            gaps.append(gap)
        if n == 2:
            assert fits[-1].egg.area >= 0.9999 * best_cut(land), name
    print(f"{n} packs: median gap {np.median(gaps):.1%}, largest {max(gaps):.1%}")  # noqa: T201
    assert min(gaps) >= 0
    assert len(gaps) == pytest.approx(20, abs=2)
    assert np.median(gaps) <= 0.05


# Of a circle round some sliver that a cut leaves.
@pytest.mark.filterwarnings("ignore:invalid value encountered in minimum_bounding_radius:RuntimeWarning")
def test_three_packs_beside_cuts_of_the_land_in_three():
    shares = []
    for name, land in lands().items():
        if shapely.get_num_coordinates(land) > 1000:
            continue
        started = time.process_time()
        fits = fit_packs(land, 3, SEPARATION, clearance=CLEARANCE, **SHAPES)
        took, started = time.process_time() - started, time.process_time()
        best, tried = best_cut_in_three(land)
        found = fits[-1].egg.area if len(fits) == 3 else 0.0
        share = found / best if best else math.inf
        cuts_took = time.process_time() - started
        print(  # noqa: T201 - table
            f"{name:24}{found:8.0f} m2, {share:6.3f} of the best of {tried} cuts, {took:.1f} and {cuts_took:.0f} s",
            flush=True,
        )
        assert found >= 0.9999 * best, name
        if best:
            shares.append(share)
    print(f"median {np.median(shares):.3f}, least {min(shares):.3f}, {len(shares)} pieces")  # noqa: T201
    assert len(shares) == pytest.approx(20, abs=2)
