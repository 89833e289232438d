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
from packpale.enclosure.depth import deep_cells, deepest_point
from packpale.enclosure.egg import Egg
from packpale.enclosure.model import Fit
from packpale.site.grid import Array

_RAYS, _BEARINGS = 96, 24


class Forms(TypedDict):
    """What every search is told about the egg's form, as keywords; see ``fit_largest``."""

    taper: tuple[float, float]
    aspect: tuple[float, float]
    min_radius: float


class Ranges(Forms):
    """The same, and the strip outside it that lies in the land too."""

    clearance: float


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
    x, y, depth, most = deepest_point(land, seeds(land, parts))
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
    centres = deep_cells(land, need=need, finest=effort.spacing * deep[2] / 2, most=effort.centres)
    starts = _rated(land, shapes, centres, tables)
    order = np.argsort(-starts[:, 0], kind="stable")
    chosen = thinned_out(starts[order], near=0.3 * deep[2], turn=math.radians(20), most=effort.starts)
    starts = _refined(land, shapes, np.concatenate([first, chosen]), work, steps=12)
    finals = thinned_out(starts, near=1e-3 * deep[2], turn=1e-3, most=effort.finals)
    return _refined(land, shapes, finals, work, steps=60, trust=0.02)


def thinned_out(starts: Array, *, near: float, turn: float, most: int) -> Array:
    """The first ``most`` rows of (merit, x, y, psi, ...) that are none, and none of which is near an earlier one.

    ``near`` is the distance within which two starts are taken for the same [m], ``turn`` the angle [rad]. The rows come
    best first; a merit of minus infinity is none.
    """
    left = starts[starts[:, 0] > -np.inf]
    chosen: list[Array] = []
    while len(left) and len(chosen) < most:
        best = left[0]
        chosen.append(best)
        apart = np.abs(left[:, 3] - best[3]) % (2 * math.pi)
        same_way = np.minimum(apart, 2 * math.pi - apart) < turn
        left = left[~(same_way & (np.hypot(left[:, 1] - best[1], left[:, 2] - best[2]) < near))]
    return np.array(chosen).reshape(-1, starts.shape[1])


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
    R = largest_scale(land, at, clearance=shapes.clearance, at_most=at_most)
    inside = bool(land.depths(at[None, :2])[0] > 0)
    return {"big_x": big_x, "big_y": big_y, "axis_bearing_deg": bearing}, R * (1 - 1e-8) - 1e-6, inside


def largest_scale(land: Boundary, z: Array, *, clearance: float, at_most: float = math.inf) -> float:
    """Exact largest big radius of an egg at z = (x, y, psi, taper, aspect) in local coordinates, O being in the land.

    Negative if the boundary comes within ``clearance`` of O. [m]
    """
    x, y, psi, taper, aspect = map(float, z)
    shape = _kernels.unit_shape(taper, aspect)
    return float(_kernels.largest_scale(x, y, math.cos(psi), math.sin(psi), clearance, shape, *land.tree, at_most))


def work_arrays(eggs: int = 1, strips: int = 0) -> _kernels.Work:
    """Arrays that the compiled refinement of so many eggs with so many strips between them writes into."""
    unknowns, rows = 5 * eggs + 2 * strips, 2 * _ROOM * eggs
    return (
        np.empty((_ROOM, 10)),
        np.empty(rows),
        np.empty((rows, unknowns)),
        np.empty((unknowns + 2, rows + 2 * unknowns + 1)),
        np.empty(unknowns + 1, np.int64),
        *(np.empty(unknowns) for _ in range(3)),
        *(np.empty(max(eggs, _kernels.UNKNOWNS)) for _ in range(2)),
        np.empty((eggs, _kernels.UNKNOWNS)),
        np.empty((strips, 3)),
        np.empty((1, 10)),
    )


def _is_feasible(land: Boundary, shapes: Shapes, row: Array) -> bool:
    return reported(land, shapes, row[1:]) is not None


def shape_tables(shapes: Shapes, *, tapers: int, aspects: int) -> tuple[Array, Array, Array]:
    """Shapes (n, 2) to choose starts from, their log radii along the rays, and log areas at R = 1."""
    ks = np.unique(np.linspace(*shapes.taper, tapers))
    as_ = np.unique(np.linspace(*shapes.aspect, aspects))
    grid = np.array([(k, a) for k in ks for a in as_])
    units = [_kernels.unit_shape(k, a) for k, a in grid]
    rays = [(math.cos(angle), abs(math.sin(angle))) for angle in 2 * math.pi * np.arange(_RAYS) / _RAYS]
    table = -np.log([[_kernels.vertex_scale(u, v, 0.0, shape)[0] for u, v in rays] for shape in units])
    # Twice in a row, so that a turned egg is read without a jump.
    return grid, np.hstack([table, table]), np.array([shape[7] for shape in units])


def _rated(land: Boundary, shapes: Shapes, centres: Array, tables: tuple[Array, Array, Array]) -> Array:
    """Two starts from each centre (x, y, depth): rows (merit, x, y, psi, taper, aspect)."""
    out = np.empty((2 * len(centres), 6))
    reach = 2 * shapes.aspect[1] - 1
    work = np.empty(_RAYS), np.empty((2, 3))
    numbers = (_BEARINGS, shapes.log_min_radius)
    _kernels.rate_centres(centres, reach, shapes.clearance, *land.tree, *tables, *numbers, *work, out)
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
