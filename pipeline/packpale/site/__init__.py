"""The room that reads: rasters, plots, soil and surroundings, brought to one metric grid for each plot."""

from packpale.site.grid import Array, Cells, Grid, Mask
from packpale.site.model import Around, Pit, Plot, Site, Soil, Standing

__all__ = ["Around", "Array", "Cells", "Grid", "Mask", "Pit", "Plot", "Site", "Soil", "Standing"]
