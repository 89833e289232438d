"""The ground of a plot as the search for a fence line sees it: where the enclosure may lie, and where the line may not.

Ground that a limit takes is of two sorts. No-go ground may lie neither inside the fence nor in the strip outside it.
Soft ground may lie inside; where the cross-section of the line touches it, the line is over a limit (over_limits.py).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from shapely.geometry import MultiPolygon

from packpale.site.grid import Array, Grid

COST_STEP_M = 0.25
"""A cost along the line is summed over steps no longer than this, or than a quarter of a larger cell. [m]"""


@dataclass(frozen=True)
class LineGround:
    """What a fence line has to do with on one plot. Lengths in metres, coordinates in the run's CRS.

    Raises ValueError if a strip is negative or not finite.
    """

    enclosable: MultiPolygon
    """The plot less all no-go ground: the enclosure and the strip outside it have to lie in it."""
    soft: Mapping[str, MultiPolygon]
    """By kind of limit, the ground it takes that may lie inside the fence. Kinds may overlap."""
    inside_strip: float
    """How far the cross-section of the line reaches to the inside."""
    outside_strip: float
    """How far it reaches to the outside, and how far the line stays from no-go ground."""

    def __post_init__(self) -> None:
        if not (self.inside_strip >= 0 and self.outside_strip >= 0):
            raise ValueError(f"no such strips: {self.inside_strip} m inside and {self.outside_strip} m outside")
        if not math.isfinite(self.inside_strip + self.outside_strip):
            raise ValueError("the strips of the fence line must be finite")


@dataclass(frozen=True, eq=False)
class LineCost:
    """What a line costs: a price per metre that depends on the ground under it, and more where it is over a limit.

    Raises ValueError if the raster's shape is not the grid's, holds no number, or a price is negative.
    """

    raster: Array
    """Price of a metre of line by cell, NaN where it is not known: there the dearest known price counts. Beyond the
    grid its nearest cell does. [currency/m]"""
    grid: Grid
    per_over_limit_m: float
    """What a metre over limits costs more. [currency/m]"""
    fixed: float
    """What does not depend on the line, such as gates. [currency]"""

    def __post_init__(self) -> None:
        _check(self.raster, self.grid)
        if not (np.nanmin(self.raster) >= 0 and self.per_over_limit_m >= 0 and self.fixed >= 0):
            raise ValueError("no price of a line may be negative")

    @property
    def step(self) -> float:
        """Longest step of the sum along a line. [m]"""
        return max(COST_STEP_M, self.grid.cell / 4)

    @cached_property
    def known(self) -> Array:
        return np.where(np.isnan(self.raster), np.nanmax(self.raster), self.raster)


@dataclass(frozen=True, eq=False)
class Score:
    """A raster whose mean inside the fence is to be high, such as the suitability.

    Raises ValueError if the raster's shape is not the grid's or holds no number.
    """

    raster: Array
    """NaN, and everything beyond the grid, counts as 0."""
    grid: Grid

    def __post_init__(self) -> None:
        _check(self.raster, self.grid)

    @cached_property
    def known(self) -> Array:
        return np.nan_to_num(self.raster, nan=0.0)


def _check(raster: Array, grid: Grid) -> None:
    if raster.shape != grid.shape:
        raise ValueError(f"the raster has the shape {raster.shape}, the grid {grid.shape}")
    if np.isnan(raster).all():
        raise ValueError("the raster holds no number")
