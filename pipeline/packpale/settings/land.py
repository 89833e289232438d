"""Settings: how the land is scored and which part of it may carry the fence."""

from typing import Annotated, Literal, Self, get_args

from pydantic import Field, field_validator, model_validator

from packpale.settings.base import NotNegative, Positive, Settings
from packpale.settings.ground import FeatureKind
from packpale.values import default, register

KEEP_AWAY_KINDS = tuple(k.rsplit(".", 1)[1] for k in register() if k.startswith("land.keep_away_m."))
"""Kinds that keep the fence away unless the settings say otherwise."""
Criterion = Literal["slope", "drainage", "diggability", "variety", "access", "seclusion", "cover"]
CRITERIA: tuple[Criterion, ...] = get_args(Criterion)
"""What suitability can be made of; the last three need an input of their own."""
LimitKind = Literal["slope", "ponding", "rock", "watercourses", "services", "woodland", "access"]
"""Kinds of limit whose ground may lie inside a fence; all others keep the enclosure off."""
CRITERION_NEEDS = {"access": "access", "seclusion": "dwellings", "cover": "woodland"}


class LandSettings(Settings):
    """How the land is scored and which part of it may carry the fence."""

    cell_m: Annotated[float | None, Field(ge=0.001, le=10_000)] = None
    """Cell size of the run; without it the size of the elevation raster's own cells. [m]"""
    margin_m: Annotated[float, Field(ge=0, le=20_000)] = default("land.margin_m")
    """Ground round each plot that is read in full detail and scored with it; beyond it, up to 5 km away, all elevation
    that was supplied counts for views, howls and water. [m]"""
    setback_m: NotNegative = default("land.setback_m")
    """Distance from the plot's boundary. [m]"""
    max_slope_deg: Annotated[float, Field(gt=0, le=90)] = default("land.max_slope_deg")
    """Steeper ground does not carry the fence line. [deg]"""
    footprint_m: Annotated[float, Field(ge=0, le=50)] = default("land.footprint_m")
    """Ground over which the slope is judged for that limit, as a machine stands on it; 0: each cell's own slope. [m]"""
    max_ponding_m: NotNegative = default("land.max_ponding_m")
    """Hollows that can stand deeper under water do not carry the fence line. [m]"""
    pond_rain_mm: Annotated[float | None, Field(gt=0, le=2000)] = None
    """Rain that hollows fill with, as much of it as crossings.runoff_coefficient says runs off; without it they are
    full to their outlets, so that depths are upper limits. [mm]"""
    bank_m: Annotated[float, Field(ge=0, le=500)] = default("land.bank_m")
    """Banks up to this wide that a mapped watercourse crosses let its water through, at the level of their lower foot;
    0: none. [m]"""
    min_depth_to_rock_m: NotNegative = default("land.min_depth_to_rock_m")
    """Ground with rock nearer to the surface does not carry the fence line. [m]"""
    may_lie_inside: Annotated[tuple[LimitKind, ...], Field(strict=False)] = tuple(default("land.may_lie_inside"))
    """Kinds of limit whose ground may lie inside the fence, where only the line has to keep off it. The ground of all
    others lies neither inside the fence nor in its strip."""
    channel_area_ha: Positive = default("land.channel_area_ha")
    """Upstream area from which water runs in a channel. [ha]"""
    keep_away_m: dict[FeatureKind, NotNegative] = {}
    """Distance the fence strip keeps from each kind of input. [m] Kinds not named keep their default."""
    weights: dict[Criterion, NotNegative] | None = None
    """Weight of each criterion in the suitability; any scale. Not together with pairwise."""
    pairwise: dict[Criterion, dict[Criterion, Annotated[float, Field(gt=0)]]] | None = None
    """How many times as important the first criterion is as the second; reciprocals are filled in."""

    @field_validator("may_lie_inside")
    @classmethod
    def _each_kind_once(cls, kinds: tuple[LimitKind, ...]) -> tuple[LimitKind, ...]:
        return tuple(dict.fromkeys(kinds))

    @model_validator(mode="after")
    def _weights_can_be_used(self) -> Self:
        if self.weights is not None and self.pairwise is not None:
            raise ValueError("give weights or pairwise, not both")
        if self.weights is not None and not any(self.weights.values()):
            raise ValueError("weights are all zero; give at least one criterion a weight above 0")
        return self
