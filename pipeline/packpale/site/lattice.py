"""Elevation files as one lattice of cells: where each file lies on it, and where points do."""

from dataclasses import dataclass
from pathlib import Path

import shapely
from pyproj import CRS
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from packpale.site import crs as crs_
from packpale.site.grid import Array

Transform = tuple[float, float, float, float, float, float]


@dataclass(frozen=True)
class Tile:
    """One raster file: where its first cell lies on the common lattice, and its size in cells."""

    path: Path
    files: tuple[Path, ...]
    col: int
    row: int
    cols: int
    rows: int


@dataclass(frozen=True)
class Elevation:
    """All elevation files together.

    ``transform`` is the affine from (col, row) of the lattice to the raster's own coordinates; ``unit_m`` the metres
    of one unit of elevation. Where tiles overlap, the one listed first counts.
    """

    tiles: tuple[Tile, ...]
    crs: CRS
    transform: Transform
    unit_m: float
    name: str
    """How messages call it."""

    def footprint(self) -> BaseGeometry:
        """Outline of all tiles together, in the raster's own CRS."""
        a, b, c, d, e, f = self.transform
        outlines = []
        for t in self.tiles:
            corners = [
                (t.col, t.row),
                (t.col + t.cols, t.row),
                (t.col + t.cols, t.row + t.rows),
                (t.col, t.row + t.rows),
            ]
            outlines.append(Polygon([(a * i + b * j + c, d * i + e * j + f) for i, j in corners]))
        return shapely.union_all(outlines)

    def to_lattice(self, x: Array, y: Array) -> tuple[Array, Array]:
        """(col, row) on the lattice of points in the raster's CRS; whole numbers are cell corners."""
        a, b, c, d, e, f = self.transform
        det = a * e - b * d
        return (e * (x - c) - b * (y - f)) / det, (a * (y - f) - d * (x - c)) / det

    def native_cell(self, crs: CRS) -> float | None:
        """Cell size if the lattice can serve as a grid of a run in ``crs`` as it is: same CRS, north up, square."""
        a, b, _, d, e, _ = self.transform
        north_up = b == 0 and d == 0 and a > 0 and e < 0
        return a if crs_.same(self.crs, crs) and north_up and abs(a + e) < 1e-9 * a else None
