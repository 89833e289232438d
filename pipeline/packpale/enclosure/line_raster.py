"""Rasters that answer at once what the search for a line asks of a place: over a limit there, or too near to no-go."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon

from packpale.enclosure import _kernels_line, _kernels_raster
from packpale.site.grid import Array

FINEST_M = 0.25
"""Cell size on plots of a few hectares. [m]"""
MOST_CELLS = 600_000
"""On larger plots cells are larger, so that no more are needed."""
_DIRECTIONS = 64


@dataclass(frozen=True)
class LineRaster:
    """Local coordinates; row 0 is the northernmost. Approximate by about half a cell."""

    words: npt.NDArray[np.uint64]
    """Bit b is set where the cross-section centred in the cell, outward normal 2 pi b / 64 from east, touches soft
    ground."""
    kind: npt.NDArray[np.uint8]
    """NO_GO where the cell is nearer to no-go ground than the outside strip, else SOFT where a bit is set, else 0."""
    frame: Array
    """West, north, cell size. [m]"""


def line_raster(
    enclosable: MultiPolygon, soft: MultiPolygon, origin: tuple[float, float], *, inside: float, outside: float
) -> LineRaster:
    """Rasters of land and soft ground given in the run's CRS; ``origin`` is taken off their coordinates. [m]"""
    west, south, east, north = enclosable.bounds
    cell = max(FINEST_M, math.sqrt((east - west) * (north - south) / MOST_CELLS))
    rows, cols = math.ceil((north - south) / cell), math.ceil((east - west) / cell)
    held = _rasterised(soft, west, north, cell, (rows, cols))
    free = np.zeros((rows + 2, cols + 2), np.uint8)
    free[1:-1, 1:-1] = _rasterised(enclosable, west, north, cell, (rows, cols))
    squared = np.empty(free.shape)
    _kernels_raster.squared_distances(free, squared)
    # The no-go cell's centre lies half a cell behind its edge.
    blocked = (np.sqrt(squared[1:-1, 1:-1]) - 0.5) * cell < outside
    offsets, marks = _marks(inside, outside, cell)
    words = np.zeros((rows, cols), np.uint64)
    _kernels_raster.stamp(held, offsets, marks, words)
    kind = np.where(blocked, _kernels_line.NO_GO, np.where(words, _kernels_line.SOFT, 0)).astype(np.uint8)
    return LineRaster(words, kind, np.array([west - origin[0], north - origin[1], cell]))


def _rasterised(
    area: MultiPolygon, west: float, north: float, cell: float, shape: tuple[int, int]
) -> npt.NDArray[np.uint8]:
    """1 in the cells whose centre lies in the area."""
    from rasterio import Affine
    from rasterio.features import rasterize

    if area.is_empty:
        return np.zeros(shape, np.uint8)
    burnt = rasterize(
        list(shapely.get_parts(area)), out_shape=shape, transform=Affine(cell, 0, west, 0, -cell, north), dtype="uint8"
    )
    return np.asarray(burnt, np.uint8)


def _marks(inside: float, outside: float, cell: float) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.uint64]]:
    """Offsets (row, col) of the cells that some cross-section meets, and the directions in which it does, as bits."""
    points = np.linspace(-inside, outside, math.ceil(4 * (inside + outside) / cell) + 1) / cell
    words: dict[tuple[int, int], int] = {}
    for b in range(_DIRECTIONS):
        angle = 2 * math.pi * b / _DIRECTIONS
        for t in points:
            at = (round(-t * math.sin(angle)), round(t * math.cos(angle)))
            words[at] = words.get(at, 0) | (1 << b)
    return np.array(list(words), np.int64), np.array(list(words.values()), np.uint64)
