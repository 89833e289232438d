"""Where a fence line comes up against the limits of the usable land, and which limit that is.

With the free strip it needs, an egg ends at its parallel curve. The distance to a convex figure is a convex function of
place, so along a straight edge of the land it has one smallest value, and the part of the edge within any distance is
one stretch. Each edge that comes within the tolerance of the parallel curve gives such a stretch, projected onto the
fence line; stretches that meet there and share a limit are one place.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon, Polygon

from packpale.enclosure.egg import Egg
from packpale.enclosure.model import Touch
from packpale.land.model import Limit
from packpale.site.grid import Array
from packpale.values.notes import Phrase, phrase

TOLERANCE_M = 0.01
"""What is nearer than this touches: nobody pegs a line out more closely. [m]"""
TOLERANCE_SHARE = 5e-5
"""The same as a share of the big radius, for large eggs: the search for a given area leaves a share of 2e-5 free."""
SAME_PLACE = 0.01
"""Contacts nearer to each other than this share of the perimeter are one place."""
NAMED_WITHIN_M = 0.001
"""A limit holds at an edge of the usable land if its area comes so near: overlays move corners by far less. [m]"""
PLOT_BOUNDARY = phrase("plot boundary")
"""Name of the limit where the usable land reaches the edge of the plot."""

Corners = npt.NDArray[np.float64]


def touches(
    egg: Egg,
    usable: Polygon | MultiPolygon,
    *,
    clearance: float = 0.0,
    limits: Sequence[Limit] = (),
    outline: Polygon | MultiPolygon | None = None,
    others: Mapping[int, Egg] | None = None,
    separation: float = 0.0,
) -> tuple[Touch, ...]:
    """Places where an egg that lies in the usable land is held, by chainage.

    Parameters
    ----------
    egg
        It lies with its strip in the usable land, give or take the tolerance.
    usable
        Where the fence and its strip may lie. [m]
    clearance
        Width of the strip. [m]
    limits
        What was taken away from the plot.
    outline
        The plot; where the usable land reaches its boundary and no setback is kept, the boundary itself is the limit.
    others, separation
        The eggs of the other packs by number, and the distance between two fence lines. [m]

    Returns
    -------
    tuple of Touch
        One for each place; none where the egg is free on all sides.

    Raises
    ------
    ValueError
        If the clearance or the separation is negative.
    """
    if not (clearance >= 0 and separation >= 0):
        raise ValueError(f"no such distances: {clearance=} m, {separation=} m")
    tolerance = max(TOLERANCE_M, TOLERANCE_SHARE * egg.big_radius)
    found = [
        *_at_land(egg, usable, clearance=clearance, tolerance=tolerance, limits=limits, outline=outline),
        *_at_packs(egg, others or {}, separation, tolerance),
    ]
    return tuple(sorted((s.touch(egg) for s in _places(found, egg.perimeter)), key=lambda t: t.chainage))


@dataclass(frozen=True)
class _Stretch:
    """Part of the fence line that is held, from chainage ``start`` on, and its tightest point."""

    start: float
    end: float
    """At or beyond the start; past the perimeter where the stretch runs over the tip of the big end."""
    nearest: float
    """Chainage of the tightest point. [m]"""
    at: tuple[float, float]
    spare: float
    limits: tuple[Phrase, ...]

    def joined(self, other: "_Stretch") -> "_Stretch":
        """Both as one, the limits of the tighter one first; ``other`` starts behind this one."""
        tight, slack = (self, other) if self.spare <= other.spare else (other, self)
        limits = tuple(dict.fromkeys((*tight.limits, *slack.limits)))
        return _Stretch(self.start, max(self.end, other.end), tight.nearest, tight.at, tight.spare, limits)

    def moved(self, distance: float) -> "_Stretch":
        return _Stretch(self.start + distance, self.end + distance, self.nearest, self.at, self.spare, self.limits)

    def touch(self, egg: Egg) -> Touch:
        point = egg.points_at(self.nearest)
        return Touch(self.nearest, float(point.x), float(point.y), *self.at, self.limits, self.spare)


@dataclass(frozen=True)
class _Edges:
    """Straight edges of the land by both ends, each of shape (edges, 2); a share of 0 is the start, 1 the end."""

    start: Corners
    end: Corners

    def pick(self, which: npt.NDArray[np.bool_]) -> "_Edges":
        return _Edges(self.start[which], self.end[which])

    def at(self, share: Array) -> Corners:
        """Points in columns: shape (2, edges)."""
        return (self.start + share[:, None] * (self.end - self.start)).T

    def lowest(self, egg: Egg) -> Array:
        """Share at which each edge is nearest to an egg, by golden sections."""
        low, high = np.zeros(len(self.start)), np.ones(len(self.start))
        golden = (math.sqrt(5) - 1) / 2
        for _ in range(70):
            width = golden * (high - low)
            left, right = high - width, low + width
            nearer = egg.distance(*self.at(left)) < egg.distance(*self.at(right))
            low, high = np.where(nearer, low, left), np.where(nearer, right, high)
        return np.asarray((low + high) / 2)

    def leaving(self, egg: Egg, reach: float, share: Array, towards: float) -> Array:
        """Share at which each edge gets farther from an egg than ``reach``, from ``share`` on; else ``towards``."""
        low, high = share, np.full_like(share, towards)
        for _ in range(50):
            middle = (low + high) / 2
            within = egg.distance(*self.at(middle)) <= reach
            low, high = np.where(within, middle, low), np.where(within, high, middle)
        return low


def _at_land(
    egg: Egg,
    usable: Polygon | MultiPolygon,
    *,
    clearance: float,
    tolerance: float,
    limits: Sequence[Limit],
    outline: Polygon | MultiPolygon | None,
) -> Iterator[_Stretch]:
    reach = clearance + tolerance
    edges = _edges(usable)
    # No point of an edge is nearer than half of what its ends are away in all, less its length.
    length = np.hypot(*(edges.end - edges.start).T)
    edges = edges.pick(egg.distance(*edges.start.T) + egg.distance(*edges.end.T) - length <= 2 * reach)
    share = edges.lowest(egg)
    held = egg.distance(*edges.at(share)) <= reach
    edges, share = edges.pick(held), share[held]
    x, y = edges.at(share)
    spare = egg.distance(x, y) - clearance
    chainage = egg.nearest(x, y)
    # An edge may be walked either way round, and over the tip of the big end.
    half = egg.perimeter / 2
    ends = [egg.nearest(*edges.at(edges.leaving(egg, reach, share, towards))) for towards in (0.0, 1.0)]
    before, behind = np.sort([np.mod(end - chainage + half, egg.perimeter) - half for end in ends], axis=0)
    for i in range(len(share)):
        at, s = (float(x[i]), float(y[i])), float(chainage[i])
        start, end = s + min(float(before[i]), 0.0), s + max(float(behind[i]), 0.0)
        yield _Stretch(start, end, s, at, float(spare[i]), _names(at, limits, outline))


def _names(
    at: tuple[float, float], limits: Sequence[Limit], outline: Polygon | MultiPolygon | None
) -> tuple[Phrase, ...]:
    """Limits that hold at a point on the edge of the usable land."""
    point = shapely.Point(at)
    names = [limit.name for limit in limits if limit.area.distance(point) <= NAMED_WITHIN_M]
    if outline is not None and outline.boundary.distance(point) <= NAMED_WITHIN_M:
        names.append(PLOT_BOUNDARY)
    return tuple(names)


def _edges(area: Polygon | MultiPolygon) -> _Edges:
    """Every edge of all rings."""
    corners, ring = shapely.get_coordinates(shapely.get_rings(shapely.get_parts(area)), return_index=True)
    same = ring[1:] == ring[:-1]
    return _Edges(corners[:-1][same], corners[1:][same])


def _at_packs(egg: Egg, others: Mapping[int, Egg], separation: float, tolerance: float) -> Iterator[_Stretch]:
    from packpale.enclosure.packs import gap

    for number, other in others.items():
        width, angle = gap(egg, other)
        if width - separation > tolerance:
            continue
        nx, ny = math.cos(angle), math.sin(angle)
        here, there = float(egg.facing(nx, ny)), other.points_at(other.facing(-nx, -ny))
        name = phrase("distance kept from pack {number}", number=number)
        yield _Stretch(here, here, here, (float(there.x), float(there.y)), width - separation, (name,))


def _places(found: Sequence[_Stretch], perimeter: float) -> list[_Stretch]:
    """Stretches that lie close together on the line and share a limit made one, also over the tip of the big end."""
    reach = SAME_PLACE * perimeter
    places: list[_Stretch] = []
    for stretch in sorted((s.moved(-perimeter * (s.start // perimeter)) for s in found), key=lambda s: s.start):
        if places and _one(places[-1], stretch, reach):
            places[-1] = places[-1].joined(stretch)
        else:
            places.append(stretch)
    if len(places) > 1 and _one(places[-1], places[0].moved(perimeter), reach):
        places[0] = places.pop().joined(places[0].moved(perimeter))
    return places


def _one(first: _Stretch, second: _Stretch, reach: float) -> bool:
    share = set(first.limits) & set(second.limits) or not (first.limits or second.limits)
    return bool(share) and second.start - first.end <= reach
