"""What the land of one plot is like, per cell, and where the fence may run."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from shapely.geometry import MultiPolygon

from packpale.site import Cells, Mask
from packpale.values.notes import Note, Phrase


@dataclass(frozen=True)
class Limit:
    """One reason why part of a plot cannot carry the fence."""

    kind: str
    """setback, slope, ponding, rock, missing, or the kind of input that is kept away from (settings.FEATURE_KINDS)."""
    name: Phrase
    """In words a user knows: "plot boundary setback of 3 m", "steeper than 20 degrees", "10 m from watercourses"."""
    area: MultiPolygon
    """Where it holds, clipped to the plot; may overlap other limits. [m]"""
    share: float
    """Part of the plot's area, 0 to 1."""
    may_lie_inside: bool
    """Whether this ground may lie inside the fence, and only the line and its strip have to keep off it; otherwise it
    is no-go: neither inside the fence nor in its strip."""


@dataclass(frozen=True)
class Land:
    """Terrain, drainage, digging and suitability of one plot; arrays in the shape of the site's grid.

    A run holds them in single precision, which tells a tenth of a millimetre of a level up to 1,600 m. NaN wherever
    the elevation is missing or the window round the cell is not whole.
    """

    slope: Cells
    """Rise over run. [m/m]"""
    filled: Cells
    """Elevation with every depression filled to its outlet. [m]"""
    ponding: Cells
    """Depth of water that stands in a depression: a full one, or what the rain set brings there. [m]"""
    upstream_area: Cells
    """Horizontal area that drains through the cell, itself included. [m2]"""
    upstream_is_lower_bound: Mask
    """Water may enter from beyond the elevation, so that the upstream area is only a lower bound."""
    wetness: Cells
    """Topographic wetness index ln(a / tan slope), a in metres."""
    height_above_drainage: Cells
    """Height above the channel cell that the cell drains to; NaN where it leaves the window first. [m]"""
    channel: Mask
    """Cells with at least the channel's upstream area."""
    flow_direction: npt.NDArray[np.int8]
    """To the next cell downstream: 0 east, 1 south-east, clockwise to 7 north-east; -1 leaves here, -2 missing."""
    path_length: Cells
    """Of the longest flow path down to the cell. [m]"""
    path_head: Cells
    """Level of the filled ground at which that begins. [m]"""
    limitation: Cells
    """Limitation for shallow excavations, 0 not limited to 1 very limited."""
    limiting_feature: npt.NDArray[np.int8]
    """Index into diggability.FEATURES of the feature that decides; -1 where there is no data."""
    weights: Mapping[str, float]
    """Weight of each criterion; they add up to 1."""
    consistency_ratio: float | None
    """Of the pairwise matrix; None where weights were given."""
    suitability: Cells
    """Weighted sum of the memberships, 0 to 1."""
    usable: MultiPolygon
    """The plot without everything that a limit takes. [m]"""
    enclosable: MultiPolygon
    """The plot without no-go ground: where the enclosure with its strip may lie. [m]"""
    limits: tuple[Limit, ...]
    """Everything that was taken away from the plot, in the order in which the settings list it."""
    notes: tuple[Note, ...] = ()

    @property
    def diggability(self) -> Cells:
        """One minus the limitation; made when it is asked for, as it takes as much memory again."""
        return 1 - self.limitation

    @property
    def soft(self) -> dict[str, MultiPolygon]:
        """Ground, by kind of limit, that may lie inside the fence and does not carry the line. [m]"""
        return {limit.kind: limit.area for limit in self.limits if limit.may_lie_inside}
