"""The ground of a plot prepared for the search of a fence line, and the search itself by rasters.

1. *Rasters* (line_raster.py) answer for a place and an outward normal whether the cross-section touches soft ground or
   the strip no-go ground. One look-up a sample measures an egg in some microseconds.
2. *Simulated annealing* over all six unknowns, the conditions as penalties that harden, in rounds: many short walks,
   then longer ones from the best of their ends. It begins at the optima of the strict case, at those of no-go ground
   alone, made smaller, and at places chosen at random. It counts steps and never looks at a clock; its random numbers
   are its own.

What comes out is near the optimum, but only as true as the rasters: line_polish.py goes on with exact measures.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon, Polygon

from packpale.enclosure import _kernels_line
from packpale.enclosure.bound import area_bound
from packpale.enclosure.boundary import Boundary, boundary, valid_parts
from packpale.enclosure.depth import deep_cells, deepest_point
from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import Shapes, largest_scale, local_optima, search, seeds, thinned_out
from packpale.enclosure.line_ground import LineCost, LineGround, Score
from packpale.enclosure.line_raster import line_raster
from packpale.enclosure.over_limits import over, pieces_of, soft_ground
from packpale.site.grid import Array, Grid

Rows = npt.NDArray[np.float64]
SPARE_M = 1e-6
"""What rounding may take: strips are wider and allowed lengths shorter by this. [m]"""
CLEAR_M = 3e-5
"""What the search keeps from no-go ground beyond the strip, so that an egg of a given area fits as reported. [m]"""
BY_SCORE = 4.0
"""Weight of a mean score: some hundredths of it matter as much as some percent of area or cost."""


@dataclass(frozen=True)
class Round:
    """One round of annealing, from the ends of the round before; each pair is what it begins and ends with."""

    steps: int
    temperature: tuple[float, float]
    reach: tuple[float, float]
    """Of a move, in radii."""
    weight: tuple[float, float]
    """Of what the conditions miss."""
    samples: float
    """Along the line of an egg."""
    kept: int
    """How many ends go on."""


@dataclass(frozen=True)
class Labour:
    """How much the search spends."""

    starts: int = 150
    rounds: tuple[Round, ...] = (
        Round(1000, (0.1, 0.015), (0.5, 0.15), (3.0, 30.0), samples=80.0, kept=32),
        Round(2500, (0.05, 0.006), (0.3, 0.06), (8.0, 120.0), samples=120.0, kept=10),
    )
    polish: int = 600
    """Proposals to the best ends."""
    again: int = 0
    """Steps by exact measures from the best places of all."""
    passes: int = 1
    """Of the whole search at most, each from places of its own, until four find the same."""

    def of_pass(self, number: int) -> "Labour":
        """What one pass spends: every other one begins at four times as many places and walks from each a quarter."""
        if number % 2 == 0:
            return self
        first, *others = self.rounds
        return replace(self, starts=4 * self.starts, rounds=(replace(first, steps=first.steps // 4), *others))


USUAL = Labour(again=2000, passes=8)


@dataclass(frozen=True)
class Aim:
    """What is to be made largest, and what has to be kept."""

    share: float
    """Of the line that may run over limits."""
    by: Literal["area", "score", "cost"] = "area"
    area: float | None = None
    """Of every egg; None where the size is free. [m2]"""
    cost: LineCost | None = None
    score: Score | None = None

    def numbers(self, log_min_radius: float) -> Array:
        """As the compiled search reads them."""
        aims = np.zeros(len(_kernels_line.AIMS))
        aims[_kernels_line.SHARE] = self.share
        aims[_kernels_line.MIN_RADIUS] = log_min_radius
        aims[_kernels_line.LOG_AREA] = -math.inf if self.area is None else math.log(self.area)
        if self.cost is not None:
            aims[_kernels_line.PER_OVER] = self.cost.per_over_limit_m
            aims[_kernels_line.FIXED] = self.cost.fixed
        aims[_kernels_line.BY_AREA] = 1.0 if self.by == "area" else 0.0
        aims[_kernels_line.BY_FIELD] = BY_SCORE if self.by == "score" else 0.0
        aims[_kernels_line.BY_COST] = 1.0 if self.by == "cost" else 0.0
        if self.cost is not None:
            aims[_kernels_line.LEAST_COST] = self.cost.known.min()
        if self.score is not None:
            # Beyond the grid it counts as 0.
            aims[_kernels_line.MOST_FIELD] = max(self.score.known.max(), 0.0)
        return aims


@dataclass(frozen=True)
class Side:
    """What lies behind a straight line, in local coordinates."""

    angle: float
    """Direction of the line's normal, which points away from the side, counter-clockwise from east. [rad]"""
    offset: float
    """Of the line along its normal. [m]"""

    def depth(self, points: Array) -> Array:
        """How far points (n, 2 or more) lie behind the line. [m]"""
        return self.offset - points[:, 0] * math.cos(self.angle) - points[:, 1] * math.sin(self.angle)


@dataclass(frozen=True, eq=False)
class Search:
    """Ground prepared for the search. Positions are in local coordinates: ``land.origin`` is taken off."""

    ground: LineGround
    shapes: Shapes
    parts: tuple[Polygon, ...]
    """Of what is enclosable, valid; in the run's coordinates."""
    land: Boundary
    """Its boundary."""
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
        soft = soft_ground(ground.soft, ground.enclosable)
        return cls(ground, shapes, parts, land, soft, (x, y, depth), most, bound)

    @cached_property
    def near(self) -> Boundary | None:
        """The outline of the soft ground, with an origin of its own; None where there is none."""
        return boundary(valid_parts(self.soft), self.land.origin)

    @cached_property
    def exact(self) -> tuple[Any, ...]:
        """Outlines and cross-section as the compiled search reads them, with a hair to spare."""
        reach = self.ground.inside_strip + SPARE_M, self.ground.outside_strip + SPARE_M
        spare = np.array([*reach, self.shapes.clearance + CLEAR_M, SPARE_M])
        return _outline(self.land), _outline(self.near), spare, np.empty((5, 8))

    @cached_property
    def _rasters(self) -> tuple[Any, ...]:
        made = line_raster(
            MultiPolygon(self.parts),
            self.soft,
            self.land.origin,
            inside=self.ground.inside_strip,
            outside=self.ground.outside_strip,
        )
        # A point on each hole of the land: an egg whose line keeps away from it holds all of it or nothing.
        holes = [ring.coords[0][:2] for p in self.parts for ring in p.interiors]
        return np.array(holes, float).reshape(-1, 2) - self.land.origin, made.words, made.kind, made.frame

    def rasters(self, aim: Aim) -> tuple[Any, ...]:
        """As the compiled search reads them."""
        nothing, frame = np.zeros((1, 1)), np.array([0.0, 0.0, 1.0])
        costs, fields = (nothing.astype(np.float32), frame), (nothing, nothing, frame)
        if aim.cost is not None:
            costs = (aim.cost.known.astype(np.float32), self.frame(aim.cost.grid))
        if aim.score is not None:
            known = aim.score.known.astype(float)
            fields = (known, np.cumsum(known, axis=1) - known, self.frame(aim.score.grid))
        return (*self._rasters, *costs, *fields)

    def frame(self, grid: Grid) -> Array:
        """West, north and cell size of a grid in local coordinates."""
        return np.array([grid.west - self.land.origin[0], grid.north - self.land.origin[1], grid.cell])

    @cached_property
    def limits(self) -> Rows:
        """Ranges of taper, aspect and log R; the disc of radius R about O lies in the land (bound.py)."""
        most = math.log(self.deepest - self.shapes.clearance)
        least = max(self.shapes.log_min_radius - math.log(self.shapes.taper[1]), most - 5.0)
        return np.vstack([self.shapes.limits, [min(least, most), most]])

    @cached_property
    def contained(self) -> Egg | None:
        """The largest that no-go ground allows, by the exact search of one contained in the land."""
        return search(self.land, self.shapes, self.deep)

    @cached_property
    def strict(self) -> Rows:
        """Optima of the strict case, soft ground taken for no-go: rows (x, y, psi, taper, aspect, log R)."""
        parts = valid_parts(shapely.difference(MultiPolygon(self.parts), self.soft))
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
    def free(self) -> Rows:
        """Optima with no-go ground alone, rows as in ``strict``."""
        return self._sized(self.land, local_optima(self.land, self.shapes, self.deep))

    def _sized(self, land: Boundary, optima: Array) -> Rows:
        """Rows (x, y, psi, taper, aspect, log R), the largest scale at each optimum; those too small are left out."""
        scales = [largest_scale(land, row, clearance=self.shapes.clearance) for row in optima[:, 1:]]
        rows = np.column_stack([optima[:, 1:], np.log(np.maximum(scales, 1e-9))])
        large_enough = rows[:, 5] + np.log(rows[:, 3]) >= self.shapes.log_min_radius
        return np.asarray(rows[large_enough])

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

    def annealed(self, aim: Aim, labour: Labour, known: Sequence[Egg], seed: int) -> Rows:
        """Ends of the annealing, best first, none near a better one: rows (x, y, psi, taper, aspect, log R) about O."""
        rasters, starts = self.rasters(aim), self._starts(labour.starts, aim, known, seed=seed)
        return self._walked(aim, labour, starts, rasters, seed)[:, 1:]

    def quickly(self, aim: Aim, labour: Labour, sides: Sequence[Side]) -> Array | None:
        """About the best position on one side of some lines, by the rasters alone: (merit, x, y, psi, ..., log R)."""
        rasters = self.rasters(aim)
        islands, words, kind, frame = rasters[:4]
        kind = kind.copy()
        x = frame[0] + (np.arange(kind.shape[1]) + 0.5) * frame[2]
        y = frame[1] - (np.arange(kind.shape[0]) + 0.5) * frame[2]
        for side in sides:
            over = x * math.cos(side.angle) + y[:, None] * math.sin(side.angle)
            kind[over > side.offset - self.shapes.clearance] = _kernels_line.NO_GO
        starts = self._starts(labour.starts, aim, (), sides)
        if not len(starts):
            return None
        return np.asarray(self._walked(aim, labour, starts, (islands, words, kind, *rasters[3:]))[0])

    def _walked(self, aim: Aim, labour: Labour, rows: Rows, rasters: tuple[Any, ...], seed: int = 0) -> Rows:
        """Ends of all rounds: rows (merit, x, y, psi, taper, aspect, log R) about O, best first."""
        aims, ends = aim.numbers(self.shapes.log_min_radius), rows
        for one in labour.rounds:
            rows = middles(rows)
            merits = np.empty(len(rows))
            warmth = np.array([one.temperature, one.reach, one.weight])
            numbers = one.steps, warmth, aims, self.limits, one.samples, seed + 1
            _kernels_line.anneal(rows, merits, *numbers, rasters, self.exact)
            order = np.argsort(-merits, kind="stable")
            rows = centres(rows[order])
            near = 0.05 * math.exp(rows[0, 5])
            ends = thinned_out(np.column_stack([merits[order], rows]), near=near, turn=0.1, most=one.kept)
            rows = ends[:, 1:]
        return ends

    def _starts(self, count: int, aim: Aim, known: Sequence[Egg], sides: Sequence[Side] = (), seed: int = 0) -> Rows:
        need = self.shapes.clearance
        if aim.area is not None:
            need += math.sqrt(aim.area / self.shapes.largest_unit_area)
        cells = deep_cells(self.land, need=min(need, self.deep[2]), finest=self.deep[2] / 8, most=4000)
        cells = np.vstack([cells[cells[:, 2] > self.shapes.clearance], self.deep])
        for side in sides:
            cells[:, 2] = np.minimum(cells[:, 2], side.depth(cells))
        cells = cells[cells[:, 2] > self.shapes.clearance]
        rows = [position_of(egg, self.land.origin) for egg in known]
        rows += [tuple(row) for row in self.strict[:6]]
        for shrunk in (1.0, 0.75, 0.55):
            rows += [(*row[:5], math.log(shrunk) + row[5]) for row in self.free[:5]]
        if not len(cells):
            return np.empty((0, 6))
        rng = np.random.default_rng(7 + seed)
        for _ in range(count - len(rows)):
            x, y, depth = cells[rng.integers(len(cells))]
            R = (depth - self.shapes.clearance) * rng.uniform(0.4, 1.2)
            shape = rng.uniform(self.shapes.limits[:, 0], self.shapes.limits[:, 1])
            rows.append((x, y, rng.uniform(0, 2 * math.pi), *shape, math.log(R)))
        return np.array(rows, float).reshape(-1, 6)


def allowed(share: float, perimeter: float) -> float:
    """Length of line that may run over limits, with a hair to spare. [m]"""
    return perimeter if share >= 1 else max(share * perimeter - SPARE_M, 0.0)


def position_of(egg: Egg, origin: tuple[float, float]) -> tuple[float, ...]:
    """(x, y, psi, taper, aspect, log R) of an egg, about O in local coordinates."""
    psi = math.pi / 2 - math.radians(egg.axis_bearing_deg)
    return egg.big_x - origin[0], egg.big_y - origin[1], psi, egg.taper, egg.aspect, math.log(egg.big_radius)


def middles(rows: Array) -> Rows:
    """Rows about O to rows about the middle of the axis, which lies (aspect - 1) R from O."""
    return _shifted(rows, 1.0)


def centres(rows: Array) -> Rows:
    """Rows about the middle of the axis to rows about O."""
    return _shifted(rows, -1.0)


def _shifted(rows: Array, way: float) -> Rows:
    out = rows.copy()
    half = way * (rows[:, 4] - 1) * np.exp(rows[:, 5])
    out[:, 0] += half * np.cos(rows[:, 2])
    out[:, 1] += half * np.sin(rows[:, 2])
    return out


def _outline(of: Boundary | None) -> tuple[Any, ...]:
    """Edges and bands of an outline as the compiled search reads them, and room to work in."""
    room = np.empty((1024, 2)), np.empty((1024, 2))
    if of is None:
        nothing = np.empty(0, np.int64)
        return (
            np.empty((0, 6)),
            np.full((2, 3), -1.0),
            np.empty(4, np.int64),
            nothing,
            nothing,
            np.array([0.0, 1.0]),
            *room,
        )
    return *of.tree, of.band_start, of.band_edge, of.band_frame, *room
