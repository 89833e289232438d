"""What one plot's ground is: arrays and vectors on one grid, as every later room takes them."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from packpale.site.grid import Array, Grid, Mask
from packpale.values.notes import Note


@dataclass(frozen=True)
class Soil:
    """Soil per cell, each array in the shape of the grid, never NaN: defaults, polygons and pits combined."""

    depth_to_rock: Array
    """From the surface to bedrock. [m]"""
    rock_is_hard: Mask
    """Bedrock needs a breaker."""
    water_table: Array
    """Shallowest depth of the water table in the year. [m]"""
    clay: Array
    """Clay in the fine earth. [% by weight]"""
    stones: Array
    """Fragments over 75 mm. [% by weight]"""
    drainage_class: npt.NDArray[np.int8]
    """Index into settings.DRAINAGE_CLASSES: 0 driest, 6 wettest."""
    pit_distance: Array
    """Distance to the nearest trial pit; infinite without pits. [m]"""

    def __post_init__(self) -> None:
        """Raises ValueError if a figure is missing anywhere: comparisons with NaN would pass for good ground."""
        for name in ("depth_to_rock", "water_table", "clay", "stones", "pit_distance"):
            # The least of an array with a NaN is NaN; no mask of the array's size is needed.
            if np.isnan(np.min(getattr(self, name), initial=np.inf)):
                raise ValueError(f"soil is missing in some cells: {name} holds NaN")


@dataclass(frozen=True)
class Pit:
    """One trial pit in the run's CRS and what it says: columns of [soil], those alone that it fills in. [m]"""

    x: float
    y: float
    values: Mapping[str, float | str]


@dataclass(frozen=True)
class Standing:
    """A tree, boulder or the like that may help a climber."""

    geometry: BaseGeometry
    """Valid, 2-D, in the run's CRS. [m]"""
    height: float
    """Above the ground it stands on; NaN where it is not given. [m]"""


@dataclass(frozen=True)
class Plot:
    """One candidate plot as it was read, in the run's projected CRS."""

    plot_id: str
    outline: MultiPolygon
    """Valid, holes kept. [m]"""
    notes: tuple[Note, ...] = ()
    """What was repaired, one sentence each."""


@dataclass(frozen=True)
class Around:
    """The ground all round a plot's window and under it, where elevation was supplied; coarser where that is much."""

    grid: Grid
    """Its cells are squares of the window's, one or several a side; the window may begin within one of them."""
    elevation: Array
    """Mean of each cell, NaN is no data. [m]"""

    def corner(self, window: Grid) -> tuple[int, int]:
        """How many of a window's cells its corner lies below and right of that of this ground."""
        grid = self.grid
        return round((grid.north - window.north) / window.cell), round((window.west - grid.west) / window.cell)


@dataclass(frozen=True)
class GivenLine:
    """A fence line that was given."""

    outline: Polygon
    """The ground it encloses: valid, no holes. [m]"""
    egg: Mapping[str, float] | None = None
    """The figures that the file has beside the line, by EGG_COLUMNS; None where one is missing or no number."""


EGG_COLUMNS = ("big_x", "big_y", "axis_bearing_deg", "big_radius_m", "small_radius_m", "centre_spacing_m")
"""Figures that make an egg, by the names they have in all files. The radius of the flanks follows from them."""


@dataclass(frozen=True)
class Site:
    """One candidate plot and the ground round it, in the run's projected CRS."""

    plot_id: str
    crs: str
    """The run's CRS as text that pyproj understands (an EPSG code where there is one)."""
    outline: MultiPolygon
    """The plot, valid, holes kept. [m]"""
    grid: Grid
    elevation: Array
    """Height above the vertical datum, NaN is no data. [m]"""
    inside: Mask
    """Cells whose centre lies in the plot."""
    soil: Soil
    features: Mapping[str, tuple[BaseGeometry, ...]]
    """Given inputs by kind (settings.FEATURE_KINDS), those within reach of the plot's window. A kind that was
    given but has nothing near is an empty tuple; a kind that was not given is absent."""
    standing: tuple[Standing, ...] = ()
    """Trees, boulders and the like in the plot's window, in the order of the file."""
    notes: tuple[Note, ...] = ()
    """What was repaired or assumed while reading, one sentence each, for the report."""
    pits: tuple[Pit, ...] = ()
    """Trial pits that the soil is taken from, also those outside the window."""
    fence_lines: tuple[GivenLine, ...] = ()
    """Fence lines given for this plot."""
    around: Around | None = None
    """None where nothing beyond the window was read."""

    def ground(self, x: npt.ArrayLike, y: npt.ArrayLike) -> Array:
        """Level at points: of the window where it reaches there, else of what lies round it, NaN beyond. [m]"""
        level = self.grid.bilinear(self.elevation, x, y)
        if self.around is None or not np.isnan(level).any():
            return level
        return np.where(np.isnan(level), self.around.grid.bilinear(self.around.elevation, x, y), level)
