"""Ground as water finds it: open where a pipe, or a mapped stream, passes a bank."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import shapely
from numpy.lib.stride_tricks import sliding_window_view
from shapely.geometry.base import BaseGeometry

from packpale.site import Array, Grid

BANK_TOLD_M = 0.3
"""Height from which a bank that a stream has been let through is told; a ground model has smaller bumps of its own.
[m]"""


def carved(elevation: Array, grid: Grid, culverts: Sequence[BaseGeometry]) -> Array:
    """Elevation whose cells under each culvert, a line from end to end, are lowered to its lower end. [m]

    The level of an end is that of the cell it lies in. One that leaves the ground, or has an end where it is missing,
    changes nothing; nor do points and areas.
    """
    out = elevation
    for line in shapely.get_parts(list(culverts)):
        if line.geom_type != "LineString" or not shapely.box(*grid.bounds).contains(line):
            continue
        row, col, _ = _along(line, grid)
        level = np.minimum(elevation[row[0], col[0]], elevation[row[-1], col[-1]])
        if not np.isnan(level):
            out = out.copy() if out is elevation else out
            out[row, col] = np.minimum(out[row, col], level)
    return out


def opened(
    elevation: Array, grid: Grid, streams: Sequence[BaseGeometry], *, widest: float
) -> tuple[Array, list[float]]:
    """Elevation with all banks open that a mapped stream, a line, crosses; and how high each that is worth telling is.

    Along the stream every rise that is narrower than ``widest`` [m] from foot to foot is cut down to its lower foot,
    whichever way the water runs. What is wider is a hill, which the stream as mapped cannot pass, and stays; so does
    ground that falls all the way, and a bank on which the line ends, leaves the ground or meets missing elevation.
    Areas and points change nothing. Heights are of banks of BANK_TOLD_M and more, by stream. [m]

    Notes
    -----
    Banks are what a morphological opening of the profile along the line by a flat element takes off: of all stretches
    of length ``widest`` that hold a place it takes the one whose lowest ground is highest.
    """
    out, heights = elevation, list[float]()
    if widest <= 0:
        return out, heights
    reach = shapely.box(*grid.bounds)
    for line in shapely.get_parts(shapely.get_parts(list(streams))):
        if line.geom_type != "LineString" or not reach.intersects(line):
            continue
        row, col, step = _along(line, grid)
        known = (row >= 0) & (row < grid.rows) & (col >= 0) & (col < grid.cols)
        ground = np.full(row.size, np.inf)
        ground[known] = elevation[row[known], col[known]]
        ground[np.isnan(ground)] = np.inf
        bank = np.flatnonzero(np.isfinite(ground) & (ground > _opening(ground, 1 + int(widest / step))))
        for part in np.split(bank, np.flatnonzero(np.diff(bank) > 1) + 1) if bank.size else ():
            out = out.copy() if out is elevation else out
            # A bank has ground on both sides of it, or it would be none.
            foot = min(ground[part[0] - 1], ground[part[-1] + 1])
            np.minimum.at(out, (row[part], col[part]), foot)
            heights.append(float(ground[part].max() - foot))
    return out, [height for height in heights if height >= BANK_TOLD_M]


def _along(line: shapely.LineString, grid: Grid) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], float]:
    """Rows and columns of the cells that a line crosses, from end to end, and the step between two of them. [m]"""
    # Each half cell, so that no cell that is crossed by more than a corner is left out.
    count = 2 + int(2 * line.length / grid.cell)
    x, y = shapely.get_coordinates(line.interpolate(np.linspace(0, 1, count), normalized=True)).T
    # On the far edges lie the last row and column.
    col = np.where(x == grid.bounds[2], grid.cols - 1, np.floor((x - grid.west) / grid.cell))
    row = np.where(y == grid.bounds[1], grid.rows - 1, np.floor((grid.north - y) / grid.cell))
    return row.astype(np.int64), col.astype(np.int64), line.length / (count - 1)


def _opening(profile: Array, size: int) -> Array:
    """Morphological opening of a profile by a flat element of ``size`` values; past its ends it counts as no bar."""
    ends = np.full(size - 1, np.inf)
    lowest = sliding_window_view(np.concatenate([ends, profile, ends]), size).min(axis=1)
    return np.asarray(sliding_window_view(lowest, size).max(axis=1))
