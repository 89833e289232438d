"""The egg of a given area where the land suits best.

The mean of the suitability over the egg, each cell counted with the part of it that the egg covers, is an integral of a
field that is constant on cells. It is exact: by Green's theorem it becomes an integral along the fence line, cut at
every grid line, where each piece is an arc in one cell (_kernels.field_over_egg).

At a given area the scale follows from the shape, R = sqrt(area / A(k, a)). So the search is over position, bearing and
shape for the largest mean under the condition that the largest scale that fits (fit.py) is at least R. A coarse search
over centres, bearings and shapes, on the raster brought to about thirty cells across the egg, gives starts; each is
refined on the raster itself by sequential linear programming, the condition as an exact penalty. Where the suitability
is equal, a second score decides: it is added with a weight of a thousandth.
"""

import math
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

import numpy as np
from shapely.geometry import MultiPolygon, Polygon

from packpale.enclosure import _kernels
from packpale.enclosure.bound import area_bound
from packpale.enclosure.boundary import Boundary, boundary, valid_parts
from packpale.enclosure.depth import deep_cells, deepest_point
from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import (
    Ranges,
    Shapes,
    local_optima,
    position_reported,
    seeds,
    shape_tables,
    thinned_out,
    work_arrays,
)
from packpale.enclosure.model import Fit
from packpale.enclosure.packs import beyond, fit_packs
from packpale.site.grid import Array, Grid

_BEARINGS = 16
_TIE = 1e-3
"""Weight of the second score."""
_SPARE = 2e-5
"""Share of the radii that the search leaves free."""


def fit_area(
    area: Polygon | MultiPolygon,
    target_area: float,
    score: Array,
    grid: Grid,
    *,
    second: Array | None = None,
    clearance: float = 0.0,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float = 0.0,
) -> Fit | None:
    """The egg of exactly ``target_area`` [m2] with the highest mean of ``score``; None if none that fits is found.

    Parameters
    ----------
    area, clearance, taper, aspect, min_radius
        As for fit.fit_largest.
    score : shape (rows, cols)
        Suitability per cell, 0 to 1; NaN, and everything outside the grid, counts as 0.
    grid
        Where the scores lie.
    second : shape (rows, cols), optional
        Decides between places of equal score, such as 0 for hard and 1 for easy digging; NaN counts as 0.

    Raises
    ------
    ValueError
        If the area is not positive, a coordinate is not finite, a range is none or a score's shape is not the grid's.
    """
    started = time.perf_counter()
    if not (target_area > 0 and math.isfinite(target_area)):
        raise ValueError(f"target_area = {target_area} m2 must be positive")
    for name, values in (("score", score), ("second", second)):
        if values is not None and values.shape != grid.shape:
            raise ValueError(f"{name} has the shape {values.shape}, the grid {grid.shape}")
    shapes = Shapes(clearance, taper, aspect, min_radius)
    parts = valid_parts(area)
    land = boundary(parts)
    if land is None:
        return None
    x, y, depth, most = deepest_point(land, seeds(land, parts))
    bound = area_bound(parts, most, clearance=clearance, taper=taper, aspect=aspect)
    if target_area > bound or depth <= clearance:
        return None
    values = np.nan_to_num(score, nan=0.0)
    if second is not None:
        values += _TIE * np.nan_to_num(second, nan=0.0)
    egg = _search(land, shapes, (x, y, depth), target=float(target_area), values=values, grid=grid)
    return None if egg is None else Fit(egg, bound, time.perf_counter() - started)


def fit_areas(
    area: Polygon | MultiPolygon,
    n: int,
    separation: float,
    *,
    target_area: float,
    score: Array,
    grid: Grid,
    second: Array | None = None,
    clearance: float = 0.0,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float = 0.0,
) -> tuple[Fit, ...]:
    """Up to ``n`` eggs of exactly ``target_area`` [m2], at least ``separation`` [m] apart, where the land suits well.

    Two ways to begin: one after the other, each in the best place that the ones before leave; and the largest packs
    that fit, made smaller, which finds room where the first way wastes it. In the set that holds more eggs, or better
    ones, each egg is then placed anew with the others as obstacles where that raises its mean. Other parameters as
    for ``fit_area``.
    """
    ranges = Ranges(clearance=clearance, taper=taper, aspect=aspect, min_radius=min_radius)

    def best(land: Polygon | MultiPolygon, others: list[Fit]) -> Fit | None:
        free = beyond(land, [f.egg for f in others], separation, clearance)
        return fit_area(free, target_area, score, grid, second=second, **ranges)

    def mean(fit: Fit) -> float:
        return mean_over(fit.egg, score, grid)

    def means(fits: Iterable[Fit]) -> tuple[int, float]:
        each = [mean(f) for f in fits]
        return len(each), sum(each)

    land = MultiPolygon(valid_parts(area))
    in_turn: list[Fit] = []
    for _ in range(n):
        fit = best(land, in_turn)
        if fit is None:
            break
        in_turn.append(fit)
    fits = list(in_turn)
    # Obstacles lower the bound of the later ones, which then holds only beside those; that of the first holds.
    bound = in_turn[0].area_bound_m2 if in_turn else 0.0
    if n > 1:
        packs = fit_packs(land, n, separation, **ranges)
        bound = bound or (packs[0].area_bound_m2 if packs else 0.0)
        smaller = [replace(f, egg=_shrunk(f.egg, target_area)) for f in packs if f.egg.area >= target_area]
        smaller = [f for f in smaller if f.egg.small_radius >= min_radius]
        fits = _placed_anew(max(in_turn, smaller, key=means), lambda others: best(land, others), mean)
    return tuple(replace(f, area_bound_m2=bound) for f in fits)


def _placed_anew(
    fits: Sequence[Fit], best: Callable[[list[Fit]], Fit | None], mean: Callable[[Fit], float]
) -> list[Fit]:
    """Each egg moved to the best place that the others leave, twice, where that raises its mean."""
    placed = list(fits)
    for _ in range(2):
        before = list(placed)
        for i, fit in enumerate(before):
            moved = best(placed[:i] + placed[i + 1 :])
            if moved is not None and mean(moved) > mean(fit):
                placed[i] = moved
        if placed == before:
            break
    return placed


def _shrunk(egg: Egg, area: float) -> Egg:
    """The egg made smaller about O, so that it lies inside the larger one."""
    return Egg.from_shape(
        egg.taper,
        egg.aspect,
        big_x=egg.big_x,
        big_y=egg.big_y,
        axis_bearing_deg=egg.axis_bearing_deg,
        area=area,
    )


def mean_over(egg: Egg, values: Array, grid: Grid) -> float:
    """Mean of a raster over the egg, each cell with the part of it that the egg covers; NaN and outside count as 0."""
    shape = _kernels.unit_shape(egg.taper, egg.aspect)
    field, before, frame = _raster(np.nan_to_num(values, nan=0.0), grid, (egg.big_x, egg.big_y))
    psi = math.pi / 2 - math.radians(egg.axis_bearing_deg)
    return float(_kernels.field_over_egg(0.0, 0.0, psi, egg.big_radius, shape, field, before, frame) / egg.area)


def _search(
    land: Boundary,
    shapes: Shapes,
    deep: tuple[float, float, float],
    *,
    target: float,
    values: Array,
    grid: Grid,
) -> Egg | None:
    smallest = math.sqrt(target / shapes.largest_unit_area)
    # The search keeps a hair more room than needed, as it ends up to about 10^-6 on either side of its limits.
    log_target = math.log(target) + 2 * (_SPARE + 2e-6 / smallest)
    log_min_radius = shapes.log_min_radius + _SPARE
    fine = _raster(values, grid, land.origin)
    coarse = _raster(*_coarser(values, grid, 2 * smallest / 30), land.origin)
    starts = _starts(land, shapes, smallest, log_target, coarse)
    largest = local_optima(land, shapes, deep)[:5]
    starts = np.concatenate([starts, largest])
    work = work_arrays()

    def refined(rows: Array, trust: float, steps: int) -> Array:
        rows = rows.copy()
        _kernels.refine_places(
            rows,
            trust,
            steps,
            1e-6,
            shapes.clearance,
            log_target,
            log_min_radius,
            shapes.limits,
            *land.tree,
            *fine,
            work,
        )
        return rows[np.argsort(-rows[:, 0], kind="stable")]

    rows = refined(starts, 0.15, 12)
    kept = thinned_out(rows, near=0.02 * smallest, turn=0.02, most=20)
    # Once more from a wide trust region: with few limits touching, curvature ends the steps early. What is largest
    # comes last: made smaller it fits wherever one of these is large enough.
    for row in np.concatenate([refined(refined(kept, 0.1, 60), 0.05, 60), largest]):
        at, fits, inside = position_reported(land, shapes, row[1:])
        egg = Egg.from_shape(float(row[4]), float(row[5]), **at, area=target)
        if inside and fits >= egg.big_radius and egg.small_radius >= shapes.min_radius:
            return egg
    return None


def _starts(
    land: Boundary, shapes: Shapes, smallest: float, log_target: float, raster: tuple[Array, Array, Array]
) -> Array:
    """Starts (merit, x, y, psi, taper, aspect), best first, none near a better one."""
    centres = deep_cells(land, need=shapes.clearance + smallest, finest=0.12 * smallest, most=3200)
    tables = shape_tables(shapes, tapers=2, aspects=3)
    out = np.empty((len(centres), 6))
    reach = 4 * shapes.aspect[1] * smallest + shapes.clearance
    numbers, profile = (_BEARINGS, log_target), np.empty(tables[1].shape[1] // 2)
    _kernels.rate_places(centres, reach, shapes.clearance, *land.tree, *tables, *numbers, *raster, profile, out)
    order = np.argsort(-out[:, 0], kind="stable")
    return thinned_out(out[order], near=0.2 * smallest, turn=math.radians(20), most=150)


def _raster(field: Array, grid: Grid, origin: tuple[float, float]) -> tuple[Array, Array, Array]:
    """What the kernels read: the field, its sums west of each cell, and (west, north, cell) in local coordinates."""
    before = np.cumsum(field, axis=1) - field
    return field, before, np.array([grid.west - origin[0], grid.north - origin[1], grid.cell])


def _coarser(values: Array, grid: Grid, cell: float) -> tuple[Array, Grid]:
    """Block means over as many cells as make about the cell size asked for; beyond the grid values are 0."""
    n = max(round(cell / grid.cell), 1)
    rows, cols = -(-grid.rows // n), -(-grid.cols // n)
    padded = np.zeros((rows * n, cols * n))
    padded[: grid.rows, : grid.cols] = values
    blocks = padded.reshape(rows, n, cols, n).mean(axis=(1, 3))
    return blocks, Grid(grid.west, grid.north, grid.cell * n, rows, cols)
