"""What a crew with stakes and tapes needs to peg a fence line: elements of its arcs, pegs and baselines.

All lengths are horizontal lengths of the run's grid, in metres.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from packpale.enclosure.egg import Arc, Egg
from packpale.enclosure.line import Line
from packpale.enclosure.model import Gates, Posts
from packpale.site.grid import Array, Grid

SAME_PEG_M = 0.001
"""Pegs nearer to each other than this along the line are one. [m]"""


@dataclass(frozen=True)
class CurveElements:
    """Elements of a circular curve as surveying books name them. Lengths in metres."""

    deflection_deg: float
    """From the tangent at the start to the long chord: half the turning. [deg]"""
    long_chord: float
    mid_ordinate: float
    """From the middle of the long chord to the arc."""
    tangent: float
    """From the start, or the end, to where the two tangents meet; infinite from half a circle on."""
    external: float
    """From there to the middle of the arc."""


def curve_elements(radius: float, turn_deg: float) -> CurveElements:
    """Elements of a curve of a radius [m] that turns through an angle of less than a full circle [deg].

    With I the turning: T = R tan(I / 2), LC = 2 R sin(I / 2), M = R (1 - cos(I / 2)), E = R (sec(I / 2) - 1).

    Raises ValueError if the radius is not positive or the turning is not between 0 and 360 degrees.

    References
    ----------
    .. [1] US Army, FM 5-430-00-1, Planning and Design of Roads, Airfields, and Heliports, 1994, App. F.
    """
    if not (radius > 0 and math.isfinite(radius) and 0 < turn_deg < 360):
        raise ValueError(f"no such curve: {radius=} m, {turn_deg=} degrees")
    half = math.radians(turn_deg / 2)
    meets = turn_deg < 180
    # 1 - cos and sec - 1 by half angles, which keeps their digits on flat curves.
    mid_ordinate = 2 * radius * math.sin(half / 2) ** 2
    return CurveElements(
        deflection_deg=turn_deg / 2,
        long_chord=2 * radius * math.sin(half),
        mid_ordinate=mid_ordinate,
        tangent=radius * math.tan(half) if meets else math.inf,
        external=mid_ordinate / math.cos(half) if meets else math.inf,
    )


def deflection_deg(arc_length: npt.ArrayLike, radius: npt.ArrayLike) -> Array:
    """Angle from the tangent at the start of a curve to a point so far along its ARC: s / 2 R. [deg]

    A chord of the same length deflects more, by asin(c / 2 R). 0 on a straight (infinite radius).
    """
    return np.asarray(np.degrees(np.asarray(arc_length, float) / (2 * np.asarray(radius, float))))


def chord_of(arc_length: npt.ArrayLike, radius: npt.ArrayLike) -> Array:
    """Straight distance between two points so far apart along an arc; the length itself on a straight. [m]"""
    s, R = np.asarray(arc_length, float), np.asarray(radius, float)
    straight = np.isinf(R)
    finite = np.where(straight, 1.0, R)
    return np.where(straight, s, 2 * finite * np.sin(s / (2 * finite)))


@dataclass(frozen=True)
class Stake:
    """A stake that others are set out from."""

    name: str
    """A letter, or two."""
    what: str
    x: float
    y: float


@dataclass(frozen=True)
class Baselines:
    """Two lines at right angles that pegs are measured from, and the four stakes that hold them.

    Baseline 1 runs from stake A to stake B and beyond; baseline 2 through A at right angles to it. On an egg, A and B
    are the centres of its two ends, and C and D, on baseline 2, its widest points. On a drawn line, A and B are its
    two points farthest apart, C and D those farthest left and right of the line between them.
    """

    stakes: tuple[Stake, Stake, Stake, Stake]

    @property
    def bearing_deg(self) -> float:
        """Bearing of baseline 1, clockwise from grid north. [deg]"""
        a, b = self.stakes[:2]
        return math.degrees(math.atan2(b.x - a.x, b.y - a.y)) % 360

    def along_and_right(self, x: npt.ArrayLike, y: npt.ArrayLike) -> tuple[Array, Array]:
        """Distance from A along baseline 1, and from baseline 1 to its right. [m]

        Seen from baseline 2, which runs from A to the right, the two change places.
        """
        a, bearing = self.stakes[0], math.radians(self.bearing_deg)
        sin, cos = math.sin(bearing), math.cos(bearing)
        dx, dy = np.asarray(x, float) - a.x, np.asarray(y, float) - a.y
        return np.asarray(dx * sin + dy * cos), np.asarray(dx * cos - dy * sin)

    def bearing_and_distance(self, x: npt.ArrayLike, y: npt.ArrayLike) -> tuple[Array, Array]:
        """Grid bearing [deg] and horizontal distance [m] of points from A; the bearing is NaN at A itself."""
        a = self.stakes[0]
        dx, dy = np.asarray(x, float) - a.x, np.asarray(y, float) - a.y
        distance = np.hypot(dx, dy)
        return np.where(distance > 0, np.degrees(np.arctan2(dx, dy)) % 360, np.nan), distance


def baselines(line: Line) -> Baselines:
    """The two baselines of a fence line."""
    if isinstance(line, Egg):
        sin, cos = math.sin(math.radians(line.axis_bearing_deg)), math.cos(math.radians(line.axis_bearing_deg))
        R, d, x, y = line.big_radius, line.centre_spacing, line.big_x, line.big_y
        return Baselines(
            (
                Stake("A", "centre of the big end", x, y),
                Stake("B", "centre of the small end", x + d * sin, y + d * cos),
                Stake("C", "left end of the greatest width, on the line", x - R * cos, y + R * sin),
                Stake("D", "right end of the greatest width, on the line", x + R * cos, y - R * sin),
            )
        )
    points = np.asarray(line.polygon().exterior.coords)[:-1]
    # Of all pairs, for lines of many points by way of the hull, on which the farthest pair lies.
    hull = np.asarray(line.polygon().convex_hull.exterior.coords)[:-1]
    apart = np.hypot(hull[:, 0][:, None] - hull[:, 0], hull[:, 1][:, None] - hull[:, 1])
    i, j = np.unravel_index(int(np.argmax(apart)), apart.shape)
    (ax, ay), (bx, by) = hull[i], hull[j]
    right = (points[:, 0] - ax) * (by - ay) - (points[:, 1] - ay) * (bx - ax)
    left_most, right_most = points[int(np.argmin(right))], points[int(np.argmax(right))]
    return Baselines(
        (
            Stake("A", "one end of the longest diagonal, on the line", float(ax), float(ay)),
            Stake("B", "its other end, on the line", float(bx), float(by)),
            Stake("C", "farthest point left of A to B, on the line", float(left_most[0]), float(left_most[1])),
            Stake("D", "farthest point right of A to B, on the line", float(right_most[0]), float(right_most[1])),
        )
    )


@dataclass(frozen=True)
class Pegs:
    """Pegs along a fence line in the order of chainage; arrays of shape (pegs,)."""

    kind: tuple[str, ...]
    """The post's kind ("line post", "bend post", ...), "arc change", "corner", "gate middle" or "chainage"."""
    post: tuple[int | None, ...]
    """Number of the post that stands there, from 1."""
    chainage: Array
    x: Array
    y: Array
    ground: Array
    arc: tuple[str, ...]
    """Name of the arc that the peg lies on; the one that begins where two meet."""
    radius: Array
    arc_from_start: Array
    """Along the arc from its start. [m]"""
    deflection_deg: Array
    """From the tangent at the start of the arc, to the right. [deg]"""
    chord_from_start: Array
    """Straight from the start of the arc. [m]"""
    chord_from_previous: Array
    """Straight from the peg before, for the first from the last. [m]"""
    along: Array
    """Along baseline 1 from stake A, and offset from baseline 2. [m]"""
    right: Array
    """Right of baseline 1, and along baseline 2 from stake A. [m]"""


def pegs(line: Line, posts: Posts, gates: Gates, *, step: float, elevation: Array, grid: Grid) -> Pegs:
    """Pegs at every post, change of arc, corner and gate, and at chainages that are multiples of ``step`` [m].

    Raises ValueError if the step is not positive.
    """
    if not step > 0:
        raise ValueError(f"step = {step} m must be positive")
    n = posts.chainage.size
    bend = "corner" if line.corners.size else "arc change"
    at_step = np.arange(0.0, line.perimeter, step)
    # In the order of rank: what stands first gives a peg its kind where several meet.
    chainage = np.concatenate([posts.chainage, line.bends, gates.chainage, at_step])
    kind = [f"{k} post" for k in posts.kind] if posts.kind else ["line post"] * n
    kind += [bend] * line.bends.size + ["gate middle"] * gates.chainage.size + ["chainage"] * at_step.size
    post = [*range(1, n + 1), *[None] * (chainage.size - n)]
    keep = _apart(chainage, line.perimeter)
    s = chainage[keep]
    # A peg a hair before a change of arc is the change itself.
    points = line.points_at(s + 1e-9)
    x, y = (np.asarray(v) for v in line.points_at(s)[:2])
    arcs = line.arcs()
    begin = np.array([arc.chainage for arc in arcs])[points.arc]
    within = np.maximum(s - begin, 0.0)
    frame = baselines(line)
    along, right = frame.along_and_right(x, y)
    return Pegs(
        kind=tuple(kind[i] for i in keep),
        post=tuple(post[i] for i in keep),
        chainage=s,
        x=x,
        y=y,
        ground=grid.bilinear(elevation, x, y),
        arc=tuple(arcs[i].name for i in points.arc),
        radius=points.radius,
        arc_from_start=within,
        deflection_deg=deflection_deg(within, points.radius),
        chord_from_start=chord_of(within, points.radius),
        chord_from_previous=np.hypot(x - np.roll(x, 1), y - np.roll(y, 1)),
        along=along,
        right=right,
    )


def _apart(chainage: Array, perimeter: float) -> list[int]:
    """Which chainages to keep, by chainage, where of several at one place the first given stays."""
    order = np.argsort(chainage, kind="stable")
    keep: list[int] = []
    for i in order.tolist():
        if keep and chainage[i] - chainage[keep[-1]] < SAME_PEG_M:
            keep[-1] = min(keep[-1], i)
        else:
            keep.append(i)
    if len(keep) > 1 and chainage[keep[0]] + perimeter - chainage[keep[-1]] < SAME_PEG_M:
        # The last is the first, one lap on.
        keep[0] = min(keep[0], keep.pop())
    return keep


@dataclass(frozen=True)
class Swing:
    """One arc to swing with a line from its centre."""

    arc: Arc
    """As Egg.arcs() has it; the two halves of the big end are one."""
    elements: CurveElements
    centre: str
    """Name of the stake at its centre."""
    start: str
    """Name of the stake where it begins."""
    end: str
    offsets: tuple[tuple[float, float], ...]
    """Distance along the long chord from its start, and from the chord out to the arc, at equal parts. [m]"""


@dataclass(frozen=True)
class Pegging:
    """How an egg is pegged from its four stakes."""

    stakes: tuple[Stake, ...]
    """A to D as in Baselines, then the centres of the flanks, the tips and the changes to the small end."""
    swings: tuple[Swing, ...]
    """Big end, flank 1, small end, flank 2."""
    checks: tuple[tuple[str, str, float], ...]
    """Names of two stakes and the distance between them. [m]"""


CHORD_PARTS = 8
"""Equal parts of a long chord at which the arc's offset is given."""


def pegging(egg: Egg) -> Pegging:
    """Stakes, arcs and check distances of an egg; flank 1 begins at stake C, flank 2 ends at stake D."""
    a, b, c, d = baselines(egg).stakes
    first, flank_1, small, flank_2, _ = egg.arcs()
    tips = egg.points_at([0.0, egg.perimeter / 2])
    # Flank 1 lies left of the axis; its centre lies right of it, and the other way round.
    e = Stake("E", "centre of flank 1", flank_1.centre_x, flank_1.centre_y)
    f = Stake("F", "centre of flank 2", flank_2.centre_x, flank_2.centre_y)
    g = Stake("G", "end of flank 1, start of the small end, on the line", small.start_x, small.start_y)
    h = Stake("H", "end of the small end, start of flank 2, on the line", small.end_x, small.end_y)
    p = Stake("P", "tip of the big end, chainage 0, on the line", float(tips.x[0]), float(tips.y[0]))
    q = Stake("Q", "tip of the small end, on the line", float(tips.x[1]), float(tips.y[1]))
    big = Arc(
        "big end",
        a.x,
        a.y,
        egg.big_radius,
        egg.arcs()[4].chainage,
        2 * first.length,
        d.x,
        d.y,
        c.x,
        c.y,
        flank_2.end_bearing_deg,
        flank_1.start_bearing_deg,
        180.0,
    )
    stakes = (a, b, c, d, e, f, g, h, p, q)
    by_name = {s.name: s for s in stakes}
    pairs = zip("AAABBCABPCDGBBEEFF", "BCDCDDPQQGHHGHCGDH", strict=True)
    return Pegging(
        stakes,
        (
            _swing(big, "A", "D", "C"),
            _swing(flank_1, "E", "C", "G"),
            _swing(small, "B", "G", "H"),
            _swing(flank_2, "F", "H", "D"),
        ),
        tuple((m, n, _apart_by(by_name[m], by_name[n])) for m, n in pairs),
    )


def _swing(arc: Arc, centre: str, start: str, end: str) -> Swing:
    elements = curve_elements(arc.radius, arc.turn_deg)
    half, below = elements.long_chord / 2, arc.radius - elements.mid_ordinate
    t = np.arange(1, CHORD_PARTS) / CHORD_PARTS * elements.long_chord
    u = t - half
    # sqrt(R^2 - u^2) less the centre's distance below the chord, written so that flat arcs keep their digits.
    rise = (half**2 - u**2) / (np.sqrt(arc.radius**2 - u**2) + below)
    return Swing(arc, elements, centre, start, end, tuple(zip(t.tolist(), rise.tolist(), strict=True)))


def _apart_by(a: Stake, b: Stake) -> float:
    return math.hypot(a.x - b.x, a.y - b.y)


def distances(stakes: Sequence[Stake]) -> tuple[tuple[str, str, float], ...]:
    """Distance between each two stakes. [m]"""
    return tuple((a.name, b.name, _apart_by(a, b)) for i, a in enumerate(stakes) for b in stakes[i + 1 :])
