"""The round along the fence: where it runs, how long it takes, and the places to check on the way."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from shapely.geometry import LineString, Point, Polygon

from packpale.enclosure.model import Alignment, Pack
from packpale.settings import PatrolSettings, TrenchSettings
from packpale.site import Array, Site
from packpale.values.notes import Note
from packpale.values.quantity import Quantity, given

CheckKind = Literal["gate", "crossing", "weak place"]

SHORTEST_STEP_M, LONGEST_STEP_M = 1.0, 5.0
"""Limits to the step over which a slope is felt, else a cell. [m] Over less, noise of the model counts as climb."""
CHORD_ERROR_M = 0.001
"""Largest distance between the parallel of the fence line and the path's straight pieces. [m]"""
ROUND_SEGMENTS = 64
"""Straight pieces for a quarter of a turn round another pack's fence."""
WEAKER_M = 0.01
"""A place is weak where the tunnel is shorter by more than this than at the middle station; less is rounding. [m]"""


@dataclass(frozen=True)
class Mark:
    """A place on the fence line that somebody should look at on every round."""

    kind: CheckKind
    what: str
    """In words, such as "gate 2"."""
    chainage: float
    """On the fence line. [m]"""


@dataclass(frozen=True)
class Check:
    """One check point of a round, in walking order."""

    number: int
    """From 1."""
    mark: Mark
    x: float
    y: float
    """The place on the fence line. [m]"""
    along: float
    """Way walked from the start of the round to here. [m]"""
    leg: float
    """Way walked, and fence looked at, since the check point before or the start. [m]"""
    leg_s: float
    """Time for that, without stops. [s]"""


@dataclass(frozen=True)
class Round:
    """One walk round one pack's fence, clockwise, from its first gate or, without gates, from the line's start."""

    pack: int
    path: npt.NDArray[np.float64]
    """Closed, shape (points, 2), the start repeated at the end. [m]"""
    offset: float
    """From the fence line, positive outside. [m]"""
    length: float
    """In plan. [m]"""
    length_on_ground: float
    """[m]"""
    climb: float
    """All that goes up; as much goes down. [m]"""
    steepest: float
    """Largest slope of a step, either way. [m/m]"""
    walking_s: float
    """Without stops. [s]"""
    other_way_s: float
    """The same, walked counter-clockwise. [s]"""
    stops_s: float
    """All stops at check points. [s]"""
    checks: tuple[Check, ...]
    last_leg: float
    """From the last check point back to the start. [m]"""
    last_leg_s: float
    """[s]"""
    unknown: float
    """Part of the path under which the elevation is missing; it counts as level. [m]"""

    @property
    def total_s(self) -> float:
        """Walking and stops. [s]"""
        return self.walking_s + self.stops_s

    @property
    def longest_leg(self) -> float:
        """Longest piece between two check points, or the whole round without any. [m]"""
        return max([self.last_leg, *(check.leg for check in self.checks)])


def walking_speed(slope: npt.ArrayLike, *, factor: float = 1.0) -> Array:
    """Speed on foot along a way that rises by ``slope`` (rise over run in the direction of travel). [m/s]

    Tobler's function ``6 exp(-3.5 |slope + 0.05|)`` in km/h of plan distance, times ``factor``, which he sets to 3/5
    away from paths. Its maximum, 6 km/h, is downhill at 0.05.

    References
    ----------
    .. [1] W. Tobler, "Three presentations on geographical analysis and modeling", NCGIA Technical Report 93-1, 1993
       (title from memory; formula, factor and table of values read in secondary copies).
    """
    kmh = 6.0 * np.exp(-3.5 * np.abs(np.asarray(slope, float) + 0.05))
    return np.asarray(factor * kmh / 3.6)


def rounds(
    site: Site,
    packs: Sequence[Pack],
    marks: Mapping[int, Sequence[Mark]],
    *,
    patrol: PatrolSettings,
    trench: TrenchSettings,
) -> tuple[tuple[Round, ...], list[Note]]:
    """A round for each pack, and what a reader must know of them.

    ``marks`` holds the places to check by number of the pack, in any order.
    """
    outside = patrol.side == "outside"
    free = trench.outside_strip_m if outside else trench.inside_strip_m
    offset = patrol.offset_m if outside else -patrol.offset_m
    found, notes = [], []
    away = given(patrol.offset_m, "dimension")
    for pack in packs:
        packs_of_it = (pack.number,)
        near = _near(pack, packs, offset)
        rings = _parallels(pack, offset, near)
        if not rings:
            notes.append(
                Note(
                    "round falls apart",
                    "there is no round {away} inside the fence line, which bends more tightly than that",
                    "Lower {setting:patrol.offset_m}.",
                    {"away": away},
                    packs_of_it,
                )
            )
            continue
        notes += [_between_packs(pack.number, number, gap) for number, gap, _ in near]
        if len(rings) > 1:
            notes.append(
                Note(
                    "round falls apart",
                    "{away} inside the fence line the round falls into {parts} parts",
                    "Only the longest is walked; lower {setting:patrol.offset_m}.",
                    {"away": away, "parts": len(rings)},
                    packs_of_it,
                )
            )
        walk = round_of(pack, rings[0], marks.get(pack.number, ()), site, patrol=patrol, offset=offset)
        found.append(walk)
        if walk.unknown:
            notes.append(
                Note(
                    "round without elevation",
                    "{length} of the round have no elevation and count as level ground",
                    values={"length": Quantity(walk.unknown, "length")},
                    packs=packs_of_it,
                    size=walk.unknown,
                )
            )
    if found and patrol.offset_m > free:
        notes.append(
            Note(
                "round beyond its strip",
                "the round runs {away} {side} the fence line, beyond the {free} that are kept free there",
                "Whether it can be walked has to be looked at on the ground.",
                {"away": away, "side": patrol.side, "free": given(free, "dimension")},
            )
        )
    return tuple(found), notes


def _between_packs(pack: int, other: int, gap: float) -> Note:
    return Note(
        "walk between two packs",
        "the round passes the fence of pack {other} {away} away, midway between the two",
        "They stand nearer to each other there than twice {setting:patrol.offset_m}; whether anybody may walk between "
        "two packs there is for the keeper to decide.",
        {"other": other, "away": Quantity(gap / 2, "dimension")},
        (pack,),
        size=-gap,
    )


def round_of(
    pack: Pack, ring: LineString, marks: Sequence[Mark], site: Site, *, patrol: PatrolSettings, offset: float
) -> Round:
    """The round along a closed ring, walked in the ring's own direction."""
    start = ring.project(_on_line(pack, float(pack.gates.chainage[0]) if pack.gates.chainage.size else 0.0))
    path = _begun_at(ring, start)
    walked = LineString(path)
    step = min(max(site.grid.cell, SHORTEST_STEP_M), LONGEST_STEP_M)
    n = max(math.ceil(walked.length / step), 4)
    step = walked.length / n
    at = np.linspace(0.0, walked.length, n + 1)
    points = np.array([walked.interpolate(d).coords[0] for d in at])
    ground = site.grid.bilinear(site.elevation, points[:, 0], points[:, 1])
    rise = np.diff(ground)
    known = np.isfinite(rise)
    rise = np.where(known, rise, 0.0)
    seconds = step / walking_speed(rise / step, factor=patrol.pace_factor)
    clock = np.concatenate([[0.0], np.cumsum(seconds)])
    checks = _checks(pack, marks, ring, start=start, at=at, clock=clock)
    return Round(
        pack=pack.number,
        path=path,
        offset=offset,
        length=walked.length,
        length_on_ground=float(np.hypot(step, rise).sum()),
        climb=float(rise[rise > 0].sum()),
        steepest=float(np.abs(rise).max() / step),
        walking_s=float(clock[-1]),
        other_way_s=float((step / walking_speed(-rise / step, factor=patrol.pace_factor)).sum()),
        stops_s=patrol.stop_s * len(checks),
        checks=checks,
        last_leg=walked.length - (checks[-1].along if checks else 0.0),
        last_leg_s=float(clock[-1]) - sum(check.leg_s for check in checks),
        unknown=float(step * (~known).sum()),
    )


def weak_places(line: Alignment, tunnel: Array, *, count: int, apart: float) -> tuple[Mark, ...]:
    """Stations at which the tunnel is shortest, at most ``count``, no two nearer along the line than ``apart`` [m].

    None where the tunnel is about as long everywhere, as on level ground.
    """
    length = line.step * line.chainage.size
    weak = np.flatnonzero(tunnel < np.median(tunnel) - WEAKER_M)
    chosen: list[float] = []
    for i in weak[np.argsort(tunnel[weak], kind="stable")]:
        here = float(line.chainage[i])
        away = [abs(here - other) for other in chosen]
        if len(chosen) < count and all(min(d, length - d) >= apart for d in away):
            chosen.append(here)
    return tuple(
        Mark("weak place", f"short way under the mesh (weakest place {k})", at) for k, at in enumerate(chosen, 1)
    )


def gate_marks(pack: Pack) -> tuple[Mark, ...]:
    """The gates of a pack as places to check."""
    return tuple(Mark("gate", f"gate {k}", float(at)) for k, at in enumerate(pack.gates.chainage, 1))


def longest_unseen_h(walks: Sequence[Round], *, unattended_h: float) -> float:
    """Hours for which some place is not seen if the rounds before and after the longest gap go opposite ways. [h]

    The place passed at the start of one is passed at the end of the other; walked the same way both times, every place
    is unseen for ``unattended_h``. The way between two packs' fences is left out.
    """
    return unattended_h + sum(walk.total_s for walk in walks) / 3600


def _near(pack: Pack, packs: Sequence[Pack], offset: float) -> list[tuple[int, float, Polygon]]:
    """Other packs whose fence a round outside would come nearer to than to its own: number, gap [m], enclosure."""
    own, found = pack.line.polygon(CHORD_ERROR_M), []
    for other in packs:
        area = other.line.polygon(CHORD_ERROR_M)
        gap = own.distance(area)
        if other.number != pack.number and gap < 2 * offset:
            found.append((other.number, gap, area))
    return found


def _parallels(pack: Pack, offset: float, near: Sequence[tuple[int, float, Polygon]]) -> list[LineString]:
    """Closed parallels of the fence line, clockwise, the longest first; none where they would vanish.

    From fences ``near`` they keep half the gap away, so that no round leads into another pack's enclosure.
    """
    if pack.egg is not None and pack.egg.small_radius + offset <= 0:
        return []
    outline = pack.line.outline_at(offset, CHORD_ERROR_M)
    for _, gap, area in near:
        outline = outline.difference(area.buffer(gap / 2, quad_segs=ROUND_SEGMENTS))
    parts = [outline] if isinstance(outline, Polygon) else list(outline.geoms)
    rings = [part.exterior for part in parts if not part.is_empty]
    rings.sort(key=lambda ring: -ring.length)
    return [LineString(ring.coords[::-1] if ring.is_ccw else ring.coords) for ring in rings]


def _on_line(pack: Pack, chainage: float) -> Point:
    place = pack.line.points_at(chainage)
    return Point(float(place.x), float(place.y))


def _begun_at(ring: LineString, start: float) -> npt.NDArray[np.float64]:
    """Points of a closed ring from the point at distance ``start`` round to it again, shape (points, 2)."""
    points = np.asarray(ring.coords)[:-1, :2]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    first = int(np.searchsorted(along, start, side="right"))
    begin = np.asarray(ring.interpolate(start).coords)[:, :2]
    return np.vstack([begin, points[first:], points[:first], begin])


def _checks(
    pack: Pack, marks: Sequence[Mark], ring: LineString, *, start: float, at: Array, clock: Array
) -> tuple[Check, ...]:
    """Check points in walking order; ``clock`` is the time at the distances ``at`` from the start."""
    found = []
    for mark in marks:
        place = _on_line(pack, mark.chainage)
        found.append(((ring.project(place) - start) % ring.length, place, mark))
    found.sort(key=lambda one: (one[0], one[2].kind, one[2].what))
    out: list[Check] = []
    before, time_before = 0.0, 0.0
    for number, (along, place, mark) in enumerate(found, 1):
        time = float(np.interp(along, at, clock))
        out.append(Check(number, mark, place.x, place.y, along, along - before, time - time_before))
        before, time_before = along, time
    return tuple(out)
