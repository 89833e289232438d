"""Plots are taken so that neighbours follow each other."""

import itertools
import math

import numpy as np
from shapely.geometry import MultiPolygon, box

from packpale.site.model import Plot
from packpale.site.neighbourhood import near_after_near


def plot(name, x, y):
    return Plot(name, MultiPolygon([box(x - 5, y - 3, x + 5, y + 3)]))


def test_the_four_quarters_follow_one_another():
    """South-west, south-east, north-west, north-east, and so on within each: the curve of two bits by hand."""
    grid = [plot(f"{x}{y}", 100 * x, 100 * y) for x in range(4) for y in range(4)]
    np.random.default_rng(1).shuffle(grid)
    names = [p.plot_id for p in near_after_near(grid)]
    quarter = ["00", "10", "01", "11"]
    assert names == [f"{2 * int(q[0]) + int(p[0])}{2 * int(q[1]) + int(p[1])}" for q in quarter for p in quarter]


def test_every_plot_is_there_once_and_the_way_is_short():
    draw = np.random.default_rng(2)
    plots = [plot(str(i), draw.uniform(4e5, 6e5), draw.uniform(5e6, 5.2e6)) for i in range(300)]
    ordered = near_after_near(plots)
    assert sorted(p.plot_id for p in ordered) == sorted(p.plot_id for p in plots)

    def way(row):
        middles = [p.outline.centroid for p in row]
        return sum(math.dist((a.x, a.y), (b.x, b.y)) for a, b in itertools.pairwise(middles))

    assert way(ordered) < way(plots) / 5


def test_one_plot_twice_one_place_and_none():
    one, other = plot("one", 0, 0), plot("other", 0, 0)
    assert near_after_near([other, one]) == [other, one]
    assert near_after_near([]) == []
