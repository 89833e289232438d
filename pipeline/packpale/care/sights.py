"""Lines of sight over one plot's bare ground."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from packpale.care import _kernels_viewing
from packpale.site import Array, Grid, Mask, Site


@dataclass(frozen=True)
class Sights:
    """One plot's ground, made ready for many lines of sight."""

    site: Site
    high: Array
    """Highest ground in blocks of cells, small and large. [m]"""
    levels: npt.NDArray[np.int64]
    """Where in ``high`` each size of block stands."""

    def ground(self, x: float, y: float) -> float:
        """NaN beyond the elevation model. [m]"""
        return float(self.site.grid.bilinear(self.site.elevation, x, y))

    def cells(self, x: float, y: float, targets: Mask, *, eye: float, over: float, sight: float) -> Mask:
        """Targets within ``sight`` of (x, y) at whose centres something ``over`` the ground is seen; shape of the grid.

        From eyes ``eye`` above the ground; all in metres. None from a place without elevation.
        """
        seen = np.zeros(targets.shape, bool)
        height = self.ground(x, y) + eye
        if not np.isnan(height):
            col, row = _in_cells(self.site.grid, x, y)
            most = sight / self.site.grid.cell
            _kernels_viewing.sweep(
                self.site.elevation, self.high, self.levels, targets, col, row, height, over, most, seen
            )
        return seen

    def clear(self, start: tuple[float, float, float], end: tuple[float, float, float]) -> bool:
        """No ground stands above the straight line between two points, each x, y and height [m]."""
        (x, y, eye), (to_x, to_y, top) = start, end
        col, row = _in_cells(self.site.grid, x, y)
        to_col, to_row = _in_cells(self.site.grid, to_x, to_y)
        found = _kernels_viewing.what_hides(
            self.site.elevation, self.high, self.levels, col, row, eye, to_col, to_row, top, -1
        )
        return bool(found < 0)


def lines_of_sight(site: Site) -> Sights:
    """Make a plot's ground ready; its memory is a twelfth of that of the elevation."""
    high, levels = peaks(site.elevation)
    return Sights(site, high, levels)


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
