"""Drainage of a window that is too large for memory: strip by strip, with the same result to the last bit.

What crosses from strip to strip is worked out on the first and last rows of the strips alone, as a graph that fits in
memory: ways that leave a strip are followed from edge to edge, and each strip is then done with what its edges receive.

References
----------
.. [1] R. Barnes, "Parallel Priority-Flood depression filling for trillion cell DEMs on desktops or clusters", Computers
   & Geosciences 96, 2016, 56-68: filling by tiles, joined over a graph of their watersheds.
.. [2] R. Barnes, "Parallel non-divergent flow accumulation for trillion cell digital elevation models on desktops or
   clusters", Environmental Modelling & Software 92, 2017, 202-212: upstream area by tiles.
"""

from collections.abc import Callable, Iterator

import numpy as np
import numpy.typing as npt

from packpale.land import _kernels_strips, routing
from packpale.land.drainage import Drainage, wetness_index
from packpale.site import Array, Grid, Mask, Storage
from packpale.site.storage import Strip

Directions = npt.NDArray[np.int8]
Ends = npt.NDArray[np.int32]


def drainage_by_strips(
    elevation: Array, slope: Array, *, grid: Grid, channel_area: float, storage: Storage
) -> Drainage:
    """As ``packpale.land.drainage.drainage``, with arrays in ``storage``.

    Beside those, memory holds some cells of every flat and the lowest passes between basins: on real ground a few bytes
    for each cell of the window.
    """
    direction, outlets = storage.empty(grid.shape, np.int8), storage.empty(grid.shape, bool)
    filled = _filled(elevation, direction, outlets, grid, storage)
    _descend(filled, outlets, direction, grid, storage)
    _cross_flats(filled, direction, grid, storage)
    out = Drainage(
        filled=filled,
        ponding=storage.empty(grid.shape),
        upstream_area=storage.empty(grid.shape),
        upstream_is_lower_bound=outlets,
        wetness=storage.empty(grid.shape),
        channel=storage.empty(grid.shape, bool),
        height_above_drainage=storage.empty(grid.shape),
        direction=direction,
    )
    for rows, count, from_outside in _upstream_cells(direction, outlets, grid, storage):
        missing = np.isnan(elevation[rows])
        area = np.multiply(count, grid.cell**2, dtype=elevation.dtype)
        area[missing] = np.nan
        out.upstream_area[rows] = area
        out.upstream_is_lower_bound[rows] = from_outside
        out.channel[rows] = area >= channel_area
        out.wetness[rows] = wetness_index(area / grid.cell, slope[rows])
        out.ponding[rows] = filled[rows] - elevation[rows]
    _height_above(out, grid, storage)
    return out


def _filled(z: Array, direction: Directions, outlets: Mask, grid: Grid, storage: Storage) -> Array:
    """The ground with its depressions filled; sets ``outlets`` and overwrites ``direction``."""
    for strip in storage.strips(grid, margin=1):
        part = z[strip.around]
        way, out = np.empty(part.shape, np.int8), np.empty(part.shape, bool)
        routing.point_down(part, way, out)
        direction[strip.rows], outlets[strip.rows] = way[strip.within], out[strip.within]
    basin = storage.empty(grid.shape, np.int32)
    count = 0
    nowhere = np.zeros(0, bool)
    for rows, number in _values_downstream(direction, nowhere, _Numbers(direction), grid, storage):
        basin[rows] = number
        count = max(count, int(number.max()))
    found = []
    for strip in storage.strips(grid, margin=1):
        # With the row to the south, whose own passes come again with the next strip.
        rows = slice(strip.rows.start, strip.around.stop)
        found.append(routing.passes(z[rows], basin[rows], outlets[rows]))
    first, second, height = (np.concatenate(parts) for parts in zip(*found, strict=True))
    del found
    level = routing.spill_levels((first, second, height), count)
    del first, second, height
    filled: Array = storage.empty(grid.shape)
    for strip in storage.strips(grid):
        routing.raise_to(z[strip.rows], basin[strip.rows], level, filled[strip.rows])
    return filled


def _descend(filled: Array, outlets: Mask, direction: Directions, grid: Grid, storage: Storage) -> None:
    for strip in storage.strips(grid, margin=1):
        way = np.empty(filled[strip.around].shape, np.int8)
        routing.descend(filled[strip.around], outlets[strip.around], way)
        direction[strip.rows] = way[strip.within]


def _cross_flats(filled: Array, direction: Directions, grid: Grid, storage: Storage) -> None:
    found = []
    for strip in storage.strips(grid, margin=1):
        around, within = strip.around, strip.within
        row, *rest = _kernels_strips.flat_cells(filled[around], direction[around], within.start, within.stop)
        found.append((row + np.int32(strip.rows.start), *rest))
    row, col, height, way = (np.concatenate(parts) for parts in zip(*found, strict=True))
    del found
    row_start = np.searchsorted(row, np.arange(grid.rows + 1)).astype(np.int64)
    _kernels_strips.cross_listed_flats(row_start, row, col, height, way)
    for strip in storage.strips(grid):
        here = slice(row_start[strip.rows.start], row_start[strip.rows.stop])
        direction[strip.rows][row[here] - strip.rows.start, col[here]] = way[here]


def _upstream_cells(
    direction: Directions, outlets: Mask, grid: Grid, storage: Storage
) -> Iterator[tuple[slice, npt.NDArray[np.int32], Mask]]:
    """Rows, number of cells that drain through each, and whether that is a lower bound; strip by strip."""
    cols, last = grid.cols, len(list(storage.strips(grid))) - 1
    target = np.full((last + 1, 2, cols), -1, np.int64)
    amount, fed = np.zeros(target.shape, np.int64), np.zeros(target.shape, bool)
    for k, strip in enumerate(storage.strips(grid)):
        way = direction[strip.rows]
        _, _, leaving, leaving_fed = _accumulated(way, outlets[strip.rows], None)
        if k > 0:
            amount[k - 1, 1] += leaving[0]
            fed[k - 1, 1] |= leaving_fed[0]
        if k < last:
            amount[k + 1, 0] += leaving[1]
            fed[k + 1, 0] |= leaving_fed[1]
        target[k] = _targets(_ends(way, np.zeros(0, bool)), k, cols)
    _kernels_strips.pass_on(target.ravel(), amount.ravel(), fed.ravel())
    for k, strip in enumerate(storage.strips(grid)):
        count, outside, _, _ = _accumulated(direction[strip.rows], outlets[strip.rows], (amount[k], fed[k]))
        yield strip.rows, count, outside


def _accumulated(
    way: Directions, outlets: Mask, received: tuple[npt.NDArray[np.int64], Mask] | None
) -> tuple[npt.NDArray[np.int32], Mask, npt.NDArray[np.int32], Mask]:
    """Upstream cells of a strip alone, or with what its first and last row receive; and what leaves it."""
    from_outside = outlets.copy()
    count = np.not_equal(way, routing.MISSING).astype(np.int32)
    if received is not None:
        for side, row in enumerate((0, -1)):
            count[row] += received[0][side].astype(np.int32)
            from_outside[row] |= received[1][side]
    return count, from_outside, *routing.accumulate(way, count, from_outside)


def _height_above(water: Drainage, grid: Grid, storage: Storage) -> None:
    """Fill ``water.height_above_drainage``."""

    def levels(strip: Strip) -> Callable[[Ends], Array]:
        ground, channel = water.filled[strip.rows].ravel(), water.channel[strip.rows].ravel()
        return lambda at: np.where(channel[at], ground[at], np.nan)

    for rows, level in _values_downstream(water.direction, water.channel, levels, grid, storage):
        water.height_above_drainage[rows] = water.filled[rows] - level


class _Numbers:
    """Numbers of basins, from 1: one for each cell that leads nowhere; 0 for missing cells."""

    def __init__(self, direction: Directions) -> None:
        self.direction = direction
        self.before: dict[int, int] = {0: 0}
        """How many there are north of a row."""

    def __call__(self, strip: Strip) -> Callable[[Ends], Array]:
        way = self.direction[strip.rows].ravel()
        numbers = np.cumsum(way == routing.BOTTOM) + self.before[strip.rows.start]
        self.before[strip.rows.stop] = int(numbers[-1])
        numbers[way == routing.MISSING] = 0
        return lambda at: numbers[at].astype(float)


def _values_downstream(
    direction: Directions,
    stop: Mask,
    values: Callable[[Strip], Callable[[Ends], Array]],
    grid: Grid,
    storage: Storage,
) -> Iterator[tuple[slice, Array]]:
    """Rows, and for each of their cells the value where its way down ends; strip by strip.

    A way ends at cells of ``stop``, which may be empty, and where the direction is negative. ``values`` gives for a
    strip the function from such cells, by flat index in the strip, to their values; strips come in order, twice.
    """
    cols, count = grid.cols, len(list(storage.strips(grid)))
    target, value = np.full((count, 2, cols), -1, np.int64), np.full((count, 2, cols), np.nan)

    def ends(strip: Strip) -> Ends:
        return _ends(direction[strip.rows], stop[strip.rows] if stop.size else stop)

    for k, strip in enumerate(storage.strips(grid)):
        end = ends(strip)[[0, -1]]
        value_at, known = values(strip), end >= 0
        value[k][known] = value_at(end[known])
        target[k] = _targets(end, k, cols)
    _kernels_strips.resolve(target.ravel(), value.ravel())
    for k, strip in enumerate(storage.strips(grid)):
        end = ends(strip)
        # Of a code -1 - c or -1 - cols - c for a neighbour's row; -1 stands for no neighbour.
        beyond = np.concatenate([value[k - 1, 1] if k else np.full(cols, np.nan), *value[k + 1 : k + 2, 0]])
        out = np.empty(end.shape)
        inside = end >= 0
        out[inside] = values(strip)(end[inside])
        out[~inside] = beyond[-1 - end[~inside]]
        yield strip.rows, out


def _ends(way: Directions, stop: Mask) -> Ends:
    end = np.empty(way.shape, np.int32)
    _kernels_strips.ends(way, stop if stop.size else np.zeros(way.shape, bool), end)
    return end


def _targets(end: Ends, k: int, cols: int) -> npt.NDArray[np.int64]:
    """Nodes that the first and the last row of strip ``k`` lead to, of (strips, 2, cols); -1 where none."""
    end = end[[0, -1]]
    code = -1 - end.astype(np.int64)
    north, south = ((k - 1) * 2 + 1) * cols + code, (k + 1) * 2 * cols + code - cols
    targets: npt.NDArray[np.int64] = np.where(end >= 0, -1, np.where(code < cols, north, south))
    return targets
