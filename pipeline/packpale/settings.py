"""The settings file: models of its sections, and reading it with every fault listed at once."""

import difflib
import itertools
import re
import tomllib
from datetime import time
from pathlib import Path
from typing import Annotated, Any, Literal, Self, get_args

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from packpale.faults import Faults
from packpale.units import HECTARE_M2
from packpale.values import default, register

FeatureKind = Literal["watercourses", "dwellings", "services", "woodland", "access", "viewpoints", "keep_out"]
FEATURE_KINDS: tuple[FeatureKind, ...] = get_args(FeatureKind)
"""Optional vector inputs round the plots."""
KEEP_AWAY_KINDS = tuple(k.rsplit(".", 1)[1] for k in register() if k.startswith("land.keep_away_m."))
"""Kinds that keep the fence away unless the settings say otherwise."""
Criterion = Literal["slope", "drainage", "diggability", "access", "seclusion", "cover"]
CRITERIA: tuple[Criterion, ...] = get_args(Criterion)
"""What suitability can be made of; the last three need an input of their own."""
CRITERION_NEEDS = {"access": "access", "seclusion": "dwellings", "cover": "woodland"}
RankingCriterion = Literal["land", "space", "price"]
RANKING_CRITERIA: tuple[RankingCriterion, ...] = get_args(RankingCriterion)
"""What the score of a plot is made of."""
DenCriterion = Literal["drainage", "digging", "shelter", "people", "fence", "slope", "aspect"]
DEN_CRITERIA: tuple[DenCriterion, ...] = get_args(DenCriterion)
"""What the score of a den site is made of."""
DrainageClass = Literal[
    "excessively",
    "somewhat excessively",
    "well",
    "moderately well",
    "somewhat poorly",
    "poorly",
    "very poorly",
]
DRAINAGE_CLASSES: tuple[DrainageClass, ...] = get_args(DrainageClass)
"""Natural drainage classes, National Soil Survey Handbook part 618.19, from driest to wettest (land only)."""

OctaveBand = Literal[63, 125, 250, 500, 1000, 2000, 4000, 8000]
"""Nominal mid-band frequencies of ISO 9613. [Hz]"""

File = Annotated[Path, Field(strict=False)]
Share = Annotated[float, Field(ge=0, le=100)]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Rate = Annotated[tuple[NotNegative, NotNegative, NotNegative], Field(strict=False)]


def _hours_and_minutes(text: str) -> str:
    if not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", text):
        raise ValueError(f"found {text!r}; write hours and minutes, such as 20:00")
    return text


TimeOfDay = Annotated[str, AfterValidator(_hours_and_minutes)]


class Settings(BaseModel):
    """Every section: unknown keys refused, frozen once read, never NaN, attribute docs go to the settings page."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, allow_inf_nan=False, use_attribute_docstrings=True, strict=True
    )


class InputSettings(Settings):
    """Files that describe the land. Paths are relative to the settings file."""

    elevation: Annotated[tuple[File, ...], Field(min_length=1, strict=False)]
    """Elevation raster, or a list of rasters (tiles) in one CRS. Bare earth, any GDAL format."""
    elevation_unit: Literal["m", "ft", "us-ft"] = default("inputs.elevation_unit")
    """Unit of the elevations: metres, international feet or US survey feet."""
    plots: File
    """Candidate plots: any vector file, KML, a GPX track walked round the field, or a CSV of corners."""
    plots_layer: str | None = None
    """Layer of the plots file, where it has several."""
    plot_id: Annotated[str, Field(min_length=1)]
    """Column that names each plot."""
    soil: File | None = None
    """Soil polygons with the columns of [soil]."""
    pits: File | None = None
    """Trial pits: CSV with x, y and the columns of [soil]; optional column crs."""
    watercourses: File | None = None
    """Streams, ditches, ponds."""
    dwellings: File | None = None
    """Houses, as points or outlines."""
    services: File | None = None
    """Buried cables and pipes."""
    woodland: File | None = None
    """Woods, as polygons."""
    access: File | None = None
    """Tracks and roads a vehicle can use."""
    viewpoints: File | None = None
    """Places people look from."""
    keep_out: File | None = None
    """Areas that must not be used."""

    @field_validator("elevation", mode="before")
    @classmethod
    def _one_or_many(cls, value: Any) -> Any:
        return [value] if isinstance(value, str | Path) else value


class SoilSettings(Settings):
    """The ground where neither soil polygon nor pit says better."""

    depth_to_rock_m: Annotated[float, Field(ge=0, le=100)] = default("soil.depth_to_rock_m")
    """Depth from the surface to bedrock. [m]"""
    rock_hardness: Literal["hard", "soft"] = default("soil.rock_hardness")
    """hard needs a breaker; soft can be dug by a strong excavator."""
    water_table_m: Annotated[float, Field(ge=0, le=100)] = default("soil.water_table_m")
    """Shallowest depth of the water table in the year. [m]"""
    clay_percent: Share = default("soil.clay_percent")
    """Clay in the fine earth. [% by weight]"""
    stones_percent: Share = default("soil.stones_percent")
    """Fragments over 75 mm in the upper metre. [% by weight]"""
    drainage_class: DrainageClass = default("soil.drainage_class")
    """Natural drainage class."""
    pit_range_m: Annotated[float, Field(gt=0, le=1000)] = default("soil.pit_range_m")
    """Distance from a single trial pit at which it pulls the ground by half; no column of polygons or pits. [m]"""


class LandSettings(Settings):
    """How the land is scored and which part of it may carry the fence."""

    cell_m: Annotated[float | None, Field(gt=0)] = None
    """Cell size of the run; without it the size of the elevation raster's own cells. [m]"""
    margin_m: Annotated[float, Field(ge=0, le=20_000)] = default("land.margin_m")
    """Ground read round each plot. [m]"""
    setback_m: NotNegative = default("land.setback_m")
    """Distance from the plot's boundary. [m]"""
    max_slope_deg: Annotated[float, Field(gt=0, le=90)] = default("land.max_slope_deg")
    """Steeper cells are not usable. [deg]"""
    max_ponding_m: NotNegative = default("land.max_ponding_m")
    """Cells in hollows that can stand deeper under water are not usable. [m]"""
    min_depth_to_rock_m: NotNegative = default("land.min_depth_to_rock_m")
    """Cells with rock nearer to the surface are not usable. [m]"""
    channel_area_ha: Positive = default("land.channel_area_ha")
    """Upstream area from which water runs in a channel. [ha]"""
    keep_away_m: dict[FeatureKind, NotNegative] = {}
    """Distance the fence strip keeps from each kind of input. [m] Kinds not named keep their default."""
    weights: dict[Criterion, NotNegative] | None = None
    """Weight of each criterion in the suitability; any scale. Not together with pairwise."""
    pairwise: dict[Criterion, dict[Criterion, Annotated[float, Field(gt=0)]]] | None = None
    """How many times as important the first criterion is as the second; reciprocals are filled in."""

    @model_validator(mode="after")
    def _weights_can_be_used(self) -> Self:
        if self.weights is not None and self.pairwise is not None:
            raise ValueError("give weights or pairwise, not both")
        if self.weights is not None and not any(self.weights.values()):
            raise ValueError("weights are all zero; give at least one criterion a weight above 0")
        return self


def _ascending(pair: tuple[float, float]) -> tuple[float, float]:
    if pair[0] > pair[1]:
        raise ValueError(f"[{pair[0]:g}, {pair[1]:g}] is reversed; put the smaller number first")
    return pair


class EnclosureSettings(Settings):
    """Number, size and shape of the enclosures."""

    packs: Annotated[int, Field(ge=1, le=3)] = default("enclosure.packs")
    """Enclosures to place on each plot."""
    area_ha: Literal["largest"] | Positive = default("enclosure.area_ha")
    """How large each is: "largest", or a number, which goes where the land suits best. [ha]"""
    taper: Annotated[
        tuple[Annotated[float, Field(gt=0, lt=1)], Annotated[float, Field(gt=0, lt=1)]], Field(strict=False)
    ] = tuple(default("enclosure.taper"))
    """Smallest and largest ratio of small-end radius to big-end radius."""
    aspect: Annotated[
        tuple[Annotated[float, Field(gt=1, le=5)], Annotated[float, Field(gt=1, le=5)]], Field(strict=False)
    ] = tuple(default("enclosure.aspect"))
    """Smallest and largest ratio of length to width."""
    min_radius_m: NotNegative = default("enclosure.min_radius_m")
    """No arc of the fence line is tighter than this. [m]"""
    separation_m: NotNegative = default("enclosure.separation_m")
    """Least distance between the fence lines of two enclosures. [m]"""
    proof_gap: Annotated[float, Field(gt=0, le=1)] = default("enclosure.proof_gap")
    """How far above the area found the proven bound on it may stay, as a share of it; less takes longer."""
    fence_line: File | None = None
    """Existing or hand-drawn fence lines, closed, any shape: used as they are, nothing is fitted. Any vector file."""
    fence_line_layer: str | None = None
    """Layer of that file, where it has several."""

    @model_validator(mode="after")
    def _nothing_is_fitted_to_a_given_line(self) -> Self:
        if self.fence_line is None:
            if self.fence_line_layer is not None:
                raise ValueError("fence_line_layer has no effect without fence_line; give the file or drop the key")
            return self
        for name in ("area_ha", "taper", "aspect", "min_radius_m", "proof_gap"):
            number = default(f"enclosure.{name}")
            if getattr(self, name) != (tuple(number) if isinstance(number, list) else number):
                raise ValueError(f"{name} has no effect with fence_line, to which nothing is fitted; drop one of them")
        return self

    _ranges = field_validator("taper", "aspect")(_ascending)


class FenceSettings(Settings):
    """The fence above ground."""

    height_m: Annotated[float, Field(gt=0, le=6)] = default("fence.height_m")
    """Height of the mesh above ground. [m]"""
    overhang_m: Annotated[float, Field(ge=0, le=3)] = default("fence.overhang_m")
    """Length of the overhang from base to tip. [m]"""
    overhang_deg: Annotated[float, Field(ge=0, le=90)] = default("fence.overhang_deg")
    """Inclination of the overhang above the horizontal. [deg]"""
    post_spacing_m: Annotated[float, Field(gt=0.5, le=10)] = default("fence.post_spacing_m")
    """Largest straight distance between two posts. [m]"""
    gates: Annotated[int, Field(ge=0, le=20)] = default("fence.gates")
    """Gates in each enclosure."""
    gate_width_m: Annotated[float, Field(gt=0, le=12)] = default("fence.gate_width_m")
    """Clear width of a gate. [m]"""
    airlock_length_m: Annotated[float, Field(ge=0, le=40)] = default("fence.airlock_length_m")
    """Length of the airlock inside each gate, between its two gates; 0 is a single gate. [m]"""
    airlock_width_m: Annotated[float, Field(gt=0, le=40)] = default("fence.airlock_width_m")
    """Width of the airlock along the fence line. [m]"""
    vehicle_length_m: Positive = default("fence.vehicle_length_m")
    """Longest vehicle that has to stand in the airlock with both gates shut. [m]"""
    vehicle_width_m: Positive = default("fence.vehicle_width_m")
    """Its width. [m]"""
    straining_wires: Annotated[int, Field(ge=0, le=12)] = default("fence.straining_wires")
    """Wires from post to post that the mesh is tied to."""
    hole_diameter_m: Annotated[float, Field(gt=0, le=1.5)] = default("fence.hole_diameter_m")
    """Diameter of the hole for a post's footing. [m]"""
    hole_depth_m: Annotated[float, Field(gt=0, le=3)] = default("fence.hole_depth_m")
    """Its depth. [m]"""
    max_panel_deflection_deg: Annotated[float, Field(gt=0, le=90)] = default("fence.max_panel_deflection_deg")
    """Largest angle in plan between two panels that a post can take without a strut. [deg]"""
    steep_ground_deg: Annotated[float, Field(gt=0, lt=90)] = default("fence.steep_ground_deg")
    """Slope along the line from which posts are strutted. [deg]"""

    @model_validator(mode="after")
    def _airlock_takes_its_gates(self) -> Self:
        if self.airlock_length_m > 0 and self.airlock_width_m < self.gate_width_m:
            raise ValueError(
                f"airlock_width_m = {self.airlock_width_m:g} is less than gate_width_m = {self.gate_width_m:g}; "
                "an airlock is as wide as its gates or wider"
            )
        return self


class MeshSettings(Settings):
    """How the mesh comes and how it is joined."""

    roll_width_m: Annotated[float, Field(gt=0.2, le=10)] = default("mesh.roll_width_m")
    """Width of a roll. [m]"""
    roll_length_m: Annotated[float, Field(gt=1, le=200)] = default("mesh.roll_length_m")
    """Length of a roll. [m]"""
    lap_m: Annotated[float, Field(ge=0, le=2)] = default("mesh.lap_m")
    """How far two pieces lie over each other: end to end, side by side, where skirt, apron and overhang join. [m]"""

    @model_validator(mode="after")
    def _laps_leave_some_roll(self) -> Self:
        if self.lap_m >= min(self.roll_width_m, self.roll_length_m) / 2:
            raise ValueError(
                f"lap_m = {self.lap_m:g} is half of a roll or more "
                f"({self.roll_width_m:g} x {self.roll_length_m:g} m); lower it"
            )
        return self


class TrenchSettings(Settings):
    """Trench for the buried skirt and bench for the apron."""

    depth_m: Annotated[float, Field(gt=0, le=3)] = default("trench.depth_m")
    """Depth of the skirt trench below ground. [m]"""
    bottom_width_m: Annotated[float, Field(gt=0, le=5)] = default("trench.bottom_width_m")
    """Width of its flat bottom. [m]"""
    apron_reach_m: Annotated[float, Field(ge=0, le=6)] = default("trench.apron_reach_m")
    """Horizontal reach of the mesh from the fence line. [m]"""
    apron_cover_m: Annotated[float, Field(ge=0, le=3)] = default("trench.apron_cover_m")
    """Soil over the apron. [m]"""
    side: Literal["outside", "inside"] = default("trench.side")
    """Side of the fence on which the apron lies."""
    side_slope: Annotated[float, Field(ge=0, le=3)] = default("trench.side_slope")
    """Horizontal run of the trench walls per unit of rise; 0 is vertical."""
    formation: Literal["follow", "level"] = default("trench.formation")
    """follow: depth below the ground at each offset; level: bottoms horizontal across the section."""
    station_m: Annotated[float, Field(ge=0.1, le=50)] = default("trench.station_m")
    """Step along the line for volumes and tables. [m]"""
    working_strip_m: NotNegative = default("trench.working_strip_m")
    """Free strip on both sides of the dig. [m]"""
    max_gradient: Annotated[float | None, Field(gt=0, le=2)] = None
    """Steepest rise per metre along the line that the machine can dig; smoothing only deepens. Without it no limit."""
    vertical_curve_m: Annotated[float | None, Field(gt=0, le=10_000)] = None
    """Smallest radius of a vertical curve of the bottom; its length is this times the change of gradient. [m]"""
    gap_limit_m: Annotated[float, Field(gt=0, le=3)] = default("trench.gap_limit_m")
    """Where the bottom is deeper or shallower than depth_m by more than this, it is reported. [m]"""
    over_dig_m: Annotated[float, Field(ge=0, le=1)] = default("trench.over_dig_m")
    """How much deeper than drawn a machine may dig; the rules for safety count with it. [m]"""
    end_on_rock: bool = default("trench.end_on_rock")
    """Whether the skirt ends where it meets rock; the dig-out is reckoned so, volumes and prices keep depth_m."""
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
            raise ValueError(f"vertical walls at depth_m = {self.depth_m:g}; from 1.52 m set side_slope above 0")
        return self

    @property
    def outside_strip_m(self) -> float:
        """Free strip the fence line needs outside it. [m]"""
        return self.working_strip_m + (self._dig_m if self.side == "outside" else 0.0)

    @property
    def inside_strip_m(self) -> float:
        """Free strip the fence line needs inside it. [m]"""
        return self.working_strip_m + (self._dig_m if self.side == "inside" else 0.0)

    @property
    def _dig_m(self) -> float:
        return self.apron_reach_m + self.side_slope * self.depth_m


class SettingOutSettings(Settings):
    """How the fence line is pegged."""

    step_m: Annotated[float, Field(ge=0.5, le=100)] = default("setting_out.step_m")
    """Step of the chainages that are pegged beside posts, gates and changes of arc. [m]"""
    tape_error_m: Annotated[float, Field(gt=0, le=1)] = default("setting_out.tape_error_m")
    """Error to reckon with in a distance that is taped. [m]"""


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
    """Added for every cubic metre below the water table. [per m3 in the ground]"""
    backfill_and_compact_per_m3: Rate = tuple(default("rates.backfill_and_compact_per_m3"))
    """Filling the trench again. [per m3 compacted]"""
    import_fill_per_m3: Rate = tuple(default("rates.import_fill_per_m3"))
    """Bringing in what the trench's own soil, compacted, lacks to fill it, beyond the filling. [per m3 compacted]"""
    place_surplus_per_m3: Rate = tuple(default("rates.place_surplus_per_m3"))
    """Carrying what is left over to mounds on the plot. [per m3 loose]"""
    mesh_per_m2: Rate = tuple(default("rates.mesh_per_m2"))
    """Mesh for fence and overhang, laps included. [per m2]"""
    buried_mesh_per_m2: Rate = tuple(default("rates.buried_mesh_per_m2"))
    """Mesh for skirt and apron, laps included. [per m2]"""
    post_each: Rate = tuple(default("rates.post_each"))
    """Line post."""
    strutted_post_each: Rate = tuple(default("rates.strutted_post_each"))
    """Post with struts, at bends and on steep ground."""
    gate_post_each: Rate = tuple(default("rates.gate_post_each"))
    """Post that a gate hangs on."""
    overhang_arm_each: Rate = tuple(default("rates.overhang_arm_each"))
    """Arm that carries the overhang, one on each post."""
    straining_wire_per_m: Rate = tuple(default("rates.straining_wire_per_m"))
    """Straining wire with its fixings. [per m]"""
    footing_hole_each: Rate = tuple(default("rates.footing_hole_each"))
    """Digging the hole of a post's footing."""
    concrete_per_m3: Rate = tuple(default("rates.concrete_per_m3"))
    """Concrete in footings, placed. [per m3]"""
    gate_each: Rate = tuple(default("rates.gate_each"))
    """Gate without its posts."""
    erect_fence_per_m: Rate = tuple(default("rates.erect_fence_per_m"))
    """Labour to set posts and hang mesh. [per m of fence]"""

    @field_validator("*")
    @classmethod
    def _in_order(cls, rate: tuple[float, float, float]) -> tuple[float, float, float]:
        if not rate[0] <= rate[1] <= rate[2]:
            raise ValueError(f"{[f'{r:g}' for r in rate]} is not in order; write [low, likely, high]")
        return rate


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


class UncertaintySettings(Settings):
    """How wrong the ground may be: standard deviations of the errors behind P10, P50 and P90."""

    elevation_rmse_m: Annotated[float, Field(ge=0, le=20)] = default("uncertainty.elevation_rmse_m")
    """Vertical error of the elevation model. [m]"""
    elevation_correlation_m: Annotated[float, Field(gt=0, le=10_000)] = default("uncertainty.elevation_correlation_m")
    """Distance over which that error is much the same. [m]"""
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


class CheckSettings(Settings):
    """When the line is walked: between the two nobody looks."""

    evening: TimeOfDay = default("checks.evening")
    """Last round of the day, HH:MM."""
    morning: TimeOfDay = default("checks.morning")
    """First round of the day, HH:MM."""
    dig_rate_m_per_h: Positive | None = None
    """Tunnel that an animal digs in an hour, if you know; none is assumed, since none is published. [m/h]"""
    dig_rate_source: Annotated[str | None, Field(min_length=1, max_length=200)] = None
    """Where that rate comes from; shown beside every figure that follows from it."""
    climb_distance_m: Annotated[float, Field(gt=0, le=20)] = default("checks.climb_distance_m")
    """Ground within this distance of the fence counts for how high the fence is. [m]"""
    climb_loss_m: Annotated[float, Field(gt=0, le=3)] = default("checks.climb_loss_m")
    """Where such ground takes more than this from the fence's height, it is reported. [m]"""
    tree_distance_m: Annotated[float, Field(ge=0, le=50)] = default("checks.tree_distance_m")
    """Woodland within this distance of the fence is reported. [m]"""

    @model_validator(mode="after")
    def _a_rate_has_a_source(self) -> Self:
        if (self.dig_rate_m_per_h is None) != (self.dig_rate_source is None):
            raise ValueError("dig_rate_m_per_h and dig_rate_source go together; give both, or drop the one given")
        return self

    @property
    def unattended_h(self) -> float:
        """Hours from the evening round to the next morning round; a whole day if both are at the same time."""
        evening, morning = time.fromisoformat(self.evening), time.fromisoformat(self.morning)
        minutes = (morning.hour - evening.hour) * 60 + morning.minute - evening.minute
        return (minutes % (24 * 60) or 24 * 60) / 60


class PatrolSettings(Settings):
    """The round along the fence, walked in the evening and in the morning."""

    side: Literal["outside", "inside"] = default("patrol.side")
    """Side of the fence on which the path runs."""
    offset_m: Annotated[float, Field(gt=0, le=50)] = default("patrol.offset_m")
    """Distance of the path from the fence line. [m]"""
    pace_factor: Annotated[float, Field(gt=0, le=2)] = default("patrol.pace_factor")
    """Walking speed as a part of that on a path."""
    stop_s: Annotated[float, Field(ge=0, le=3600)] = default("patrol.stop_s")
    """Time spent at each check point. [s]"""
    weak_places: Annotated[int, Field(ge=0, le=50)] = default("patrol.weak_places")
    """Places with the shortest way under the mesh that are checked on every round, at most."""
    weak_places_apart_m: Annotated[float, Field(gt=0, le=1000)] = default("patrol.weak_places_apart_m")
    """Least distance along the fence between two of them. [m]"""


class HowlSettings(Settings):
    """How loud a howl is, through what air and over what ground it goes, and out of what it must stand."""

    source_level_db: Annotated[tuple[float, float, float], Field(strict=False)] = tuple(default("howl.source_level_db"))
    """Level of a howl 1 m from the animal: low, likely, high. [dB]"""
    bands_hz: Annotated[tuple[OctaveBand, ...], Field(strict=False, min_length=1)] = tuple(default("howl.bands_hz"))
    """Octave bands over which the level is spread evenly. [Hz]"""
    background_db: Annotated[float, Field(ge=0, le=80)] = default("howl.background_db")
    """Level of each of these bands at the listener without a howl, above which a howl is heard. [dB]"""
    temperature_c: Annotated[float, Field(ge=-20, le=50)] = default("howl.temperature_c")
    """Temperature of the air. [deg C]"""
    humidity_percent: Annotated[float, Field(ge=10, le=100)] = default("howl.humidity_percent")
    """Relative humidity of the air. [%]"""
    pressure_kpa: Annotated[float, Field(ge=50, le=110)] = default("howl.pressure_kpa")
    """Pressure of the air. [kPa]"""
    ground_factor: Annotated[float, Field(ge=0, le=1)] = default("howl.ground_factor")
    """Ground factor of ISO 9613-2: 0 hard (ice, water, rock, paved), 1 porous (grass, trees, earth)."""
    source_height_m: Annotated[float, Field(gt=0, le=3)] = default("howl.source_height_m")
    """Height of a howling animal's head above the ground. [m]"""
    receiver_height_m: Annotated[float, Field(gt=0, le=20)] = default("howl.receiver_height_m")
    """Height of the listener's ears above the ground. [m]"""

    @field_validator("source_level_db")
    @classmethod
    def _rising(cls, levels: tuple[float, float, float]) -> tuple[float, float, float]:
        low, likely, high = levels
        if not 0 < low <= likely <= high <= 140:
            raise ValueError(f"found {list(levels)}; give low, likely and high level, rising, above 0 and up to 140 dB")
        return levels

    @field_validator("bands_hz")
    @classmethod
    def _each_once(cls, bands: tuple[int, ...]) -> tuple[int, ...]:
        if len(set(bands)) < len(bands):
            raise ValueError(f"found {list(bands)}; name each octave band once")
        return bands


class CrossingSettings(Settings):
    """Where water crosses the fence, and the opening with bars that it needs there."""

    min_area_ha: NotNegative = default("crossings.min_area_ha")
    """Flow paths that drain at least this count. [ha]"""
    rain_mm_per_h: (
        Positive
        | Annotated[
            tuple[Annotated[tuple[Positive, Positive], Field(strict=False)], ...], Field(min_length=1, strict=False)
        ]
        | None
    ) = None
    """Intensity of the design storm: a number, or a list of [duration in minutes, intensity]; without it only areas
    and times are told. [mm/h]"""
    rain_source: Annotated[str | None, Field(min_length=1, max_length=200)] = None
    """Where that intensity comes from, with its return period; shown beside every flow."""
    runoff_coefficient: Annotated[float, Field(gt=0, le=1)] = default("crossings.runoff_coefficient")
    """Part of the rain that runs off."""
    frequency_factor: Annotated[float, Field(ge=1, le=2)] = default("crossings.frequency_factor")
    """Factor on the part that runs off, for rare storms; both together count as 1 at most."""
    roughness: Annotated[float, Field(gt=0, le=0.5)] = default("crossings.roughness")
    """Manning's n of the bed. [s/m^(1/3)]"""
    opening_height_m: Annotated[float, Field(gt=0, le=3)] = default("crossings.opening_height_m")
    """Height of the opening to which it may run full. [m]"""
    bar_gap_m: Annotated[float, Field(gt=0, le=0.5)] = default("crossings.bar_gap_m")
    """Clear width between two bars. [m]"""
    bar_thickness_m: Annotated[float, Field(gt=0, le=0.2)] = default("crossings.bar_thickness_m")
    """Thickness of a bar. [m]"""
    blocked_share: Annotated[float, Field(ge=0, lt=1)] = default("crossings.blocked_share")
    """Part of the gaps that leaves and branches block."""

    placing_penalty: Annotated[float, Field(ge=0, le=1)] = default("crossings.placing_penalty")
    """Mean suitability (0 to 1) that an enclosure of a given area may lose to cross one flow path less; 0: none."""

    @property
    def min_area_m2(self) -> float:
        """Least area that counts. [m2]"""
        return self.min_area_ha * HECTARE_M2

    @model_validator(mode="after")
    def _rain_has_a_source_and_the_rest_an_effect(self) -> Self:
        if (self.rain_mm_per_h is None) != (self.rain_source is None):
            given, lacks = "rain_mm_per_h", "rain_source"
            if self.rain_mm_per_h is None:
                given, lacks = lacks, given
            raise ValueError(f"{given} needs {lacks}; a flow is worked out only from an intensity with its source")
        if isinstance(self.rain_mm_per_h, tuple):
            minutes = [m for m, _ in self.rain_mm_per_h]
            if any(later <= sooner for sooner, later in itertools.pairwise(minutes)):
                raise ValueError(f"rain_mm_per_h has the durations {minutes}; list them in rising order, each once")
        if self.rain_mm_per_h is None:
            for name in _OPENING_KEYS:
                if getattr(self, name) != default(f"crossings.{name}"):
                    raise ValueError(f"{name} has no effect without rain_mm_per_h; give it or drop the key")
        return self


_OPENING_KEYS = (
    "runoff_coefficient",
    "frequency_factor",
    "roughness",
    "opening_height_m",
    "bar_gap_m",
    "bar_thickness_m",
    "blocked_share",
)
"""Keys of [crossings] that play no part unless there is rain."""


class DenSettings(Settings):
    """Where dens could go and how they would be built."""

    count: Annotated[int, Field(ge=0, le=20)] = default("dens.count")
    """Sites looked for in each enclosure."""
    apart_m: NotNegative = default("dens.apart_m")
    """Least distance between two of them. [m]"""
    fence_m: NotNegative = default("dens.fence_m")
    """Least distance from the fence line. [m]"""
    quiet_m: Positive = default("dens.quiet_m")
    """Distance from viewpoints, dwellings and the other pack at which they no longer count. [m]"""
    shelter_radius_m: Annotated[float, Field(gt=0, le=500)] = default("dens.shelter_radius_m")
    """Ground around a site that it is compared with for shelter from wind. [m]"""
    shelter_relief_m: Positive = default("dens.shelter_relief_m")
    """Height below the mean of that ground that counts as full shelter, above it as none. [m]"""
    best_slope_deg: Annotated[
        tuple[Annotated[float, Field(gt=0, lt=90)], Annotated[float, Field(gt=0, lt=90)]], Field(strict=False)
    ] = tuple(default("dens.best_slope_deg"))
    """Slopes between which a passage is easily dug in. [deg]"""
    max_slope_deg: Annotated[float, Field(gt=0, lt=90)] = default("dens.max_slope_deg")
    """Steeper ground is left out. [deg]"""
    sunny_side_deg: Annotated[float, Field(ge=0, le=360)] = default("dens.sunny_side_deg")
    """Direction of the warmest slopes, clockwise from north: 180 is south. [deg]"""
    passage_m: Annotated[tuple[Positive, Positive], Field(strict=False)] = tuple(default("dens.passage_m"))
    """Shortest and longest passage from entrance to chamber. [m]"""
    fall: Annotated[float, Field(ge=0, le=0.5)] = default("dens.fall")
    """Rise of the passage's floor towards the chamber per metre, so that water runs out."""
    roof_m: Positive = default("dens.roof_m")
    """Least ground over the chamber. [m]"""
    weights: dict[DenCriterion, NotNegative] = {k: default(f"dens.weights.{k}") for k in DEN_CRITERIA}
    """Weight of each criterion of a den site; any scale. Criteria not named do not count."""

    _ranges = field_validator("best_slope_deg", "passage_m")(_ascending)

    @field_validator("weights")
    @classmethod
    def _something_counts(cls, weights: dict[str, float]) -> dict[str, float]:
        if not any(weights.values()):
            raise ValueError("weights are all zero; give at least one criterion a weight above 0")
        return weights


class ViewingSettings(Settings):
    """What people see from the viewing points, and how much has to stay unseen."""

    eye_height_m: Annotated[float, Field(gt=0, le=30)] = default("viewing.eye_height_m")
    """Height of the eyes above the ground at a viewing point; more on a platform. [m]"""
    target_height_m: Annotated[float, Field(ge=0, le=3)] = default("viewing.target_height_m")
    """Height of what is looked for above the ground inside the fence. [m]"""
    stand_off_m: NotNegative = default("viewing.stand_off_m")
    """Least distance of people from the fence. [m]"""
    sight_m: Positive = default("viewing.sight_m")
    """Farthest distance at which an animal is still made out. [m]"""
    least_seen_share: Annotated[float, Field(ge=0, le=1)] = default("viewing.least_seen_share")
    """Part of the ground inside the fence that should be seen from somewhere."""
    least_refuge_share: Annotated[float, Field(ge=0, le=1)] = default("viewing.least_refuge_share")
    """Part of the ground inside the fence that should be out of everyone's sight."""

    @model_validator(mode="after")
    def _both_can_be_met(self) -> Self:
        if self.least_seen_share + self.least_refuge_share > 1:
            raise ValueError(
                f"least_seen_share = {self.least_seen_share:g} and least_refuge_share = {self.least_refuge_share:g} "
                "add up to more than 1, and no ground is both; lower one of them"
            )
        return self


class NeighbourSettings(Settings):
    """What has to lie between two packs of one plot."""

    perimeter_m: NotNegative = default("neighbours.perimeter_m")
    """Least distance between two fences that count as a double fence. [m]"""


class RankingSettings(Settings):
    """What makes one plot better than another."""

    weights: dict[RankingCriterion, NotNegative] = {k: default(f"ranking.weights.{k}") for k in RANKING_CRITERIA}
    """Weight of the suitability inside the fence, of its size, and of the price per hectare."""

    @field_validator("weights")
    @classmethod
    def _not_all_zero(cls, weights: dict[str, float]) -> dict[str, float]:
        if not any(weights.values()):
            raise ValueError("weights are all zero; give at least one of land, space, price a weight above 0")
        return weights


class RunSettings(Settings):
    """How the run is carried out."""

    seed: Annotated[int, Field(ge=0)] = default("run.seed")
    """Start of every random draw; the same seed gives the same files."""
    draws: Annotated[int, Field(ge=100, le=1_000_000)] = default("run.draws")
    """Random draws behind P10, P50 and P90."""


class MapSettings(Settings):
    """What the maps show beside the run's own results."""

    data_date: Annotated[str | None, Field(min_length=1, max_length=60)] = None
    """When the ground was measured, in your words, such as "spring 2021"; stands on every map and its print."""
    background: Annotated[str | None, Field(pattern=r"^https?://.*$")] = None
    """Address of map tiles with {z}, {x} and {y} in it, shown only while a reader switches it on: it needs a network,
    and its owner learns which place is looked at. Look up what your mapping agency offers and allows."""
    background_credit: Annotated[str | None, Field(min_length=1, max_length=200)] = None
    """Whom the owner of the background asks to be named beside it."""

    @model_validator(mode="after")
    def _a_background_is_whole(self) -> Self:
        if self.background is None:
            if self.background_credit is not None:
                raise ValueError("background_credit has no effect without background; give the address or drop the key")
            return self
        missing = [part for part in ("{z}", "{x}", "{y}") if part not in self.background]
        if missing:
            raise ValueError(
                f"background = {self.background!r} lacks {', '.join(missing)}; the address of a tile has all"
            )
        if self.background_credit is None:
            raise ValueError("background needs background_credit: name whom its owner asks to be named")
        return self


class Project(Settings):
    """A whole settings file."""

    title: Annotated[str, Field(min_length=1)] = "Untitled"
    """Shown at the top of every page."""
    crs: str | None = None
    """Projected CRS in metres for all computing, such as "EPSG:25832"; without it the plots' UTM zone."""
    currency: Annotated[str, Field(min_length=1, max_length=8)] = default("currency")
    """Currency of the rates, as shown."""
    units: Literal["metric", "imperial"] = default("units")
    """Units shown on pages; files are always metric."""
    inputs: InputSettings
    soil: SoilSettings = SoilSettings()
    land: LandSettings = LandSettings()
    enclosure: EnclosureSettings = EnclosureSettings()
    fence: FenceSettings = FenceSettings()
    mesh: MeshSettings = MeshSettings()
    trench: TrenchSettings = TrenchSettings()
    setting_out: SettingOutSettings = SettingOutSettings()
    bulking: BulkingSettings = BulkingSettings()
    rates: RateSettings = RateSettings()
    plant: PlantSettings = PlantSettings()
    uncertainty: UncertaintySettings = UncertaintySettings()
    checks: CheckSettings = CheckSettings()
    patrol: PatrolSettings = PatrolSettings()
    howl: HowlSettings = HowlSettings()
    crossings: CrossingSettings = CrossingSettings()
    dens: DenSettings = DenSettings()
    viewing: ViewingSettings = ViewingSettings()
    neighbours: NeighbourSettings = NeighbourSettings()
    ranking: RankingSettings = RankingSettings()
    maps: MapSettings = MapSettings()
    run: RunSettings = RunSettings()

    @model_validator(mode="after")
    def _every_setting_has_an_effect(self) -> Self:
        for kind in self.land.keep_away_m:
            if getattr(self.inputs, kind) is None:
                raise ValueError(
                    f"land.keep_away_m.{kind} has no effect without inputs.{kind}; give the file or drop the key"
                )
        if self.soil.pit_range_m != default("soil.pit_range_m") and self.inputs.pits is None:
            raise ValueError("soil.pit_range_m has no effect without inputs.pits; give the file or drop the key")
        if self.checks.tree_distance_m != default("checks.tree_distance_m") and self.inputs.woodland is None:
            raise ValueError(
                "checks.tree_distance_m has no effect without inputs.woodland; give the file or drop the key"
            )
        named = {*(self.land.weights or {}), *(self.land.pairwise or {})}
        for criterion in sorted(named & CRITERION_NEEDS.keys()):
            if getattr(self.inputs, CRITERION_NEEDS[criterion]) is None:
                raise ValueError(
                    f"the criterion {criterion!r} needs inputs.{CRITERION_NEEDS[criterion]}; "
                    "give the file or drop the criterion"
                )
        return self

    def keep_away(self) -> dict[str, float]:
        """Distance to keep from every kind of input that is given and keeps the fence away. [m]"""
        named = self.land.keep_away_m
        kinds = [
            k for k in FEATURE_KINDS if k in named or (k in KEEP_AWAY_KINDS and getattr(self.inputs, k) is not None)
        ]
        return {k: named[k] if k in named else default(f"land.keep_away_m.{k}") for k in kinds}


def read_settings(path: Path) -> Project:
    """Read and validate a settings file; paths in it become absolute.

    Raises Faults with one line for each fault.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise Faults([f"{path}: cannot be read as text ({_reason(error)}); name a settings file in TOML"]) from error
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise Faults([f"{path}: not a TOML file ({error}); see packpale start for a template"]) from error
    try:
        project = Project.model_validate(raw)
    except ValidationError as error:
        raise Faults([f"{path}: {line}" for line in fault_lines(error)]) from error
    folder = path.resolve().parent
    sections = {"inputs": project.inputs, "enclosure": project.enclosure}
    return project.model_copy(update={name: _absolute(section, folder) for name, section in sections.items()})


def _absolute(section: Settings, folder: Path) -> Settings:
    def resolve(value: Any) -> Any:
        if isinstance(value, Path):
            return folder / value
        paths = isinstance(value, tuple) and any(isinstance(v, Path) for v in value)
        return tuple(folder / v for v in value) if paths else value

    # Only what is new: a copy counts everything it is given as set by the user.
    return section.model_copy(update={k: new for k, v in section if (new := resolve(v)) is not v})


def _reason(error: Exception) -> str:
    return error.strerror or "" if isinstance(error, OSError) else "not UTF-8"


def fault_lines(error: ValidationError) -> list[str]:
    """One line for each key at fault; what each member of a union has to say is joined."""
    by_key: dict[str, list[str]] = {}
    for e in error.errors():
        # Names of types and validators that pydantic puts behind the keys tell a user nothing.
        parts = [p for p in e["loc"] if isinstance(p, int) or p == "[key]" or re.fullmatch(r"[a-z_]+", p)]
        if e["type"] == "extra_forbidden":
            parts = list(e["loc"])
        elif parts and parts[-1] == "float":
            parts.pop()
        key, said = _said(parts, e)
        by_key.setdefault(key, []).append(said)
    lines = []
    for key, texts in by_key.items():
        more = [text.split("; ", 1)[-1].removeprefix("input should be ") for text in texts[1:]]
        joined = " or ".join([texts[0], *more])
        lines.append(f"{key}: {joined}" if key else joined)
    return lines


def _said(parts: list[Any], error: Any) -> tuple[str, str]:
    """Where a fault is, and what was found with what is allowed."""
    where, found = ".".join(str(p) for p in parts), error["input"]
    if error["type"] == "extra_forbidden":
        known = _known_keys(parts[:-1])
        nearest = difflib.get_close_matches(str(parts[-1]), known, n=1, cutoff=0.5)
        return where, "unknown key; " + (f"did you mean {nearest[0]!r}?" if nearest else f"known: {', '.join(known)}")
    if parts and parts[-1] == "[key]":
        return ".".join(str(p) for p in parts[:-1]), f"unknown key; allowed are {error['ctx']['expected']}"
    if error["type"] == "missing":
        return where, "missing; it is required"
    message = error["msg"].removeprefix("Value error, ")
    if error["type"] == "value_error":
        return where, message
    return where, f"found {found!r}; {message[0].lower()}{message[1:]}"


def _known_keys(section: list[Any]) -> list[str]:
    model: Any = Project
    for name in section:
        field = model.model_fields.get(name) if isinstance(model, type) and issubclass(model, BaseModel) else None
        if field is None:
            return []
        model = field.annotation
    return list(model.model_fields) if isinstance(model, type) and issubclass(model, BaseModel) else []
