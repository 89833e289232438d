"""A proven upper bound on the area of the smallest of several eggs that keep a distance w from each other.

Is there a pair of eggs, each larger than A, in the land with their strips of width s? Two convex figures w apart have
a straight strip of width w between them; its middle line has a normal n, which points from the first to the second,
and an offset o. The first egg, grown by s, lies in the land where n x <= o - e, the second where n x >= o + e, with
e = w / 2 - s. The larger o, the more land for the first and the less for the second. So one pivot P is enough for all
lines of one direction: those with o <= n P leave the first no more than the line through P does, the others leave the
second no more. If neither side of that line holds an egg larger than A, no such pair has a strip in that direction.

A range of directions, all normals within an angle v of one, is done at once: a side is the union of its half-planes,
all the land but a wedge. In the wedge n x > -e, x counted from P, for all normals of the range. Each is a sum of the
two at the ends with weights >= 0 that add up to at least 1 and at most 1 / cos v. So it is enough that n x > -e holds
for those two, where e <= 0, and that n x > -e cos v does, where e > 0. Ranges that fail are halved, until the half
circle is done (a pair has two numberings) or the work is spent. What a side holds is asked of proof.area_bound.

A is lowered by halving on a logarithmic scale, down from a bound that is known, as long as a proof is found.
"""

import math
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon, Polygon

from packpale.enclosure.boundary import boundary, valid_parts
from packpale.enclosure.depth import deepest_point
from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import QUICK, Ranges, Shapes, search, seeds
from packpale.enclosure.proof import area_bound

_WORK = 30_000_000
"""Of a whole bound, in the units of proof.search; about 2 s."""
_WORK_OF_A_GLANCE, _WORK_OF_A_SIDE = 100_000, 1_000_000
"""On a side before an egg is looked for in it, and where none is found. A side that takes more counts as not proven."""
_WORK_OF_A_FIT, _WORK_OF_A_CALL = 100_000, 10_000
_BOXES = 20_000
_STEPS = 6
"""Areas tried."""
_CLOSE = 1.01
"""Or until the bound is this near to an area that is known or could not be excluded."""
_RANGES, _PIVOTS = 8, 6
"""Of directions to begin with; points tried for one range."""
_NARROWEST = math.pi / 400
_ROUNDING, _ROUNDING_M = 1e-6, 1e-6
"""proof.area_bound is right to a few parts in 10^7; every side is larger by so much than it has to be."""


class _SpentError(Exception):
    """The work allowed is done."""


@dataclass
class _Question:
    """Whether eggs larger than an area fit, and what asking has cost."""

    land: MultiPolygon
    beyond: float
    ranges: Ranges
    work_left: int
    area: float = 0.0
    known: list[tuple[float, Polygon]] = field(default_factory=list)
    """Areas of eggs found, and their outlines with the strip."""
    reach: float = field(init=False)

    def __post_init__(self) -> None:
        west, south, east, north = self.land.bounds
        self.reach = 4 * math.hypot(east - west, north - south) + 4 * abs(self.beyond)

    def holds_none(self, side: MultiPolygon) -> bool:
        """Whether it is proven that no egg larger than the area lies in a side."""
        largest = max((p.area for p in side.geoms), default=0.0)
        if math.sqrt(largest) <= math.sqrt(self.area) + self.ranges["clearance"] * math.sqrt(math.pi):
            return True
        if self._holds_known(side):
            return False
        if self._proven(side, _WORK_OF_A_GLANCE):
            return True
        self._spend(_WORK_OF_A_FIT, side)
        egg = _fitted(side, Shapes(**self.ranges))
        if egg is not None and egg.area > self.area:
            self.known.append((egg.area, egg.parallel(self.ranges["clearance"]).polygon(0.1)))
            return False
        return self._proven(side, _WORK_OF_A_SIDE)

    def _holds_known(self, side: MultiPolygon) -> bool:
        """Whether one of the eggs found so far lies in a side: then a proof would be looked for in vain."""
        eggs = [outline for area, outline in self.known if area > self.area]
        return bool(shapely.covers(side, eggs).any()) if eggs else False

    def _proven(self, side: MultiPolygon, work: int) -> bool:
        proof = area_bound(side, best_area=self.area, tolerance=0.0, max_work=work, max_boxes=_BOXES, **self.ranges)
        self._spend(proof.work, side)
        return proof.closed

    def _spend(self, work: int, side: MultiPolygon) -> None:
        self.work_left -= work + _WORK_OF_A_CALL + 10 * int(shapely.get_num_coordinates(side))
        if self.work_left <= 0:
            raise _SpentError


@dataclass(frozen=True)
class _Cut:
    """All lines through a point whose normals lie within ``spread`` of an angle from east. [m, rad]"""

    x: float
    y: float
    angle: float
    spread: float

    def before(self, land: MultiPolygon, beyond: float, reach: float) -> MultiPolygon:
        """The land on the side that some of the normals point away from, ``beyond`` and more from their line."""
        return _less(land, self._wedge(self.angle, beyond, reach))

    def behind(self, land: MultiPolygon, beyond: float, reach: float) -> MultiPolygon:
        """The same on the other side."""
        return _less(land, self._wedge(self.angle + math.pi, beyond, reach))

    def _wedge(self, angle: float, beyond: float, reach: float) -> Polygon:
        distance = beyond * math.cos(self.spread) if beyond > 0 else beyond
        # The wedge's apex, where the lines at both ends of the range meet.
        along = (_ROUNDING_M - distance) / math.cos(self.spread)
        n = np.array([math.cos(angle), math.sin(angle)])
        apex = np.array([self.x, self.y]) + along * n
        turns = angle + np.array([-1, 1]) * (math.pi / 2 - self.spread)
        sides = apex + reach * np.column_stack([np.cos(turns), np.sin(turns)])
        return Polygon([apex, sides[0], sides[0] + reach * n, sides[1] + reach * n, sides[1]])


def smaller_of_two(
    area: Polygon | MultiPolygon,
    separation: float,
    *,
    best_area: float,
    at_most: float,
    clearance: float,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float,
    max_work: int = _WORK,
) -> float:
    """Upper bound on the area of the smaller of two eggs that keep ``separation`` [m] apart, as their lines do. [m2]

    ``area``: the land, valid. ``best_area``: that of the smaller of two eggs which are known. ``at_most``: a bound that
    is known; the result is no more. ``max_work`` ends the search. Other parameters as for proof.area_bound; the same
    input gives the same bound.

    Raises ValueError if the separation is negative, and as proof.area_bound.
    """
    if not 0 <= separation < math.inf:
        raise ValueError(f"no such packs: {separation=} m")
    ranges = Ranges(clearance=clearance, taper=taper, aspect=aspect, min_radius=min_radius)
    land = MultiPolygon(valid_parts(shapely.union_all(valid_parts(area))))
    if land.is_empty or at_most <= 0:
        return at_most
    question = _Question(land, separation / 2 - clearance, ranges, max_work)
    tried, proven = max(best_area, 1e-3 * at_most), at_most
    for _ in range(_STEPS):
        if proven <= tried * _CLOSE:
            break
        question.area = math.sqrt(tried * proven)
        try:
            if _parted_nowhere(question):
                proven = question.area * (1 + _ROUNDING)
            else:
                tried = question.area
        except _SpentError:
            break
    return proven


def _parted_nowhere(question: _Question) -> bool:
    """Whether it is proven that no line has an egg larger than the area on either side."""
    spread = math.pi / _RANGES / 2
    todo: list[tuple[float, float, float | None]] = [((2 * i + 1) * spread, spread, None) for i in range(_RANGES)]
    while todo:
        angle, spread, at = todo.pop()
        done, cut = _pivot(question, angle, spread, at)
        if done:
            continue
        if spread / 2 < _NARROWEST:
            return False
        halves = (angle + spread / 2, angle - spread / 2)
        todo += [(turned, spread / 2, cut.x * math.cos(turned) + cut.y * math.sin(turned)) for turned in halves]
    return True


def _pivot(question: _Question, angle: float, spread: float, at: float | None) -> tuple[bool, _Cut]:
    """Whether a cut is found neither side of which holds an egg, for all normals of a range; and the last one tried."""
    low, high = _extent(question.land, angle)
    middle = (low + high) / 2 if at is None else min(max(at, low), high)
    for _ in range(_PIVOTS):
        cut = _cut(question.land, angle, middle, spread)
        before = question.holds_none(cut.before(question.land, question.beyond, question.reach))
        behind = question.holds_none(cut.behind(question.land, question.beyond, question.reach))
        if before == behind:
            return before, cut
        if before:
            low = middle
        else:
            high = middle
        middle = (low + high) / 2
    return False, cut


def _extent(land: MultiPolygon, angle: float) -> tuple[float, float]:
    """How far the land reaches in a direction. [m]"""
    along = shapely.get_coordinates(land) @ np.array([math.cos(angle), math.sin(angle)])
    return float(along.min()), float(along.max())


def _cut(land: MultiPolygon, angle: float, offset: float, spread: float) -> _Cut:
    """The cut about the middle of what a line has in the land, so that the sides grow least with the spread."""
    n, t = np.array([math.cos(angle), math.sin(angle)]), np.array([-math.sin(angle), math.cos(angle)])
    low, high = _extent(land, angle + math.pi / 2)
    line = shapely.LineString([offset * n + low * t, offset * n + high * t])
    met: npt.NDArray[np.float64] = shapely.get_coordinates(shapely.intersection(land, line)) @ t
    middle = (met.min() + met.max()) / 2 if len(met) else (low + high) / 2
    x, y = offset * n + middle * t
    return _Cut(float(x), float(y), angle, spread)


def _less(land: MultiPolygon, wedge: Polygon) -> MultiPolygon:
    return MultiPolygon(valid_parts(shapely.difference(land, wedge)))


def _fitted(side: MultiPolygon, shapes: Shapes) -> Egg | None:
    """A large egg in a side."""
    parts = valid_parts(side)
    land = boundary(parts)
    if land is None:
        return None
    x, y, depth, _ = deepest_point(land, seeds(land, parts), tolerance=0.05)
    return search(land, shapes, (x, y, depth), QUICK) if depth > shapes.clearance else None
