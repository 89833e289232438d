"""Slope, aspect and shading of the ground, by Horn's weighted 3 x 3 differences."""

import math
from collections.abc import Callable
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from packpale.site import Array, Cells

F = TypeVar("F", np.float32, np.float64)
BAND = 64
"""Rows that are worked on at a time, so that what is made on the way is small."""


def slope(elevation: npt.NDArray[F], *, cell_size: tuple[float, float]) -> npt.NDArray[F]:
    """Steepest slope of the ground at each cell.

    Parameters
    ----------
    elevation : shape (rows, cols), float32 or float64
        Height above the vertical datum; row 0 is the northernmost, NaN is no data. [m]
    cell_size
        Ground size of a cell, eastward and northward, both positive. [m]

    Returns
    -------
    shape (rows, cols), dtype of the elevation
        Rise over run. NaN on the outer ring and wherever the 3 x 3 window holds a NaN. [m/m]

    Raises
    ------
    ValueError
        If a cell size is not positive or the grid is smaller than 3 x 3.

    Notes
    -----
    Exact on an inclined plane; on curved ground the error falls with the square of the cell size.

    References
    ----------
    .. [1] B. K. P. Horn, "Hill shading and the reflectance map", Proc. IEEE 69 (1), 1981, 14-47,
       doi:10.1109/PROC.1981.11918.
    """
    from packpale.land import _kernels

    return _over_windows(_kernels.horn_slope, elevation, cell_size)


def slope_of_planes(elevation: Array, slope: Cells, *, cell: float, footprint: float) -> Cells:
    """Slope of the plane through the ground round each cell, as a machine that stands on it feels it.

    Parameters
    ----------
    elevation, slope : shape (rows, cols)
        Height above the vertical datum [m], and each cell's own slope [m/m]; NaN is no data.
    cell, footprint
        Cell size, and side of the square of ground whose cells' centres make the plane. [m]

    Returns
    -------
    shape (rows, cols)
        Rise over run of the plane of least squares. The cell's own slope where the footprint holds no more than the
        cell, and where not all of its cells are known. [m/m]
    """
    reach = int(footprint / 2 / cell + 1e-9)
    rows, cols = elevation.shape
    if reach == 0 or min(rows, cols) <= 2 * reach:
        return slope
    # Heights above the lowest, so that sums keep their digits: an elevation may be thousands of metres.
    lowest = np.nanmin(elevation, initial=np.inf)
    found = slope.copy()
    for top in range(reach, rows - reach, BAND):
        end = min(top + BAND, rows - reach)
        plane = _planes(elevation[top - reach : end + reach] - lowest, reach, cell)
        inner = found[top:end, reach : cols - reach]
        np.copyto(inner, plane, where=np.isfinite(plane), casting="same_kind")
    return found


def _planes(z: Array, reach: int, cell: float) -> Array:
    """Slope of the planes through all squares of ``2 reach + 1`` cells of a window."""
    tall, wide = z.shape[0] - 2 * reach, z.shape[1] - 2 * reach
    level, down = np.zeros((tall, z.shape[1])), np.zeros((tall, z.shape[1]))
    for step in range(-reach, reach + 1):
        row = z[reach + step : reach + step + tall]
        level += row
        down += step * row
    easting, northing = np.zeros((tall, wide)), np.zeros((tall, wide))
    for step in range(-reach, reach + 1):
        col = slice(reach + step, reach + step + wide)
        easting += step * level[:, col]
        northing += down[:, col]
    # Offsets of a square are uncorrelated: each gradient is the sum of its offset times height over that of squares.
    squares = (2 * reach + 1) * sum(step * step for step in range(-reach, reach + 1)) * cell
    plane: Array = np.hypot(easting, northing) / squares
    return plane


def aspect_deg(elevation: npt.NDArray[F], *, cell_size: tuple[float, float]) -> npt.NDArray[F]:
    """Direction in which the ground falls most steeply, clockwise from grid north. [deg]

    As ``slope``; 0 up to but not 360, and NaN also where the ground is level.
    """
    from packpale.land import _kernels

    return _over_windows(_kernels.horn_aspect, elevation, cell_size)


def hillshade(
    elevation: npt.NDArray[F], *, cell_size: tuple[float, float], azimuth_deg: float = 315.0, altitude_deg: float = 45.0
) -> npt.NDArray[F]:
    """Brightness of matt ground under one light far away: cosine between the ground's normal and the light.

    From 0, turned away, to 1, square to the light; level ground has the sine of the altitude. NaN as ``slope``. The
    light comes from the north-west because a relief lit from below looks inside out.
    """
    from packpale.land import _kernels

    azimuth, altitude = math.radians(azimuth_deg), math.radians(altitude_deg)
    light = (math.cos(altitude) * math.sin(azimuth), math.cos(altitude) * math.cos(azimuth), math.sin(altitude))
    return _over_windows(_kernels.horn_shade, elevation, cell_size, light)


def _over_windows(
    kernel: Callable[..., None], elevation: npt.NDArray[F], cell_size: tuple[float, float], *more: Any
) -> npt.NDArray[F]:
    dx, dy = cell_size
    if not (dx > 0 and dy > 0):
        raise ValueError(f"cell_size must be positive metres, got {cell_size}; is the CRS a projected one?")
    if min(elevation.shape) < 3:
        raise ValueError(f"slope needs at least 3 x 3 cells, got {elevation.shape}")
    out = np.full_like(elevation, np.nan)
    as_elevation = elevation.dtype.type
    kernel(np.ascontiguousarray(elevation), as_elevation(1 / (8 * dx)), as_elevation(1 / (8 * dy)), *more, out)
    return out
