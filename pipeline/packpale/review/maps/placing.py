"""From degrees to the run's plan by a polynomial, so that a page can tell the cell under a point without a library."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from packpale.review.projecting import between
from packpale.site import Array

DEGREES = range(1, 10)
"""Degrees of the polynomial, tried in turn."""
SAMPLES = 24
"""Points along each side of the area to which the polynomial is fitted, and on which it is checked in between."""


@dataclass(frozen=True)
class Placing:
    """Longitude and latitude of an area to x and y of a projected CRS.

    With u and v running from -1 to 1 over the area's longitude and latitude, x = ``x0`` + sum of ``cx`` times
    u^i v^j over i + j <= ``degree``, i first; y alike.
    """

    crs: str
    box: tuple[float, float, float, float]
    """West, south, east, north of the area. [deg]"""
    degree: int
    x0: float
    y0: float
    cx: tuple[float, ...]
    cy: tuple[float, ...]

    def plan(self, lon: Array, lat: Array) -> tuple[Array, Array]:
        """Coordinates x and y of points; the page does the same. [m]"""
        terms = _terms(*_unit(self.box, lon, lat), self.degree)
        return self.x0 + terms @ np.array(self.cx), self.y0 + terms @ np.array(self.cy)


def placing(crs: str, box: tuple[float, float, float, float], *, tolerance: float) -> Placing | None:
    """Polynomial over an area in degrees (west, south, east, north) within ``tolerance`` [m] of the projection.

    None if no polynomial of the degrees tried comes as near as that, as over a large part of the earth.
    """
    to_plan = between("EPSG:4326", crs)
    west, south, east, north = box
    # Dense towards the edges, where a polynomial errs most.
    nodes = np.cos(np.pi * (np.arange(SAMPLES) + 0.5) / SAMPLES)
    fitted = _points(box, nodes)
    checked = _points(box, np.linspace(-1, 1, 2 * SAMPLES + 1))
    x, y = to_plan.transform(*fitted)
    true = np.column_stack(to_plan.transform(*checked))
    if not (np.isfinite(x).all() and np.isfinite(y).all() and np.isfinite(true).all()):
        return None
    x0, y0 = round(float(x.mean()), 3), round(float(y.mean()), 3)
    for degree in DEGREES:
        terms = _terms(*_unit(box, *fitted), degree)
        solved, *_ = np.linalg.lstsq(terms, np.column_stack([x - x0, y - y0]), rcond=None)
        # Millimetres are far below any cell; fewer digits keep the page small.
        cx, cy = (tuple(round(float(c), 5) for c in column) for column in solved.T)
        found = Placing(crs, (west, south, east, north), degree, x0, y0, cx, cy)
        if np.abs(np.column_stack(found.plan(*checked)) - true).max() <= tolerance:
            return found
    return None


def widened(bounds: Sequence[Sequence[float]], share: float) -> tuple[float, float, float, float]:
    """West, south, east, north of an area that is [[south, west], [north, east]] widened, within the map's projection.

    ``share`` of its own size is added on every side.
    """
    (south, west), (north, east) = bounds
    dx, dy = share * (east - west), share * (north - south)
    # 85 degrees is where the square map of the world ends.
    return max(west - dx, -180.0), max(south - dy, -85.0), min(east + dx, 180.0), min(north + dy, 85.0)


def _points(box: tuple[float, float, float, float], at: Array) -> tuple[Array, Array]:
    west, south, east, north = box
    u, v = (side.ravel() for side in np.meshgrid(at, at))
    return west + (u + 1) / 2 * (east - west), south + (v + 1) / 2 * (north - south)


def _unit(box: tuple[float, float, float, float], lon: Array, lat: Array) -> tuple[Array, Array]:
    west, south, east, north = box
    return 2 * (np.asarray(lon) - west) / (east - west) - 1, 2 * (np.asarray(lat) - south) / (north - south) - 1


def _terms(u: Array, v: Array, degree: int) -> Array:
    powers = [(i, j) for i, j in itertools.product(range(degree + 1), repeat=2) if i + j <= degree]
    terms: Array = np.stack([u**i * v**j for i, j in powers], axis=-1)
    return terms
