"""Where gates stand on a fence line: where a gate can hang, its airlock lie and a machine come up to it.

Every metre or so of the line is a place. What a gate has to keep off comes first, in this order: a corner, or ground
whose level is not known; a corner within the airlock; water, ground past limits, other enclosures; a gap below a leaf
of more than is allowed, or ground too steep; the plot's boundary, where a machine before the gate would stand past it
and no mapped access leads there. Among the places left, the first gate stands nearest to the access.

The boundary comes after the gap: an animal gets out below a leaf, while a neighbour can be asked for leave. Where the
ground has to be levelled below every gate, the boundary decides before the least gap.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from packpale.enclosure.airlocks import Frames, frames
from packpale.enclosure.flow_links import links_across
from packpale.enclosure.leaves import hung
from packpale.enclosure.line import Line
from packpale.enclosure.model import Gates
from packpale.land.model import Land
from packpale.settings import Project
from packpale.site.grid import Array, Mask
from packpale.site.model import Site
from packpale.values.notes import Note, Phrase, Value, listed, phrase
from packpale.values.quantity import Quantity, given

BESIDE_CORNER_M = 1.0
"""A gate's posts stand at least so far from a corner's own. [m] Assumption."""
STEP_M, SHORT_M = 0.5, 0.005
"""Step at which ground under leaves is looked at here, and by how much a gap may come out too small for that. [m]"""
APART_M = 2.0
"""Points farther apart than this would miss a ditch that stops a machine. [m]"""
NOT_CROSSED = ("slope", "ponding", "missing", "watercourses", "keep_out")
"""Kinds of limit whose ground no machine crosses, also where it lies outside the fence."""


@dataclass(frozen=True, eq=False)
class KeepOff:
    """What gates, their airlocks and the machines before them keep off."""

    name: Phrase
    ground: npt.NDArray[np.object_]
    """Geometries. [m]"""
    distance: float = 0.0
    """At least so far. [m]"""


def keep_off(line: Line, site: Site, land: Land, project: Project, others: Sequence[Line] = ()) -> tuple[KeepOff, ...]:
    """What gates of a line keep off on one plot, where ``others`` are the lines of the other enclosures."""
    grid, apart = site.grid, project.gates.from_water_m
    far = given(apart, "dimension")
    crossing = links_across(line, grid, land.flow_direction, land.upstream_area >= project.crossings.min_area_m2)
    row, col = np.nonzero(land.channel)
    x, y = grid.centres()
    mapped = np.array(site.features.get("watercourses", ()), dtype=object)
    found = [
        KeepOff(limit.name, shapely.get_parts(limit.area))
        for limit in land.limits
        if limit.may_lie_inside or limit.kind in NOT_CROSSED
    ]
    found += [
        KeepOff(phrase("{far} from mapped watercourses", far=far), mapped, apart),
        KeepOff(phrase("{far} from where water crosses", far=far), shapely.points(crossing.x, crossing.y), apart),
        # Water runs anywhere in its cells.
        KeepOff(phrase("{far} from channels", far=far), shapely.points(x[col], y[row]), apart + grid.cell / 2),
        KeepOff(phrase("another enclosure"), np.array([one.polygon() for one in others], dtype=object)),
    ]
    return tuple(one for one in found if one.ground.size)


def place_gates(line: Line, site: Site, project: Project, keep_off: Sequence[KeepOff] = ()) -> Gates:
    """The gates that the settings ask for: the first where a vehicle gets to best, the others spread round the line.

    Airlock and a machine before the gate are looked at as wide as the gate or the airlock, whichever is more.
    ``keep_off`` is what all of that keeps off.

    The first is the nearest to mapped access, or without any on the gentlest place. The others start at equal parts of
    the perimeter from the first and move by up to a third of a part to the gentlest of the places that have the fewest
    faults; farther only where the line has one with fewer, no nearer to another gate than a third of a part. Where a
    gap too wide, or ground too steep, cannot be kept off, the least gap decides among places with as few other faults.

    Returns the middle of each gate, in the order in which they were placed.
    """
    fence, settings = project.fence, project.gates
    n, width = fence.gates, fence.gate_width_m
    if n == 0:
        none = np.empty(0)
        return Gates(none, none, none, width)
    count = int(np.clip(math.ceil(line.perimeter), 24 * n, 4000))
    chainage = np.arange(count, dtype=np.float64) * (line.perimeter / count)
    points = line.points_at(chainage)
    inward, across = fence.airlock_length_m, max(width, fence.airlock_width_m)
    rooms = frames(line, chainage, across)
    beside = 0.75 * width
    inside = max(inward, beside)
    outside = max(fence.vehicle_length_m, project.trench.outside_strip_m, beside)
    x, y = _around(rooms, inside=inside, outside=outside, beside=beside)
    steepness = _steepness(x, y, site.grid.bilinear(site.elevation, x, y))
    gap = _gap(line, chainage, rooms, site, project)
    met = _met(_places(rooms, across / 2, inside, outside), keep_off)
    beyond = _beyond(_places(rooms, across / 2, 0.0, fence.vehicle_length_m), site)
    apart = np.abs(np.mod(chainage[:, None] - line.corners + line.perimeter / 2, line.perimeter) - line.perimeter / 2)
    # Each fault outweighs all that come after it.
    poor = (gap > settings.max_gap_m - SHORT_M) | (steepness > math.tan(math.radians(settings.max_slope_deg)))
    fault = (
        16 * ((apart <= width / 2 + BESIDE_CORNER_M).any(axis=1) | np.isnan(gap) | np.isnan(steepness))
        + 8 * (apart <= width / 2 + inward).any(axis=1)
        + 4 * met.any(axis=0)
        + 2 * poor
        + beyond
    )
    gentle = np.nan_to_num(np.where(poor, gap, steepness), nan=np.inf)
    access = site.features.get("access", ())
    near = np.where(poor, gentle, _distance(points.x, points.y, access)) if access else gentle
    chosen = _spread(int(np.lexsort((near, fault))[0]), n, fault, gentle)
    names = [one.name for one in keep_off]
    on = tuple(tuple(name for name, here in zip(names, met[:, k], strict=True) if here) for k in chosen)
    to_boundary = tuple(
        float(site.outline.boundary.distance(shapely.Point(points.x[k], points.y[k]))) if beyond[k] else None
        for k in chosen
    )
    return Gates(chainage[chosen], points.x[chosen], points.y[chosen], width, on, to_boundary)


def gate_place_notes(number: int, gates: Gates, vehicle_length: float) -> list[Note]:
    """That gates of a pack stand where none should, for want of a better place.

    ``vehicle_length`` is the longest that has to stand before a gate. [m]
    """
    notes = []
    bad = [k for k, names in enumerate(gates.on) if names]
    if bad:
        notes.append(
            Note(
                "gate on bad ground",
                "the line has no place for {few} of {all} gates, airlock and machine included, that keeps off water "
                "and ground past limits",
                "What lies there: {where}. Move or shorten the line, make that ground good, or lower "
                "{setting:gates.from_water_m}.",
                {
                    "few": len(bad),
                    "all": gates.chainage.size,
                    "where": listed((_at(k, gates, listed(gates.on[k], ", ")) for k in bad), "; "),
                },
                (number,),
                float(gates.chainage[bad[0]]),
                len(bad),
            )
        )
    near = {k: distance for k, distance in enumerate(gates.to_boundary) if distance is not None}
    if near:
        notes.append(
            Note(
                "machine past the boundary",
                "before {few} of {all} gates a machine stands past the plot's boundary, where no mapped access leads",
                "Distance to the boundary: {where}; a vehicle takes {vehicle}. Ask the neighbour for leave, map the "
                "access that there is, move the line, or lower {setting:fence.vehicle_length_m}.",
                {
                    "few": len(near),
                    "all": gates.chainage.size,
                    "where": listed((_at(k, gates, Quantity(near[k], "dimension")) for k in near), "; "),
                    "vehicle": given(vehicle_length, "dimension"),
                },
                (number,),
                float(gates.chainage[min(near)]),
                len(near),
            )
        )
    return notes


def _at(k: int, gates: Gates, what: Value) -> Phrase:
    chainage = Quantity(float(gates.chainage[k]), "length")
    return phrase("gate {gate} (chainage {chainage}): {what}", gate=k + 1, chainage=chainage, what=what)


def _gap(line: Line, chainage: Array, rooms: Frames, site: Site, project: Project) -> Array:
    """Greatest gap below the leaves at each place, those at the airlock's inner end too; NaN where unknown. [m]"""
    half, deep = project.fence.gate_width_m / 2, project.fence.airlock_length_m
    outer = np.stack([np.column_stack(line.points_at(chainage + side)[:2]) for side in (half, -half)], axis=1)
    gap: Array = hung(outer, project.gates, site.elevation, site.grid, in_the_line=True, step=STEP_M).gap.max(axis=1)
    if deep > 0:
        inner = np.stack([rooms.at(side, deep) for side in (half, -half)], axis=1)
        shut = hung(inner, project.gates, site.elevation, site.grid, in_the_line=False, step=STEP_M)
        gap = np.maximum(gap, shut.gap.max(axis=1))
    return gap


def _distance(x: Array, y: Array, access: Sequence[BaseGeometry]) -> Array:
    """From points to the nearest access. [m]"""
    at = shapely.points(x, y)
    return np.asarray(np.min([shapely.distance(at, way) for way in access], axis=0))


def _spread(first: int, n: int, fault: npt.NDArray[np.int64], gentle: Array) -> list[int]:
    """The first place and n - 1 others."""
    count = fault.size
    index, reach = np.arange(count), count / n / 3
    chosen = [first]
    for i in range(1, n):
        # Among equals the one nearest to the equal part wins, so that gates on flat ground are evenly spread.
        aside = _apart(index, first + round(i * count / n), count) / reach
        crowded = np.min([_apart(index, k, count) for k in chosen], axis=0) < math.floor(reach)
        chosen.append(int(np.lexsort((gentle + 1e-3 * aside, aside > 1, fault, crowded))[0]))
    return chosen


def _apart(index: npt.NDArray[np.int64], of: int, count: int) -> npt.NDArray[np.int64]:
    """Places between each and one of them, round the line."""
    return np.asarray(np.abs(np.mod(index - of + count // 2, count) - count // 2))


def _places(rooms: Frames, half: float, inward: float, outward: float) -> npt.NDArray[np.object_]:
    """What each place takes from so far inside the line to so far outside of it, half as wide to both sides. [m]"""
    corners = [rooms.at(*corner) for corner in ((-half, -outward), (half, -outward), (half, inward), (-half, inward))]
    return np.asarray(shapely.polygons(np.stack(corners, axis=1)))


def _met(places: npt.NDArray[np.object_], keep_off: Sequence[KeepOff]) -> Mask:
    """Which of the things to keep off each place meets, shape (things, places)."""
    tree = shapely.STRtree(places)
    met = np.zeros((len(keep_off), places.size), np.bool_)
    for k, one in enumerate(keep_off):
        met[k, tree.query(one.ground, predicate="dwithin", distance=one.distance)[1]] = True
    return met


def _beyond(places: npt.NDArray[np.object_], site: Site) -> Mask:
    """Which places reach past the plot's boundary and to no mapped access."""
    tree = shapely.STRtree(places)
    access = np.array(site.features.get("access", ()), dtype=object)
    beyond = np.ones(places.size, np.bool_)
    beyond[tree.query(site.outline, predicate="covers")] = False
    beyond[tree.query(access, predicate="intersects")[1]] = False
    return beyond


def _around(rooms: Frames, *, inside: float, outside: float, beside: float) -> tuple[Array, Array]:
    """Points over each place, APART_M or less from each other.

    x and y of shape (from outside to inside, along the line, places). [m]
    """
    out, into = _steps(-outside, 0.0), _steps(0.0, inside)
    at = np.array([[rooms.at(right, deep) for right in _steps(-beside, beside)] for deep in (*out, *into[1:])])
    return at[..., 0], at[..., 1]


def _steps(start: float, end: float) -> list[float]:
    return [float(at) for at in np.linspace(start, end, 1 + math.ceil((end - start) / APART_M))]


def _steepness(x: Array, y: Array, level: Array) -> Array:
    """Steepest fall between neighbouring points of each place, as ``_around`` has them; NaN where unknown. [m/m]"""
    falls = [np.abs(np.diff(level, axis=i)) / np.hypot(np.diff(x, axis=i), np.diff(y, axis=i)) for i in (0, 1)]
    return np.asarray(np.maximum(*(fall.max(axis=(0, 1)) for fall in falls)))
