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
        col = (np.asarray(x, float) - self.west) / self.cell - 0.5
        row = (self.north - np.asarray(y, float)) / self.cell - 0.5
        within = (col >= 0) & (col <= self.cols - 1) & (row >= 0) & (row <= self.rows - 1)
        c0 = np.clip(np.floor(np.where(within, col, 0)).astype(int), 0, max(self.cols - 2, 0))
        r0 = np.clip(np.floor(np.where(within, row, 0)).astype(int), 0, max(self.rows - 2, 0))
        fc, fr = np.where(within, col, 0) - c0, np.where(within, row, 0) - r0
        total = np.zeros(col.shape)
        for dr, dc, weight in (
            (0, 0, (1 - fr) * (1 - fc)),
            (0, 1, (1 - fr) * fc),
            (1, 0, fr * (1 - fc)),
            (1, 1, fr * fc),
        ):
            corner = values[np.minimum(r0 + dr, self.rows - 1), np.minimum(c0 + dc, self.cols - 1)]
            # A missing neighbour without weight does no harm: 0 times NaN would.
            total += np.where(weight > 0, weight * corner, 0.0)
        return np.where(within, total, np.nan)

    def nearest(self, values: npt.NDArray[T], x: npt.ArrayLike, y: npt.ArrayLike) -> npt.NDArray[T]:
        """Value of the cell that holds each point; points outside take the nearest edge cell."""
        col = np.clip(np.floor((np.asarray(x, float) - self.west) / self.cell).astype(int), 0, self.cols - 1)
        row = np.clip(np.floor((self.north - np.asarray(y, float)) / self.cell).astype(int), 0, self.rows - 1)
        picked: npt.NDArray[T] = values[row, col]
        return picked
