"""Where the arrays of one plot stand, and in which pieces they are worked through.

A plot that would take more memory than it may has its arrays in files and is worked through strip by strip; what was
read or written of the files leaves memory after every strip. Results are the same to the last bit.
"""

import dataclasses
import itertools
import mmap
import os
import tempfile
import weakref
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from packpale.site.grid import Grid

T = TypeVar("T")
STRIP_CELLS = 2_000_000
"""Cells worked on at a time. 16 MB for each array over them."""
LEAST_ROWS = 3
"""Rows of a strip, unless the window has fewer: with one more row on a side a window of three rows finds its place."""

_mapped: "weakref.WeakSet[mmap.mmap]" = weakref.WeakSet()


@dataclass(frozen=True)
class Strip:
    """Whole rows of a window."""

    rows: slice
    around: slice
    """With the rows asked for on both sides, as far as the window has them."""

    @property
    def within(self) -> slice:
        """The strip's own rows, counted from the first of ``around``."""
        return slice(self.rows.start - self.around.start, self.rows.stop - self.around.start)


@dataclass(frozen=True)
class Storage:
    """Memory, or a folder that holds the arrays in files."""

    folder: Path | None = None
    """Exists; the files in it have no name and end with the process. None for memory."""
    strip_cells: int = STRIP_CELLS

    @property
    def in_files(self) -> bool:
        return self.folder is not None

    def empty(self, shape: tuple[int, ...], dtype: npt.DTypeLike = np.float64) -> npt.NDArray[Any]:
        """A new array of any content. Raises OSError if the folder's disk has no room for it."""
        size = int(np.prod(shape)) * np.dtype(dtype).itemsize
        if self.folder is None or size == 0:
            return np.empty(shape, dtype)
        with tempfile.TemporaryFile(dir=self.folder) as file:
            # All at once, so that a full disk is found here: a write to a mapped page could not be refused.
            if hasattr(os, "posix_fallocate"):
                os.posix_fallocate(file.fileno(), 0, size)
            else:
                file.truncate(size)
            held = mmap.mmap(file.fileno(), size)
        _mapped.add(held)
        return np.frombuffer(held, dtype).reshape(shape)

    def strips(self, grid: Grid, *, margin: int = 0) -> Iterator[Strip]:
        """The rows of a grid in strips, from the north; each with up to ``margin`` rows more on both sides."""
        pieces = -(-grid.rows // max(LEAST_ROWS, self.strip_cells // max(grid.cols, 1)))
        ends = [grid.rows * k // pieces for k in range(pieces + 1)]
        for top, bottom in itertools.pairwise(ends):
            yield Strip(slice(top, bottom), slice(max(top - margin, 0), min(bottom + margin, grid.rows)))
            let_go()


IN_MEMORY = Storage()


def pieces(array: npt.NDArray[Any]) -> Iterator[npt.NDArray[Any]]:
    """An array in pieces of whole rows, for what has to pass over all of it once."""
    step = max(1, STRIP_CELLS // max(int(np.prod(array.shape[1:])), 1))
    for top in range(0, len(array), step):
        yield array[top : top + step]
        let_go()


def let_go() -> None:
    """Take all arrays that stand in files out of memory; they are read again where they are needed."""
    if hasattr(mmap, "MADV_DONTNEED"):
        for held in list(_mapped):
            held.madvise(mmap.MADV_DONTNEED)


def cut(value: T, rows: slice) -> T:
    """A dataclass of arrays over a window with the same arrays over some of its rows."""
    if not dataclasses.is_dataclass(value) or isinstance(value, type):
        raise TypeError(f"only a dataclass of arrays can be cut, not {type(value).__name__}")
    return dataclasses.replace(value, **{f.name: getattr(value, f.name)[rows] for f in dataclasses.fields(value)})
