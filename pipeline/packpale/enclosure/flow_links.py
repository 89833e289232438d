"""Steps of the flow from cell to cell that cross a closed line."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from packpale.enclosure.line import Line
from packpale.site.grid import Array, Grid, Mask

ROW_STEP = np.array([0, 1, 1, 1, 0, -1, -1, -1])
COL_STEP = np.array([1, 1, 0, -1, -1, -1, 0, 1])
HALVINGS = 40
"""Steps that bring the place on a link down to a millionth of a millionth of its length."""


@dataclass(frozen=True)
class Links:
    """Steps of the flow from cell to cell that cross a closed line; arrays of shape (links,)."""

    row: npt.NDArray[np.int64]
    col: npt.NDArray[np.int64]
    """Of the cell above the line."""
    inward: Mask
    share: Array
    """Part of the way to the next cell at which the line is met."""
    x: Array
    y: Array


def links_across(line: Line, grid: Grid, direction: npt.NDArray[np.int8], carries: Mask) -> Links:
    """Every link of the flow, from a cell that ``carries`` enough, whose ends lie on two sides of a line, once each.

    A link that clips the line with both ends on one side is none: it is shorter than the elevation model tells apart.
    What leaves the line through all links is what enters through them and what falls inside, to the last cell.
    """
    row, col = np.nonzero(carries & (direction >= 0))
    to = direction[row, col]
    x, y = grid.centres()
    x0, y0, x1, y1 = x[col], y[row], x[col + COL_STEP[to]], y[row + ROW_STEP[to]]
    inside = line.contains(x0, y0)
    across = inside != line.contains(x1, y1)
    row, col, x0, y0, x1, y1, inside = (a[across] for a in (row, col, x0, y0, x1, y1, inside))
    low, high = np.zeros(row.size), np.ones(row.size)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        before = line.contains(x0 + middle * (x1 - x0), y0 + middle * (y1 - y0)) == inside
        low, high = np.where(before, middle, low), np.where(before, high, middle)
    return Links(row, col, ~inside, high, x0 + high * (x1 - x0), y0 + high * (y1 - y0))
