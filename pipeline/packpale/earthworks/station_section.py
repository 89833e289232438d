"""The section at one station of a fence line: the ground as it falls there, and what is cut out of it."""

import dataclasses
import math
from dataclasses import dataclass

import numpy as np

from packpale.earthworks.model import Profile
from packpale.earthworks.work_out import trench_section
from packpale.enclosure.model import Alignment, Pack
from packpale.settings import TrenchSettings
from packpale.site import Array, Site

STEP_M = 0.02
"""Between offsets at which ground and cut are taken. [m]"""
BESIDE_M = 1.2
"""Ground beside the dig. [m]"""
CATCH_REACH = 3.0
"""How far the walls of a level trench are followed on a bank, in multiples of their run on level ground."""
SLOPE_REACH_M = 2.0
"""To either side of the line, where its slope across is taken. [m]"""


@dataclass(frozen=True)
class StationSection:
    """The ground across a fence line and what is cut out of it; arrays over offsets, elevations in metres."""

    offset: Array
    """From the fence line, positive to the apron's side."""
    ground: Array
    cut: Array
    """Bottom and walls of the dig; the ground where nothing is dug."""
    rock: Array
    water: Array
    apron: Array
    """Level of the apron; NaN beside it."""
    cut_short: bool = False
    """Elevation is missing on part of the section: it ends there."""

    @property
    def known(self) -> bool:
        """Whether there is ground at the fence; without it nothing can be drawn."""
        return bool(self.ground.size) and math.isfinite(np.interp(0.0, self.offset, self.ground))

    @property
    def bare_from(self) -> float | None:
        """Distance from the fence line at which the apron comes out of the ground; None where it stays under it. [m]"""
        bare = self.apron > self.ground
        return float(self.offset[bare].min()) if bare.any() else None

    @property
    def area(self) -> float:
        """Between the ground and the cut. [m2]"""
        return float(np.trapezoid(self.ground - self.cut, self.offset))


def station_section(site: Site, pack: Pack, profile: Profile, station: int, trench: TrenchSettings) -> StationSection:
    """The section at a station: bottoms and walls as the volumes take them, by ``trench.formation``.

    Walls stand at the slope of soil in rock too. Where elevation is missing on one side the section ends there; where
    it is missing at the fence itself the section is empty.
    """
    section = trench_section(trench)
    section = dataclasses.replace(section, depth=max(float(profile.depth[station]), section.depth))
    level = trench.formation == "level"
    # On a bank a level bottom's upper wall runs on until it meets the ground.
    far = BESIDE_M + (CATCH_REACH * section.side_slope * section.depth if level else 0.0)
    left, right = section.edges
    offset = np.arange(math.floor((left - far) / STEP_M), (right + far) / STEP_M) * STEP_M
    line = pack.alignment
    out = line.outward[station] * (1 if trench.side == "outside" else -1)
    x, y = line.x[station] + offset * out[0], line.y[station] + offset * out[1]
    ground = site.grid.bilinear(site.elevation, x, y)
    dug_from = np.full_like(ground, line.ground[station]) if level else ground
    cut = np.minimum(ground, dug_from - section.below(offset))
    rock, water = (ground - site.grid.nearest(v, x, y) for v in (site.soil.depth_to_rock, site.soil.water_table))
    under_it = (offset >= 0) & (offset <= section.apron_reach)
    apron = np.where(under_it, dug_from - section.apron_cover, np.nan)
    shown = _shown(offset, ground - cut)
    keep = _as_far_as_known(shown, offset, ground)
    offset, ground, cut, rock, water, apron = (np.asarray(v[keep]) for v in (offset, ground, cut, rock, water, apron))
    return StationSection(offset, ground, cut, rock, water, apron, cut_short=keep != shown)


def _shown(offset: Array, dug: Array) -> slice:
    """The dig and a little ground beside it."""
    # A comparison with NaN does not hold.
    at = offset[dug > 1e-6]
    if not at.size:
        return slice(0, offset.size)
    first, end = np.searchsorted(offset, at[0] - BESIDE_M), np.searchsorted(offset, at[-1] + BESIDE_M, side="right")
    return slice(int(first), int(end))


def _as_far_as_known(shown: slice, offset: Array, ground: Array) -> slice:
    """What is shown, as far to both sides of the fence as the ground is known; nothing if it is not known there."""
    missing = np.flatnonzero(np.isnan(ground))
    fence = int(np.argmin(np.abs(offset)))
    first = missing[missing <= fence].max(initial=-1) + 1
    end = missing[missing >= fence].min(initial=offset.size)
    return slice(max(shown.start, int(first)), min(shown.stop, int(end)))


def slope_across(site: Site, line: Alignment) -> Array:
    """Ground slope across a line at its stations, over two metres to either side; NaN where elevation is missing.

    Shape (stations,). [m/m]
    """
    on_line = np.column_stack([line.x, line.y])
    inner, outer = (
        site.grid.bilinear(site.elevation, *(on_line + away * line.outward).T)
        for away in (-SLOPE_REACH_M, SLOPE_REACH_M)
    )
    return np.asarray(np.abs(outer - inner) / (2 * SLOPE_REACH_M))
