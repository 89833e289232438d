"""Everything about the land of one plot, step by step."""

from collections.abc import Mapping

import numpy as np

from packpale.faults import Faults
from packpale.land.criteria import CRITERIA, Evidence, default_weights
from packpale.land.diggability import digging
from packpale.land.drainage import Drainage
from packpale.land.inflow import site_drainage
from packpale.land.model import Land
from packpale.land.pairwise import ACCEPTED_RATIO, priorities
from packpale.land.slope import slope
from packpale.land.usable import parted
from packpale.settings import LandSettings, Project
from packpale.site import Cells, Site
from packpale.units import HECTARE_M2
from packpale.values.notes import Note
from packpale.values.quantity import Quantity


def assess(site: Site, project: Project) -> Land:
    """Terrain, drainage, digging, suitability and usable land of one plot.

    Raises Faults if pairwise comparisons are missing or contradict each other.
    """
    weights, consistency_ratio, notes = criterion_weights(project.land)
    ground_slope = slope(site.elevation, cell_size=(site.grid.cell, site.grid.cell)).astype(np.float32)
    channel_area = project.land.channel_area_ha * HECTARE_M2
    rain = project.land.pond_rain_mm
    runoff = None if rain is None else rain / 1000 * project.crossings.runoff_coefficient
    water, banks = site_drainage(
        site, ground_slope, channel_area=channel_area, runoff=runoff, widest_bank=project.land.bank_m
    )
    dig = digging(site.soil, slope=ground_slope, ponding=water.ponding)
    evidence = Evidence(site, ground_slope, water, dig)
    parts = parted(site, project.land, project.keep_away(), slope=ground_slope, ponding=water.ponding)
    return Land(
        slope=ground_slope,
        filled=water.filled,
        ponding=water.ponding,
        upstream_area=water.upstream_area,
        upstream_is_lower_bound=water.upstream_is_lower_bound,
        wetness=water.wetness,
        height_above_drainage=water.height_above_drainage,
        channel=water.channel,
        flow_direction=water.direction,
        path_length=water.path_length,
        path_head=water.path_head,
        limitation=dig.limitation,
        limiting_feature=dig.limiting_feature,
        weights=weights,
        consistency_ratio=consistency_ratio,
        suitability=suitability(evidence, weights),
        usable=parts.usable,
        enclosable=parts.enclosable,
        limits=parts.limits,
        notes=(*notes, *_notes_on_banks(banks), *_notes_on_inflow(site, water)),
    )


def criterion_weights(land: LandSettings) -> tuple[dict[str, float], float | None, tuple[Note, ...]]:
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
        raise Faults(*str(error).splitlines()) from error
    ratio = compared.consistency_ratio
    notes: tuple[Note, ...] = ()
    if ratio > ACCEPTED_RATIO:
        notes = (
            Note(
                "weights contradict",
                "the pairwise comparisons of the criteria contradict each other (consistency ratio {ratio})",
                "Up to {accepted} is accepted; look at them again before relying on the weights.",
                {"ratio": Quantity(ratio, "number"), "accepted": Quantity(ACCEPTED_RATIO, "number")},
            ),
        )
    return dict(compared.weights), ratio, notes


def suitability(evidence: Evidence, weights: Mapping[str, float]) -> Cells:
    """Sum of weight times degree over the criteria, 0 to 1; NaN where a degree is, and where the slope is not known."""
    total = np.zeros_like(evidence.slope)
    total[np.isnan(evidence.slope)] = np.nan
    # One after the other: all terms at once would be a plot's largest need of memory.
    for name, weight in weights.items():
        total += (weight * CRITERIA[name](evidence)).astype(total.dtype, copy=False)
    return total


def _notes_on_banks(heights: list[float]) -> tuple[Note, ...]:
    if not heights:
        return ()
    places = "1 place" if len(heights) == 1 else "{places} places"
    return (
        Note(
            "banks opened",
            f"at {places} a mapped watercourse was let through a bank, up to {{height}} high",
            "Whether a pipe or bridge is there is not known: only the map shows water on both sides, within "
            "{setting:land.bank_m}. Where it is shut, the field behind it fills.",
            {"height": Quantity(max(heights), "dimension")} | ({"places": len(heights)} if len(heights) > 1 else {}),
            size=max(heights),
        ),
    )


def _notes_on_inflow(site: Site, water: Drainage) -> tuple[Note, ...]:
    channel = water.channel & site.inside
    fed = (channel & water.upstream_is_lower_bound).sum()
    if not fed:
        return ()
    return (
        Note(
            "catchment beyond the ground",
            "water may enter from beyond the elevation in {share} of the plot's channel cells",
            "Their upstream area is at least the figure shown. Supply elevation from farther out to see all of the "
            "catchment.",
            {"share": Quantity(float(fed / channel.sum()), "share")},
        ),
    )
