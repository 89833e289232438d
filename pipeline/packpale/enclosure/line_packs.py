"""Several enclosures a set distance apart whose lines may run over limits: the smallest as large as possible.

Begun from sets of the strict case (packs.py), soft ground taken for no-go, and from cuts: the land is cut by straight
strips of the distance in many directions, each moved until the eggs on either side are about the same, which the
rasters tell quickly; the best cuts get an egg fitted in each part. In the better set each egg is then fitted anew with
the others as obstacles, the smallest first, and kept where it became larger. Distances are those of packs.gap.
"""

import math
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import Shapes
from packpale.enclosure.fit_line import largest
from packpale.enclosure.line_ground import LineGround
from packpale.enclosure.line_search import USUAL, Aim, Labour, Round, Search, Side
from packpale.enclosure.model import Fit
from packpale.enclosure.packs import beyond, fit_packs, gap, with_smallest_bound

_QUICK = Labour(
    50,
    (
        Round(500, (0.1, 0.015), (0.5, 0.15), (3.0, 10.0), samples=80.0, kept=8),
        Round(1500, (0.05, 0.003), (0.3, 0.02), (6.0, 40.0), samples=120.0, kept=1),
    ),
    0,
)
_DIRECTIONS, _TURNS, _HALVINGS = 8, 2, 3
_CUTS = 2
"""So many of the best cuts get eggs fitted by exact measures."""


def fit_packs_on_lines(
    ground: LineGround,
    share: float,
    n: int,
    separation: float,
    *,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float = 0.0,
    labour: Labour = USUAL,
) -> tuple[Fit, ...]:
    """``n`` eggs whose lines are at least ``separation`` [m] apart, largest first; fewer where not so many are found.

    Each is feasible for the share by itself. Other parameters as for fit_line.fit_line; n as for packs.fit_packs. Each
    area_bound_m2 is the bound for a single egg, the last one's that for the smallest of n where that is lower.

    Raises ValueError as ``fit_line``, and if n is not positive or the separation is negative.
    """
    started = time.perf_counter()
    if n < 1 or not separation >= 0:
        raise ValueError(f"no such packs: {n=}, {separation=} m")
    if not 0 <= share <= 1:
        raise ValueError(f"share = {share} of the line over limits must lie between 0 and 1")
    shapes = Shapes(ground.outside_strip, taper, aspect, min_radius)
    on = Search.on(ground, shapes)
    if on is None:
        return ()
    found = _packs(on, share, n, separation, labour)
    took = time.perf_counter() - started
    fits = [Fit(egg, on.bound, took) for egg in sorted(found, key=lambda egg: -egg.area)]
    return with_smallest_bound(fits, on.parts, n, separation, clearance=shapes.clearance)


def _packs(on: Search, share: float, n: int, separation: float, labour: Labour) -> list[Egg]:
    if n == 1:
        egg = largest(on, share, labour, None)
        return [] if egg is None else [egg]
    strict = _contained(on, shapely.difference(MultiPolygon(on.parts), on.soft), n, separation)
    if on.near is None:
        return strict
    free = _contained(on, MultiPolygon(on.parts), n, separation)
    if len(free) == n and all(on.allows(egg, share) for egg in free):
        return free
    sets = [strict] if len(strict) == n and all(on.allows(egg, share) for egg in strict) else []
    for pieces in _cuts(on, Aim(share), n, separation):
        eggs = [_in_piece(on, piece, share, labour) for piece in pieces]
        if (whole := [egg for egg in eggs if egg is not None]) and len(whole) == n:
            sets.append(whole)
    if not sets:
        # Nothing to start from: one egg less may leave room.
        return _packs(on, share, n - 1, separation, labour)
    return _grown(on, max(sets, key=_rank), share, separation, labour)


def _rank(eggs: Sequence[Egg]) -> tuple[float, float]:
    areas = [egg.area for egg in eggs]
    return min(areas), sum(areas)


def _contained(on: Search, land: Polygon | MultiPolygon, n: int, separation: float) -> list[Egg]:
    shapes = on.shapes
    fits = fit_packs(
        land,
        n,
        separation,
        clearance=shapes.clearance,
        taper=shapes.taper,
        aspect=shapes.aspect,
        min_radius=shapes.min_radius,
    )
    return [fit.egg for fit in fits]


@dataclass(frozen=True)
class _Piece:
    """A piece of land between cuts, and about the largest log area in it."""

    sides: tuple[Side, ...]
    log_area: float


def _cuts(on: Search, aim: Aim, n: int, separation: float) -> Iterator[tuple[_Piece, ...]]:
    """The best ways to cut the land into pieces, one for each egg."""
    # The strips outside the fences may lie within the distance between them.
    width = separation - 2 * on.shapes.clearance
    ways: list[tuple[_Piece, ...]] = []
    for i in range(_DIRECTIONS):
        angle = math.pi * i / _DIRECTIONS
        if n == 2:
            ways += _halved(on, aim, (), angle, width)
            continue
        # Every other direction parts the land from its far side.
        for one, rest in _parted(on, aim, angle + math.pi * (i % 2), width, 1 / n):
            for j in range(_TURNS):
                turned = angle + math.pi * j / _TURNS
                ways += [(one, *pair) for pair in _halved(on, aim, rest.sides, turned, width)[-1:]]
    ways.sort(key=lambda way: -min(piece.log_area for piece in way))
    yield from [way for way in ways if min(piece.log_area for piece in way) > -math.inf][:_CUTS]


def _halved(on: Search, aim: Aim, sides: tuple[Side, ...], angle: float, width: float) -> list[tuple[_Piece, _Piece]]:
    """A piece cut by a strip that is moved until both eggs are about as large; the best of the cuts tried last."""
    low, high = _extent(on, sides, angle)
    found = []
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        pair = (
            _piece(on, aim, (*sides, Side(angle, middle - width / 2))),
            _piece(on, aim, (*sides, Side(angle + math.pi, -middle - width / 2))),
        )
        found.append(pair)
        if pair[0].log_area < pair[1].log_area:
            low = middle
        else:
            high = middle
    return sorted(found, key=lambda pair: min(piece.log_area for piece in pair))


def _parted(on: Search, aim: Aim, angle: float, width: float, part: float) -> list[tuple[_Piece, _Piece]]:
    """The land cut by a strip behind which about a part of it lies; the first piece is that part."""
    low, high = _extent(on, (), angle)
    at = low + part * (high - low)
    one = _piece(on, aim, (Side(angle, at - width / 2),))
    return [(one, _Piece((Side(angle + math.pi, -at - width / 2),), 0.0))] if one.log_area > -math.inf else []


def _extent(on: Search, sides: tuple[Side, ...], angle: float) -> tuple[float, float]:
    """How far a piece reaches in a direction. [m]"""
    points = np.concatenate(on.land.rings)
    for side in sides:
        points = points[side.depth(points) >= 0]
    if not len(points):
        return 0.0, 0.0
    along = points[:, 0] * math.cos(angle) + points[:, 1] * math.sin(angle)
    return float(along.min()), float(along.max())


def _piece(on: Search, aim: Aim, sides: tuple[Side, ...]) -> _Piece:
    found = on.quickly(aim, _QUICK, sides)
    return _Piece(sides, -math.inf if found is None else float(found[0]))


def _in_piece(on: Search, piece: _Piece, share: float, labour: Labour) -> Egg | None:
    """The largest egg found in a piece, by exact measures."""
    land = MultiPolygon(on.parts)
    reach = 4 * max(abs(v) for v in on.land.size) + 1.0
    for side in piece.sides:
        cos, sin = math.cos(side.angle), math.sin(side.angle)
        x, y = side.offset * cos + on.land.origin[0], side.offset * sin + on.land.origin[1]
        corners = [(0, -reach), (0, reach), (-2 * reach, reach), (-2 * reach, -reach)]
        land = land.intersection(Polygon([(x + a * cos - b * sin, y + a * sin + b * cos) for a, b in corners]))
    return _largest_on(on, land, share, labour, None)


def _largest_on(
    on: Search, land: Polygon | MultiPolygon, share: float, labour: Labour, known: Egg | None
) -> Egg | None:
    parts = [p for p in shapely.get_parts(land) if isinstance(p, Polygon) and p.area > 0]
    there = Search.on(replace(on.ground, enclosable=MultiPolygon(parts)), on.shapes)
    return known if there is None else largest(there, share, labour, known)


def _grown(on: Search, eggs: list[Egg], share: float, separation: float, labour: Labour) -> list[Egg]:
    """Each egg fitted anew with the others as obstacles, the smallest first; what is larger is kept."""
    eggs = sorted(eggs, key=lambda egg: egg.area)
    for i, egg in enumerate(eggs):
        others = eggs[:i] + eggs[i + 1 :]
        free = beyond(MultiPolygon(on.parts), others, separation, on.shapes.clearance)
        found = _largest_on(on, free, share, labour, egg)
        if found is not None and found.area > egg.area and all(gap(found, o)[0] >= separation for o in others):
            eggs[i] = found
    return eggs
