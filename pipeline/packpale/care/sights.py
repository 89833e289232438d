"""Lines of sight over one plot's bare ground."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from packpale.care import _kernels_viewing
from packpale.site import Array, Grid, Mask, Site


@dataclass(frozen=True)
class Ground:
    """Elevation on a grid, made ready for many lines of sight."""

    grid: Grid
    elevation: Array
    """[m]"""
    high: Array
    """Highest ground in blocks of cells, small and large. [m]"""
    levels: npt.NDArray[np.int64]
    """Where in ``high`` each size of block stands."""

    def hides(self, start: tuple[float, float, float], end: tuple[float, float, float]) -> bool:
        """Some of this ground stands above the straight line between two points on it, each x, y and height [m]."""
        (x, y, eye), (to_x, to_y, top) = start, end
        ways = (*_in_cells(self.grid, x, y), eye, *_in_cells(self.grid, to_x, to_y), top)
        return bool(_kernels_viewing.what_hides(self.elevation, self.high, self.levels, *ways, -1) >= 0)


@dataclass(frozen=True)
class Sights:
    """One plot's ground, made ready: that of its window, and what lies round it, which may be coarser."""

    site: Site
    near: Ground
    far: Ground
    """The same where nothing round the window was read."""

    def ground(self, x: float, y: float) -> float:
        """NaN beyond the elevation model. [m]"""
        return float(self.site.ground(x, y))

    def cells(self, x: float, y: float, targets: Mask, *, eye: float, over: float, sight: float) -> Mask:
        """Targets within ``sight`` of (x, y) at whose centres something ``over`` the ground is seen; shape of the grid.

        From eyes ``eye`` above the ground; all in metres. None from a place without elevation.
        """
        seen = np.zeros(targets.shape, bool)
        height = self.ground(x, y) + eye
        if not np.isnan(height):
            near, far = self.near, self.far
            _kernels_viewing.sweep(
                near.elevation,
                near.high,
                near.levels,
                far.elevation,
                far.high,
                far.levels,
                near.grid.cell / far.grid.cell,
                *_in_cells(far.grid, x, y),
                targets,
                *_in_cells(near.grid, x, y),
                height,
                over,
                sight / near.grid.cell,
                seen,
            )
        return seen

    def clear(self, start: tuple[float, float, float], end: tuple[float, float, float]) -> bool:
        """No ground stands above the straight line between two points, each x, y and height [m].

        The second lies in the window.
        """
        col, row = _in_cells(self.near.grid, *start[:2])
        to_col, to_row = _in_cells(self.near.grid, *end[:2])
        rows, cols = self.near.grid.shape
        t = _kernels_viewing.enters(col, to_col - col, cols - 1.0, 0.0)
        t = _kernels_viewing.enters(row, to_row - row, rows - 1.0, t)
        x, y, height = (a + t * (b - a) for a, b in zip(start, end, strict=True))
        if t > 0.0 and self.far.hides(start, (x, y, height)):
            return False
        return not self.near.hides((x, y, height), end)


def lines_of_sight(site: Site) -> Sights:
    """Make a plot's ground ready; its memory is a twelfth of that of the elevation."""
    near = _ready(site.grid, site.elevation)
    return Sights(site, near, near if site.around is None else _ready(site.around.grid, site.around.elevation))


def _ready(grid: Grid, elevation: Array) -> Ground:
    high, levels = peaks(elevation)
    return Ground(grid, elevation, high, levels)


def peaks(elevation: Array) -> tuple[Array, npt.NDArray[np.int64]]:
    """Highest ground in blocks of cells, and where in that each size of block stands.

    Blocks of BLOCK cells a side, twice as large, and so on up to one block; all sizes one behind the other, row by row.
    A block holds the ground from its first row and column of centres to the first of the next block; missing heights do
    not count. The table has start, rows and columns of each size.
    """
    levels = _levels(*elevation.shape)
    high = np.full(levels[-1, 0] + 1, -np.inf)
    _kernels_viewing.peaks_of_smallest(elevation, high, levels)
    _kernels_viewing.peaks_of_larger(high, levels)
    return high, levels


def _levels(rows: int, cols: int) -> npt.NDArray[np.int64]:
    """Start, rows and columns of the blocks of each size, the smallest first, the last a single block."""
    rows, cols = (rows - 2) // _kernels_viewing.BLOCK + 1, (cols - 2) // _kernels_viewing.BLOCK + 1
    table = [(0, rows, cols)]
    while rows > 1 or cols > 1:
        start = table[-1][0] + rows * cols
        rows, cols = (rows + 1) // 2, (cols + 1) // 2
        table.append((start, rows, cols))
    return np.array(table, np.int64)


def _in_cells(grid: Grid, x: float, y: float) -> tuple[float, float]:
    """Column and row as fractions, whole at cell centres."""
    return (x - grid.west) / grid.cell - 0.5, (grid.north - y) / grid.cell - 0.5
