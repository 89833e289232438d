"""Settings: the enclosures, their fence and mesh, and how the line is pegged."""

from typing import Annotated, Literal, Self

from pydantic import Field, field_validator, model_validator

from packpale.settings.base import File, NotNegative, Positive, Settings, ascending
from packpale.units import measured
from packpale.values import default


class EnclosureSettings(Settings):
    """Number, size and shape of the enclosures."""

    packs: Annotated[int, Field(ge=1, le=3)] = default("enclosure.packs")
    """Enclosures to place on each plot."""
    area_ha: Literal["largest"] | Positive = default("enclosure.area_ha")
    """How large each enclosure is: "largest", or a number, which goes where the land suits best. [ha]"""
    prefer: Literal["suitability", "price"] = default("enclosure.prefer")
    """What decides where an enclosure of a given area lies: the land inside it, or the likely price of its line."""
    budget: Positive | None = None
    """Instead of area_ha: the largest enclosure whose likely price is within this. [currency]"""
    menu_ha: Annotated[tuple[Positive, ...] | None, Field(strict=False, max_length=20)] = None
    """Areas for which the cheapest fence line is worked out on every plot. Without it round ones (1-2-5) up to the
    largest that fits. [ha]"""
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
    line_over_limits: Annotated[float, Field(ge=0, le=1)] = default("enclosure.line_over_limits")
    """Largest share of the fence line that may run over ground past a limit that may lie inside; 0: none."""
    proof_gap: Annotated[float, Field(gt=0, le=1)] = default("enclosure.proof_gap")
    """How far above the area found the proven bound on it may stay, as a share of it; less takes longer."""
    fence_line: File | None = None
    """Existing or hand-drawn fence lines, closed, any shape: used as they are, nothing is fitted. Any vector file."""
    fence_line_layer: str | None = None
    """Layer of that file, where it has several."""
    settled_line: File | None = None
    """Lines settled on plots' maps: used as the eggs they are; plots without one are fitted as always."""

    @model_validator(mode="after")
    def _nothing_is_fitted_to_a_given_line(self) -> Self:
        if self.fence_line is None:
            if self.fence_line_layer is not None:
                raise ValueError("fence_line_layer has no effect without fence_line; give the file or drop the key")
            return self
        for name in ("budget", "menu_ha"):
            if getattr(self, name) is not None:
                raise ValueError(f"{name} has no effect with fence_line, to which nothing is fitted; drop one of them")
        for name in ("area_ha", "prefer", "taper", "aspect", "min_radius_m", "proof_gap"):
            number = default(f"enclosure.{name}")
            if getattr(self, name) != (tuple(number) if isinstance(number, list) else number):
                raise ValueError(f"{name} has no effect with fence_line, to which nothing is fitted; drop one of them")
        return self

    @model_validator(mode="after")
    def _one_file_gives_the_lines(self) -> Self:
        if self.fence_line is not None and self.settled_line is not None:
            raise ValueError("fence_line and settled_line both give lines; drop one of them")
        return self

    @model_validator(mode="after")
    def _one_thing_decides_the_size(self) -> Self:
        if self.budget is not None and self.area_ha != "largest":
            raise ValueError(
                f"budget = {self.budget:g} and area_ha = {self.area_ha:g} both say how large the enclosure is; "
                "drop one of them"
            )
        if self.packs > 1 and (self.budget is not None or self.prefer == "price"):
            given = f"budget = {self.budget:g}" if self.budget is not None else 'prefer = "price"'
            raise ValueError(
                f"{given} with packs = {self.packs}; only the place of one enclosure is chosen by price: drop it, or "
                "set packs = 1"
            )
        if self.prefer == "price" and self.area_ha == "largest":
            raise ValueError(
                'prefer = "price" has no effect without area_ha, since the size is not given; give a number of '
                "hectares, or drop it"
            )
        return self

    @field_validator("menu_ha")
    @classmethod
    def _no_size_twice(cls, sizes: tuple[float, ...] | None) -> tuple[float, ...] | None:
        if sizes == ():
            raise ValueError("found []; name at least one size, or drop the key")
        twice = sorted({s for s in sizes or () if (sizes or ()).count(s) > 1})
        if twice:
            raise ValueError(f"{', '.join(f'{s:g}' for s in twice)} stands there more than once; name each size once")
        return sizes

    _ranges = field_validator("taper", "aspect")(ascending)


class FenceSettings(Settings):
    """The fence above ground."""

    height_m: Annotated[float, Field(gt=0, le=6)] = default("fence.height_m")
    """Height of the mesh above ground. [m]"""
    overhang_m: Annotated[float, Field(ge=0, le=3)] = default("fence.overhang_m")
    """Length of the overhang from base to tip. [m]"""
    overhang_deg: Annotated[float, Field(ge=0, le=90)] = default("fence.overhang_deg")
    """Inclination of the overhang above the horizontal. [deg]"""
    post_spacing_m: Annotated[float, Field(gt=0.5, le=10)] = default("fence.post_spacing_m")
    """Largest straight distance between two posts, from ground to ground. [m]"""
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
    """Width of the widest vehicle in the airlock. [m]"""
    straining_wires: Annotated[int, Field(ge=0, le=12)] = default("fence.straining_wires")
    """Wires from post to post that the mesh is tied to."""
    hole_diameter_m: Annotated[float, Field(gt=0, le=1.5)] = default("fence.hole_diameter_m")
    """Diameter of the hole for a post's footing. [m]"""
    hole_depth_m: Annotated[float, Field(gt=0, le=3)] = default("fence.hole_depth_m")
    """Depth of the hole for a post's footing. [m]"""
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


class GateSettings(Settings):
    """How gates hang and what lies below them."""

    leaves: Literal[1, 2] = default("gates.leaves")
    """Leaves of each gate."""
    height_m: Annotated[float | None, Field(gt=0, le=6)] = None
    """Height of a leaf; without it that of the fence. [m]"""
    swing: Literal["in", "out"] = default("gates.swing")
    """Which way gates open. in: towards the enclosed ground, so that an animal that pushes from inside shuts them."""
    below: Literal["mesh", "concrete sill"] = default("gates.below")
    """What lies below a gate in the fence line: skirt and apron alone, or a sill that the skirt is cast into."""
    sill_width_m: Annotated[float, Field(gt=0, le=2)] = default("gates.sill_width_m")
    """Width of such a sill. [m]"""
    sill_depth_m: Annotated[float, Field(gt=0, le=2)] = default("gates.sill_depth_m")
    """Depth of the sill below the highest ground under the gate. [m]"""
    sill_above_ground_m: Annotated[float, Field(ge=0, le=1)] = default("gates.sill_above_ground_m")
    """How far the sill stands above the highest ground under the gate. [m]"""
    clearance_m: Annotated[float, Field(ge=0, le=0.5)] = default("gates.clearance_m")
    """Kept between a leaf and the highest ground or sill on its way. [m]"""
    max_gap_m: Annotated[float, Field(gt=0, le=1)] = default("gates.max_gap_m")
    """Largest gap below a shut leaf: more is told, and a gate stands there only where the line has no better place.
    [m]"""
    max_slope_deg: Annotated[float, Field(gt=0, lt=45)] = default("gates.max_slope_deg")
    """Steepest fall of the ground in the airlock and before the gate; the same holds. [deg]"""
    from_water_m: NotNegative = default("gates.from_water_m")
    """How far a gate, its airlock and a machine before it keep from watercourses, channels and places where other
    water crosses the line. [m]"""

    @model_validator(mode="after")
    def _some_gap_is_allowed(self) -> Self:
        if self.clearance_m >= self.max_gap_m:
            raise ValueError(
                f"clearance_m = {self.clearance_m:g} is not less than max_gap_m = {self.max_gap_m:g}; a leaf leaves at "
                "least its clearance open: lower it, or raise max_gap_m"
            )
        return self

    @model_validator(mode="after")
    def _a_sill_is_asked_for(self) -> Self:
        for name in ("sill_width_m", "sill_depth_m", "sill_above_ground_m"):
            if self.below != "concrete sill" and getattr(self, name) != default(f"gates.{name}"):
                raise ValueError(f'{name} has no effect without below = "concrete sill"; set that or drop the key')
        return self


class MeshSettings(Settings):
    """How the mesh comes, how it is joined, and what wire it is of."""

    wire_mm: Annotated[float | None, Field(gt=0, le=10)] = None
    """Thickness of its wire, without coating. Not set: a note says what is published. [mm]"""
    opening_mm: Annotated[float | None, Field(gt=0, le=300)] = None
    """Clear width of its openings. [mm]"""
    zinc_g_per_m2: Annotated[float | None, Field(gt=0, le=2000)] = None
    """Zinc on the wire, by its surface: with wire_mm the life of the buried mesh is told. [g/m2]"""
    roll_width_m: Annotated[float, Field(gt=0.2, le=10)] = default("mesh.roll_width_m")
    """Width of a roll. [m]"""
    roll_length_m: Annotated[float, Field(gt=1, le=200)] = default("mesh.roll_length_m")
    """Length of a roll. [m]"""
    lap_m: Annotated[float, Field(ge=0, le=2)] = default("mesh.lap_m")
    """How far two pieces lie over each other: end to end, side by side, where skirt, apron and overhang join. [m]"""
    wire_tie_spacing_m: Annotated[float, Field(gt=0.01, le=10)] = default("mesh.wire_tie_spacing_m")
    """Distance between two ties that fix the mesh to a straining wire. [m]"""
    post_tie_spacing_m: Annotated[float, Field(gt=0.01, le=10)] = default("mesh.post_tie_spacing_m")
    """Distance between two ties that fix the mesh to a post. [m]"""
    lap_tie_spacing_m: Annotated[float, Field(gt=0.01, le=10)] = default("mesh.lap_tie_spacing_m")
    """Distance between two ties where mesh lies over mesh, also where fence and skirt join. [m]"""
    anchor_spacing_m: Annotated[float, Field(gt=0.01, le=10)] = default("mesh.anchor_spacing_m")
    """Distance between two pegs that hold the apron down, along it. [m]"""

    @model_validator(mode="after")
    def _laps_leave_some_roll(self) -> Self:
        if self.lap_m >= min(self.roll_width_m, self.roll_length_m) / 2:
            raise ValueError(
                f"lap_m = {self.lap_m:g} is half of a roll or more "
                f"({measured(self.roll_width_m, 'm')} x {measured(self.roll_length_m, 'm')}); lower it"
            )
        return self


class SettingOutSettings(Settings):
    """How the fence line is pegged."""

    step_m: Annotated[float, Field(ge=0.5, le=100)] = default("setting_out.step_m")
    """Step of the chainages that are pegged beside posts, gates and changes of arc. [m]"""
    tape_error_m: Annotated[float, Field(gt=0, le=1)] = default("setting_out.tape_error_m")
    """Error to reckon with in a taped distance of 50 m; shorter ones have less. [m]"""
    instrument_distance_error_m: Annotated[float, Field(gt=0, le=1)] = default(
        "setting_out.instrument_distance_error_m"
    )
    """Error to reckon with in a distance that an instrument measures, the pole that is held by hand included. [m]"""
    instrument_angle_error_deg: Annotated[float, Field(gt=0, le=1)] = default("setting_out.instrument_angle_error_deg")
    """Error to reckon with in a bearing that an instrument sets, its centring included. [deg]"""
