"""Squares of cells at the same places for every plot, and those that were read once for all plots of a run."""

from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from packpale.site.grid import Array, Grid

SIDE = 512
"""Of a square. [cells] As of the blocks of many rasters, so that few of them lie under two squares."""


@dataclass(frozen=True)
class Part:
    """Cells of one square, from ``top`` to ``bottom`` and ``left`` to ``right`` of its north-western corner.

    ``square`` is its place, row and column of squares from the origin of the run's cells to the south and east.
    """

    square: tuple[int, int]
    top: int
    bottom: int
    left: int
    right: int

    @property
    def shape(self) -> tuple[int, int]:
        return self.bottom - self.top, self.right - self.left

    @property
    def cells(self) -> int:
        return self.shape[0] * self.shape[1]

    def grid(self, origin: tuple[float, float], cell: float) -> Grid:
        """The cells themselves; of ``cell`` metres, counted from the corner ``origin``."""
        return self.whole(origin, cell).part(slice(self.top, self.bottom), slice(self.left, self.right))

    def whole(self, origin: tuple[float, float], cell: float) -> Grid:
        """All cells of the square."""
        row, col = self.square
        return Grid(origin[0] + col * SIDE * cell, origin[1] - row * SIDE * cell, cell, SIDE, SIDE)

    def common(self, other: "Part") -> "Part":
        """Cells in this part and in another of the same square; none if its ``shape`` is not above 0."""
        ends = max(self.top, other.top), min(self.bottom, other.bottom)
        return Part(self.square, *ends, max(self.left, other.left), min(self.right, other.right))

    def with_(self, other: "Part") -> "Part":
        """The least part that holds this one and another of the same square."""
        ends = min(self.top, other.top), max(self.bottom, other.bottom)
        return Part(self.square, *ends, min(self.left, other.left), max(self.right, other.right))

    def within(self, other: "Part") -> tuple[slice, slice]:
        """Rows and columns of this part in an array over another that holds it."""
        rows = slice(self.top - other.top, self.bottom - other.top)
        return rows, slice(self.left - other.left, self.right - other.left)


def parts(grid: Grid, origin: tuple[float, float]) -> Iterator[tuple[Part, tuple[slice, slice]]]:
    """The squares under a grid, row by row from the north-west: what of each, and its rows and columns in the grid.

    ``origin`` is the corner (x, y) that cells are counted from. [m]
    """
    first_row, first_col = round((origin[1] - grid.north) / grid.cell), round((grid.west - origin[0]) / grid.cell)
    for row, top, bottom in _cut(first_row, grid.rows):
        for col, left, right in _cut(first_col, grid.cols):
            north, west = row * SIDE, col * SIDE
            part = Part((row, col), top - north, bottom - north, left - west, right - west)
            yield part, (slice(top - first_row, bottom - first_row), slice(left - first_col, right - first_col))


def _cut(first: int, count: int) -> list[tuple[int, int, int]]:
    """A run of rows or columns cut where squares meet: number of the square, first cell, and that after the last."""
    return [
        (n, max(first, n * SIDE), min(first + count, (n + 1) * SIDE))
        for n in range(first // SIDE, (first + count - 1) // SIDE + 1)
    ]


def all_parts(grids: Iterable[Grid], origin: tuple[float, float]) -> list[Part]:
    """What lies of each square under any of the grids, row of squares by row, in parts that hold no cell twice.

    Where parts of two grids overlap they become the least part that holds both, which may hold some cells more.
    """
    found: dict[tuple[int, int], list[Part]] = {}
    for grid in grids:
        for part, _ in parts(grid, origin):
            others, whole = found.setdefault(part.square, []), part
            while hit := next((other for other in others if min(whole.common(other).shape) > 0), None):
                others.remove(hit)
                whole = whole.with_(hit)
            others.append(whole)
    return [part for square in sorted(found) for part in sorted(found[square], key=lambda p: (p.top, p.left))]


@dataclass(frozen=True)
class KeptCells:
    """Elevations that were read once for all plots of a run, a file for each part of a square."""

    folder: Path
    parts: Mapping[tuple[int, int], tuple[Part, ...]]
    """What is there of each square."""

    def find(self, part: Part) -> Array | None:
        """Elevations of a part; None where they are not kept, or not any more. [m]"""
        for kept in self.parts.get(part.square, ()):
            if kept.common(part) == part:
                with suppress(OSError, ValueError):
                    return np.array(np.load(file_of(self.folder, kept), mmap_mode="r")[part.within(kept)])
        return None


def file_of(folder: Path, part: Part) -> Path:
    """Where the cells of a part are kept."""
    return folder / f"{part.square[0]}_{part.square[1]}_{part.top}_{part.left}.npy"
