"""A window in larger squares, where all of its cells would be more than a picture, a page or a search can use."""

import math
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from packpale.site.grid import Grid

T = TypeVar("T", bound=np.generic)
F = TypeVar("F", bound=np.floating[Any])


@dataclass(frozen=True)
class Spread:
    """Squares of ``stride`` by ``stride`` cells of a window, and the cell in the middle of each."""

    stride: int
    rows: npt.NDArray[np.int64]
    cols: npt.NDArray[np.int64]
    grid: Grid
    """Of the squares; the last ones may stick out of the window."""

    def of(self, values: npt.NDArray[T]) -> npt.NDArray[T]:
        """The values of the cells in the middle; the values themselves where every cell is taken."""
        return values if values.shape == self.grid.shape else values[np.ix_(self.rows, self.cols)]

    def part(self, rows: slice, cols: slice) -> "Spread":
        """Some rows and columns of the squares, which ``of`` takes from the same window."""
        return Spread(self.stride, self.rows[rows], self.cols[cols], self.grid.part(rows, cols))

    def mean(self, values: npt.NDArray[F]) -> npt.NDArray[F]:
        """The mean of each square's cells, NaN where one is; the values themselves where every cell is taken."""
        if self.stride == 1:
            return values
        first = [np.arange(0, n, self.stride) for n in values.shape]
        sums = np.add.reduceat(np.add.reduceat(values, first[0], axis=0), first[1], axis=1)
        high, wide = (np.minimum(self.stride, n - f) for n, f in zip(values.shape, first, strict=True))
        means: npt.NDArray[F] = (sums / np.outer(high, wide)).astype(values.dtype, copy=False)
        return means


def every(grid: Grid, stride: int) -> Spread:
    """Squares of ``stride`` by ``stride`` cells."""
    rows, cols = -(-grid.rows // stride), -(-grid.cols // stride)
    # The last squares may stick out of the grid: there the last cell within stands for them.
    r = np.minimum(np.arange(rows) * stride + (stride - 1) // 2, grid.rows - 1)
    c = np.minimum(np.arange(cols) * stride + (stride - 1) // 2, grid.cols - 1)
    return Spread(stride, r, c, Grid(grid.west, grid.north, grid.cell * stride, rows, cols))


def spread(grid: Grid, *, most_cells: int) -> Spread:
    """At most ``most_cells`` squares; every cell where they are no more.

    Squares have an odd number of cells a side, so that the middle of each is the centre of a cell.
    """
    side = math.ceil(math.sqrt(grid.rows * grid.cols / most_cells) - 1e-9)
    return every(grid, max(side + 1 - side % 2, 1))
