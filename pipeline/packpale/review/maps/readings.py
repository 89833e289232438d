"""What a click on a plot's map tells of the ground: which figures, and how they are worded."""

import numpy as np

from packpale.land.diggability import FEATURES
from packpale.land.surroundings import cells_within
from packpale.review.maps.probe import Probe, Reading, flags, number, words
from packpale.review.maps.themes import degrees
from packpale.review.model import PlotResult
from packpale.review.words import Wording
from packpale.site import Cells
from packpale.site.spread import Spread, every

SCRAP = "part of a patch smaller than one cell"
OUTSIDE = "outside the plot"


def plot_probe(result: PlotResult, wording: Wording, some: Spread | None = None) -> Probe:
    """Every figure that a click on the plot's map looks up, cell by cell; of some of the cells or all."""
    site, land = result.site, result.land
    some = some or every(site.grid, 1)

    def depth(key: str, title: str, values: Cells) -> Reading:
        unit, scale, digits = wording.dimension_unit()
        return number(key, title, some.of(values), unit=unit, scale=scale, digits=digits)

    limitation = some.of(land.limitation)
    return Probe(
        some.grid,
        (
            depth("elevation", "Height", site.elevation),
            number("slope", "Slope", degrees(some.of(land.slope)), digits=1, unit="°"),
            number("wetness", "Wetness index", some.of(land.wetness), digits=1),
            depth("ponding", "Hollow holds water", land.ponding),
            depth("water_table", "Water table at", site.soil.water_table),
            depth("rock", "Rock at", site.soil.depth_to_rock),
            number("diggability", "Diggability", some.of(land.diggability), digits=0, unit="of 100", scale=100),
            words(
                "limiting",
                "Limits digging most",
                np.where(limitation > 0, some.of(land.limiting_feature), -1),
                [str(name) for name in FEATURES],
                none="nothing",
                known=~np.isnan(limitation),
            ),
            number("suitability", "Suitability", some.of(land.suitability), digits=0, unit="of 100", scale=100),
            not_usable(result, wording, some),
        ),
        stride=some.stride,
    )


def not_usable(result: PlotResult, wording: Wording, some: Spread) -> Reading:
    """Everything that keeps a cell, by its centre, from being usable."""
    site, land = result.site, result.land
    inside = some.of(site.inside)
    held = [some.of(cells_within([limit.area], site.grid)) & inside for limit in land.limits]
    names = [wording.say(limit.name) for limit in land.limits]
    free = some.of(cells_within([land.usable], site.grid))
    scrap = inside & ~free & ~np.logical_or.reduce([*held, np.zeros(inside.shape, bool)])
    return flags(
        "not_usable",
        "Usable",
        [*held, scrap, ~inside],
        [*names, SCRAP, OUTSIDE],
        none="yes",
        lead="no: ",
    )
