"""Cut, fill and price of one plot's trenches."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from packpale.earthworks.fence_take_off import FenceTakeOff
from packpale.earthworks.gates import GateLeaf
from packpale.site import Array
from packpale.values.notes import Note


@dataclass(frozen=True)
class Volumes:
    """Volumes of one pack's trench, all in the ground (bank) unless the name says otherwise. [m3]"""

    pack: int
    fence_length: float
    """In plan. [m]"""
    section_area: float
    """Mean cut area of the section. [m2]"""
    cut: float
    rock: float
    """Part of the cut below depth to rock."""
    wet: float
    """Part of the cut below the water table."""
    average_end_area: float
    """The cut by averaging neighbouring end areas along the fence line, as a check."""
    backfill_compacted: float
    import_compacted: float
    """Part of the backfill that has to be brought in."""
    cut_loose: float
    surplus_loose: float
    stripped_area: float
    """Horizontal area of ground that is cut open. [m2]"""
    cut_at_station: Array
    """Cut area of the section at each station. [m2]"""
    invert: Array
    """Elevation of the skirt trench's bottom at each station. [m]"""
    soft_rock: float = 0.0
    """Part of the cut in rock that a strong excavator digs."""
    hard_rock: float = 0.0
    """Part of the cut in rock that needs a breaker; with ``soft_rock`` it makes up ``rock``."""
    surplus_soil_loose: float = 0.0
    """Part of the surplus that is soil; the rest is rock."""


@dataclass(frozen=True)
class Item:
    """One line of the priced list."""

    key: str
    """Name of its rate in the settings."""
    text: str
    unit: str
    quantity: float
    rate: tuple[float, float, float]
    """Low, likely, high, in the run's currency per unit."""

    @property
    def price(self) -> tuple[float, float, float]:
        """Quantity times rate: low, likely, high, in the run's currency."""
        low, likely, high = self.rate
        return self.quantity * low, self.quantity * likely, self.quantity * high


@dataclass(frozen=True)
class Stretch:
    """A part of a closed fence line."""

    start: float
    """Chainage where it begins. [m]"""
    end: float
    """Chainage where it ends; less than ``start`` if it runs through the line's own beginning. [m]"""
    length: float
    """[m]"""
    worst: float
    """The value farthest beyond the limit along it."""


@dataclass(frozen=True)
class Profile:
    """The bottom of one pack's skirt trench along the line; arrays of shape (stations,)."""

    pack: int
    depth: Array
    """Of the bottom below the ground under the fence; never less than the depth set. [m]"""
    rock_depth: Array
    """From that ground to rock. [m]"""
    water_depth: Array
    """From that ground to the water table. [m]"""
    smoothed: bool
    """Limits to gradient or vertical curve were set and made the bottom deeper somewhere."""
    deeper: tuple[Stretch, ...]
    """Where the bottom lies deeper than the depth set by more than the limit; ``worst`` is the depth. [m]"""
    shallower: tuple[Stretch, ...]
    """Where, between stations, it lies less deep by more than the limit; ``worst`` is the depth. [m]"""


@dataclass(frozen=True)
class Material:
    """One kind of ground that was dug and what becomes of it."""

    name: str
    """soil, soft rock or hard rock."""
    bank: float
    """In the ground. [m3]"""
    loose: float
    """On the heap. [m3]"""
    swell: float
    """The swell it was reckoned with, as a fraction of the bank volume."""
    published_swell: tuple[float, float]
    """Least and largest swell that published tables give for such ground."""


@dataclass(frozen=True)
class Mounds:
    """Equal round mounds or one long bank that take a loose volume; both stand at the slope set."""

    kind: str
    """What they are made of: soil or rock."""
    volume: float
    """Loose, of all of them. [m3]"""
    count: int
    """Round mounds, each a cone no higher than the height set; 0 if there is nothing to place."""
    height: float
    """Of each. [m]"""
    base_radius: float
    """Of each. [m]"""
    bank_length: float
    """Length of the level ridge of a bank of the height set that takes the same volume, its ends half cones. [m] 0
    where the volume does not fill even a cone of that height."""
    bank_width: float
    """Width of its base. [m]"""
    truck_loads: int
    """Loads if it is carried off instead."""


@dataclass(frozen=True)
class Haul:
    """What was dug on one plot and where it goes."""

    materials: tuple[Material, ...]
    backfill_compacted: float
    """[m3]"""
    import_compacted: float
    """[m3]"""
    import_loads: int
    """Truck loads of fill brought in, loose."""
    mounds: tuple[Mounds, ...]
    """Of soil and of rock that is left over."""
    den_mounds: int
    """Round mounds of the height set that the soil left over makes."""


@dataclass(frozen=True)
class PlantTask:
    """One piece of machine work on one plot."""

    name: str
    quantity: float
    unit: str
    """Unit of the quantity, such as m3 in the ground."""
    output: float
    """Quantity per hour."""
    hours: float


@dataclass(frozen=True)
class Plant:
    """Machine hours and crew days of one plot."""

    tasks: tuple[PlantTask, ...]
    machine_hours: float
    """Of the excavator, with the breaker's hours. [h]"""
    crew_days: float
    """Days of the digging crew, at one machine. [d]"""
    wet_length: float
    """Fence line along which the trench stands in water. [m]"""
    wet: tuple[tuple[int, tuple[Stretch, ...]], ...]
    """Where, for each pack by its number; ``worst`` is the height of water over the bottom. [m]"""
    pump_days: float
    """Days on which a pump runs: the digging of the wet lengths, and as long as a stretch stays open after. [d]"""


Work = Literal["clear", "posts", "trench", "hang", "gates", "check"]
"""Kinds of work, in their order. trench: dig a stretch, set its posts, lay skirt and apron, fill it in layers."""


@dataclass(frozen=True)
class WorkDay:
    """One day's work on one pack's fence."""

    day: int
    """From 1, all packs one after the other."""
    pack: int
    work: Work
    start: float
    """How far along the line from its start the day's work begins. [m]"""
    end: float
    """How far it gets. [m]"""
    machine_h: float
    """[h]"""
    crew_h: float
    """Of the whole crew. [h]"""
    cut_loose: float = 0.0
    """Dug, as it lies on the heap. [m3]"""
    backfill_compacted: float = 0.0
    """[m3]"""
    import_compacted: float = 0.0
    """Of that brought in. [m3]"""
    surplus_loose: float = 0.0
    """Left over. [m3]"""
    buried_mesh: float = 0.0
    """Laid, laps included. [m2]"""
    posts: int = 0
    concrete: float = 0.0
    """[m3]"""
    gates: int = 0
    open_overnight: float = 0.0
    """Trench that stands open in the night after. [m]"""
    in_water: float = 0.0
    """Of the day's trench. [m]"""


@dataclass(frozen=True)
class Programme:
    """Work day by day."""

    days: tuple[WorkDay, ...]

    @property
    def last_day(self) -> int:
        """Number of the last day; 0 without work."""
        return self.days[-1].day if self.days else 0


@dataclass(frozen=True)
class TrenchSafety:
    """What published rules ask for along one pack's trench. Local codes and a competent person decide."""

    pack: int
    deepest: float
    """As drawn, from the higher edge of the cut down to the bottom beside it. [m]"""
    protection: tuple[Stretch, ...]
    """As deep as walls must be sloped, shored or shielded, as drawn; ``worst`` is the depth. [m]"""
    egress: tuple[Stretch, ...]
    """As deep as a way out is asked for, as drawn. [m]"""
    protection_with_over_dig: tuple[Stretch, ...]
    """The same if the machine digs deeper than drawn by what is set."""
    egress_with_over_dig: tuple[Stretch, ...]
    ladders: int
    """Ladders or ramps if all of ``egress_with_over_dig`` stands open at once."""
    spoil_width: float
    """Width of the heap if all spoil lies on one side, at the slope of a mound. [m]"""
    spoil_strip: float
    """Strip that setback and heap need; compare ``working_strip``. [m]"""
    spoil_strip_two_sides: float
    """The same on each side if half lies on either. [m]"""
    working_strip: float
    """Free strip kept on both sides of the dig. [m]"""
    soil_type: str
    """A, B, C or unknown, as set."""
    side_slope: float
    """As set, run per unit of rise."""
    side_slope_asked: float
    """What the table asks of that soil, an unknown one counted as C."""
    wet_length: float
    """Fence line along which the trench stands in water: there the soil counts as C. [m]"""
    over_dig: float = 0.0
    """How much deeper than drawn the machine may dig, as set. [m]"""

    @property
    def strip_too_narrow(self) -> bool:
        """The strip kept free takes setback and heap neither on one side nor shared over both."""
        return min(self.spoil_strip, self.spoil_strip_two_sides) > self.working_strip

    @property
    def too_steep(self) -> bool:
        """The walls are steeper than the table asks where it applies."""
        return bool(self.protection_with_over_dig) and self.side_slope < self.side_slope_asked


@dataclass(frozen=True)
class Driver:
    """An uncertain input and how the price follows it."""

    name: str
    """In words, such as "rate: mesh_per_m2" or "rock nearer the surface"."""
    swing: float
    """How much dearer the work is at the high end of the input than at its low end. [the run's currency]"""


@dataclass(frozen=True)
class Flank:
    """A side of an enclosure, as seen from its middle, and its part in the spread of the price."""

    name: str
    """north, north-east and so on."""
    share: float
    """Part of the variance of the price that the depth to rock there causes, 0 to 1."""
    pit_distance: float
    """From the middle of its fence line to the nearest pit; infinite without pits. [m]"""
    chainage: float
    """Of the place that contributes most. [m]"""
    pack: int
    """Whose fence line that is."""


@dataclass(frozen=True)
class PitPlace:
    """Where a trial pit would narrow the price."""

    pack: int
    """Number of the pack on whose fence line it lies."""
    flank: str
    chainage: float
    """[m]"""
    x: float
    y: float


@dataclass(frozen=True)
class Uncertainty:
    """How sure quantities and price are."""

    draws: int
    volumes: Mapping[str, tuple[float, float, float]]
    """P10, P50 and P90 of cut, soil, rock, soft_rock, hard_rock, wet, surplus_loose and import_compacted. [m3]"""
    price: tuple[float, float, float]
    """P10, P50, P90 in the run's currency."""
    drawn_price: Array = field(compare=False, repr=False)
    """Of each draw, shape (draws,); draw k has the same rates on every plot. [the run's currency]"""
    drivers: tuple[Driver, ...]
    """The strongest first."""
    flanks: tuple[Flank, ...]
    """The largest part first."""
    estimate_class: int
    """5 to 1 in the published sense; this programme never claims better than 4."""
    class_reason: str
    class_low: tuple[float, float]
    """Published range of how far the truth may lie below the estimate: least and most, as negative fractions."""
    class_high: tuple[float, float]
    """The same above it, positive."""
    narrowing: str
    """What would narrow the spread most, one sentence."""
    pits: tuple[PitPlace, ...] = ()
    """Where the pits of that sentence would be, the best first; empty where no pit would help."""


@dataclass(frozen=True)
class MeshLife:
    """How long buried mesh lasts in soil of the kind that the rates hold for, and what that costs."""

    zinc_years: float
    """Until the zinc is gone and the steel begins to rust: the least that can be counted on."""
    wire_years: float
    """Until half of the wire's section is gone as well."""
    per_year: tuple[float, float]
    """Likely price of the buried mesh over each of the two, the lower first. [the run's currency]"""


@dataclass(frozen=True)
class Earthworks:
    """All trenches of one plot and what they cost."""

    volumes: tuple[Volumes, ...]
    items: tuple[Item, ...]
    cost: Mapping[str, float]
    """Total price: low, likely, high (all rates at once) and p10, p50, p90 of the random draws."""
    notes: tuple[Note, ...] = ()
    fences: tuple[FenceTakeOff, ...] = ()
    """What the fence of each pack takes."""
    profiles: tuple[Profile, ...] = ()
    """One for each pack, as in ``volumes``."""
    uncertainty: Uncertainty | None = None
    haul: Haul | None = None
    plant: Plant | None = None
    mesh_life: MeshLife | None = None
    """None where its wire or zinc are not set."""
    programme: Programme | None = None
    safety: tuple[TrenchSafety, ...] = ()
    """One for each pack, as in ``volumes``."""
    gates: tuple[GateLeaf, ...] = ()
    """Every leaf of every gate, pack by pack."""
