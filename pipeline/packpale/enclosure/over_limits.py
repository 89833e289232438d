"""Where a fence line runs over ground past a limit: exact, from the outlines of that ground.

The cross-section at a chainage is a straight piece at right angles to the line, from ``inside`` on its inner side to
``outside`` on its outer side. The line is over a limit where the cross-section touches the limit's ground.

On an arc the cross-sections sweep part of a ring about the arc's centre, and lie on rays from it. What an edge of the
ground has in that ring is one straight piece, or two where the inner circle parts it; seen from the centre each takes
up an interval of angles, and exactly those cross-sections meet it. Where the radius is shorter than ``inside``, the
cross-sections reach past the centre: there they meet, half a turn on, what an edge has in the disc of the difference.
On a straight piece the cross-sections sweep a rectangle, and the interval is one of lengths. Between two intervals no
edge is met, so that all cross-sections lie wholly in the ground or wholly outside: one point decides.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon, Polygon

from packpale.enclosure import _kernels_line
from packpale.enclosure.boundary import Boundary, boundary, valid_parts
from packpale.enclosure.line import Line
from packpale.site.grid import Array

_CHORD_M = 0.01
"""How far the chords leave the line with which ground far from it is left out. [m]"""


@dataclass(frozen=True)
class Stretch:
    """A stretch of fence line over a limit."""

    kind: str
    """Kind of limit."""
    from_m: float
    """Chainage of its start. [m]"""
    to_m: float
    """Chainage of its end; beyond the perimeter where the stretch runs over the line's start. [m]"""

    @property
    def length_m(self) -> float:
        return self.to_m - self.from_m

    def within(self, start: float, end: float, perimeter: float) -> tuple[tuple[float, float], ...]:
        """What of it lies between two chainages of the closed line, whose start comes again at its perimeter. [m]"""
        laps = ((self.from_m, self.to_m), (self.from_m - perimeter, self.to_m - perimeter))
        cut = ((max(a, start), min(b, end)) for a, b in laps)
        return tuple((a, b) for a, b in cut if a < b)


def stretches(line: Line, soft: Mapping[str, MultiPolygon], *, inside: float, outside: float) -> tuple[Stretch, ...]:
    """All stretches of a line over limits, kind by kind in the order given, by chainage within each.

    Parameters
    ----------
    line
        An egg or a drawn line.
    soft
        Ground by kind of limit; polygons of one kind may overlap. [m]
    inside, outside
        Reach of the cross-section on either side of the line. [m]

    Raises
    ------
    ValueError
        If a reach is negative or a coordinate is not finite.
    """
    if not (inside >= 0 and outside >= 0):
        raise ValueError(f"no such cross-section: {inside=} m, {outside=} m")
    found = []
    ring, reach = line.polygon(_CHORD_M).exterior, max(inside, outside) + 2 * _CHORD_M
    shapely.prepare(ring)
    for kind, ground in soft.items():
        parts = shapely.get_parts(ground)
        near = boundary(_valid(parts[shapely.dwithin(ring, parts, reach)]))
        if near is not None:
            rows = over(pieces_of(line, near.origin), near, inside=inside, outside=outside)
            found += [Stretch(kind, float(a), float(b)) for a, b in rows]
    return tuple(found)


def union_length(over_limits: Sequence[Stretch], perimeter: float) -> float:
    """Length of line over a limit; where there are several at once it counts once. [m]"""
    rows = []
    for stretch in over_limits:
        rows.append((stretch.from_m, min(stretch.to_m, perimeter)))
        if stretch.to_m > perimeter:
            rows.append((0.0, stretch.to_m - perimeter))
    total, end = 0.0, 0.0
    for a, b in sorted(rows):
        total += max(b - max(a, end), 0.0)
        end = max(end, b)
    return total


def over_limits_m(line: Line, soft: Mapping[str, MultiPolygon], *, inside: float, outside: float) -> float:
    """Total length of a line over limits; where there are several at once it counts once. [m]

    Parameters as for ``stretches``.
    """
    return union_length(stretches(line, soft, inside=inside, outside=outside), line.perimeter)


def over(pieces: Array, ground: Boundary, *, inside: float, outside: float) -> npt.NDArray[np.float64]:
    """Stretches (from, to) of a line, shape (n, 2), over ground that is prepared; see ``pieces_of``. [m]"""
    rows = 256
    while True:
        room, out = np.empty((rows, 2)), np.empty((rows, 2))
        bands = (ground.band_start, ground.band_edge, ground.band_frame)
        n = _kernels_line.over(pieces, inside, outside, *ground.tree, *bands, False, room, out)
        if n >= 0:
            return out[:n]
        rows = -n


def pieces_of(line: Line, origin: tuple[float, float]) -> npt.NDArray[np.float64]:
    """Arcs and straight pieces of a line in local coordinates, as the compiled search reads them."""
    rows = []
    for arc in line.arcs():
        bearing = math.radians(arc.start_bearing_deg)
        at = (arc.start_x - origin[0], arc.start_y - origin[1])
        along = (math.sin(bearing), math.cos(bearing))
        rows.append((*at, *along, arc.radius, math.radians(arc.turn_deg), arc.chainage, arc.length))
    return np.array(rows)


def soft_ground(soft: Mapping[str, MultiPolygon], within: Polygon | MultiPolygon) -> MultiPolygon:
    """All soft ground within an area as one, without overlaps."""
    parts = [part for ground in soft.values() for part in _valid(ground.geoms)]
    united = shapely.intersection(shapely.union_all(parts), MultiPolygon(valid_parts(within)))
    return MultiPolygon([p for p in shapely.get_parts(united) if p.geom_type == "Polygon" and p.area > 0])


def _valid(polygons: Iterable[Polygon]) -> tuple[Polygon, ...]:
    """Valid polygons, each for itself: where two lie over one another, that is no fault, and no hole either."""
    return tuple(part for polygon in polygons for part in valid_parts(polygon))
