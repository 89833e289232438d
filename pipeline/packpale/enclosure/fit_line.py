"""The largest egg whose line runs over limits for no more than a share of its length.

What changes against the egg contained in the land (fit.py): soft ground may lie inside, so that an egg that fits need
not fit when it is made smaller, and the size is a sixth unknown. The length over limits is an integral along the line
of a yes or no, which no linear programme follows far. So:

1. *Rasters* (line_raster.py) answer for a place and an outward normal whether the cross-section touches soft ground or
   the strip no-go ground. One look-up a sample measures an egg in some microseconds.
2. *Simulated annealing* over all six unknowns, both conditions as penalties that harden, from the optima of the strict
   case, from the optima of no-go ground alone, made smaller, and from places chosen at random. It counts steps and
   never looks at a clock; its random numbers are its own.
3. *Polish* with the exact measures: the largest scale that no-go ground allows (fit.largest_scale), the exact length
   over limits (over_limits.py). Every change is kept only if the larger egg is feasible, exactly.

What comes out is evaluated once more as it is reported, in the run's coordinates, with a micrometre to spare.

Interfaces: ``fit_line`` for one share, ``fit_lines`` for several, which share the preparation; ``Search`` for whoever
looks for other aims on the same ground (place_line.py).
"""

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon

from packpale.enclosure import _kernels_line, _kernels_over
from packpale.enclosure.bound import area_bound
from packpale.enclosure.boundary import Boundary, boundary, valid_parts
from packpale.enclosure.depth import deep_cells, deepest_point
from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import Shapes, largest_scale, local_optima, reported, search, seeds, thinned_out
from packpale.enclosure.line_ground import LineGround
from packpale.enclosure.line_raster import line_raster
from packpale.enclosure.model import Fit
from packpale.enclosure.over_limits import over, pieces_of, soft_ground
from packpale.site.grid import Array

SPARE_M = 1e-6
"""What rounding may take: strips are wider and allowed lengths shorter by this. [m]"""


Stage = tuple[int, tuple[tuple[float, float], ...], int]


@dataclass(frozen=True)
class Labour:
    """How much the search spends."""

    starts: int = 120
    stages: tuple[Stage, ...] = (
        (1500, ((0.1, 0.01), (0.5, 0.1), (3.0, 15.0)), 30),
        (8000, ((0.05, 0.002), (0.3, 0.02), (6.0, 40.0)), 8),
    )
    """Of the annealing: steps from each start; first and last temperature, reach of a move and weight of what the
    conditions miss; how many ends go on."""
    polish: int = 1200
    """Proposals to each end."""


USUAL = Labour()


def fit_line(
    ground: LineGround,
    share: float,
    *,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float = 0.0,
    labour: Labour = USUAL,
) -> Fit | None:
    """The largest egg whose line runs over limits for at most ``share`` of its length; None if none is found.

    Parameters
    ----------
    ground
        Where the enclosure may lie and where its line may not.
    share
        Largest part of the line's length that may run over limits, 0 to 1.
    taper, aspect, min_radius
        As for fit.fit_largest.

    Returns
    -------
    Fit
        Its area_bound_m2 is the bound from no-go ground alone.

    Raises
    ------
    ValueError
        If the share lies outside 0 to 1, a coordinate is not finite or a range is none.
    """
    return fit_lines(ground, (share,), taper=taper, aspect=aspect, min_radius=min_radius, labour=labour)[0]


def fit_lines(
    ground: LineGround,
    shares: Sequence[float],
    *,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float = 0.0,
    labour: Labour = USUAL,
) -> tuple[Fit | None, ...]:
    """The same for several shares at once, in their order: a larger share never gives a smaller egg.

    The first that is worked out carries the time of the preparation in its ``fit_s``.
    """
    for share in shares:
        if not 0 <= share <= 1:
            raise ValueError(f"share = {share} of the line over limits must lie between 0 and 1")
    started = time.perf_counter()
    on = Search.on(ground, Shapes(ground.outside_strip, taper, aspect, min_radius))
    found: dict[float, Fit | None] = {}
    egg: Egg | None = None
    for share in sorted(set(shares)):
        egg = None if on is None else on.largest(share, labour, egg)
        now = time.perf_counter()
        found[share] = None if egg is None or on is None else Fit(egg, on.bound, now - started)
        started = now
    return tuple(found[share] for share in shares)


@dataclass(frozen=True, eq=False)
class Search:
    """Ground prepared for the search; everything in local coordinates, ``land.origin`` taken off."""

    ground: LineGround
    shapes: Shapes
    land: Boundary
    """What is enclosable."""
    soft: MultiPolygon
    """All soft ground in it, in the run's coordinates."""
    deep: tuple[float, float, float]
    """Deepest point of the land and its depth."""
    deepest: float
    """Bound on the depth of the land. [m]"""
    bound: float
    """On the area of every egg that no-go ground allows. [m2]"""

    @classmethod
    def on(cls, ground: LineGround, shapes: Shapes) -> "Search | None":
        """None where no-go ground leaves no room at all."""
        parts = valid_parts(ground.enclosable)
        land = boundary(parts)
        if land is None:
            return None
        x, y, depth, most = deepest_point(land, seeds(land, parts))
        if depth <= shapes.clearance:
            return None
        bound = area_bound(parts, most, clearance=shapes.clearance, taper=shapes.taper, aspect=shapes.aspect)
        return cls(ground, shapes, land, soft_ground(ground.soft, ground.enclosable), (x, y, depth), most, bound)

    @cached_property
    def near(self) -> Boundary | None:
        """The outline of the soft ground, with an origin of its own."""
        return boundary(valid_parts(self.soft))

    @cached_property
    def rasters(self) -> tuple[Any, ...]:
        """As the compiled search reads them, without cost and field."""
        made = line_raster(
            MultiPolygon(valid_parts(self.ground.enclosable)),
            self.soft,
            self.land.origin,
            inside=self.ground.inside_strip,
            outside=self.ground.outside_strip,
        )
        nothing = np.zeros((1, 1))
        frame = np.array([0.0, 0.0, 1.0])
        return (
            made.words,
            made.blocked,
            made.frame,
            self._islands(),
            nothing.astype(np.float32),
            frame,
            nothing,
            nothing,
            frame,
        )

    def _islands(self) -> Array:
        """A point on each hole of the land."""
        holes = [ring.coords[0][:2] for p in valid_parts(self.ground.enclosable) for ring in p.interiors]
        return np.array(holes, float).reshape(-1, 2) - self.land.origin

    @cached_property
    def strict(self) -> npt.NDArray[np.float64]:
        """Optima of the strict case, soft ground taken for no-go: rows (x, y, psi, taper, aspect, log R)."""
        left = shapely.difference(MultiPolygon(valid_parts(self.ground.enclosable)), self.soft)
        parts = valid_parts(left)
        land = boundary(parts)
        if land is None:
            return np.empty((0, 6))
        x, y, depth, _ = deepest_point(land, seeds(land, parts))
        if depth <= self.shapes.clearance:
            return np.empty((0, 6))
        rows = self._sized(land, local_optima(land, self.shapes, (x, y, depth)))
        rows[:, :2] += np.subtract(land.origin, self.land.origin)
        return rows

    @cached_property
    def free(self) -> npt.NDArray[np.float64]:
        """Optima with no-go ground alone, rows as in ``strict``."""
        return self._sized(self.land, local_optima(self.land, self.shapes, self.deep))

    def _sized(self, land: Boundary, optima: Array) -> npt.NDArray[np.float64]:
        """Rows (x, y, psi, taper, aspect, log R), the largest scale at each optimum; those too small are left out."""
        scales = [largest_scale(land, row, clearance=self.shapes.clearance) for row in optima[:, 1:]]
        rows = np.column_stack([optima[:, 1:], np.log(np.maximum(scales, 1e-9))])
        large_enough = rows[:, 5] + np.log(rows[:, 3]) >= self.shapes.log_min_radius
        return np.asarray(rows[large_enough])

    @property
    def limits(self) -> npt.NDArray[np.float64]:
        """Ranges of taper, aspect and log R; the disc of radius R about O lies in the land (bound.py)."""
        most = math.log(self.deepest - self.shapes.clearance)
        least = max(self.shapes.log_min_radius - math.log(self.shapes.taper[1]), most - 5.0)
        return np.vstack([self.shapes.limits, [min(least, most), most]])

    def over_m(self, egg: Egg) -> float:
        """Length of line over limits, with a hair of the strips on top. [m]"""
        if self.near is None:
            return 0.0
        inside, outside = self.ground.inside_strip + SPARE_M, self.ground.outside_strip + SPARE_M
        rows = over(pieces_of(egg, self.near.origin), self.near, inside=inside, outside=outside)
        return float((rows[:, 1] - rows[:, 0]).sum())

    def allows(self, egg: Egg, share: float) -> bool:
        """Whether an egg that no-go ground allows keeps the share, with a hair to spare."""
        return self.over_m(egg) <= allowed(share, egg.perimeter)

    def largest(self, share: float, labour: Labour, known: Egg | None) -> Egg | None:
        """The largest egg found for a share; ``known``, an egg feasible for it, is improved on."""
        if self.near is None:
            return search(self.land, self.shapes, self.deep)
        for row in self.free[:1]:
            egg = reported(self.land, self.shapes, row[:5])
            if egg is not None and self.allows(egg, share):
                return egg
        best = known
        for row in self.strict[:3]:
            egg = reported(self.land, self.shapes, row[:5], at_most=_a_hair_less(math.exp(row[5])))
            if egg is not None and self.allows(egg, share) and (best is None or egg.area > best.area):
                best = egg
        rows = self.annealed(share, labour, best)
        for row in rows:
            egg = self.polished(row, share, labour.polish, best)
            if egg is not None and (best is None or egg.area > best.area):
                best = egg
        return best

    def annealed(self, share: float, labour: Labour, best: Egg | None) -> npt.NDArray[np.float64]:
        """Ends of the annealing, best first, none near a better one: rows (x, y, psi, taper, aspect, log R) about O."""
        aims = np.zeros(len(_kernels_line.AIMS))
        aims[_kernels_line.SHARE] = share
        aims[_kernels_line.MIN_RADIUS] = self.shapes.log_min_radius
        aims[_kernels_line.LOG_AREA] = -math.inf
        aims[_kernels_line.BUDGET] = math.inf
        aims[_kernels_line.BY_AREA] = 1.0
        rows = self.starts(labour.starts, best)
        for steps, warmth, many in labour.stages:
            rows = middles(rows)
            merits = np.empty(len(rows))
            step = max(2.0, 2 * self.rasters[2][2])
            _kernels_line.anneal(rows, merits, steps, np.array(warmth), aims, self.limits, step, 1, self.rasters)
            order = np.argsort(-merits, kind="stable")
            rows = centres(rows[order])
            near = 0.05 * math.exp(rows[0, 5])
            rows = thinned_out(np.column_stack([merits[order], rows]), near=near, turn=0.1, most=many)[:, 1:]
        return rows

    def starts(self, count: int, best: Egg | None) -> npt.NDArray[np.float64]:
        """Where the annealing begins: rows (x, y, psi, taper, aspect, log R) about O."""
        rows = [position_of(best, self.land.origin)] if best is not None else []
        rows += [tuple(row) for row in self.strict[:6]]
        for shrunk in (1.0, 0.75, 0.55):
            rows += [(*row[:5], math.log(shrunk) + row[5]) for row in self.free[:5]]
        rng = np.random.default_rng(7)
        cells = deep_cells(self.land, need=self.shapes.clearance, finest=self.deep[2] / 8, most=4000)
        cells = cells[cells[:, 2] > self.shapes.clearance]
        for _ in range(count - len(rows)):
            x, y, depth = cells[rng.integers(len(cells))]
            R = (depth - self.shapes.clearance) * rng.uniform(0.4, 1.2)
            shape = rng.uniform(self.shapes.limits[:, 0], self.shapes.limits[:, 1])
            rows.append((x, y, rng.uniform(0, 2 * math.pi), *shape, math.log(R)))
        return np.array(rows, float).reshape(-1, 6)

    def polished(self, row: Array, share: float, proposals: int, best: Egg | None) -> Egg | None:
        """An egg near a position grown as far as it stays feasible by exact measures; None if none is feasible."""
        exact = _Exact(self, share)
        z, R = exact.mended(row[:5].copy(), math.exp(row[5]), proposals // 3)
        area = exact.first(z, R)
        if area <= 0:
            return None
        z, area = exact.climb(z, area, proposals)
        return exact.reported(z, area)


class _Exact:
    """Exact measures of one search for one share, on positions z = (x, y, psi, taper, aspect) about O."""

    def __init__(self, on: Search, share: float) -> None:
        near = on.near
        if near is None:
            raise ValueError("without soft ground there is nothing to polish")
        self.on, self.share, self.near = on, share, near
        self.shift = np.subtract(on.land.origin, near.origin)
        self.pieces, self.room, self.out = np.empty((5, 8)), np.empty((256, 2)), np.empty((256, 2))
        self.tree = (*near.tree, near.band_start, near.band_edge, near.band_frame)

    def most(self, z: Array, at_most: float) -> float:
        """Largest scale that no-go ground allows, with a hair to spare."""
        if self.on.land.depths(z[None, :2])[0] <= 0:
            return -1.0
        R = largest_scale(self.on.land, z, clearance=self.on.shapes.clearance, at_most=at_most)
        return _a_hair_less(R)

    def excess(self, z: Array, R: float) -> float:
        """Length of line over limits beyond what the share allows, over the perimeter; 0 where it is kept."""
        k = float(z[3])
        d, F, phi, _ = _kernels_line.unit_egg(k, float(z[4]))
        x, y = float(z[0] + self.shift[0]), float(z[1] + self.shift[1])
        _kernels_over.egg_pieces(x, y, float(z[2]), R, k, d, F, phi, self.pieces)
        inside, outside = self.on.ground.inside_strip + SPARE_M, self.on.ground.outside_strip + SPARE_M
        while True:
            length = _kernels_over.over_length(self.pieces, inside, outside, *self.tree, self.room, self.out)
            if length >= 0:
                break
            self.room, self.out = np.empty((int(-length) * 2, 2)), np.empty((int(-length) * 2, 2))
        perimeter = float(self.pieces[4, 6] + self.pieces[4, 7])
        return max(float(length) - allowed(self.share, perimeter), 0.0) / perimeter

    def keeps(self, z: Array, R: float) -> bool:
        """Whether the egg of scale R keeps the share, and its small end the least radius."""
        return R * float(z[3]) >= self.on.shapes.min_radius and self.excess(z, R) == 0

    def mended(self, z: Array, R: float, proposals: int) -> tuple[Array, float]:
        """A neighbour whose line is no longer over limits for too long, as large as that leaves it."""
        rng = np.random.default_rng(5)
        limits, least = self.on.shapes.limits, self.on.shapes.min_radius
        R = min(R, self.most(z, 1.1 * R))
        best = self._worth(z, R) if R > 0 else -math.inf
        by = 0.03
        for _ in range(proposals):
            reach = by * 10 ** (-1.5 * rng.random())
            trial = moved(z, R, reach, limits, rng)
            size = min(R * (1 + 0.5 * reach * rng.uniform(-1, 1)), self.most(trial, 1.1 * R))
            if size * trial[3] >= least and (worth := self._worth(trial, size)) > best:
                z, R, best = trial, size, worth
        return z, R

    def _worth(self, z: Array, R: float) -> float:
        unit = _kernels_line.unit_egg(float(z[3]), float(z[4]))[3]
        return 2 * math.log(R) + math.log(unit) - 60 * self.excess(z, R)

    def first(self, z: Array, R: float) -> float:
        """Area of the first feasible egg at a position, coming down from a little more than R; 0 if there is none."""
        R = min(1.01 * R, self.most(z, 1.1 * R))
        unit = _kernels_line.unit_egg(float(z[3]), float(z[4]))[3]
        for _ in range(60):
            if R <= 0:
                break
            if self.keeps(z, R):
                return R * R * unit
            R *= 0.9975
        return 0.0

    def climb(self, z: Array, area: float, proposals: int) -> tuple[Array, float]:
        """Random neighbours, nearer the rarer they are better; kept where a larger egg is feasible there."""
        rng = np.random.default_rng(11)
        limits = self.on.shapes.limits
        by = 0.03
        for _ in range(proposals):
            R = math.sqrt(area / _kernels_line.unit_egg(float(z[3]), float(z[4]))[3])
            trial = moved(z, R, by * 10 ** (-1.5 * rng.random()), limits, rng)
            unit = _kernels_line.unit_egg(float(trial[3]), float(trial[4]))[3]
            least = math.sqrt(area * (1 + 1e-7) / unit)
            most = self.most(trial, 1.1 * least)
            if most < least or not self.keeps(trial, least):
                by = max(by * 0.99, 1e-4)
                continue
            grow = 1e-4
            while (R := min(least * (1 + grow), most)) > least and self.keeps(trial, R):
                least = R
                grow *= 3
            z, area = trial, least * least * unit
            by = min(by * 1.3, 0.1)
        return z, area

    def reported(self, z: Array, area: float) -> Egg | None:
        """The egg in the run's coordinates, feasible as it stands there."""
        unit = _kernels_line.unit_egg(float(z[3]), float(z[4]))[3]
        R = math.sqrt(area / unit)
        for _ in range(40):
            egg = reported(self.on.land, self.on.shapes, z, at_most=R)
            if egg is None:
                return None
            if self.on.allows(egg, self.share):
                return egg
            R *= 1 - 1e-6
        return None


def moved(z: Array, R: float, by: float, limits: Array, rng: np.random.Generator) -> Array:
    """A neighbour of z, at random; the middle of the axis is what moves and turns."""
    u = rng.uniform(-1, 1, 5)
    if rng.random() < 0.5:
        only = rng.integers(5)
        u[np.arange(5) != only] = 0.0
    half = 0.5 * (2 * z[4] - 2) * R
    x, y = z[0] + half * math.cos(z[2]), z[1] + half * math.sin(z[2])
    psi = z[2] + by * u[2]
    shape = np.clip(z[3:] + by * u[3:], limits[:, 0], limits[:, 1])
    half = (shape[1] - 1) * R
    x, y = x + by * R * u[0] - half * math.cos(psi), y + by * R * u[1] - half * math.sin(psi)
    return np.array([x, y, psi, *shape])


def allowed(share: float, perimeter: float) -> float:
    """Length of line that may run over limits, with a hair to spare. [m]"""
    return max(share * perimeter - SPARE_M, 0.0)


def position_of(egg: Egg, origin: tuple[float, float]) -> tuple[float, ...]:
    """(x, y, psi, taper, aspect, log R) of an egg, about O in local coordinates."""
    psi = math.pi / 2 - math.radians(egg.axis_bearing_deg)
    return egg.big_x - origin[0], egg.big_y - origin[1], psi, egg.taper, egg.aspect, math.log(egg.big_radius)


def middles(rows: Array) -> npt.NDArray[np.float64]:
    """Rows about O to rows about the middle of the axis, which lies (aspect - 1) R from O."""
    return _shifted(rows, 1.0)


def centres(rows: Array) -> npt.NDArray[np.float64]:
    """Rows about the middle of the axis to rows about O."""
    return _shifted(rows, -1.0)


def _shifted(rows: Array, way: float) -> npt.NDArray[np.float64]:
    out = rows.copy()
    half = way * (rows[:, 4] - 1) * np.exp(rows[:, 5])
    out[:, 0] += half * np.cos(rows[:, 2])
    out[:, 1] += half * np.sin(rows[:, 2])
    return out


def _a_hair_less(R: float) -> float:
    """A scale with what rounding may take off. [m]"""
    return R * (1 - 1e-8) - SPARE_M
