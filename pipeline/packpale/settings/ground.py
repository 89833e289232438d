"""Settings: which files describe the ground, and the soil where they say nothing."""

from pathlib import Path
from typing import Annotated, Any, Literal, get_args

from pydantic import BeforeValidator, Field, field_validator

from packpale.settings.base import File, Settings, Share, Source
from packpale.settings.columns import SoilColumn, Table, Theirs, check_tables, check_units
from packpale.values import default
from packpale.values.soil_words import soil_word

FeatureKind = Literal[
    "watercourses", "culverts", "dwellings", "services", "woodland", "access", "viewpoints", "keep_out"
]
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

    elevation: Annotated[tuple[Source, ...], Field(min_length=1, strict=False)]
    """Elevation raster, or a list of rasters (tiles) in one CRS. Bare earth, any GDAL format.

    Also a folder or pattern of tiles, a virtual raster (VRT), or the https address of a cloud-optimised GeoTIFF.
    """
    elevation_unit: Literal["m", "ft", "us-ft"] = default("inputs.elevation_unit")
    """Unit of the elevations: metres, international feet or US survey feet."""
    elevation_nodata: float | None = None
    """Value that stands for missing ground where the raster does not say so itself, in the raster's own unit."""
    plots: File
    """Candidate plots: any vector file, KML, a GPX track walked round the field, DXF, WKT, a CSV of corners."""
    plots_layer: str | None = None
    """Layer of the plots file, where it has several; of a drawing, that of the closed lines."""
    plot_id: Annotated[str, Field(min_length=1)]
    """Column that names each plot; "number", where there is none of that name, counts them in the order of the file."""
    candidates: Annotated[tuple[str, ...] | None, Field(min_length=1, strict=False)] = None
    """Plots of the file that are candidates, by name, such as ["12/1", "7/2"]; without it all."""
    soil: File | None = None
    """Soil polygons with the columns of [soil]."""
    soil_columns: dict[SoilColumn, Theirs] = {}
    """Its columns that have other names or units, each a name, or {column = "ROCK", unit = "cm"}.

    Depths in m, cm, mm, ft, us-ft or in; parts in % or as a fraction; clay also as a "texture class" in words.
    """
    pits: File | None = None
    """Trial pits: CSV with x, y and the columns of [soil]; optional column crs."""
    columns: dict[Table, dict[str, Theirs]] = {}
    """The same for the columns of plots (x, y, lon, lat, crs, wkt), pits and trees_and_boulders, each a table."""
    watercourses: File | None = None
    """Streams, ditches, ponds."""
    culverts: File | None = None
    """Pipes under banks and roads, as lines from end to end: water passes there."""
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

    @field_validator("soil_columns")
    @classmethod
    def _units_fit(cls, columns: dict[Any, Any]) -> dict[Any, Any]:
        check_units(columns)
        return columns

    @field_validator("columns")
    @classmethod
    def _known_columns(cls, tables: dict[Any, Any]) -> dict[Any, Any]:
        return check_tables(tables)

    @field_validator("elevation", mode="before")
    @classmethod
    def _one_or_many(cls, value: Any) -> Any:
        return [value] if isinstance(value, str | Path) else value


def _published_word(column: str) -> BeforeValidator:
    def known(found: Any) -> Any:
        return (soil_word(column, found) or found) if isinstance(found, str) else found

    return BeforeValidator(known)


class SoilSettings(Settings):
    """The ground where neither soil polygon nor pit says better."""

    depth_to_rock_m: Annotated[float, Field(ge=0, le=100)] = default("soil.depth_to_rock_m")
    """Depth from the surface to bedrock. [m]"""
    rock_hardness: Annotated[Literal["hard", "soft"], _published_word("rock_hardness")] = default("soil.rock_hardness")
    """Hardness of the rock: hard needs a breaker; soft can be dug by a strong excavator."""
    water_table_m: Annotated[float, Field(ge=0, le=100)] = default("soil.water_table_m")
    """Shallowest depth of the water table in the year. [m]"""
    clay_percent: Share = default("soil.clay_percent")
    """Clay in the fine earth. [% by weight]"""
    stones_percent: Share = default("soil.stones_percent")
    """Fragments over 75 mm in the upper metre. [% by weight]"""
    drainage_class: Annotated[DrainageClass, _published_word("drainage_class")] = default("soil.drainage_class")
    """Natural drainage class, in words as surveys print it."""
    pit_range_m: Annotated[float, Field(gt=0, le=1000)] = default("soil.pit_range_m")
    """Distance from a single trial pit at which it pulls the ground by half; no column of polygons or pits. [m]"""
