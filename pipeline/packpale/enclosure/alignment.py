"""Stations along a fence line: equal steps in plan, the ground under each, and the length on the ground."""

import math

import numpy as np

from packpale.enclosure.line import Line
from packpale.enclosure.model import Alignment
from packpale.site.grid import Array, Grid


def stations(line: Line, *, step: float, elevation: Array, grid: Grid) -> Alignment:
    """Stations at equal steps along the line, the first at its start.

    Parameters
    ----------
    step
        Longest step allowed; the perimeter is divided into the fewest equal steps not longer than this. [m]
    elevation : shape (rows, cols)
        Ground level, NaN is no data. [m]
    grid
        Where the elevations lie.

    Returns
    -------
    Alignment
        Ground is bilinear between cell centres, NaN where the elevation is missing. Because the line is closed and
        the steps are equal, sums over the stations times the step are integrals by the trapezoidal rule.

    Raises
    ------
    ValueError
        If the step is not positive.
    """
    if not step > 0:
        raise ValueError(f"step = {step} m must be positive")
    n = max(math.ceil(line.perimeter / step - 1e-9), 1)
    chainage = np.arange(n, dtype=np.float64) * (line.perimeter / n)
    points = line.points_at(chainage)
    turning, radius = line.turning(n), points.radius
    if turning is not None:
        with np.errstate(divide="ignore"):
            radius = line.perimeter / n / np.abs(turning)
    return Alignment(
        chainage=chainage,
        step=line.perimeter / n,
        x=points.x,
        y=points.y,
        bearing_deg=points.bearing_deg,
        outward=points.outward,
        arc=points.arc,
        radius=radius,
        ground=grid.bilinear(elevation, points.x, points.y),
        turning=turning,
        lapped=line.lapped(n),
    )


def length_on_ground(line: Line, *, elevation: Array, grid: Grid) -> float:
    """Length of the fence line on the ground surface. [m]

    The bilinear ground is followed in plan steps of a quarter cell at most, each measured along its slope. NaN where
    ground is missing anywhere under the line.
    """
    n = max(math.ceil(line.perimeter / (0.25 * grid.cell)), 16)
    points = line.points_at(np.arange(n) * (line.perimeter / n))
    rise = np.diff(grid.bilinear(elevation, points.x, points.y), append=np.nan)
    rise[-1] = (
        grid.bilinear(elevation, points.x[:1], points.y[:1])[0]
        - grid.bilinear(elevation, points.x[-1:], points.y[-1:])[0]
    )
    return float(np.hypot(line.perimeter / n, rise).sum())
