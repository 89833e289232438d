"""Settings: the trench, the machine that digs it, the rates, and how sure all of that is."""

from typing import Annotated, Literal, Self

from pydantic import Field, field_validator, model_validator

from packpale.settings.base import PRINTABLE, File, NotNegative, Rate, Settings
from packpale.values import default


class TrenchSettings(Settings):
    """Trench for the buried skirt and bench for the apron."""

    depth_m: Annotated[float, Field(gt=0, le=3)] = default("trench.depth_m")
    """Depth of the skirt trench below ground. [m]"""
    bottom_width_m: Annotated[float, Field(gt=0, le=5)] = default("trench.bottom_width_m")
    """Width of the trench's flat bottom. [m]"""
    apron_reach_m: Annotated[float, Field(ge=0, le=6)] = default("trench.apron_reach_m")
    """Horizontal reach of the mesh from the fence line. [m]"""
    apron_cover_m: Annotated[float, Field(ge=0, le=3)] = default("trench.apron_cover_m")
    """Soil over the apron. [m]"""
    side: Literal["outside", "inside"] = default("trench.side")
    """Side of the fence on which the apron lies."""
    side_slope: Annotated[float, Field(ge=0, le=3)] = default("trench.side_slope")
    """Horizontal run of the trench walls per unit of rise; 0 is vertical."""
    rock_side_slope: Annotated[float | None, Field(ge=0, le=3)] = None
    """Side slope in hard rock, at most that of soil. Without it rock is reckoned to be dug as wide as soil."""
    formation: Literal["follow", "level"] = default("trench.formation")
    """Bottom of the trench. follow: depth below the ground at each offset; level: horizontal across the section."""
    station_m: Annotated[float, Field(ge=0.1, le=50)] = default("trench.station_m")
    """Step along the line for volumes and tables. [m]"""
    working_strip_m: NotNegative = default("trench.working_strip_m")
    """Free strip on both sides of the dig. [m]"""
    max_gradient: Annotated[float | None, Field(gt=0, le=2)] = None
    """Steepest rise per metre along the line that the machine can dig; smoothing only deepens. Without it no limit."""
    vertical_curve_m: Annotated[float | None, Field(gt=0, le=10_000)] = None
    """Smallest radius of a vertical curve of the bottom; its length is this times the change of gradient. [m]"""
    gap_limit_m: Annotated[float, Field(gt=0, le=3)] = default("trench.gap_limit_m")
    """Where the bottom is deeper or shallower than set by more than this, it is reported. [m]"""
    over_dig_m: Annotated[float, Field(ge=0, le=1)] = default("trench.over_dig_m")
    """How much deeper than drawn a machine may dig; the rules for safety count with it. [m]"""
    end_on_rock: bool = default("trench.end_on_rock")
    """Whether the skirt ends where it meets rock; only the dig-out is reckoned so, not volumes and prices."""
    soil_type: Literal["A", "B", "C", "unknown"] = default("trench.soil_type")
    """Soil type of 29 CFR 1926 Subpart P App. A as a competent person found it."""

    @model_validator(mode="after")
    def _can_be_dug(self) -> Self:
        if self.apron_cover_m > self.depth_m:
            raise ValueError(
                f"apron_cover_m = {self.apron_cover_m:g} is deeper than depth_m = {self.depth_m:g}; "
                "the apron lies at or above the bottom of the skirt"
            )
        # From 5 ft (1.52 m) a wall not in stable rock is sloped, shored or shielded: 29 CFR 1926.652(a)(1).
        if self.depth_m >= 1.52 and self.side_slope == 0:
            raise ValueError(f"vertical walls at depth_m = {self.depth_m:g}; from 1.52 m (5 ft) set side_slope above 0")
        if self.rock_side_slope is not None and self.rock_side_slope > self.side_slope:
            raise ValueError(
                f"rock_side_slope = {self.rock_side_slope:g} is flatter than side_slope = {self.side_slope:g}; "
                "rock stands as steep as soil or steeper: lower it, or drop the key"
            )
        return self

    @property
    def outside_strip_m(self) -> float:
        """Strip of the fence line outside it: to the edge of the dig on level ground, and the working strip. [m]"""
        return self.working_strip_m + self._dig_m(apron=self.side == "outside")

    @property
    def inside_strip_m(self) -> float:
        """The same inside it. [m]"""
        return self.working_strip_m + self._dig_m(apron=self.side == "inside")

    def _dig_m(self, *, apron: bool) -> float:
        """From the fence line to the edge of the dig on level ground. [m]"""
        skirt = self.bottom_width_m / 2 + self.side_slope * self.depth_m
        return max(skirt, self.apron_reach_m + self.side_slope * self.apron_cover_m) if apron else skirt


class BulkingSettings(Settings):
    """How volumes change between the ground, the heap and the backfill."""

    soil_swell: Annotated[float, Field(ge=0, le=2)] = default("bulking.soil_swell")
    """Loose volume of soil is bank volume times one plus this."""
    soil_shrink: Annotated[float, Field(ge=0, lt=1)] = default("bulking.soil_shrink")
    """Compacted volume of soil is bank volume times one minus this."""
    rock_swell: Annotated[float, Field(ge=0, le=2)] = default("bulking.rock_swell")
    """Loose volume of broken hard rock is bank volume times one plus this."""
    soft_rock_swell: Annotated[float, Field(ge=0, le=2)] = default("bulking.soft_rock_swell")
    """Loose volume of soft rock is bank volume times one plus this."""


class RateSettings(Settings):
    """Unit rates, each [low, likely, high] in the run's currency."""

    strip_and_clear_per_m2: Rate = tuple(default("rates.strip_and_clear_per_m2"))
    """Clearing and turf stripping over the strip that is cut open. [per m2]"""
    excavate_soil_per_m3: Rate = tuple(default("rates.excavate_soil_per_m3"))
    """Digging soil, wet or dry. [per m3 in the ground]"""
    excavate_soft_rock_per_m3: Rate = tuple(default("rates.excavate_soft_rock_per_m3"))
    """Digging soft rock with a strong excavator. [per m3 in the ground]"""
    excavate_rock_per_m3: Rate = tuple(default("rates.excavate_rock_per_m3"))
    """Breaking and digging hard rock. [per m3 in the ground]"""
    extra_over_wet_per_m3: Rate = tuple(default("rates.extra_over_wet_per_m3"))
    """Added for digging below the water table. [per m3 in the ground]"""
    backfill_and_compact_per_m3: Rate = tuple(default("rates.backfill_and_compact_per_m3"))
    """Filling the trench again. [per m3 compacted]"""
    import_fill_per_m3: Rate = tuple(default("rates.import_fill_per_m3"))
    """Bringing in what the trench's own soil, compacted, lacks to fill it, beyond the filling. [per m3 compacted]"""
    place_surplus_per_m3: Rate = tuple(default("rates.place_surplus_per_m3"))
    """Carrying what is left over to mounds on the plot. [per m3 loose]"""
    mesh_per_m2: Rate = tuple(default("rates.mesh_per_m2"))
    """Mesh for fence and overhang, by the area of the whole rolls. [per m2]"""
    buried_mesh_per_m2: Rate = tuple(default("rates.buried_mesh_per_m2"))
    """Mesh for skirt and apron, by the area of the whole rolls. [per m2]"""
    post_each: Rate = tuple(default("rates.post_each"))
    """Line post."""
    strutted_post_each: Rate = tuple(default("rates.strutted_post_each"))
    """Post with struts, at bends and on steep ground."""
    gate_post_each: Rate = tuple(default("rates.gate_post_each"))
    """Post that a gate hangs on."""
    overhang_arm_each: Rate = tuple(default("rates.overhang_arm_each"))
    """Arm that carries the overhang, one on each post."""
    straining_wire_per_m: Rate = tuple(default("rates.straining_wire_per_m"))
    """Straining wire with its strainers. [per m]"""
    tie_each: Rate = tuple(default("rates.tie_each"))
    """Tie or clip of the mesh, fastened."""
    anchor_each: Rate = tuple(default("rates.anchor_each"))
    """Peg that holds the apron down, driven."""
    footing_hole_each: Rate = tuple(default("rates.footing_hole_each"))
    """Digging the hole of a post's footing."""
    concrete_per_m3: Rate = tuple(default("rates.concrete_per_m3"))
    """Concrete in footings, placed. [per m3]"""
    gate_each: Rate = tuple(default("rates.gate_each"))
    """Gate without its posts."""
    erect_fence_per_m: Rate = tuple(default("rates.erect_fence_per_m"))
    """Labour to set posts and hang mesh. [per m of fence]"""
    over_limit_per_m: Rate = tuple(default("rates.over_limit_per_m"))
    """What fence line over a limit costs more: work by hand on a bank, drains in a hollow. [per m]"""


class Quote(Settings):
    """Whose price a rate is, and of when."""

    source: Annotated[str, Field(min_length=1, max_length=200), PRINTABLE]
    date: Annotated[str, Field(min_length=4, max_length=10), PRINTABLE]


class OwnRates(RateSettings):
    """Unit rates, each [low, likely, high] in the run's currency."""

    file: File | None = None
    """Table of your own prices (key, low, likely, high, unit, currency, source, date); start writes one to fill in."""
    quoted: dict[str, Quote] = {}
    """Whose price a rate is and of when, by rate: {source = "a firm", date = "2026-03"}; the table has its own."""

    @field_validator("quoted")
    @classmethod
    def _of_rates(cls, quoted: dict[str, Quote]) -> dict[str, Quote]:
        for key in quoted:
            if key not in RateSettings.model_fields:
                raise ValueError(f"quoted.{key}: is no rate; known: {', '.join(RateSettings.model_fields)}")
        return quoted


class PlantSettings(Settings):
    """The machine, its crew, and the mounds and trucks that take what is left over."""

    bucket_m3: Annotated[float, Field(gt=0, le=5)] = default("plant.bucket_m3")
    """Heaped capacity of the excavator's bucket. [m3 loose]"""
    cycle_s: Annotated[float, Field(gt=0, le=600)] = default("plant.cycle_s")
    """Time for one bucket of soil or loose fill: dig, swing, empty, swing back. [s]"""
    rock_cycle_s: Annotated[float, Field(gt=0, le=600)] = default("plant.rock_cycle_s")
    """Time for one bucket of rock. [s]"""
    fill_soil: Annotated[float, Field(gt=0, le=1.5)] = default("plant.fill_soil")
    """Part of the bucket that soil fills."""
    fill_soft_rock: Annotated[float, Field(gt=0, le=1.5)] = default("plant.fill_soft_rock")
    """Part of the bucket that soft rock fills."""
    fill_rock: Annotated[float, Field(gt=0, le=1.5)] = default("plant.fill_rock")
    """Part of the bucket that broken hard rock fills."""
    efficiency: Annotated[float, Field(gt=0, le=1)] = default("plant.efficiency")
    """Part of each hour in which the machine works."""
    breaker_m3_per_h: Annotated[float, Field(gt=0, le=1000)] = default("plant.breaker_m3_per_h")
    """Hard rock that the breaker loosens in an hour. [m3 in the ground per h]"""
    wet_factor: Annotated[float, Field(gt=0, le=1)] = default("plant.wet_factor")
    """Output below the water table as a part of that in the dry."""
    hours_per_day: Annotated[float, Field(gt=0, le=24)] = default("plant.hours_per_day")
    """Working hours of a day. [h]"""
    open_days: Annotated[float, Field(gt=0, le=60)] = default("plant.open_days")
    """Days that a stretch of trench stays open until mesh is laid and it is filled. [d]"""
    mound_slope: Annotated[float, Field(gt=0, le=5)] = default("plant.mound_slope")
    """Horizontal run of a mound's or heap's side per unit of rise."""
    mound_height_m: Annotated[float, Field(gt=0, le=20)] = default("plant.mound_height_m")
    """Height of a mound; what is left over goes into as many as it takes. [m]"""
    truck_m3: Annotated[float, Field(gt=0, le=60)] = default("plant.truck_m3")
    """What a truck carries. [m3 loose]"""


class ProgrammeSettings(Settings):
    """How a crew works through the days; a planning aid."""

    close_each_day: bool = default("programme.close_each_day")
    """Whether each day's trench gets its mesh and is filled by the evening, so that none stands open overnight."""
    posts_first: bool = default("programme.posts_first")
    """Whether posts are set before the trench is dug: they then have to hold without the ground that it takes."""
    people: Annotated[int, Field(ge=1, le=50)] = default("programme.people")
    """People beside the machine."""
    clear_m2_per_h: Annotated[float, Field(gt=0, le=10_000)] = default("programme.clear_m2_per_h")
    """Ground that the machine clears in an hour. [m2/h]"""
    set_out_m_per_h: Annotated[float, Field(gt=0, le=10_000)] = default("programme.set_out_m_per_h")
    """Fence line set out, or looked over at the end, in an hour. [m/h]"""
    post_h: Annotated[float, Field(gt=0, le=100)] = default("programme.post_h")
    """Hours of one person for a post. [h]"""
    mesh_m2_per_h: Annotated[float, Field(gt=0, le=1000)] = default("programme.mesh_m2_per_h")
    """Buried mesh that one person lays and ties in an hour. [m2/h]"""
    hang_m_per_h: Annotated[float, Field(gt=0, le=1000)] = default("programme.hang_m_per_h")
    """Fence that one person hangs in an hour. [m/h]"""
    gate_h: Annotated[float, Field(gt=0, le=1000)] = default("programme.gate_h")
    """Hours of one person for a gate. [h]"""


class UncertaintySettings(Settings):
    """How wrong the ground may be: standard deviations of the errors behind P10, P50 and P90."""

    elevation_rmse_m: Annotated[float, Field(ge=0, le=20)] = default("uncertainty.elevation_rmse_m")
    """Vertical error of the elevation model. [m]"""
    elevation_correlation_m: Annotated[float, Field(gt=0, le=10_000)] = default("uncertainty.elevation_correlation_m")
    """Distance over which the error of elevations is much the same. [m]"""
    rock_depth_sd_m: Annotated[float, Field(ge=0, le=20)] = default("uncertainty.rock_depth_sd_m")
    """Error of the depth to rock far from any pit. [m]"""
    rock_depth_sd_at_pit_m: Annotated[float, Field(ge=0, le=20)] = default("uncertainty.rock_depth_sd_at_pit_m")
    """Error of the depth to rock beside a pit. [m]"""
    water_table_sd_m: Annotated[float, Field(ge=0, le=20)] = default("uncertainty.water_table_sd_m")
    """Error of the depth to the water table far from any pit. [m]"""
    water_table_sd_at_pit_m: Annotated[float, Field(ge=0, le=20)] = default("uncertainty.water_table_sd_at_pit_m")
    """Error of the depth to the water table beside a pit. [m]"""
    soil_correlation_m: Annotated[float, Field(gt=0, le=10_000)] = default("uncertainty.soil_correlation_m")
    """Distance over which the errors of rock and water are alike, and over which a pit tells. [m]"""

    @model_validator(mode="after")
    def _a_pit_tells(self) -> Self:
        for name in ("rock_depth_sd", "water_table_sd"):
            at_pit, far = getattr(self, f"{name}_at_pit_m"), getattr(self, f"{name}_m")
            if at_pit > far:
                raise ValueError(
                    f"{name}_at_pit_m = {at_pit:g} is more than {name}_m = {far:g}; a pit does not make the ground "
                    "less known: lower it"
                )
        return self
