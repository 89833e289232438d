"""What a click on a plot's map tells of the ground: which figures, and how they are worded."""

import numpy as np

from packpale.land.diggability import FEATURES
from packpale.land.surroundings import cells_within
from packpale.result import PlotResult
from packpale.review.probe import Probe, Reading, flags, number, words
from packpale.review.wording import Wording
from packpale.site import Array

SCRAP = "part of a patch smaller than one cell"
OUTSIDE = "outside the plot"


def plot_probe(result: PlotResult, wording: Wording) -> Probe:
    """Every figure that a click on the plot's map looks up, cell by cell."""
    site, land = result.site, result.land

    def depth(key: str, title: str, values: Array) -> Reading:
        unit, scale, digits = wording.dimension_unit()
        return number(key, title, values, unit=unit, scale=scale, digits=digits)

    known = ~np.isnan(land.limitation)
    return Probe(
        site.grid,
        (
            depth("elevation", "Height", site.elevation),
            number("slope", "Slope", np.degrees(np.arctan(land.slope)), digits=1, unit="°"),
            number("wetness", "Wetness index", land.wetness, digits=1),
            depth("ponding", "Hollow holds water", land.ponding),
            depth("water_table", "Water table at", site.soil.water_table),
            depth("rock", "Rock at", site.soil.depth_to_rock),
            number("diggability", "Diggability", land.diggability, digits=0, unit="of 100", scale=100),
            words(
                "limiting",
                "Limits digging most",
                np.where(land.limitation > 0, land.limiting_feature, -1),
                [str(name) for name in FEATURES],
                none="nothing",
                known=known,
            ),
            number("suitability", "Suitability", land.suitability, digits=0, unit="of 100", scale=100),
            not_usable(result, wording),
        ),
    )


def not_usable(result: PlotResult, wording: Wording) -> Reading:
    """Everything that keeps a cell, by its centre, from being usable."""
    site, land = result.site, result.land
    held = [cells_within([limit.area], site.grid) & site.inside for limit in land.limits]
    names = [wording.told(limit.name) for limit in land.limits]
    free = cells_within([land.usable], site.grid)
    scrap = site.inside & ~free & ~np.logical_or.reduce([*held, np.zeros(site.grid.shape, bool)])
    return flags(
        "not_usable",
        "Usable",
        [*held, scrap, ~site.inside],
        [*names, SCRAP, OUTSIDE],
        none="yes",
        lead="no: ",
    )
