"""What decides whether the pack stays in and is well."""

from dataclasses import dataclass, field

from packpale.care.aids import ClimbingAid
from packpale.care.climb import Climb
from packpale.care.crossings import Crossing
from packpale.care.dens import DenSite
from packpale.care.holding import Holding
from packpale.care.howl import Howl
from packpale.care.inside import Inside
from packpale.care.neighbours import Neighbours
from packpale.care.patrol import Round, longest_unseen_h
from packpale.care.streams import StreamCrossing
from packpale.care.viewing import Viewing
from packpale.settings import Gap
from packpale.site import Array
from packpale.values.notes import Note


@dataclass(frozen=True)
class DigOut:
    """Shortest way under the mesh of one pack's fence; arrays of shape (stations,)."""

    pack: int
    tunnel: Array
    """Length of the shortest tunnel from inside to outside ground at each station. [m]"""
    weakest_chainage: float
    """[m]"""
    shortest: float
    """[m]"""
    dig_rate: float
    """Digging rate that would beat the unattended hours at the weakest station. [m/h]"""
    night_dig_rate: float
    """The same over the night alone, which is shorter or the same. [m/h]"""
    without_lap: float
    """Shortest tunnel if the lap of skirt and apron is missing there, so that the apron holds nobody back. [m]"""
    without_lap_chainage: float
    """Where that is. [m]"""
    without_lap_rate: float
    """Digging rate that would beat the unattended hours there. [m/h]"""


@dataclass(frozen=True)
class Care:
    """One dig-out result for each pack."""

    gap: Gap
    """The longest time between two rounds."""
    night: Gap
    """That from the last round of the day to the first of the next."""
    rounds_a_day: int
    dig_out: tuple[DigOut, ...]
    notes: tuple[Note, ...] = ()
    rounds: tuple[Round, ...] = ()
    """The walk round each pack's fence."""
    howl: Howl | None = None
    crossings: tuple[Crossing, ...] = ()
    """Where flow paths cross the fence lines, pack by pack, along the line."""
    streams: tuple[StreamCrossing, ...] = ()
    """Where mapped watercourses do, pack by pack, along the line."""
    flat_m: float = 0.0
    """Length of all fence lines on ground so flat that where water crosses is arbitrary. [m]"""
    climbs: tuple[Climb, ...] = ()
    """Each pack's fence against climbing."""
    aids: tuple[ClimbingAid, ...] = ()
    """Trees, boulders and the like near the fences, pack by pack, along the line."""
    viewing: Viewing | None = None
    """None where no viewing points are given."""
    neighbours: tuple[Neighbours, ...] = ()
    """Every two packs."""

    dens: tuple[DenSite, ...] = ()
    """Where dens could go, by pack, the best first."""
    holdings: tuple[Holding, ...] = ()
    """How long each pack's mesh holds, along the line."""
    insides: tuple[Inside, ...] = ()
    """What ground each pack's fence encloses."""
    drawn_suitability: Array | None = field(default=None, compare=False, repr=False)
    """Change of the mean suitability inside all fences in each draw of the price, shape (draws,)."""

    @property
    def unattended_h(self) -> float:
        """Hours that nobody looks, at the longest."""
        return self.gap.hours

    @property
    def escape_dig_rate(self) -> float | None:
        """Lowest of the packs' rates; None without packs. [m/h]"""
        return min((d.dig_rate for d in self.dig_out), default=None)

    @property
    def rounds_s(self) -> float:
        """Time of all rounds, one after the other. [s]"""
        return sum(walk.total_s for walk in self.rounds)

    @property
    def rounds_a_day_s(self) -> float:
        """Time of all rounds of a day. [s]"""
        return self.rounds_a_day * self.rounds_s

    @property
    def unseen_h(self) -> float:
        """Longest time for which a place may be unseen, if the two rounds about the gap go opposite ways. [h]"""
        return longest_unseen_h(self.rounds, unattended_h=self.unattended_h)

    @property
    def dig_rate_unseen(self) -> float | None:
        """Digging rate that would be enough in that time; None without packs. [m/h]"""
        return min((d.shortest / self.unseen_h for d in self.dig_out), default=None)
