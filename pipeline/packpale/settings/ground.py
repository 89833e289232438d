"""Settings: which files describe the ground, and the soil where they say nothing."""

from pathlib import Path
from typing import Annotated, Any, Literal, get_args

from pydantic import Field, field_validator

from packpale.settings.base import File, Settings, Share
from packpale.values import default

FeatureKind = Literal["watercourses", "dwellings", "services", "woodland", "access", "viewpoints", "keep_out"]
FEATURE_KINDS: tuple[FeatureKind, ...] = get_args(FeatureKind)
"""Optional vector inputs round the plots."""
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
    trees_and_boulders: File | None = None
    """Single trees, boulders, huts and other things beside a fence: points, lines or outlines, heights in height_m."""
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
