"""Elevation files as one lattice of cells, and the run's grid over it: its cell size and the windows of plots."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from packpale.faults import Faults
from packpale.site import crs as crs_
from packpale.site.grid import Array, Grid
from packpale.units import measured
from packpale.values.notes import Note
from packpale.values.quantity import given

Transform = tuple[float, float, float, float, float, float]
MOST_SPANNED = 1000
"""Cells of the raster that one of the run's may span a side: it takes the mean of the square of so many points."""


@dataclass(frozen=True)
class Tile:
    """One raster file: where its first cell lies on the common lattice, and its size in cells."""

    path: Path | str
    """A file, or an address as text."""
    files: tuple[Path, ...]
    """The file and those beside it that belong to it; none of an address."""
    states: tuple[tuple[int, int], ...]
    """Size [bytes] and time of the last change [ns] of each of these when they were looked at."""
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
    nodata: float | None = None
    """Value that stands for no data beside what the files say."""

    @property
    def extent(self) -> tuple[int, int, int, int]:
        """First column and row that a tile holds, and those behind the last."""
        cols, rows = [t.col for t in self.tiles], [t.row for t in self.tiles]
        ends = max(t.col + t.cols for t in self.tiles), max(t.row + t.rows for t in self.tiles)
        return min(cols), min(rows), *ends

    @property
    def is_remote(self) -> bool:
        """Whether any of it is read from a network, where it may change without anybody here knowing."""
        return any(isinstance(t.path, str) for t in self.tiles)

    def touching(self, windows: Sequence["Grid"], crs: CRS) -> "Elevation":
        """The same without the tiles that lie far from all windows of a run in ``crs``."""
        near = np.zeros(len(self.tiles), dtype=bool)
        for grid in windows:
            west, south, east, north = grid.bounds
            x, y = crs_.moved(
                [west, west, east, east, (west + east) / 2],
                [south, north, south, north, (south + north) / 2],
                crs,
                self.crs,
            )
            col, row = self.to_lattice(x, y)
            if not (np.isfinite(col).all() and np.isfinite(row).all()):
                return self
            # In another CRS sides of a window bend between its corners, by far less than half its size.
            bend = 0.0 if crs_.same(crs, self.crs) else 0.5
            c, r = bend * np.ptp(col) + 2, bend * np.ptp(row) + 2
            left, right, top, bottom = col.min() - c, col.max() + c, row.min() - r, row.max() + r
            near |= [
                t.col < right and t.col + t.cols > left and t.row < bottom and t.row + t.rows > top for t in self.tiles
            ]
        kept = tuple(itertools.compress(self.tiles, near))
        return replace(self, tiles=kept) if kept else self

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


def cell_size(
    elevation: Elevation, crs: CRS, wanted: float | None, middle: tuple[float, float], notes: list[Note]
) -> float:
    """Cell size of the run [m]: the one wanted, else the raster's own at ``middle`` (x, y in ``crs``).

    Cells of a raster in another CRS have no one size in the run's: theirs at ``middle`` is taken, the side of a square
    of the same area, to two significant digits. Raises Faults if the one wanted spans more than MOST_SPANNED.
    """
    native = elevation.native_cell(crs)
    own = native if native is not None else _cell_at(elevation, crs, middle)
    own_size = given(float(f"{own:.3g}"), "dimension")
    if wanted is None:
        if native is not None:
            return native
        cell = float(f"{own:.2g}")
        notes.append(
            Note(
                "cells interpolated",
                "elevations of {file} ({from_crs}) were interpolated to cells of {cell} in {to_crs}",
                "Its own cells measure about {own}.",
                {
                    "file": elevation.name,
                    "from_crs": crs_.shown(elevation.crs),
                    "cell": given(cell, "dimension"),
                    "to_crs": crs_.shown(crs),
                    "own": own_size,
                },
            )
        )
        return cell
    if wanted > MOST_SPANNED * own:
        raise Faults(
            f"land.cell_m = {wanted:g} spans {wanted / own:.3g} cells of {elevation.name} a side, which measure "
            f"about {measured(own, 'm', '.3g')}; allowed are {MOST_SPANNED:,}; set a smaller land.cell_m, or look at "
            "the raster's CRS and position"
        )
    if native is None or abs(wanted - native) > 1e-9 * native:
        notes.append(
            Note(
                "cells interpolated",
                "elevations of {file} were interpolated to cells of {cell}",
                "Its own cells measure about {own}.",
                {"file": elevation.name, "cell": given(wanted, "dimension"), "own": own_size},
            )
        )
    if wanted < 0.5 * own:
        notes.append(
            Note(
                "cells interpolated",
                "cells of {cell} show no more detail than the {own} of {file}",
                values={"file": elevation.name, "cell": given(wanted, "dimension"), "own": own_size},
            )
        )
    return wanted


def _cell_at(elevation: Elevation, crs: CRS, middle: tuple[float, float]) -> float:
    """As side_at, and in units of the raster's CRS where the change of CRS does not reach."""
    a, b, _, d, e, _ = elevation.transform
    side = side_at(elevation, crs, middle)
    return side if math.isfinite(side) else math.sqrt(abs(a * e - b * d))


def side_at(elevation: Elevation, crs: CRS, middle: tuple[float, float]) -> float:
    """Side of a square in ``crs`` with the area of one of the raster's cells at ``middle``. [m]

    NaN where the change of CRS does not reach.
    """
    x, y = crs_.moved(middle[0], middle[1], crs, elevation.crs)
    a, b, _, d, e, _ = elevation.transform
    xs, ys = crs_.moved([x, x + a, x + b], [y, y + d, y + e], elevation.crs, crs)
    # Cells that reach beyond the world have an infinite corner.
    with np.errstate(invalid="ignore"):
        area = abs((xs[1] - xs[0]) * (ys[2] - ys[0]) - (xs[2] - xs[0]) * (ys[1] - ys[0]))
    return math.sqrt(area) if math.isfinite(area) and area > 0 else math.nan


def window(
    elevation: Elevation, crs: CRS, cell: float, bounds: tuple[float, float, float, float], margin: float
) -> Grid:
    """The grid of the run over ``bounds`` and ``margin`` [m], never less.

    The raster's own cells where they can serve as they are, else cells at whole multiples of their size from the
    origin of the CRS: either way neighbouring plots share cells.
    """
    ox, oy = origin(elevation, crs, cell)
    west, south, east, north = bounds
    c0, c1 = math.floor((west - margin - ox) / cell), math.ceil((east + margin - ox) / cell)
    r0, r1 = math.floor((oy - north - margin) / cell), math.ceil((oy - south + margin) / cell)
    return Grid(ox + c0 * cell, oy - r0 * cell, cell, r1 - r0, c1 - c0)


def is_native(elevation: Elevation, crs: CRS, cell: float) -> bool:
    """Whether the run reads the raster's own cells."""
    native = elevation.native_cell(crs)
    return native is not None and abs(cell - native) <= 1e-9 * native


def origin(elevation: Elevation, crs: CRS, cell: float) -> tuple[float, float]:
    """Corner that the run's cells are counted from: of the raster's lattice where its own are read, else of the CRS."""
    return (elevation.transform[2], elevation.transform[5]) if is_native(elevation, crs, cell) else (0.0, 0.0)
