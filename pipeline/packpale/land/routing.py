"""Steps of drainage: what the compiled loops work on is made here, since they make no arrays.

Directions are counted clockwise from east, as in _kernels_drainage.
"""

from typing import TypeVar

import numpy as np
import numpy.typing as npt

from packpale.land import _kernels_drainage as kernels
from packpale.site import Mask

F = TypeVar("F", np.float32, np.float64)
T = TypeVar("T", bound=np.generic)
Directions = npt.NDArray[np.int8]
Int32 = npt.NDArray[np.int32]

BLOCK = 256
"""Cells along the side of a block that shares its table of passes; only speed depends on it."""
BOTTOM, MISSING = kernels.BOTTOM, kernels.MISSING


def _padded_rows(z: kernels.Raster) -> kernels.Raster:
    return np.empty((3, z.shape[1] + 2), z.dtype)


def flat(cells: npt.NDArray[T]) -> npt.NDArray[T]:
    """The same memory as one row; raises ValueError if it does not lie in one piece."""
    return cells.reshape(-1, copy=False)


def steps(cols: int) -> npt.NDArray[np.int64]:
    """What each direction adds to a flat index."""
    return np.array(kernels.ROW_STEP, np.int64) * cols + np.array(kernels.COL_STEP, np.int64)


def point_down(z: npt.NDArray[F], direction: Directions, outlets: Mask) -> None:
    """Fill ``direction`` with the way to each cell's lowest neighbour, and ``outlets``."""
    kernels.point_down(z, _padded_rows(z), direction, outlets)


def number_basins(direction: Directions, basin: Int32) -> int:
    """Fill ``basin``, 0 at first, with the number of each cell's bottom from 1; return how many bottoms there are."""
    return int(kernels.number_basins(flat(direction), steps(direction.shape[1]), flat(basin)))


def passes(z: npt.NDArray[F], basin: Int32, outlets: Mask) -> tuple[Int32, Int32, npt.NDArray[F]]:
    """Lowest pass between each two basins that meet, and from each basin to the outside: node, node, height.

    A pass lies at the higher of two neighbouring cells. Worked out block by block, so that the table of the passes
    found stays small; a pair that meets in several blocks is listed for each. Node 0 is the outside.
    """
    ends, keys, heights = np.empty(BLOCK, bool), np.empty(4096, np.int64), np.empty(4096, z.dtype)
    first: list[Int32] = []
    second: list[Int32] = []
    height: list[npt.NDArray[F]] = []
    for r in range(0, z.shape[0], BLOCK):
        for c in range(0, z.shape[1], BLOCK):
            while kernels.block_passes(z, basin, outlets, r, c, ends, keys, heights) < 0:
                keys, heights = np.empty(2 * len(keys), np.int64), np.empty(2 * len(keys), z.dtype)
            used = keys != 0
            found = keys[used]
            first.append((found >> 32).astype(np.int32))
            second.append((found & 0xFFFFFFFF).astype(np.int32))
            height.append(heights[used])
    return _joined(first), _joined(second), _joined(height)


def _joined(parts: list[npt.NDArray[T]]) -> npt.NDArray[T]:
    """One array of all; the list is left empty, since there are many passes and all arrays are large at that point."""
    joined = np.concatenate(parts)
    parts.clear()
    return joined


def spill_levels(passes: tuple[Int32, Int32, npt.NDArray[F]], basins: int) -> npt.NDArray[F]:
    """Height to which each basin fills, by its number; of the outside (0) minus infinity."""
    first, second, height = passes
    node, size = np.arange(basins + 1, dtype=np.int32), np.ones(basins + 1, np.int32)
    size[0] = basins + 1  # the outside always takes the other in
    level = np.empty(basins + 1, height.dtype)
    level[0] = -np.inf
    kernels.spill_levels(first, second, height, np.argsort(height), node, node.copy(), size, level)
    return level


def raise_to(z: npt.NDArray[F], basin: Int32, level: npt.NDArray[F], filled: npt.NDArray[F]) -> None:
    """Fill ``filled`` with the ground, or the level of its basin where that is higher."""
    kernels.raise_to(flat(z), flat(basin), level, flat(filled))


def descend(filled: npt.NDArray[F], outlets: Mask, direction: Directions) -> None:
    """Fill ``direction`` with the steepest way down; OUTLET, MISSING or LEVEL where there is none."""
    kernels.descend(filled, _padded_rows(filled), outlets, direction)


def cross_flats(filled: npt.NDArray[F], direction: Directions) -> None:
    """Point each LEVEL cell towards the nearest rim of its flat, a cell from which water gets away."""
    rims, level_cells = _rims(filled, direction)
    queue = np.empty(len(rims) + level_cells, np.int32)
    queue[: len(rims)] = rims
    kernels.cross_flats(filled, direction, queue, len(rims))


def _rims(filled: npt.NDArray[F], direction: Directions) -> tuple[Int32, int]:
    """Flat indices of the rims of all flats, in order; and the number of LEVEL cells."""
    (rows, cols), way, ground = direction.shape, flat(direction), flat(filled)
    level = np.flatnonzero(way == kernels.LEVEL).astype(np.int32)
    row, col = np.divmod(level, np.int32(cols))
    is_rim = np.zeros(way.shape, bool)
    for down, right in zip(kernels.ROW_STEP, kernels.COL_STEP, strict=True):
        inside = (row >= -down) & (row < rows - down) & (col >= -right) & (col < cols - right)
        here = level[inside]
        beside = here + np.int32(down * cols + right)
        is_rim[beside[(way[beside] >= kernels.OUTLET) & (ground[beside] == ground[here])]] = True
    return np.flatnonzero(is_rim).astype(np.int32), len(level)


def accumulate(direction: Directions, count: Int32, from_outside: Mask) -> None:
    """Add to ``count`` and ``from_outside`` what comes from upstream."""
    way, step, donors = flat(direction), steps(direction.shape[1]), np.zeros(direction.size, np.int8)
    kernels.count_donors(way, step, donors)
    kernels.accumulate(way, step, donors, flat(count), flat(from_outside))


def longest_paths(direction: Directions, length: npt.NDArray[F], head: npt.NDArray[F]) -> None:
    """Pass ``length`` [cells] of the longest way from above, and the level of its ``head``, down the flow."""
    way, step, donors = flat(direction), steps(direction.shape[1]), np.zeros(direction.size, np.int8)
    kernels.count_donors(way, step, donors)
    kernels.longest_paths(way, step, donors, flat(length), flat(head))


def height_above(filled: npt.NDArray[F], direction: Directions, channel: Mask) -> npt.NDArray[F]:
    """Height of each cell above the channel cell it drains to, NaN where there is none."""
    height = np.empty_like(filled)
    kernels.height_above(flat(filled), flat(direction), steps(direction.shape[1]), flat(channel), flat(height))
    return height
