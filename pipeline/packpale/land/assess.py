"""Everything about the land of one plot, step by step."""

from collections.abc import Iterable, Mapping

import numpy as np

from packpale.faults import Faults
from packpale.land.by_strips import drainage_by_strips
from packpale.land.criteria import CRITERIA, Evidence, default_weights
from packpale.land.diggability import digging
from packpale.land.drainage import Drainage, drainage
from packpale.land.model import Land
from packpale.land.pairwise import ACCEPTED_RATIO, priorities
from packpale.land.slope import aspect_deg, hillshade, slope
from packpale.land.usable import usable_land
from packpale.settings import LandSettings, Project
from packpale.site import Array, Site
from packpale.site.storage import cut
from packpale.units import HECTARE_M2


def assess(site: Site, project: Project) -> Land:
    """Terrain, drainage, digging, suitability and usable land of one plot.

    Raises Faults if pairwise comparisons are missing or contradict each other.
    """
    weights, consistency_ratio, notes = criterion_weights(project.land)
    grid, storage = site.grid, site.storage
    ground_slope, aspect, shade = (storage.empty(grid.shape) for _ in range(3))
    for strip in storage.strips(grid, margin=1):
        z, cell_size = site.elevation[strip.around], (grid.cell, grid.cell)
        ground_slope[strip.rows] = slope(z, cell_size=cell_size)[strip.within]
        aspect[strip.rows] = aspect_deg(z, cell_size=cell_size)[strip.within]
        shade[strip.rows] = hillshade(z, cell_size=cell_size)[strip.within]
    channel_area = project.land.channel_area_ha * HECTARE_M2
    if storage.in_files:
        water = drainage_by_strips(site.elevation, ground_slope, grid=grid, channel_area=channel_area, storage=storage)
    else:
        water = drainage(site.elevation, ground_slope, cell=grid.cell, channel_area=channel_area)
    limitation, diggability, suitability = (storage.empty(grid.shape) for _ in range(3))
    feature = storage.empty(grid.shape, np.int8)
    for strip in storage.strips(grid):
        rows = strip.rows
        evidence = _evidence(site, rows, ground_slope[rows], cut(water, rows))
        limitation[rows], feature[rows] = evidence.digging.limitation, evidence.digging.limiting_feature
        diggability[rows] = 1 - limitation[rows]
        suitability[rows] = weighted_sum(memberships(evidence, weights), weights)
    usable, limits = usable_land(site, project.land, project.keep_away(), slope=ground_slope, ponding=water.ponding)
    return Land(
        slope=ground_slope,
        aspect_deg=aspect,
        hillshade=shade,
        filled=water.filled,
        ponding=water.ponding,
        upstream_area=water.upstream_area,
        upstream_is_lower_bound=water.upstream_is_lower_bound,
        wetness=water.wetness,
        height_above_drainage=water.height_above_drainage,
        channel=water.channel,
        flow_direction=water.direction,
        limitation=limitation,
        diggability=diggability,
        limiting_feature=feature,
        weights=weights,
        consistency_ratio=consistency_ratio,
        suitability=suitability,
        usable=usable,
        limits=limits,
        notes=(*notes, *_notes_on_inflow(site, water)),
    )


def _evidence(site: Site, rows: slice, ground_slope: Array, water: Drainage) -> Evidence:
    dig = digging(cut(site.soil, rows), slope=ground_slope, ponding=water.ponding)
    return Evidence(site, rows, ground_slope, water, dig)


def memberships(evidence: Evidence, names: Iterable[str]) -> dict[str, Array]:
    """Degree to which each cell meets each criterion, 0 to 1; NaN where the slope is not known."""
    known = ~np.isnan(evidence.slope)
    return {name: np.where(known, CRITERIA[name](evidence), np.nan) for name in names}


def criterion_weights(land: LandSettings) -> tuple[dict[str, float], float | None, tuple[str, ...]]:
    """Weights that add up to 1, the consistency ratio of pairwise comparisons, and what a reader must know of it.

    Criteria of weight 0 are left out. Raises Faults as ``assess``.
    """
    if land.pairwise is None:
        given = default_weights() if land.weights is None else land.weights
        total = sum(given.values())
        return {name: weight / total for name, weight in given.items() if weight > 0}, None, ()
    try:
        compared = priorities(land.pairwise)
    except ValueError as error:
        raise Faults(str(error).splitlines()) from error
    ratio = compared.consistency_ratio
    notes: tuple[str, ...] = ()
    if ratio > ACCEPTED_RATIO:
        notes = (
            f"The pairwise comparisons of the criteria contradict each other (consistency ratio {ratio:.2f}, "
            f"accepted up to {ACCEPTED_RATIO:.2f}); look at them again before relying on the weights.",
        )
    return dict(compared.weights), ratio, notes


def weighted_sum(memberships: Mapping[str, Array], weights: Mapping[str, float]) -> Array:
    """Sum of weight times membership over the criteria; NaN where a membership is."""
    total: Array | None = None
    # One after the other: all terms at once would be a plot's largest need of memory.
    for name, weight in weights.items():
        total = weight * memberships[name] if total is None else np.add(total, weight * memberships[name], out=total)
    if total is None:
        raise ValueError("no criterion has a weight")
    return total


def _notes_on_inflow(site: Site, water: Drainage) -> tuple[str, ...]:
    channel = fed = 0
    for strip in site.storage.strips(site.grid):
        here = water.channel[strip.rows] & site.inside[strip.rows]
        channel, fed = channel + here.sum(), fed + (here & water.upstream_is_lower_bound[strip.rows]).sum()
    if not fed:
        return ()
    return (
        f"Water may enter from outside the ground that was read in {100 * fed / channel:.0f} % of the "
        "plot's channel cells: their upstream area is at least the figure shown. "
        "Raise land.margin_m, or supply elevation from farther out, to see more of the catchment.",
    )
