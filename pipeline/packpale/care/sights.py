"""Lines of sight over one plot's bare ground."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from packpale.care import _kernels_viewing
from packpale.site import Array, Grid, Mask, Site
from packpale.site.storage import pieces


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
    """Highest ground in blocks of cells, small and large, and where in that each size stands; see the kernels."""
    high, levels = _kernels_viewing.no_peaks(*elevation.shape)
    first = 0
    for piece in pieces(elevation):
        _kernels_viewing.peaks_of_rows(piece, first, high, levels)
        first += len(piece)
    _kernels_viewing.peaks_of_larger(high, levels)
    return high, levels


def _in_cells(grid: Grid, x: float, y: float) -> tuple[float, float]:
    """Column and row as fractions, whole at cell centres."""
    return (x - grid.west) / grid.cell - 0.5, (grid.north - y) / grid.cell - 0.5
