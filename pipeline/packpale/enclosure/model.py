"""The fence lines of one plot and the points along them."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import numpy.typing as npt

from packpale.enclosure.drawn import DrawnLine
from packpale.enclosure.egg import Egg
from packpale.enclosure.line import Line
from packpale.site import Array
from packpale.units import HECTARE_M2
from packpale.values.notes import Note, Phrase

if TYPE_CHECKING:
    from packpale.enclosure.over_limits import Stretch


@dataclass(frozen=True)
class Fit:
    """The egg found on the usable land, and how good it is known to be."""

    egg: Egg
    area_bound_m2: float
    """PROVEN upper bound on the area of any egg that fits. [m2]"""
    fit_s: float
    """Time the search took. [s]"""


@dataclass(frozen=True)
class Alignment:
    """Points at equal steps along a closed fence line; arrays of shape (stations,), the start not repeated.

    Station i stands for the stretch of ``step`` metres centred on it.
    """

    chainage: Array
    """From the line's start, clockwise: an egg's is the tip of its big end, a drawn line's its first point. [m]"""
    step: float
    """Length of line that each station stands for; the perimeter over the number of stations. [m]"""
    x: Array
    y: Array
    bearing_deg: Array
    """Direction of travel, clockwise from grid north. [deg]"""
    outward: npt.NDArray[np.float64]
    """Unit normal away from the enclosed ground, shape (stations, 2)."""
    arc: npt.NDArray[np.integer[Any]]
    """Index into the line's arcs() that the station lies on."""
    radius: Array
    """Radius of that arc; on a drawn line the mean radius over the station's stretch, infinite where that is straight.
    [m]"""
    ground: Array
    """Elevation of the ground. [m]"""
    turning: Array | None = None
    """Angle through which a drawn line turns over the station's stretch, positive to the right; they add up to 2 pi.
    None on an egg, whose arcs tell it. [rad]"""
    lapped: Array | None = None
    """What a strip on the inner side of those turns loses beyond that, as ``Line.lapped`` has it, shape (stations, 2).
    [rad]"""


PostKind = Literal["line", "bend", "gate", "steep"]


@dataclass(frozen=True)
class Posts:
    """Posts no farther apart than the spacing, none within a gate's opening; arrays of shape (posts,)."""

    chainage: Array
    x: Array
    y: Array
    ground: Array
    deflection_deg: Array
    """Angle in plan between the panels that meet at the post. [deg]"""
    kind: tuple[PostKind, ...] = ()
    """What each post is for: gate, bend (change of arc, corner), steep (strutted on steep ground) or line, the first
    that holds; empty stands for line posts alone."""

    def of(self, kind: PostKind) -> int:
        """Number of posts of a kind."""
        return self.kind.count(kind) if self.kind else self.x.size * (kind == "line")


@dataclass(frozen=True)
class Gates:
    """Gates on one fence line; arrays of shape (gates,)."""

    chainage: Array
    x: Array
    y: Array
    width: float
    on: tuple[tuple[Phrase, ...], ...] = ()
    """What each gate could not be kept off, in words."""
    to_boundary: tuple[float | None, ...] = ()
    """Distance to the plot's boundary where a machine before the gate stands past it and no mapped access leads there;
    None where it does not. [m]"""


@dataclass(frozen=True)
class Touch:
    """A place where the fence line, with the free strip it needs outside, comes up against what limits it."""

    chainage: float
    """Of the point on the fence line that is nearest. [m]"""
    x: float
    y: float
    """That point."""
    limit_x: float
    limit_y: float
    """The point on the edge of the usable land, or on the other pack's fence line."""
    limits: tuple[Phrase, ...]
    """What holds the line there, by the names of the land's limits, the nearest first; empty if no limit is known."""
    spare: float
    """Distance between the two points that the strip, or the separation, leaves over: nearly 0. [m]"""


@dataclass(frozen=True)
class Pack:
    """One enclosure."""

    number: int
    """From 1."""
    fit: Fit | None
    """None for a line that was given."""
    alignment: Alignment
    posts: Posts
    gates: Gates
    length_3d: float
    """Length of the fence line on the ground surface. [m]"""
    mean_suitability: float
    """Over the cells whose centre is enclosed; 0 to 1."""
    mean_slope: float
    """Over the same cells. [m/m]"""
    touches: tuple[Touch, ...] = ()
    """What holds the fence line, by chainage; a drawn line is held by nothing."""
    given: DrawnLine | Egg | None = None
    """The line that was given: as somebody drew it, or an egg by its figures. None where one was fitted."""
    over_limits: tuple["Stretch", ...] = ()
    """Where the line runs over ground past a limit, kind by kind, by chainage."""
    over_limits_m: float = 0.0
    """Length of line over limits; where there are several at once it counts once. [m]"""

    def __post_init__(self) -> None:
        if (self.fit is None) == (self.given is None):
            raise ValueError(f"pack {self.number} needs either a fit or a line that was given")

    @property
    def line(self) -> Line:
        """The fence line, whatever it is made of."""
        if self.given is not None:
            return self.given
        if self.fit is None:
            # Refused when the pack was made.
            raise ValueError(f"pack {self.number} has no fence line")
        return self.fit.egg

    @property
    def egg(self) -> Egg | None:
        """The fence line where it is an egg; None where it is drawn."""
        return self.line if isinstance(self.line, Egg) else None

    @property
    def drawn(self) -> DrawnLine | None:
        """The fence line where somebody drew it."""
        return self.given if isinstance(self.given, DrawnLine) else None


Aim = Literal["size", "share", "budget"]


@dataclass(frozen=True)
class Alternative:
    """One fence line that could be built instead."""

    aim: Aim
    value: float
    """Size [ha], share of the line over limits, or budget [currency]."""
    area_bound: float
    """PROVEN upper bound on the area of any enclosure here, whatever it costs. [m2]"""
    egg: Egg | None = None
    """None where no line was found."""
    over_limits: float = 0.0
    """Length of line over limits. [m]"""
    price: float = math.nan
    """Likely price, as the line's bill has it."""

    @property
    def feasible(self) -> bool:
        return self.egg is not None

    @property
    def price_per_ha(self) -> float:
        return self.price / self.egg.area * HECTARE_M2 if self.egg else math.nan


@dataclass(frozen=True)
class Enclosure:
    """All enclosures of one plot; none if nothing fits, with the reason in words."""

    packs: tuple[Pack, ...]
    reason: Phrase | None
    """None if all packs asked for were placed."""
    notes: tuple[Note, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    """Lines that could be built instead: sizes, shares, budget; each for one enclosure."""

    @property
    def feasible(self) -> bool:
        return self.reason is None
