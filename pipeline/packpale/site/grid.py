"""The one metric grid of a plot: where its cells lie, and values between their centres."""

from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Cells = npt.NDArray[np.floating[Any]]
"""Numbers of cells in double precision, or in single where that is enough."""
Mask = npt.NDArray[np.bool_]
T = TypeVar("T", bound=np.generic)


@dataclass(frozen=True)
class Grid:
    """Square cells, row 0 northernmost, column 0 westernmost.

    ``west`` and ``north`` are the outer edges of the first cell [m], ``cell`` the cell size [m].
    """

    west: float
    north: float
    cell: float
    rows: int
    cols: int

    @property
    def shape(self) -> tuple[int, int]:
        return self.rows, self.cols

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east, north edges. [m]"""
        return self.west, self.north - self.rows * self.cell, self.west + self.cols * self.cell, self.north

    @property
    def transform(self) -> tuple[float, float, float, float, float, float]:
        """Affine coefficients a, b, c, d, e, f from (col, row) to (x, y), as affine.Affine takes them."""
        return self.cell, 0.0, self.west, 0.0, -self.cell, self.north

    def part(self, rows: slice, cols: slice) -> "Grid":
        """Some rows and columns of the grid as one of its own; both slices have a first and an end."""
        west, north = self.west + cols.start * self.cell, self.north - rows.start * self.cell
        return Grid(west, north, self.cell, rows.stop - rows.start, cols.stop - cols.start)

    def centres(self) -> tuple[Array, Array]:
        """Coordinates of the cell centres: x of each column, y of each row. [m]"""
        x: Array = self.west + (np.arange(self.cols, dtype=np.float64) + 0.5) * self.cell
        y: Array = self.north - (np.arange(self.rows, dtype=np.float64) + 0.5) * self.cell
        return x, y

    def bilinear(self, values: Array, x: npt.ArrayLike, y: npt.ArrayLike) -> Array:
        """Value at points by bilinear interpolation between the four nearest cell centres.

        Exact on any inclined plane. NaN outside the outermost centres and wherever one of the four that bears
        weight is NaN.
        """
        from packpale.site import _kernels

        px, py = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        out = np.empty(px.shape)
        _kernels.bilinear(values, self.west, self.north, self.cell, px.flatten(), py.flatten(), out.reshape(-1))
        return out

    def nearest(self, values: npt.NDArray[T], x: npt.ArrayLike, y: npt.ArrayLike) -> npt.NDArray[T]:
        """Value of the cell that holds each point; points outside take the nearest edge cell."""
        col = np.clip(np.floor((np.asarray(x, float) - self.west) / self.cell).astype(int), 0, self.cols - 1)
        row = np.clip(np.floor((self.north - np.asarray(y, float)) / self.cell).astype(int), 0, self.rows - 1)
        picked: npt.NDArray[T] = values[row, col]
        return picked
