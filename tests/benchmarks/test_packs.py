"""Two packs against cutting the land by strips and fitting one egg in each part; how near the bounds of packs are."""

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
