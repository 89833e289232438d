"""Packs by the rules of the line against cutting the land by strips and searching a line in each part.

Each part is searched as quickly as a menu searches. Run with -s for the table.
"""

import itertools
import math
import time

import numpy as np
import pytest
import shapely
import shapely.affinity
from shapely.geometry import MultiPolygon, Polygon, box

from packpale.enclosure.fit_line import fit_line
from packpale.enclosure.line_ground import LineGround
from packpale.enclosure.line_packs import fit_packs_on_lines
from packpale.enclosure.priced_lines import FEW
from polygons import lands
from real_grounds import real_grounds

SHAPES = {"taper": (0.5, 0.9), "aspect": (1.1, 1.6)}
CLEARANCE = 5.1


def polygons_in(area):
    return MultiPolygon([part for part in shapely.get_parts(area) if part.geom_type == "Polygon" and part.area > 1])


def grounds():
    """By name: polygons with banks of 3 m across them, and plots of laser-scanned ground."""
    found = {}
    for name in ("L", "cross", "ponds", "blob 40"):
        land = polygons_in(shapely.affinity.scale(lands()[name], 2, 2, origin=(0, 0)))
        west, south, east, north = land.bounds
        banks = [box(x, south, x + 3, north) for x in np.arange(west + 20, east, 55)]
        found[name] = LineGround(land, {"bank": polygons_in(land.intersection(MultiPolygon(banks)))}, 4.5, CLEARANCE)
    real = real_grounds(8)
    return found | {name: real[name] for name in list(real)[5::2]}


def best_cut_on_lines(on, n, share):
    """Area of the smallest egg, the best of cuts by parallel strips."""
    best, far = 0.0, 1e4
    places = list(itertools.combinations((0.2, 0.35, 0.5, 0.65, 0.8), n - 1))
    for k in range(4):
        normal = np.array([math.cos(math.pi * k / 4), math.sin(math.pi * k / 4)])
        along = np.array([-normal[1], normal[0]])
        reach = shapely.get_coordinates(on.enclosable) @ normal
        aside = along * (shapely.get_coordinates(on.enclosable)[0] @ along)
        for cuts in places:
            at = [reach.min() - 1, *(reach.min() + np.array(cuts) * np.ptp(reach)), reach.max() + 1]
            smallest = math.inf
            for low, high in itertools.pairwise(at):
                # The strips outside the fences fill the separation.
                slab = [aside + normal * low - along * far, aside + normal * low + along * far]
                slab += [aside + normal * high + along * far, aside + normal * high - along * far]
                part = polygons_in(on.enclosable.intersection(Polygon(slab)))
                if smallest > best and not part.is_empty:
                    there = LineGround(part, on.soft, on.inside_strip, on.outside_strip)
                    fit = fit_line(there, share, **SHAPES, labour=FEW)
                    smallest = min(smallest, fit.egg.area if fit else 0.0)
                else:
                    smallest = 0.0
            best = max(best, smallest)
    return best


@pytest.mark.parametrize("n", [2, 3])
def test_packs_by_the_rules_of_the_line_beside_cuts(n):
    share, under = 0.1, {}
    for name, on in grounds().items():
        started = time.process_time()
        fits = fit_packs_on_lines(on, share, n, on.outside_strip * 2, **SHAPES)
        took = time.process_time() - started
        smallest = fits[-1].egg.area if len(fits) == n else 0.0
        cut = best_cut_on_lines(on, n, share)
        print(f"{n} packs, {name:30}{smallest:7.0f} m2, {smallest / max(cut, 1):6.3f} of the cut, {took:4.1f} s")  # noqa: T201
        if smallest < 0.99 * cut:
            under[name] = smallest / cut
        assert cut > 0, name
    assert not under
