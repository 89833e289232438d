"""The largest egg in a piece of land.

Scale is taken out: for a position z = (x, y, axis direction psi, taper k, aspect a) of the egg, O being the centre of
its big end, every feature of the boundary (a corner, or the inside of an edge) allows a largest scale R_e(z), and what
fits is the least of them. The log area 2 log R + log A(k, a) is then the least of smooth functions, to be made largest.

*Corner.* With clearance s the corner p must keep the distance s from the egg. As the egg grows about O, which it holds,
that distance falls as R rises, so the largest scale is where it equals s: a root of |p - R c| = R rho + s for the arc
with centre c and radius rho (at R = 1) whose normals include the direction to p: linear on the big end, quadratic on
the others.

*Edge.* The egg's strip touches its line at distance t from O when t = R h(n) + s, h being the support function in the
direction n of the line's outward normal; it counts if the touching point lies on the edge. The points that allow no
more than a given R form a convex set, the egg of that scale with its strip, so the least over an edge is there or at
one of its ends: corners and edges together are exact. A corner at which the land bulges out can not be touched by a
smooth curve from inside before one of its edges is.

*Gradient.* Where p is touched with outward normal n, d log R = (n dp - R dh) / (R h) for both kinds, dp being the
motion of p in the egg's frame and dh the change of h(n) with the shape.

*Search.* Only centres O about as deep as R >= sqrt(A_best / A(k_max, a_max)) can be better than the best egg known. At
each cell of a grid over those the radial profile of the boundary is compared with tables of egg shapes; the best
bearings and shapes are refined by sequential linear programming in a trust region, the best of these to the end.

*Safety.* The egg found is rounded to the coordinates it is reported in, its scale is evaluated again there, exactly,
and it is made smaller than that by one part in 10^8 and a micrometre.
"""

import math
import time
from dataclasses import dataclass
from typing import TypedDict

import numpy as np
from shapely.geometry import MultiPolygon, Polygon

from packpale.enclosure import _kernels
from packpale.enclosure.bound import area_bound
from packpale.enclosure.boundary import Boundary, boundary, valid_parts
from packpale.enclosure.egg import Egg
from packpale.enclosure.model import Fit
from packpale.site.grid import Array

_RAYS, _BEARINGS = 96, 24


class Ranges(TypedDict):
    """What every fit is told about the egg, as keywords; see ``fit_largest``."""

    clearance: float
    taper: tuple[float, float]
    aspect: tuple[float, float]
    min_radius: float


_ROOM = 256
"""Boundary features that the linear program looks at, at most."""


@dataclass(frozen=True)
class Shapes:
    """What the egg may look like, and how much room it needs round it."""

    clearance: float
    taper: tuple[float, float]
    aspect: tuple[float, float]
    min_radius: float

    def __post_init__(self) -> None:
        # The compiled search would be compiled a second time for whole numbers.
        object.__setattr__(self, "clearance", float(self.clearance))
        object.__setattr__(self, "taper", tuple(map(float, self.taper)))
        object.__setattr__(self, "aspect", tuple(map(float, self.aspect)))
        if not (self.clearance >= 0 and self.min_radius >= 0 and math.isfinite(self.clearance + self.min_radius)):
            raise ValueError(
                f"clearance = {self.clearance} m and min_radius = {self.min_radius} m must not be negative"
            )
        if not 0 < self.taper[0] <= self.taper[1] < 1 < self.aspect[0] <= self.aspect[1] < math.inf:
            raise ValueError(
                f"taper = {self.taper} must ascend between 0 and 1, aspect = {self.aspect} must ascend above 1"
            )

    @property
    def limits(self) -> Array:
        return np.array([self.taper, self.aspect], float)

    @property
    def log_min_radius(self) -> float:
        """Target of the search, a little above the limit so that rounding does not miss it."""
        return math.log(self.min_radius * (1 + 1e-6)) if self.min_radius > 0 else -50.0

    @property
    def largest_unit_area(self) -> float:
        """A(k_max, a_max) at R = 1; see bound.py, step 3."""
        return Egg.from_shape(self.taper[1], self.aspect[1], big_radius=1.0).area


def fit_largest(
    area: Polygon | MultiPolygon,
    *,
    clearance: float = 0.0,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float = 0.0,
) -> Fit | None:
    """The largest egg that lies in ``area`` together with a strip of ``clearance`` [m] outside it; None if none fits.

    Parameters
    ----------
    area
        The land, in metres; holes and several parts are allowed.
    clearance
        The parallel curve at this distance outside the egg lies in the land too. [m]
    taper, aspect
        Smallest and largest small radius over big radius, and length over width.
    min_radius
        The small-end radius is at least this. [m]

    Raises
    ------
    ValueError
        If a coordinate is not finite or a range is none.
    """
    started = time.perf_counter()
    shapes = Shapes(clearance, taper, aspect, min_radius)
    parts = valid_parts(area)
    land = boundary(parts)
    if land is None:
        return None
    x, y, depth, most = deepest(land, seeds(land, parts))
    if depth <= clearance:
        return None
    egg = search(land, shapes, (x, y, depth))
    if egg is None:
        return None
    bound = area_bound(parts, most, clearance=clearance, taper=taper, aspect=aspect)
    return Fit(egg, bound, time.perf_counter() - started)


def seeds(land: Boundary, parts: tuple[Polygon, ...]) -> Array:
    """A point inside each of the larger parts, shape (n, 2), local coordinates. [m]"""
    points = [np.ravel(p.representative_point().coords) for p in parts[:50]]
    return np.asarray(np.array(points) - land.origin, float)


def deepest(land: Boundary, seeds: Array, tolerance: float = 0.005) -> tuple[float, float, float, float]:
    """Deepest point of the land in local coordinates, its depth, and an upper bound on any point's depth. [m]

    ``seeds`` (n, 2) are points to try first; with none inside, very narrow land may be given up (depth 0).
    """
    cells, half = land.cover()
    found = _kernels.deepest_point(seeds, cells, half, tolerance, 40_000, *land.index)
    return float(found[0]), float(found[1]), float(found[2]), float(found[3])


@dataclass(frozen=True)
class Effort:
    """How many starts the search takes, and how far each is followed."""

    spacing: float = 0.35
    """Distance of the centres tried, over the depth of the deepest point."""
    centres: int = 3200
    starts: int = 60
    finals: int = 10


QUICK = Effort(spacing=0.5, centres=400, starts=10, finals=2)
"""For searches that are one of many."""


def search(land: Boundary, shapes: Shapes, deep: tuple[float, float, float], effort: Effort = Effort()) -> Egg | None:
    """The largest egg found from many starts; ``deep`` is the deepest point with its depth. [m]"""
    eggs = (reported(land, shapes, row[1:]) for row in local_optima(land, shapes, deep, effort))
    return max((e for e in eggs if e is not None), key=lambda e: e.area, default=None)


def local_optima(land: Boundary, shapes: Shapes, deep: tuple[float, float, float], effort: Effort = Effort()) -> Array:
    """Eggs that no small change makes larger, best first: rows of (merit, x, y, psi, taper, aspect), local coordinates.

    ``deep`` is the deepest point with its depth [m].
    """
    tables = shape_tables(shapes, tapers=3, aspects=4)
    work = work_arrays()
    first = _refined(land, shapes, _rated(land, shapes, np.array([deep]), tables), work, steps=12)
    best = first[0] if len(first) else None
    feasible = best is not None and _is_feasible(land, shapes, best)
    need = shapes.clearance + shapes.min_radius / shapes.taper[1]
    if feasible and best is not None:
        need = max(need, shapes.clearance + math.sqrt(math.exp(best[0]) / shapes.largest_unit_area))
    cells, half = land.cover()
    spacing = effort.spacing * deep[2]
    centres, _ = _kernels.deep_cells(cells, half, need, spacing / 2, effort.centres, *land.index)
    starts = _rated(land, shapes, centres, tables)
    order = np.argsort(-starts[:, 0], kind="stable")
    kept = np.empty(max(effort.starts, effort.finals), np.int64)
    n = _kernels.thin_out(starts, order, 0.3 * deep[2], math.radians(20), effort.starts, kept)
    starts = _refined(land, shapes, np.concatenate([first, starts[kept[:n]]]), work, steps=12)
    n = _kernels.thin_out(starts, np.arange(len(starts)), 1e-3 * deep[2], 1e-3, effort.finals, kept)
    return _refined(land, shapes, starts[kept[:n]], work, steps=60, trust=0.02)


def reported(land: Boundary, shapes: Shapes, z: Array, at_most: float = math.inf) -> Egg | None:
    """The egg at position z, in the run's coordinates, certainly inside; None if it is too small or outside.

    z is (x, y, psi, taper, aspect) in local coordinates; the big radius is at most ``at_most`` [m].
    """
    at, R, inside = position_reported(land, shapes, z, at_most)
    if not (inside and R > 0 and R * z[3] >= shapes.min_radius):
        return None
    return Egg.from_shape(float(z[3]), float(z[4]), **at, big_radius=R)


def position_reported(
    land: Boundary, shapes: Shapes, z: Array, at_most: float = math.inf
) -> tuple[dict[str, float], float, bool]:
    """Position z as an egg reports it, the big radius that certainly fits there, and whether O lies in the land."""
    big_x, big_y = float(z[0] + land.origin[0]), float(z[1] + land.origin[1])
    bearing = math.degrees(math.pi / 2 - z[2]) % 360.0
    # The coordinates as they are reported, brought back to the local origin: what rounding did is seen here.
    at = np.array([big_x - land.origin[0], big_y - land.origin[1], math.pi / 2 - math.radians(bearing), z[3], z[4]])
    R = _kernels.largest_scale(at, shapes.clearance, *land.tree, at_most)
    inside = _kernels.is_inside(at[0], at[1], land.edges, land.band_start, land.band_edge, land.band_frame)
    return {"big_x": big_x, "big_y": big_y, "axis_bearing_deg": bearing}, float(R * (1 - 1e-8) - 1e-6), bool(inside)


def work_arrays(unknowns: int = 5, eggs: int = 1) -> _kernels.Work:
    """Arrays that the compiled refinement of so many eggs with so many unknowns in all writes into."""
    rows = 2 * _ROOM * eggs
    return (
        np.empty((_ROOM, 10)),
        np.empty(rows),
        np.empty((rows, unknowns)),
        np.empty((unknowns + 2, rows + 2 * unknowns + 1)),
        np.empty(unknowns + 1, np.int64),
    )


def _is_feasible(land: Boundary, shapes: Shapes, row: Array) -> bool:
    return reported(land, shapes, row[1:]) is not None


def shape_tables(shapes: Shapes, *, tapers: int, aspects: int) -> tuple[Array, Array, Array]:
    """Shapes (n, 2) to choose starts from, their log radii along the rays, and log areas at R = 1."""
    ks = np.unique(np.linspace(*shapes.taper, tapers))
    as_ = np.unique(np.linspace(*shapes.aspect, aspects))
    grid = np.array([(k, a) for k in ks for a in as_])
    table, log_areas = np.empty((len(grid), 2 * _RAYS)), np.empty(len(grid))
    _kernels.radial_tables(grid, _RAYS, table, log_areas)
    return grid, table, log_areas


def _rated(land: Boundary, shapes: Shapes, centres: Array, tables: tuple[Array, Array, Array]) -> Array:
    """Two starts from each centre (x, y, depth): rows (merit, x, y, psi, taper, aspect)."""
    out = np.empty((2 * len(centres), 6))
    reach = 2 * shapes.aspect[1] - 1
    _kernels.rate_centres(centres, reach, shapes.clearance, *land.tree, *tables, _BEARINGS, shapes.log_min_radius, out)
    return out


def _refined(
    land: Boundary,
    shapes: Shapes,
    starts: Array,
    work: _kernels.Work,
    *,
    steps: int,
    trust: float = 0.15,
) -> Array:
    """Starts after some steps of the refinement, best first; those that lead nowhere are left out."""
    starts = starts[starts[:, 0] > -np.inf].copy()
    none, pairs = np.empty((0, 3)), np.empty((0, 2), np.int64)
    numbers = (trust, steps, 1e-7, 0.0, shapes.clearance, shapes.log_min_radius, shapes.limits)
    for start in starts:
        # One egg and no dividing strips.
        z = start[None, 1:].copy()
        start[0] = _kernels.refine(z, none, pairs, *numbers, *land.tree, work)
        start[1:] = z[0]
    starts = starts[np.argsort(-starts[:, 0], kind="stable")]
    return starts[starts[:, 0] > -np.inf]
