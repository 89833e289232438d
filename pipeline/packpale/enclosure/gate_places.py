"""Where gates stand on a fence line: where a gate can hang, its airlock lie and a machine come up to it.

Every metre or so of the line is a place. What a gate has to keep off comes first, in this order: a corner, or ground
whose level is not known; a corner within the airlock; water, ground past limits, other enclosures; a gap below a leaf
of more than is allowed, or ground too steep. Among the places left, the first gate stands nearest to the access.
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
from packpale.settings import GateSettings, Project
from packpale.site.grid import Array, Grid, Mask
from packpale.site.model import Site
from packpale.values.notes import Note, Phrase, listed, phrase
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


def place_gates(
    line: Line,
    n: int,
    *,
    width: float,
    elevation: Array,
    grid: Grid,
    access: tuple[BaseGeometry, ...] = (),
    keep_off: Sequence[KeepOff] = (),
    inward: float = 0.0,
    outward: float = 0.0,
    room_width: float = 0.0,
    settings: GateSettings | None = None,
) -> Gates:
    """``n`` gates: the first where a vehicle gets to best, the others spread round the line.

    Parameters
    ----------
    width, room_width
        Of a gate, and of its airlock along the line; whichever is more is looked at. [m]
    inward, outward
        How far the airlock reaches into the enclosure (0: there is none), and the way to the gate out of it. [m]
    access
        What the first gate is to be near to. Without it the gentlest place is taken.
    keep_off
        What all of that keeps off.
    settings
        How leaves hang, the gap and the slope that are allowed; without it the defaults.

    The others start at equal parts of the perimeter from the first and move by up to a third of a part to the gentlest
    of the places that have the fewest faults; farther only where the line has one with fewer, no nearer to another gate
    than a third of a part. Where a gap too wide, or ground too steep, cannot be kept off, the least gap decides.

    Returns the middle of each gate, in the order in which they were placed. Raises ValueError if ``n`` is negative or
    the width is not positive.
    """
    if n < 0 or not width > 0:
        raise ValueError(f"no such gates: {n=}, {width=} m")
    if n == 0:
        none = np.empty(0)
        return Gates(none, none, none, width)
    settings = settings or GateSettings()
    count = int(np.clip(math.ceil(line.perimeter), 24 * n, 4000))
    chainage = np.arange(count, dtype=np.float64) * (line.perimeter / count)
    points = line.points_at(chainage)
    rooms = frames(line, chainage, max(width, room_width))
    beside = 0.75 * width
    inside, outside = max(inward, beside), max(outward, beside)
    x, y = _around(rooms, inside=inside, outside=outside, beside=beside)
    steepness = _steepness(x, y, grid.bilinear(elevation, x, y))
    outer = np.stack([np.column_stack(line.points_at(chainage + side)[:2]) for side in (width / 2, -width / 2)], axis=1)
    gap = hung(outer, settings, elevation, grid, in_the_line=True, step=STEP_M).gap.max(axis=1)
    if inward > 0:
        inner = np.stack([rooms.at(side, inward) for side in (width / 2, -width / 2)], axis=1)
        gap = np.maximum(gap, hung(inner, settings, elevation, grid, in_the_line=False, step=STEP_M).gap.max(axis=1))
    met = _met(rooms, max(width, room_width) / 2, inside, outside, keep_off)
    apart = np.abs(np.mod(chainage[:, None] - line.corners + line.perimeter / 2, line.perimeter) - line.perimeter / 2)
    # Each fault outweighs all that come after it.
    poor = (gap > settings.max_gap_m - SHORT_M) | (steepness > math.tan(math.radians(settings.max_slope_deg)))
    fault = (
        8 * ((apart <= width / 2 + BESIDE_CORNER_M).any(axis=1) | np.isnan(gap) | np.isnan(steepness))
        + 4 * (apart <= width / 2 + inward).any(axis=1)
        + 2 * met.any(axis=0)
        + poor
    )
    gentle = np.nan_to_num(np.where(poor, gap, steepness), nan=np.inf)
    chosen = _spread(_first(points.x, points.y, fault, gentle, access), n, fault, gentle)
    names = [one.name for one in keep_off]
    on = tuple(tuple(name for name, here in zip(names, met[:, k], strict=True) if here) for k in chosen)
    return Gates(chainage[chosen], points.x[chosen], points.y[chosen], width, on)


def gate_place_note(number: int, gates: Gates) -> Note | None:
    """That gates of a pack stand where none should, for want of a better place; None where all keep off."""
    bad = [k for k, names in enumerate(gates.on, 1) if names]
    if not bad:
        return None
    where = (
        phrase(
            "gate {gate} (chainage {chainage}): {what}",
            gate=k,
            chainage=Quantity(float(gates.chainage[k - 1]), "length"),
            what=listed(gates.on[k - 1], ", "),
        )
        for k in bad
    )
    return Note(
        "gate on bad ground",
        "the line has no place for {few} of {all} gates, airlock and machine included, that keeps off water and ground "
        "past limits",
        "What lies there: {where}. Move or shorten the line, make that ground good, or lower "
        "{setting:gates.from_water_m}.",
        {"few": len(bad), "all": gates.chainage.size, "where": listed(where, "; ")},
        (number,),
        float(gates.chainage[bad[0] - 1]),
        len(bad),
    )


def _first(x: Array, y: Array, fault: npt.NDArray[np.int64], gentle: Array, access: tuple[BaseGeometry, ...]) -> int:
    least = fault.min()
    if access and least % 2 == 0:
        at = shapely.points(x, y)
        gentle = np.min([shapely.distance(at, way) for way in access], axis=0)
    return int(np.argmin(np.where(fault == least, gentle, np.inf)))


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


def _met(rooms: Frames, half: float, inward: float, outward: float, keep_off: Sequence[KeepOff]) -> Mask:
    """Which of the things to keep off each place meets, shape (things, places)."""
    corners = [rooms.at(*corner) for corner in ((-half, -outward), (half, -outward), (half, inward), (-half, inward))]
    places = shapely.STRtree(shapely.polygons(np.stack(corners, axis=1)))
    met = np.zeros((len(keep_off), len(rooms.chord)), np.bool_)
    for k, one in enumerate(keep_off):
        met[k, places.query(one.ground, predicate="dwithin", distance=one.distance)[1]] = True
    return met


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
