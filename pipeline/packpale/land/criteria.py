"""What the suitability of a cell is made of: one function for each criterion, and the list of them."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from packpale.land.diggability import Digging
from packpale.land.drainage import Drainage
from packpale.land.memberships import degree
from packpale.land.relief import spread_within
from packpale.land.surroundings import cells_within, distance_to, share_within
from packpale.land.water import edge_of_water, standing_water
from packpale.site import Cells, Mask, Site
from packpale.values import register
from packpale.values.curves import criteria

BANK, LEVEL = math.tan(math.radians(15)), math.tan(math.radians(5))
"""Slopes from which ground counts as a bank, and up to which as level, for variety. [m/m] Assumption."""
POND_M = 0.3
"""Depth of water that a hollow has to hold to count as a pond, for variety. [m] Assumption."""


@dataclass(frozen=True)
class Evidence:
    """All that a criterion may look at; arrays in the shape of the site's grid."""

    site: Site
    slope: Cells
    """Rise over run. [m/m]"""
    drainage: Drainage
    digging: Digging


def slope(evidence: Evidence) -> Cells:
    """Machines and fences: steep ground is harder to work on and to fence."""
    return degree(100 * evidence.slope, criteria()["slope", "slope"])


def drainage(evidence: Evidence) -> Cells:
    """Dry ground: the worst of wetness, ponding, drainage class, water table and height above the channel."""
    water, soil = evidence.drainage, evidence.site.soil
    return dryness(
        wetness=water.wetness,
        ponding=water.ponding,
        drainage_class=soil.drainage_class,
        water_table=soil.water_table,
        height_above_drainage=water.height_above_drainage,
    )


def dryness(
    *,
    wetness: Cells,
    ponding: Cells,
    drainage_class: npt.NDArray[np.int8],
    water_table: Cells,
    height_above_drainage: Cells,
) -> Cells:
    """Degree of drainage, 0 to 1, by the worst of five quantities; lengths in metres."""
    # Made when their turn comes, so that no more than two are held at a time.
    quantities: dict[str, Callable[[], Cells]] = {
        "wetness": lambda: wetness,
        "ponding": lambda: ponding,
        "drainage class": lambda: drainage_class.astype(wetness.dtype),
        "water table": lambda: np.multiply(water_table, 100, dtype=wetness.dtype),
        # Where water leaves the window before it meets a channel, no channel is known to be near.
        "height above drainage": lambda: _known_or_high(height_above_drainage),
    }
    worst: Cells = np.full_like(wetness, np.inf)
    for name, quantity in quantities.items():
        np.minimum(worst, degree(quantity(), criteria()["drainage", name]), out=worst)
    return worst


def _known_or_high(height: Cells) -> Cells:
    out = height.copy()
    out[np.isnan(out)] = np.inf
    return out


def diggability(evidence: Evidence) -> Cells:
    """Digging: one minus the limitation for shallow excavations."""
    return 1 - evidence.digging.limitation


def variety(evidence: Evidence) -> Cells:
    """Varied ground near: the mean degree of woodland, edge of water, banks, level ground and relief round a cell.

    Woodland counts only where it is given.
    """
    site, ground_slope = evidence.site, evidence.slope
    grid, features = site.grid, site.features
    water = standing_water(features, grid, evidence.drainage.ponding, deeper_than=POND_M)
    kinds: dict[str, Mask] = {
        "share of edge of water": edge_of_water(water, features, grid),
        "share of banks": ground_slope >= BANK,
        "share of level ground": ground_slope <= LEVEL,
    }
    if "woodland" in features:
        kinds["share of woodland"] = cells_within(features["woodland"], grid)
    relief = criteria()["variety", "relief"]
    total = degree(spread_within(site.elevation, reach=relief.reach_m or 0.0, cell=grid.cell), relief)
    for name, cells in kinds.items():
        curve = criteria()["variety", name]
        total += degree(share_within(cells, reach=curve.reach_m or 0.0, cell=grid.cell), curve)
    return total / (1 + len(kinds))


def access(evidence: Evidence) -> Cells:
    """Near a track: machines and mesh get there."""
    distance = distance_to(evidence.site.features.get("access", ()), evidence.site.grid)
    return degree(distance, criteria()["access", "distance to access"])


def seclusion(evidence: Evidence) -> Cells:
    """Far from houses: quiet for the animals and for the neighbours."""
    distance = distance_to(evidence.site.features.get("dwellings", ()), evidence.site.grid)
    return degree(distance, criteria()["seclusion", "distance to dwellings"])


def cover(evidence: Evidence) -> Cells:
    """Woodland near: shade, and somewhere to be out of sight."""
    curve = criteria()["cover", "share of woodland"]
    grid = evidence.site.grid
    wooded = cells_within(evidence.site.features.get("woodland", ()), grid)
    return degree(share_within(wooded, reach=curve.reach_m or 0.0, cell=grid.cell), curve)


CRITERIA: Mapping[str, Callable[[Evidence], Cells]] = {
    "slope": slope,
    "drainage": drainage,
    "diggability": diggability,
    "variety": variety,
    "access": access,
    "seclusion": seclusion,
    "cover": cover,
}
"""Every criterion there is: its name in the settings and the function that gives its degree, 0 to 1."""


def default_weights() -> dict[str, float]:
    """Weight of each criterion where the settings give none; criteria without a default do not count."""
    prefix = "land.weights."
    return {key.removeprefix(prefix): row.number for key, row in register().items() if key.startswith(prefix)}
