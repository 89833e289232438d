"""Some of a window's cells, evenly spread, where all of them would be more than a picture or a page can show."""

import math
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from packpale.site import Grid

T = TypeVar("T", bound=np.generic)


@dataclass(frozen=True)
class Spread:
    """The cell in the middle of every square of ``stride`` cells of a window, standing for all of it."""

    stride: int
    rows: npt.NDArray[np.int64]
    cols: npt.NDArray[np.int64]
    grid: Grid
    """Of the squares; the last ones may stick out of the window."""

    def of(self, values: npt.NDArray[T]) -> npt.NDArray[T]:
        """The values of those cells; the values themselves where every cell is taken."""
        return values if self.stride == 1 else values[np.ix_(self.rows, self.cols)]


def every(grid: Grid, stride: int) -> Spread:
    """One cell of every square of ``stride`` by ``stride``."""
    rows, cols = -(-grid.rows // stride), -(-grid.cols // stride)
    # The last squares may stick out of the grid: there the last cell within stands for them.
    r = np.minimum(np.arange(rows) * stride + (stride - 1) // 2, grid.rows - 1)
    c = np.minimum(np.arange(cols) * stride + (stride - 1) // 2, grid.cols - 1)
    return Spread(stride, r, c, Grid(grid.west, grid.north, grid.cell * stride, rows, cols))


def spread(grid: Grid, *, most_cells: int) -> Spread:
    """At most about ``most_cells`` of the cells, all of them where they are no more."""
    return every(grid, max(1, math.ceil(math.sqrt(grid.rows * grid.cols / most_cells))))
