"""The ground as light and shade, as maps and a plot's still picture have it under all else."""

import math
from collections.abc import Callable

import numpy as np

from packpale.land.slope import hillshade
from packpale.site import Cells, Site

GREY_RAMP = ("#6d6a63", "#fbfaf7")
FLAT = math.sin(math.radians(45))
"""Brightness of flat ground under a light 45 degrees high."""


def relief(site: Site) -> tuple[Cells, Callable[[Cells], Cells]]:
    """Brightness of the ground lit from the north-west, NaN as ``hillshade``; and what stretches it to 0 to 1."""
    shaded = hillshade(site.elevation, cell_size=(site.grid.cell, site.grid.cell))
    known = shaded[np.isfinite(shaded)]
    darkest, brightest = np.percentile(known, [1, 99]) if known.size else (FLAT, FLAT)
    # Flat ground always looks the same; gentle relief is stretched, but not so far that every wrinkle is a hill.
    levels = [min(darkest, FLAT - 0.12), FLAT, max(brightest, FLAT + 0.08)]
    return shaded, lambda shade: np.interp(shade, levels, [0.0, 0.78, 1.0])
