"""Branch and bound for the largest egg; the steps and why they hold stand in the package's docstring."""

import math
import time
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from packpale.enclosure.proof import _kernels
from packpale.enclosure.proof.curvature import curvature
from packpale.enclosure.proof.outline import Outline, outline
from packpale.site.grid import Array

_DIRECTIONS = 8
"""Sectors of the axis's direction to start with."""
_SQUARES = 5_000
"""Position squares to start with, at most."""
_CHUNK = 1000
"""Boxes between two looks at the clock."""
_ROUNDING = 1e-7
"""By how much the result is raised, relative."""


@dataclass(frozen=True)
class BoundResult:
    """What has been proven, and at what cost."""

    area_bound_m2: float
    """No egg that fits has a larger area. [m2]"""
    boxes: int
    """Boxes bounded."""
    seconds: float
    """Time taken. [s]"""
    closed: bool
    """Whether the bound is within the tolerance of the best area known."""
    work: int
    """What counted against the work allowed."""
    out_of_time: bool = False
    """Whether the clock ended the search: the bound holds, but another run may prove another one."""


def _shapes(taper: tuple[float, float], aspect: tuple[float, float]) -> tuple[tuple[float, float], tuple[float, float]]:
    """Ranges of p and q, as curvature.py has them."""
    return (1 - float(taper[1]), 1 - float(taper[0])), (2 * (float(aspect[0]) - 1), 2 * (float(aspect[1]) - 1))


def area_bound(
    area: Polygon | MultiPolygon,
    *,
    best_area: float,
    clearance: float,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float,
    tolerance: float = 0.001,
    max_work: int = 110_000_000,
    max_boxes: int = 400_000,
    seconds: float = 120.0,
) -> BoundResult:
    """Proven upper bound on the area of any egg in the land with its strip round it.

    The same input gives the same bound unless ``seconds`` stops the search.

    Parameters
    ----------
    area
        The land, in metres, valid; holes and several parts are allowed.
    best_area
        Area of an egg known to fit, 0 if none is known: the better it is, the sooner the search ends. The bound is
        never less than this, and never less than a ten-thousandth of the land. [m2]
    clearance
        The parallel curve at this distance outside the egg lies in the land too. [m]
    taper, aspect
        Smallest and largest small radius over big radius (between 0 and 1), and length over width (above 1).
    min_radius
        The small-end radius is at least this. [m]
    tolerance
        The search ends when the bound is at most 1 + tolerance times the best area.
    max_work, max_boxes
        And when so much has been done: edges and nodes of their tree looked at, with an allowance for each box (about
        ten millions a second); boxes bounded beside those it starts from.
    seconds
        And when this has passed since the first thousand, looked at after each more: a safety net. The first may wait
        for the search to be compiled, minutes on a slow machine. [s]

    Raises
    ------
    ValueError
        If the land is not valid or a number is out of its range.
    """
    begun = time.perf_counter()
    if not (0 < taper[0] <= taper[1] < 1 < aspect[0] <= aspect[1] < math.inf):
        raise ValueError(f"no such eggs: {taper=} must rise within 0 to 1 and {aspect=} above 1")
    if not all(0 <= number < math.inf for number in (best_area, clearance, min_radius, tolerance)):
        raise ValueError(f"{best_area=}, {clearance=}, {min_radius=} and {tolerance=} must be numbers of 0 or more")
    if not shapely.is_valid(area):
        raise ValueError(f"the land is not valid: {shapely.is_valid_reason(area)}")
    if not area.area > 0:
        return BoundResult(0.0, 0, time.perf_counter() - begun, closed=True, work=0)

    p, q = _shapes(taper, aspect)
    shape = np.zeros(11)
    _kernels.set_shape(p[0], q[1], shape)
    floor_area = max(float(best_area), 1e-4 * area.area)
    smallest = math.sqrt(floor_area / math.exp(shape[6]))
    land = outline(area, small=smallest)
    tables = curvature(p, q)
    boxes, first = _first_boxes(*_squares(area, land, smallest, float(clearance)), p, q, max_boxes)
    heap = np.empty(len(boxes), np.int64)
    state = np.array([first, 0, 0, first, 0], np.int64)
    floor = math.log(floor_area)
    target = floor + math.log1p(tolerance) - 2 * _ROUNDING
    log_min_radius = math.log(min_radius) if min_radius > 0 else -math.inf
    numbers = (float(clearance), log_min_radius)
    arrays = (land.edges, land.nodes, tables.line, tables.point, tables.area)
    work, most = _work(), first + max_boxes
    out_of_time, since = False, math.inf
    while state[3] > 0 or (
        state[1] > 0 and state[2] < most and state[4] < max_work and boxes[heap[0], 12] > target and not out_of_time
    ):
        # First boxes only, as long as there are any: without all of them nothing is proven.
        chunk = int(state[2] + min(_CHUNK, state[3] if state[3] > 0 else most - state[2]))
        until = np.iinfo(np.int64).max if state[3] > 0 else max_work
        _kernels.search(boxes, heap, state, target, floor, chunk, until, *numbers, *arrays, smallest, work)
        since = min(since, time.perf_counter())
        out_of_time = state[3] == 0 and time.perf_counter() - since > seconds
    top = max(float(boxes[heap[0], 12]), floor) if state[1] > 0 else floor
    bound = math.exp(top) * (1 + _ROUNDING)
    closed = bound <= best_area * (1 + max(tolerance, 2 * _ROUNDING))
    boxes_bounded, work_done = int(state[2]), int(state[4])
    took = time.perf_counter() - begun
    return BoundResult(bound, boxes_bounded, took, closed, work_done, out_of_time and not closed)


def _squares(area: Polygon | MultiPolygon, land: Outline, small: float, clearance: float) -> tuple[Array, float]:
    """Squares that hold every centre of a big end of radius ``small`` or more; centres (n, 2), half width."""
    west, south, east, north = land.extent
    half = max(east - west, north - south) / 2
    squares = np.array([[(west + east) / 2, (south + north) / 2]])
    corners = np.array([[-1, -1], [-1, 1], [1, -1], [1, 1]]) * 0.5
    need = (small + clearance) * (1 - 1e-9)
    stack = np.empty(256, np.int64)
    shapely.prepare(area)
    while True:
        nearest = np.empty(len(squares))
        _kernels.distances(squares, land.edges, land.nodes, stack, nearest)
        # No point of a square is deeper in the land than this.
        reach = half * math.sqrt(2) * (1 + 1e-9)
        kept = nearest + reach >= need
        squares, nearest = squares[kept], nearest[kept]
        inside = shapely.contains_xy(area, squares[:, 0] + land.origin[0], squares[:, 1] + land.origin[1])
        # On which side a point hardly off the outline lies is lost in rounding; outside, depth falls with distance.
        squares = squares[inside | (nearest < 1e-6 * small) | (reach - nearest >= need)]
        if half <= 0.3 * small or 4 * len(squares) > _SQUARES:
            return squares, half
        squares = (squares[:, None, :] + corners * half).reshape(-1, 2)
        half /= 2


def _first_boxes(
    squares: Array, half: float, p: tuple[float, float], q: tuple[float, float], room: int
) -> tuple[Array, int]:
    step = 2 * math.pi / _DIRECTIONS
    count = len(squares) * _DIRECTIONS
    boxes = np.zeros((count + room + 2, 14))
    first = boxes[:count]
    first[:, 0:2] = np.repeat(squares, _DIRECTIONS, axis=0)
    first[:, 2] = np.tile(-math.pi + (np.arange(_DIRECTIONS) + 0.5) * step, len(squares))
    first[:, 3], first[:, 4] = sum(p) / 2, sum(q) / 2
    first[:, 5:7], first[:, 7] = half, step / 2
    first[:, 8], first[:, 9] = (p[1] - p[0]) / 2, (q[1] - q[0]) / 2
    first[:, 10:12], first[:, 12] = 1, np.inf
    return boxes, count


def _work() -> tuple[Array, ...]:
    """Work space of the kernels, so that none is allocated for a box."""
    rows, unknowns, entries = _kernels.ROWS, _kernels.UNKNOWNS, _kernels.ENTRIES
    return (
        np.zeros(11),
        np.zeros((rows, 5)),
        np.zeros(_kernels.SECTORS, np.int64),
        np.zeros(256, np.int64),
        np.zeros(rows),
        np.zeros(rows),
        np.zeros((rows, unknowns)),
        np.zeros((rows, entries)),
        np.zeros((rows, entries)),
        np.zeros(2 * 7),
        np.zeros(unknowns + 1, np.int64),
        np.zeros(rows),
        np.zeros((unknowns + 1, unknowns + 1)),
        np.zeros(unknowns + 1),
        np.zeros(unknowns + 1),
        np.zeros(unknowns + 1),
        *(np.zeros(unknowns) for _ in range(2)),
        *(np.zeros(entries) for _ in range(2)),
        *(np.zeros(unknowns) for _ in range(4)),
    )
