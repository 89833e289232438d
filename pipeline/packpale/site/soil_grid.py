"""Soil of every cell: what the settings, the polygons of a survey and trial pits say together."""

import itertools
import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon, Point

from packpale.settings import SoilSettings
from packpale.site.grid import Array, Grid
from packpale.site.model import Pit, Soil
from packpale.site.soil import COLUMNS, WORDS, SoilArea

FARTHEST_PIT = 20.0
"""Pits farther than this many pit ranges from a plot's window are not used: there they pull by under 1 / 400."""


def uncovered(outline: MultiPolygon, areas: Sequence[SoilArea]) -> float:
    """Part of a plot, 0 to 1, over which no soil polygon lies."""
    near = [a.polygon for a in areas if a.polygon.intersects(outline)]
    return float(outline.difference(shapely.union_all(near)).area / outline.area)


def unused_pits(pits: Sequence[Pit], windows: Sequence[Grid], pit_range: float) -> int:
    """How many pits are too far from every window to be used."""
    if not pits:
        return 0
    used = np.zeros(len(pits), dtype=bool)
    for grid in windows:
        used |= _used(pits, grid, pit_range)
    return int((~used).sum())


def used_pits(pits: Sequence[Pit], grid: Grid, pit_range: float) -> tuple[Pit, ...]:
    """The pits near enough to a window to be used on it."""
    return tuple(p for p, use in zip(pits, _used(pits, grid, pit_range), strict=True) if use) if pits else ()


def needed_pits(pits: Sequence[Pit], grid: Grid, pit_range: float) -> tuple[Pit, ...]:
    """The pits that are used on a window, and those that are the nearest to some place in it."""
    if not pits:
        return ()
    west, south, east, north = grid.bounds
    x, y = _places(pits)
    away = np.hypot(x - (west + east) / 2, y - (south + north) / 2)
    # Nearest to a corner may be one that is farther from the middle, by a diagonal at most.
    nearest = away <= away.min() + math.hypot(east - west, north - south) + 1e-6
    return tuple(itertools.compress(pits, _used(pits, grid, pit_range) | nearest))


def _used(pits: Sequence[Pit], grid: Grid, pit_range: float) -> npt.NDArray[np.bool_]:
    west, south, east, north = grid.bounds
    x, y = _places(pits)
    away = np.hypot(np.maximum(np.maximum(west - x, x - east), 0), np.maximum(np.maximum(south - y, y - north), 0))
    return np.asarray(away <= FARTHEST_PIT * pit_range)


def soil_on(grid: Grid, areas: Sequence[SoilArea], pits: Sequence[Pit], settings: SoilSettings) -> Soil:
    """Soil of every cell: the settings' values, over them the polygons, the smallest last, pulled by the pits.

    A number becomes ``background + sum(w_i (pit_i - background at pit_i)) / (sum(w_i) + w_0)`` with ``w = 1 / d^2``
    and ``w_0 = 1 / pit_range_m^2``: what the pit says at the pit, half of its difference one pit range away from a
    single pit, the background far from all. A word is that of the nearest pit within half a pit range.
    """
    # Larger polygons are painted first.
    painted = sorted(areas, key=lambda a: -a.polygon.area)
    window = shapely.box(*grid.bounds)
    near = [a for a in painted if a.polygon.intersects(window)]
    used = used_pits(pits, grid, settings.pit_range_m)
    x, y = grid.centres()
    columns: dict[str, npt.NDArray[Any]] = {}
    for column in COLUMNS:
        default = _code(column, getattr(settings, column))
        stating = [p for p in used if column in p.values]
        said = np.array([_code(column, p.values[column]) for p in stating], dtype=float)
        pulls = said - [_at(p.x, p.y, painted, column, default) for p in stating]
        values = _background(grid, near, column, default)
        if stating:
            values = values.copy()
        if stating and column in WORDS:
            _override(values, _squared(x, y, stating), said, reach=settings.pit_range_m / 2)
        elif stating:
            most = 100.0 if column.endswith("_percent") else math.inf
            _pull(values, _squared(x, y, stating), pulls, reach=settings.pit_range_m, most=most)
        columns[column] = values
    pit_distance = _distance(x, y, pits)
    return Soil(
        # Read cell by cell along trenches, again and again; what else is the same everywhere is held once.
        depth_to_rock=np.ascontiguousarray(columns["depth_to_rock_m"]),
        rock_is_hard=columns["rock_hardness"] == WORDS["rock_hardness"].index("hard"),
        water_table=np.ascontiguousarray(columns["water_table_m"]),
        clay=columns["clay_percent"],
        stones=columns["stones_percent"],
        drainage_class=columns["drainage_class"],
        pit_distance=pit_distance,
    )


def _background(grid: Grid, areas: Sequence[SoilArea], column: str, default: float) -> npt.NDArray[Any]:
    """The settings' value and over it the polygons that say something, in the order given."""
    saying = [a for a in areas if column in a.values]
    kind = np.int8 if column in WORDS else np.float64
    values = np.array([default, *(_code(column, a.values[column]) for a in saying)], kind)
    if not saying:
        # One value in memory, shown in every cell.
        return np.broadcast_to(values[0], grid.shape)
    from affine import Affine
    from rasterio.features import rasterize

    topmost = np.zeros(grid.shape, np.min_scalar_type(max(len(saying), 256)))
    shapes = [(a.polygon, number) for number, a in enumerate(saying, 1)]
    rasterize(shapes, out=topmost, transform=Affine(*grid.transform))
    return values[topmost]


def _pull(out: Array, squares: Iterator[Array], pulls: npt.NDArray[np.float64], *, reach: float, most: float) -> None:
    """Pull ``out`` by what each pit differs, with weights 1 / d^2, against 1 / reach^2 for none; from 0 to ``most``."""
    weight, moment = np.full(out.shape, 1.0 / reach**2), np.zeros(out.shape)
    for squared, pull in zip(squares, pulls, strict=True):
        # A micrometre keeps the weight finite at the pit itself, where it then outweighs all others.
        w = 1.0 / np.maximum(squared, 1e-12)
        weight += w
        moment += w * pull
    np.clip(out + moment / weight, 0.0, most, out=out)


def _override(out: npt.NDArray[np.int8], squares: Iterator[Array], codes: Array, *, reach: float) -> None:
    """Set ``out`` to the code of the nearest pit wherever one lies within ``reach``; of two equally near, the later."""
    nearest = np.full(out.shape, reach**2)
    for squared, code in zip(squares, codes, strict=True):
        nearer = squared <= nearest
        nearest[nearer], out[nearer] = squared[nearer], code


def _distance(x: Array, y: Array, pits: Sequence[Pit]) -> Array:
    """Distance to the nearest pit; infinite without any. [m]"""
    if not pits:
        return np.broadcast_to(np.inf, (y.size, x.size))
    nearest = np.full((y.size, x.size), np.inf)
    for squared in _squared(x, y, pits):
        np.minimum(nearest, squared, out=nearest)
    distance: Array = np.sqrt(nearest)
    return distance


def _squared(x: Array, y: Array, pits: Sequence[Pit]) -> Iterator[Array]:
    """Squares of the distances of all cells to each pit in turn."""
    for pit in pits:
        yield (x - pit.x) ** 2 + (y[:, None] - pit.y) ** 2


def _code(column: str, value: float | str) -> float:
    return float(WORDS[column].index(str(value))) if column in WORDS else float(value)


def _at(x: float, y: float, areas: Sequence[SoilArea], column: str, default: float) -> float:
    """Background at a point: the last, that is smallest, polygon over it that says something, else the default."""
    point = Point(x, y)
    for area in reversed(areas):
        if column in area.values and area.polygon.covers(point):
            return _code(column, area.values[column])
    return default


def _places(pits: Sequence[Pit]) -> tuple[Array, Array]:
    return np.array([p.x for p in pits], dtype=float), np.array([p.y for p in pits], dtype=float)
