"""The ground all round a plot's window in one coarser pass: for views, howls and water that come from farther away."""

import math

import numpy as np
from pyproj import CRS

from packpale.faults import Faults
from packpale.site import crs as crs_
from packpale.site.coverage import blank_implausible
from packpale.site.elevations import read_elevation
from packpale.site.grid import Grid
from packpale.site.means import read_mean
from packpale.site.model import Around
from packpale.site.rasters import Elevation, origin

FAR_M = 5000.0
"""How far round a plot's window ground and surroundings are looked at. [m]"""
MOST_CELLS = 2_000_000
"""Cells of the ground round a window: more of its elevation is read with larger cells."""
NEAR_M, FEWER_CELLS = 1000.0, 500_000
"""The same where a plot is only screened: hollows and water from nearby decide which ground can be used."""


def around_grid(elevation: Elevation, crs: CRS, window: Grid, *, screening: bool = False) -> Grid | None:
    """The grid of the ground round a window, its cells squares of the window's.

    They are counted from where the window's own are (``rasters.origin``), so that plots side by side share them. It
    reaches FAR_M beyond the window, NEAR_M with ``screening``, or to where the elevation ends, and covers the window.
    None where there is no elevation beyond the window, and where it comes from a network: much would have to be
    fetched for every plot.
    """
    reach, most = (NEAR_M, FEWER_CELLS) if screening else (FAR_M, MOST_CELLS)
    if elevation.is_remote:
        return None
    cell = window.cell
    west, south, east, north = window.bounds
    try:
        outline = crs_.moved_geometry(elevation.footprint(), elevation.crs, crs, elevation.name)
        there = outline.bounds
    except Faults:
        # The run's CRS does not reach all of the elevation.
        there = (-math.inf, -math.inf, math.inf, math.inf)
    # In cells beyond each side of the window; a rounding is no cell.
    beyond = [
        max(0, math.floor(min(reach, room) / cell + 1e-6))
        for room in (west - there[0], there[3] - north, there[2] - east, south - there[1])
    ]
    if not any(beyond):
        return None
    # In cells from where they are counted.
    ox, oy = origin(elevation, crs, cell)
    left, top = round((west - ox) / cell) - beyond[0], round((oy - north) / cell) - beyond[1]
    right, bottom = left + beyond[0] + window.cols + beyond[2], top + beyond[1] + window.rows + beyond[3]
    factor = 1
    while True:
        c0, c1, r0, r1 = left // factor, -(-right // factor), top // factor, -(-bottom // factor)
        if (r1 - r0) * (c1 - c0) <= most:
            break
        factor += 1
    size = factor * cell
    return Grid(ox + c0 * size, oy - r0 * size, size, r1 - r0, c1 - c0)


def read_around(elevation: Elevation, crs: CRS, window: Grid, *, screening: bool = False) -> Around | None:
    """Mean elevation of the cells of ``around_grid``, NaN where there is none; None where there is no such grid.

    With ``screening`` of less ground, in larger cells.

    Raises Faults if a file cannot be read.
    """
    grid = around_grid(elevation, crs, window, screening=screening)
    if grid is None:
        return None
    factor = round(grid.cell / window.cell)
    values = read_elevation(elevation, crs, grid) if factor == 1 else read_mean(elevation, crs, grid, factor)
    blank_implausible(values)
    return Around(grid, values) if np.isfinite(values).any() else None
