"""Several eggs a set distance apart: the smallest as large as possible, then the sum.

Two convex figures are at least a distance w apart exactly if a straight strip of width w lies between them. So n eggs
with one dividing strip for each pair are a max-min problem of the same kind as one egg (fit.py): each strip adds a
straight edge to either egg, which may turn and shift, and all eggs and strips are refined at once by the same
sequential linear programming. The strip found is the proof of the distance.

Starts: the best sets among the local optima of one egg that keep apart, for land of several rooms; and, for land that
is one room, cuts by straight strips in many directions, with the parts' areas in several proportions and with parts
that hold eggs of about the same size, one egg fitted in each part (a part is cut again for three). Afterwards each egg
is fitted anew with the others as obstacles, the smallest first, and kept where it became larger.
"""

import itertools
import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from packpale.enclosure import _kernels
from packpale.enclosure.bound import area_bound, smallest_bound
from packpale.enclosure.boundary import Boundary, behind, boundary, valid_parts
from packpale.enclosure.depth import deep_cells, deepest_point
from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import (
    QUICK,
    Effort,
    Shapes,
    fit_largest,
    local_optima,
    reported,
    search,
    seeds,
    work_arrays,
)
from packpale.enclosure.model import Fit
from packpale.site.grid import Array

_DIRECTIONS = 12
_HALVINGS = 4
_TURNS = 6
_REFINED = 6


@dataclass(frozen=True)
class _Set:
    """Eggs that keep apart, and the area of the smallest."""

    eggs: tuple[Egg, ...]

    @property
    def rank(self) -> tuple[float, float]:
        areas = [e.area for e in self.eggs]
        return min(areas), sum(areas)


def fit_packs(
    area: Polygon | MultiPolygon,
    n: int,
    separation: float,
    *,
    clearance: float = 0.0,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float = 0.0,
) -> tuple[Fit, ...]:
    """``n`` eggs whose lines are at least ``separation`` [m] apart, largest first; fewer where not so many fit.

    The smallest is made as large as possible, then the others. Other parameters as for fit.fit_largest. Each fit's
    area_bound_m2 is the bound for a single egg on the land, which holds for each of them; the last one's is that for
    the smallest of n eggs where that is lower.

    Raises ValueError if ``n`` is not positive, the separation is negative, a coordinate is not finite or a range is
    none.
    """
    started = time.perf_counter()
    if n < 1 or not separation >= 0:
        raise ValueError(f"no such packs: {n=}, {separation=} m")
    shapes = Shapes(clearance, taper, aspect, min_radius)
    parts = valid_parts(area)
    land = boundary(parts)
    if land is None:
        return ()
    x, y, depth, most = deepest_point(land, seeds(land, parts))
    if depth <= clearance:
        return ()
    found = _fit_sets(parts, land, shapes, (x, y, depth), n=n, separation=float(separation))
    bound = area_bound(parts, most, clearance=clearance, taper=taper, aspect=aspect)
    took = time.perf_counter() - started
    fits = [Fit(egg, bound, took) for egg in sorted(found, key=lambda e: -e.area)]
    return with_smallest_bound(fits, parts, n, separation, clearance=clearance)


def with_smallest_bound(
    fits: Sequence[Fit], parts: Sequence[Polygon], n: int, separation: float, *, clearance: float
) -> tuple[Fit, ...]:
    """Eggs, largest first, the last with the bound on the smallest of n where that is lower."""
    if len(fits) < n or n == 1:
        return tuple(fits)
    least = smallest_bound(parts, n, separation, clearance=clearance)
    return (*fits[:-1], replace(fits[-1], area_bound_m2=min(fits[-1].area_bound_m2, least)))


def _fit_sets(
    parts: tuple[Polygon, ...],
    land: Boundary,
    shapes: Shapes,
    deep: tuple[float, float, float],
    *,
    n: int,
    separation: float,
) -> tuple[Egg, ...]:
    """As many as ``n`` eggs that keep apart."""
    if n == 1:
        egg = search(land, shapes, deep)
        return () if egg is None else (egg,)
    starts = _from_rooms(land, shapes, deep, n, separation) + _from_cuts(land, shapes, deep, n, separation)
    starts.sort(key=lambda s: s.rank, reverse=True)
    refined = (_refine(land, shapes, start.eggs, separation) for start in _distinct(starts)[:_REFINED])
    best = max((s for s in refined if s is not None), key=lambda s: s.rank, default=None)
    if best is None:
        # Nothing to start from: one egg less may leave room.
        return _fit_sets(parts, land, shapes, deep, n=n - 1, separation=separation)
    better = _refine(land, shapes, _grow_others(parts, shapes, best, separation).eggs, separation)
    if better is not None and better.rank > best.rank:
        best = better
    return _grow_others(parts, shapes, best, separation).eggs


def gap(first: Egg, second: Egg) -> tuple[float, float]:
    """Distance between two eggs and the direction of the normal of the widest strip between them.

    Negative where they overlap. The normal points from the first to the second, counter-clockwise from east [rad]. The
    distance of convex figures is the largest over n of n (O2 - O1) - h1(n) - h2(-n).
    """
    towards = math.atan2(second.big_y - first.big_y, second.big_x - first.big_x)
    width, best = math.pi, towards
    values = np.empty(0)
    for _ in range(12):
        angles = best + np.linspace(-width, width, 65)
        values = _strip_widths(first, second, angles)
        best = float(angles[np.argmax(values)])
        width *= 2 / 32
        if width < 1e-9:
            break
    return float(values.max()), best


def _strip_widths(first: Egg, second: Egg, angles: Array) -> Array:
    nx, ny = np.cos(angles), np.sin(angles)
    between = nx * (second.big_x - first.big_x) + ny * (second.big_y - first.big_y)
    return np.asarray(between - first.support(nx, ny) - second.support(-nx, -ny))


def _from_rooms(
    land: Boundary, shapes: Shapes, deep: tuple[float, float, float], n: int, separation: float
) -> list[_Set]:
    """Sets of local optima of one egg that already keep apart."""
    rows = local_optima(land, shapes, deep, Effort(finals=40))
    eggs = [egg for row in rows if (egg := reported(land, shapes, row[1:])) is not None][:24]
    apart = {(i, j): gap(a, b)[0] >= separation for (i, a), (j, b) in itertools.combinations(enumerate(eggs), 2)}
    return [
        _Set(tuple(eggs[i] for i in chosen))
        for chosen in itertools.combinations(range(len(eggs)), n)
        if all(apart[pair] for pair in itertools.combinations(chosen, 2))
    ][:200]


def _from_cuts(
    land: Boundary, shapes: Shapes, deep: tuple[float, float, float], n: int, separation: float
) -> list[_Set]:
    """Sets from cutting the land by straight strips, the parts' areas or their eggs in several proportions."""
    # Points evenly spread over the land stand for its area.
    points = deep_cells(land, need=0.0, finest=0.1 * deep[2], most=4000)
    whole = _Piece(land, points)
    # The strip outside the fence may lie within the distance between two fences.
    width = separation - 2 * shapes.clearance
    sets = []
    if n == 2:
        for i in range(_DIRECTIONS):
            angle = math.pi * i / _DIRECTIONS
            uneven = (whole.cut(angle, share, width) for share in (0.35, 0.65))
            sets += [[_quick(piece, shapes) for piece in pieces] for pieces in uneven]
            sets += _balanced(whole, shapes, angle, width)
    else:
        for i in range(8):
            # Where a neck parts the land in two, one half may hold two eggs as large as the other's.
            for share, way in ((1 / 3, 1), (1 / 2, 1), (1 / 2, -1), (2 / 3, -1)):
                angle = math.pi * i / 8
                one, rest = whole.cut(angle, share, width)[::way]
                single = _quick(one, shapes)
                if single is None:
                    continue
                for j in range(4):
                    pair = [_quick(piece, shapes) for piece in rest.cut(angle + math.pi * j / 4, 0.5, width)]
                    sets.append([single, *pair])
        sets += _round_the_middle(whole, shapes, width)
    return [_Set(tuple(e for e in eggs if e is not None)) for eggs in sets if None not in eggs]


def _balanced(whole: "_Piece", shapes: Shapes, angle: float, width: float) -> list[list[Egg | None]]:
    """Eggs on either side of a strip that is moved towards the larger egg, time and again."""
    low, high, found = 0.0, 1.0, []
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        pair = [_quick(piece, shapes) for piece in whole.cut(angle, middle, width)]
        found.append(pair)
        first, second = (egg.area if egg else 0.0 for egg in pair)
        if first < second:
            low = middle
        else:
            high = middle
    return found


def _round_the_middle(whole: "_Piece", shapes: Shapes, width: float) -> list[list[Egg | None]]:
    """Eggs in three parts that meet in the middle of the land, a third of the directions each."""
    third, found = 2 * math.pi / 3, []
    for i in range(_TURNS):
        rays = [third * (k + i / _TURNS) for k in range(3)]
        found.append([_quick(whole.between(ray, ray + third, width), shapes) for ray in rays])
    return found


@dataclass(frozen=True)
class _Piece:
    """Land between cuts, and points (x, y, depth in the uncut land) spread evenly over it."""

    land: Boundary | None
    points: Array

    def cut(self, angle: float, share: float, width: float) -> tuple["_Piece", "_Piece"]:
        """The pieces before and behind a strip of a width (negative: overlap); ``share`` of the area before its middle.

        The normal of the strip points in the direction ``angle``, counter-clockwise from east [rad].
        """
        if self.land is None or not len(self.points):
            return self, self
        along = self.points[:, 0] * math.cos(angle) + self.points[:, 1] * math.sin(angle)
        at = float(np.quantile(along, share))
        return (
            _Piece(behind(self.land, angle, at - width / 2), self.points[along <= at - width / 2]),
            _Piece(behind(self.land, angle + math.pi, -at - width / 2), self.points[along >= at + width / 2]),
        )

    def between(self, low: float, high: float, width: float) -> "_Piece":
        """The piece between two rays from the middle of the land, half a strip's width off either.

        ``low`` and ``high`` are their directions, counter-clockwise from east and less than half a turn apart [rad].
        """
        if self.land is None or not len(self.points):
            return self
        middle, piece = self.points[:, :2].mean(axis=0), self
        # Normals that point out of the piece.
        for angle in (low - math.pi / 2, high + math.pi / 2):
            normal = np.array([math.cos(angle), math.sin(angle)])
            at = float(middle @ normal) - width / 2
            land = behind(piece.land, angle, at) if piece.land else None
            piece = _Piece(land, piece.points[piece.points[:, :2] @ normal <= at])
        return piece


def _quick(piece: _Piece, shapes: Shapes) -> Egg | None:
    if piece.land is None:
        return None
    x, y, depth, _ = deepest_point(piece.land, np.ascontiguousarray(piece.points[:, :2]), tolerance=0.05)
    return search(piece.land, shapes, (x, y, depth), QUICK) if depth > shapes.clearance else None


def _distinct(sets: list[_Set]) -> list[_Set]:
    """Without those whose eggs all lie close to the eggs of a better set."""
    kept: list[_Set] = []
    for one in sets:
        if not any(_alike(one, other) for other in kept):
            kept.append(one)
    return kept


def _alike(one: _Set, other: _Set) -> bool:
    def near(a: Egg, b: Egg) -> bool:
        return math.hypot(a.big_x - b.big_x, a.big_y - b.big_y) < 0.1 * b.big_radius

    return all(any(near(a, b) for b in other.eggs) for a in one.eggs)


def _refine(land: Boundary, shapes: Shapes, eggs: tuple[Egg, ...], separation: float) -> _Set | None:
    """All eggs and the strips between them refined at once; None if that leads nowhere."""
    pairs = np.array(list(itertools.combinations(range(len(eggs)), 2)), np.int64)
    zs = np.array([_position(land, egg) for egg in eggs])
    strips = np.array([_strip(land, eggs[i], eggs[j]) for i, j in pairs])
    # A hair more than asked, so that rounding leaves the distance whole.
    half = separation / 2 + 1e-6
    work = work_arrays(len(eggs), len(pairs))
    merit = -math.inf
    # Where few features touch, steps die of curvature: begin again with a wide trust region while that helps.
    for _ in range(12):
        before = merit
        merit = _kernels.refine(
            zs,
            strips,
            pairs,
            0.1,
            120,
            1e-7,
            half,
            shapes.clearance,
            shapes.log_min_radius,
            shapes.limits,
            *land.tree,
            work,
        )
        if not merit > before + 2e-5:
            break
    if merit == -math.inf:
        return None
    scales = np.empty(len(eggs))
    numbers, row = (half, shapes.clearance, shapes.log_min_radius), np.empty((1, 10))
    _kernels.pack_scales(zs, strips, pairs, *numbers, *land.tree, row, scales)
    found = [reported(land, shapes, z, at_most=float(R)) for z, R in zip(zs, scales, strict=True)]
    if any(egg is None for egg in found):
        return None
    result = _Set(tuple(egg for egg in found if egg is not None))
    apart = all(gap(a, b)[0] >= separation for a, b in itertools.combinations(result.eggs, 2))
    return result if apart else None


def _position(land: Boundary, egg: Egg) -> tuple[float, float, float, float, float]:
    psi = math.pi / 2 - math.radians(egg.axis_bearing_deg)
    return egg.big_x - land.origin[0], egg.big_y - land.origin[1], psi, egg.taper, egg.aspect


def _strip(land: Boundary, first: Egg, second: Egg) -> tuple[float, float, float]:
    """Direction of the normal and a point in the middle of the widest strip between two eggs."""
    width, angle = gap(first, second)
    nx, ny = math.cos(angle), math.sin(angle)
    edge = float(first.support(nx, ny)) + width / 2
    # The strip may turn about any point of its middle line; one between the eggs couples turn and shift least.
    along = (second.big_x - first.big_x) * -ny + (second.big_y - first.big_y) * nx
    x = first.big_x + edge * nx - along / 2 * ny
    y = first.big_y + edge * ny + along / 2 * nx
    return angle, x - land.origin[0], y - land.origin[1]


def beyond(
    land: Polygon | MultiPolygon, others: Sequence[Egg], separation: float, clearance: float
) -> Polygon | MultiPolygon:
    """The land in which an egg with its strip of ``clearance`` keeps ``separation`` from other eggs. [m]

    The egg's own strip may lie within the separation, so the others take up their surroundings only to the difference.
    """
    if not others:
        return land
    # Two millimetres more than asked make up for the chords.
    grown = [egg.parallel(separation + 0.002).polygon(0.001) for egg in others]
    return land.difference(shapely.union_all([g.buffer(-clearance) if clearance else g for g in grown]))


def _grow_others(parts: tuple[Polygon, ...], shapes: Shapes, best: _Set, separation: float) -> _Set:
    """Fit each egg anew, the smallest first, with the others as obstacles; keep what is larger."""
    eggs = sorted(best.eggs, key=lambda e: e.area)
    whole = MultiPolygon(parts)
    for i, egg in enumerate(eggs):
        free = beyond(whole, [e for j, e in enumerate(eggs) if j != i], separation, shapes.clearance)
        found = fit_largest(
            free,
            clearance=shapes.clearance,
            taper=shapes.taper,
            aspect=shapes.aspect,
            min_radius=shapes.min_radius,
        )
        if found is None or found.egg.area <= egg.area:
            continue
        if all(gap(found.egg, e)[0] >= separation for j, e in enumerate(eggs) if j != i):
            eggs[i] = found.egg
    return _Set(tuple(eggs))
