"""A proven upper bound on the area of the smallest of several eggs that keep a distance w from each other.

Grown by w / 2 the eggs have no point in common inside. So a point lies inside one of them at most, and of n eggs one at
least has none of n - 1 points inside: it keeps w / 2 from all of them. Whatever the points, the smallest of n eggs is
no larger than the largest egg that keeps w / 2 from n - 1 points.

An egg that has its strip of width s in the land, and no point nearer than w / 2, has its strip of a width t of at most
s and of less than w / 2 in the land less the discs of radius w / 2 - t about the points, and all of s - t within the
land's outline. So that land, each disc replaced by a polygon within it, bounds it by proof.area_bound. Of n > 3 eggs
any three are three; two points are enough work.

The points are chosen so that the bound is low, by eggs known to fit. For all points (pairs of points) of a grid the
largest known egg that none of them lies inside stands in a table; where that is least, the largest eggs that keep off
are looked for and added to the known ones, until none is found that is larger than the table has it; then once more on
finer grids there. The choice needs no trust.

Where that is not near, as where w is wide beside the eggs or 0, cuts help (packs_bound.py): of two eggs at once, of
three in the land that one point leaves to two. That point is chosen by the known eggs too: it lies in one of every two
of them that keep apart and are large.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import reduce

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Point, Polygon

from packpale.enclosure.boundary import boundary, valid_parts
from packpale.enclosure.depth import deepest_point
from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import Effort, Ranges, Shapes, local_optima, reported, seeds
from packpale.enclosure.packs_bound import smaller_of_two
from packpale.enclosure.proof import area_bound
from packpale.site.grid import Array

_MOST_POINTS = 2
_LEAST_HOLE_M = 0.05
"""Radius of the discs, so that they count as land's outline; with little separation a quarter of it."""
_SURE_M = 1e-6
_PLACES, _FINER = 500, (13, 4)
"""Of the grid; a side of the finer ones, and by how much these are finer."""
_LEVELS = 3
_LOOKS = 40
"""For eggs, in all."""
_MOST_CORNERS = 200_000
"""Of the land, over all looks: each takes longer the more it has."""
_EFFORT = Effort(starts=20, centres=800)
_CLOSE = 1.005
"""The choice of points ends so near to the eggs known to keep apart."""
_SETTLED = 1.003
_NEAR, _WIDE = 1.05, 1 / 3
"""Farther from the eggs known to keep apart, and these so far apart over the root of their area, cuts are tried."""
_GAP, _WORK = 0.005, 40_000_000
"""Of the proof, in the terms of proof.search; about 2 s at worst."""


def smallest_of_several(
    area: Polygon | MultiPolygon,
    separation: float,
    *,
    known: Sequence[Egg],
    at_most: float,
    clearance: float,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float,
    looks: int = _LOOKS,
) -> float:
    """Upper bound on the area of the smallest of as many eggs as are ``known`` to lie ``separation`` [m] apart. [m2]

    ``area``: the land. ``at_most``: a bound that is known; the result is no more. Other parameters as for
    proof.area_bound; the same input gives the same bound.

    Raises ValueError if fewer than two eggs are known or the separation is negative, and as proof.area_bound.
    """
    if len(known) < 2 or not 0 <= separation < math.inf:
        raise ValueError(f"no such packs: {len(known)} eggs, {separation=} m")
    ranges = Ranges(clearance=clearance, taper=taper, aspect=aspect, min_radius=min_radius)
    land = MultiPolygon(valid_parts(shapely.union_all(valid_parts(area))))
    smallest = min(egg.area for egg in known)
    if land.is_empty or at_most <= smallest * _CLOSE:
        return at_most
    if separation / 4 <= _SURE_M:
        # No room for a disc about a point.
        return smaller_of_two(land, separation, best_area=smallest, at_most=at_most, **ranges)
    kept = keeping_off(land, separation, ranges)
    if kept.land.is_empty:
        return at_most
    points, largest, eggs = _points(kept, known, looks)
    bound = at_most
    if largest < at_most:
        less = kept.without(points)
        proof = area_bound(less, best_area=largest, tolerance=_GAP, max_work=_WORK, **kept.ranges)
        bound = min(bound, proof.area_bound_m2)
    if bound > _NEAR * smallest and separation > _WIDE * math.sqrt(smallest):
        within = Ranges(**ranges)
        if len(known) > 2:
            land, within = kept.without(_one_of_two(kept, eggs, separation)), kept.ranges
        bound = smaller_of_two(land, separation, best_area=smallest, at_most=bound, **within)
    return bound


@dataclass(frozen=True)
class KeepingOff:
    """Land in which an egg keeps from points what eggs that keep apart keep from the middle between them."""

    land: MultiPolygon
    hole: float
    """Radius of what is taken out about a point. [m]"""
    half: float
    """Half the separation. [m]"""
    ranges: Ranges
    """Of eggs in that land; the strip is no wider than the one asked for."""

    def without(self, points: Array) -> MultiPolygon:
        """The land that an egg which keeps off points (n, 2) has its strip in; or a little more."""
        holes = [Point(at).buffer(self.hole, quad_segs=4 if self.hole < 1 else 16) for at in points]
        return MultiPolygon(valid_parts(shapely.difference(self.land, shapely.union_all(holes))))


def keeping_off(land: MultiPolygon, separation: float, ranges: Ranges) -> KeepingOff:
    """The land and the strip by which eggs are told from points; ``separation`` [m] is positive."""
    half, clearance = separation / 2, ranges["clearance"]
    strip = min(clearance, half - min(_LEAST_HOLE_M, half / 2))
    inset = clearance - strip
    # Chords of the arcs about corners take less off, a few centimetres are not worth the corners they would add, and
    # the offset line may be off by a hundredth of the offset.
    inner = land
    if inset > 0.02 * half:
        inner = MultiPolygon(valid_parts(shapely.buffer(land, -0.98 * inset, quad_segs=1)))
    kept = Ranges(clearance=strip, taper=ranges["taper"], aspect=ranges["aspect"], min_radius=ranges["min_radius"])
    return KeepingOff(inner, half - strip - _SURE_M, half, kept)


@dataclass
class _Table:
    """For each choice of one point from every list, the largest known egg that none of them lies inside. [m2]"""

    half: float
    places: list[Array]
    values: Array = field(init=False)

    def __post_init__(self) -> None:
        self.values = np.zeros([len(p) for p in self.places])

    def add(self, eggs: Sequence[Egg]) -> None:
        for egg in eggs:
            within = egg.parallel(self.half).polygon(0.05)
            missed = [~shapely.contains_xy(within, p[:, 0], p[:, 1]) for p in self.places]
            np.maximum(self.values, egg.area * reduce(np.multiply.outer, missed), out=self.values)

    def best(self) -> tuple[tuple[int, ...], Array, float]:
        """The choice for which that is least, of several such the middle one; its points (n, 2) and the value."""
        least = float(self.values.min())
        chosen = np.argwhere(self.values <= least)
        points = np.stack([p[i] for p, i in zip(self.places, chosen.T, strict=True)], axis=1)
        middle = int(np.argmin(((points - np.median(points, axis=0)) ** 2).sum(axis=(1, 2))))
        return tuple(map(int, chosen[middle])), points[middle], least


def _points(kept: KeepingOff, known: Sequence[Egg], looks: int) -> tuple[Array, float, list[Egg]]:
    """Points that large eggs cannot keep off, (n, 2); the largest found that does, or infinity; all eggs found."""
    count = min(len(known) - 1, _MOST_POINTS)
    places, spacing = _grid(kept.land)
    table = _Table(kept.half, [places] * count)
    eggs = [*known, *_largest(kept, np.empty((0, 2)), Effort())]
    table.add(eggs)
    enough = min(egg.area for egg in known) * _CLOSE
    corners = int(shapely.get_num_coordinates(kept.land))
    best, lowest, level = np.empty((0, 2)), math.inf, 1
    for _ in range(max(1, min(looks, _MOST_CORNERS // corners)) if looks else 0):
        choice, points, value = table.best()
        found = _largest(kept, points, _EFFORT)
        largest = max((egg.area for egg in found), default=0.0)
        if largest < lowest:
            best, lowest = points, largest
        if lowest <= enough:
            break
        eggs += found
        if largest > value * _SETTLED:
            table.add(found)
            # The polygons about points and of eggs are not quite round.
            table.values[choice] = max(table.values[choice], largest)
        elif level == _LEVELS:
            break
        else:
            level += 1
            side, finer = _FINER
            steps = np.linspace(-1.5, 1.5, side) * spacing
            spacing /= finer
            around = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
            table = _Table(kept.half, [at + around for at in best])
            table.add(eggs)
    return best, lowest, eggs


def _one_of_two(kept: KeepingOff, eggs: Sequence[Egg], separation: float) -> Array:
    """A point, (1, 2), which lies inside one at least of any two of the eggs that keep apart, unless one is small."""
    places, _ = _grid(kept.land)
    ordered = sorted(eggs, key=lambda egg: -egg.area)
    lines = np.array([egg.polygon(0.05) for egg in ordered])
    apart = np.tril(shapely.distance(lines[:, None], lines[None, :]) >= separation)
    grown = [egg.parallel(kept.half).polygon(0.05) for egg in ordered]
    missed = np.array([~shapely.contains_xy(within, places[:, 0], places[:, 1]) for within in grown])
    # The smaller of two that the point misses comes second in order.
    second = missed & (apart.astype(np.float64) @ missed > 0)
    first = np.where(second.any(axis=0), second.argmax(axis=0), len(ordered))
    chosen = places[first == first.max()]
    off = ((chosen - np.median(chosen, axis=0)) ** 2).sum(axis=1)
    return np.asarray(chosen[[np.argmin(off)]])


def _grid(land: MultiPolygon) -> tuple[Array, float]:
    """Points of a square grid in the land, (n, 2), and their spacing. [m]"""
    west, south, east, north = land.bounds
    spacing = math.sqrt(land.area / _PLACES)
    while True:
        x, y = np.meshgrid(np.arange(west + spacing / 2, east, spacing), np.arange(south + spacing / 2, north, spacing))
        within = shapely.contains_xy(land, x.ravel(), y.ravel())
        if within.any():
            return np.column_stack([x.ravel()[within], y.ravel()[within]]), spacing
        spacing /= 2


def _largest(kept: KeepingOff, points: Array, effort: Effort) -> list[Egg]:
    """Large eggs that keep off points."""
    parts = valid_parts(kept.without(points))
    land, shapes = boundary(parts), Shapes(**kept.ranges)
    if land is None:
        return []
    x, y, depth, _ = deepest_point(land, seeds(land, parts), tolerance=0.05)
    if depth <= shapes.clearance:
        return []
    rows = local_optima(land, shapes, (x, y, depth), effort)
    return [egg for row in rows if (egg := reported(land, shapes, row[1:])) is not None]
