"""Compiled loops over 3 x 3 windows of the ground: no checks, no defaults, no files."""

import math
from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

Raster = npt.NDArray[np.floating[Any]]


@njit(cache=True)
def horn_slope(z: Raster, per_dx: float, per_dy: float, out: Raster) -> None:
    """Fill ``out`` inside its outer ring; ``per_dx``, ``per_dy`` are one over eight cell sizes."""
    for r in range(1, z.shape[0] - 1):
        # Views shifted by one cell: an index that runs from 0 needs no check for wrapping round.
        north_west, north_mid, north_east = z[r - 1, :-2], z[r - 1, 1:-1], z[r - 1, 2:]
        west, mid, east = z[r, :-2], z[r, 1:-1], z[r, 2:]
        south_west, south_mid, south_east = z[r + 1, :-2], z[r + 1, 1:-1], z[r + 1, 2:]
        line = out[r, 1:-1]
        for c in range(line.shape[0]):
            # Differences first, then sums: nothing is lost to large elevations.
            falling = north_east[c] - south_west[c]
            rising = south_east[c] - north_west[c]
            across, along = east[c] - west[c], north_mid[c] - south_mid[c]
            gx = (falling + rising + across + across) * per_dx
            gy = (falling - rising + along + along) * per_dy
            # Horn never reads the centre; 0 or NaN is added for it.
            line[c] = np.sqrt(gx * gx + gy * gy) + (mid[c] - mid[c])


@njit(cache=True)
def horn_aspect(z: Raster, per_dx: float, per_dy: float, out: Raster) -> None:
    """Fill ``out`` inside its outer ring with degrees clockwise from north; NaN where level."""
    for r in range(1, z.shape[0] - 1):
        for c in range(1, z.shape[1] - 1):
            falling = z[r - 1, c + 1] - z[r + 1, c - 1]
            rising = z[r + 1, c + 1] - z[r - 1, c - 1]
            gx = (falling + rising + 2 * (z[r, c + 1] - z[r, c - 1])) * per_dx
            gy = (falling - rising + 2 * (z[r - 1, c] - z[r + 1, c])) * per_dy
            if np.isnan(z[r, c]) or (gx == 0 and gy == 0):
                continue
            out[r, c] = math.degrees(math.atan2(-gx, -gy)) % 360.0


@njit(cache=True)
def horn_shade(z: Raster, per_dx: float, per_dy: float, light: tuple[float, float, float], out: Raster) -> None:
    """Fill ``out`` inside its outer ring with the cosine between ground normal and light, 0 in the shade."""
    east, north, up = light
    for r in range(1, z.shape[0] - 1):
        for c in range(1, z.shape[1] - 1):
            falling = z[r - 1, c + 1] - z[r + 1, c - 1]
            rising = z[r + 1, c + 1] - z[r - 1, c - 1]
            gx = (falling + rising + 2 * (z[r, c + 1] - z[r, c - 1])) * per_dx
            gy = (falling - rising + 2 * (z[r - 1, c] - z[r + 1, c])) * per_dy
            cosine = (up - gx * east - gy * north) / math.sqrt(1.0 + gx * gx + gy * gy)
            if not (np.isnan(cosine) or np.isnan(z[r, c])):
                out[r, c] = max(cosine, 0.0)
