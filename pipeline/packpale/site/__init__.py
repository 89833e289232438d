"""The room that reads: rasters, plots, soil and surroundings, brought to one metric grid for each plot."""

from packpale.site.grid import Array, Grid, Mask
from packpale.site.model import Pit, Plot, Site, Soil, Standing

__all__ = ["Array", "Grid", "Mask", "Pit", "Plot", "Site", "Soil", "Standing"]
