"""Ground as water finds it: open where a pipe passes a bank."""

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from packpale.site import Array, Grid


def carved(elevation: Array, grid: Grid, culverts: Sequence[BaseGeometry]) -> Array:
    """Elevation whose cells under each culvert, a line from end to end, are lowered to its lower end. [m]

    The level of an end is that of the cell it lies in. One that leaves the ground, or has an end where it is missing,
    changes nothing; nor do points and areas.
    """
    out = elevation
    for line in shapely.get_parts(list(culverts)):
        if line.geom_type != "LineString" or not shapely.box(*grid.bounds).contains(line):
            continue
        # Each half cell, so that no cell that is crossed by more than a corner is left out.
        at = line.interpolate(np.linspace(0, 1, 2 + int(2 * line.length / grid.cell)), normalized=True)
        x, y = shapely.get_coordinates(at).T
        col = np.minimum(((x - grid.west) / grid.cell).astype(int), grid.cols - 1)
        row = np.minimum(((grid.north - y) / grid.cell).astype(int), grid.rows - 1)
        level = np.minimum(elevation[row[0], col[0]], elevation[row[-1], col[-1]])
        if not np.isnan(level):
            out = out.copy() if out is elevation else out
            out[row, col] = np.minimum(out[row, col], level)
    return out
