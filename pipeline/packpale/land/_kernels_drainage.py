"""Compiled loops that fill depressions, and of flow over filled ground: no checks, no defaults, no files.

Directions are counted clockwise from east. Node 0 of the graph is the outside, node n the n-th basin.
"""

# ruff: noqa: PLR0917 - compiled functions take no keyword-only arguments

from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

Raster = npt.NDArray[np.floating[Any]]
Int8 = npt.NDArray[np.int8]
Int32 = npt.NDArray[np.int32]
Int64 = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

ROW_STEP = (0, 1, 1, 1, 0, -1, -1, -1)
COL_STEP = (1, 1, 0, -1, -1, -1, 0, 1)
BOTTOM = OUTLET = -1
MISSING = -2
LEVEL = -3
"""Not yet known: no neighbour is lower."""


@njit(cache=True)
def _flat_steps(cols: int) -> Int64:
    """What each direction adds to a flat index."""
    step = np.empty(8, np.int64)
    for k in range(8):
        step[k] = ROW_STEP[k] * cols + COL_STEP[k]
    return step


@njit(cache=True)
def _padded_row(z: Raster, row: int, out: Raster) -> None:
    """Fill ``out`` with a row of ``z`` between two NaN; with NaN alone where there is no such row."""
    # Cell by cell: assigning one array to a slice of another would compile 3 s longer, for the text of its errors.
    known = 0 <= row < z.shape[0]
    out[0] = out[-1] = np.nan
    for c in range(z.shape[1]):
        out[c + 1] = z[row, c] if known else np.nan


@njit(cache=True)
def _point_down_row(above: Raster, here: Raster, below: Raster, to: Int8, out: Mask) -> None:
    """As point_down, for one row between two others, all padded."""
    # Views shifted by one cell: an index that runs from 0 needs no check for wrapping round.
    north_west, north, north_east = above[:-2], above[1:-1], above[2:]
    west, mid, east = here[:-2], here[1:-1], here[2:]
    south_west, south, south_east = below[:-2], below[1:-1], below[2:]
    for c in range(to.shape[0]):
        low, k = mid[c], np.int8(BOTTOM)
        # Cells of smaller index, from the largest down: an equal one takes over.
        low, k = (west[c], np.int8(4)) if west[c] <= low else (low, k)
        low, k = (north_east[c], np.int8(7)) if north_east[c] <= low else (low, k)
        low, k = (north[c], np.int8(6)) if north[c] <= low else (low, k)
        low, k = (north_west[c], np.int8(5)) if north_west[c] <= low else (low, k)
        low, k = (east[c], np.int8(0)) if east[c] < low else (low, k)
        low, k = (south_west[c], np.int8(3)) if south_west[c] < low else (low, k)
        low, k = (south[c], np.int8(2)) if south[c] < low else (low, k)
        low, k = (south_east[c], np.int8(1)) if south_east[c] < low else (low, k)
        missing = mid[c] != mid[c]
        beside = (
            (north_west[c] != north_west[c])
            | (north[c] != north[c])
            | (north_east[c] != north_east[c])
            | (west[c] != west[c])
            | (east[c] != east[c])
            | (south_west[c] != south_west[c])
            | (south[c] != south[c])
            | (south_east[c] != south_east[c])
        )
        to[c] = np.int8(MISSING) if missing else k
        out[c] = beside & (not missing)


@njit(cache=True)
def point_down(z: Raster, direction: Int8, outlet: Mask) -> None:
    """Point each cell to its lowest neighbour, or mark it BOTTOM or MISSING; say which cells are outlets.

    Of equally low cells the one with the smaller flat index counts as lower, so that no two point at each other.
    """
    rows, cols = z.shape
    above, here, below = np.empty(cols + 2, z.dtype), np.empty(cols + 2, z.dtype), np.empty(cols + 2, z.dtype)
    for r in range(-2, rows):
        above, here, below = here, below, above
        _padded_row(z, r + 1, below)
        if r >= 0:
            _point_down_row(above, here, below, direction[r], outlet[r])


@njit(cache=True)
def number_basins(direction: Int8, basin: Int32) -> int:
    """Number the bottoms from 1 and give each cell the number of the bottom it leads to; return how many there are.

    ``basin`` comes in as 0, and stays so where cells are missing.
    """
    way, number_of = direction.ravel(), basin.ravel()
    step = _flat_steps(direction.shape[1])
    count = 0
    for cell in range(way.shape[0]):
        if number_of[cell] != 0 or way[cell] == MISSING:
            continue
        at = cell
        while number_of[at] == 0 and way[at] >= 0:
            at += step[way[at]]
        if number_of[at] == 0:
            count += 1
            number_of[at] = count
        number = number_of[at]
        at = cell
        while number_of[at] == 0:
            number_of[at] = number
            at += step[way[at]]
    return count


@njit(cache=True)
def _slot(keys: Int64, key: np.int64) -> int:
    """Where a key stands in the table, or the empty place (0) where it may be put."""
    last = keys.shape[0] - 1
    # Two large odd numbers spread neighbouring pairs over the table.
    at: int = (((key >> 32) * 0x9E3779B1 + (key & 0xFFFFFFFF) * 0x85EBCA6B) >> 15) & last
    while keys[at] != 0 and keys[at] != key:
        at = (at + 1) & last
    return at


@njit(cache=True)
def _note(keys: Int64, heights: Raster, key: np.int64, height: float) -> bool:
    """Keep the lowest height of a key; whether the key is new."""
    at = _slot(keys, key)
    if keys[at] == 0:
        keys[at], heights[at] = key, height
        return True
    heights[at] = min(heights[at], height)
    return False


@njit(cache=True)
def _twice(keys: Int64, heights: Raster) -> tuple[Int64, Raster]:
    """The same table with twice the room."""
    more_keys, more_heights = np.zeros(2 * keys.shape[0], np.int64), np.empty(2 * keys.shape[0], heights.dtype)
    for i in range(keys.shape[0]):
        if keys[i] != 0:
            _note(more_keys, more_heights, keys[i], heights[i])
    return more_keys, more_heights


@njit(cache=True)
def _ends(basin: Int32, outlet: Mask, row: int, columns: tuple[int, int], ends: Mask) -> None:
    """Mark the cells of a row, from the first column up to the last, that lie at the end of their basin."""
    below = basin[min(row + 1, basin.shape[0] - 1)]
    here, out = basin[row], outlet[row]
    for c in range(columns[0], columns[1]):
        left, right = max(c - 1, 0), min(c + 1, here.shape[0] - 1)
        b = here[c]
        # A missing cell (0) beside a basin is taken for another basin: nothing comes of it.
        ends[c - columns[0]] = (b != 0) & (
            out[c] | (here[right] != b) | (below[left] != b) | (below[c] != b) | (below[right] != b)
        )


@njit(cache=True)
def _note_passes(z: Raster, basin: Int32, outlet: Mask, r: int, c: int, keys: Int64, heights: Raster) -> int:
    """Note the passes from one cell to the outside and to its neighbours east and south; return how many are new."""
    here, new = basin[r, c], 0
    if outlet[r, c]:
        new += _note(keys, heights, np.int64(here), z[r, c])
    for k in range(4):
        row, col = r + ROW_STEP[k], c + COL_STEP[k]
        if row >= z.shape[0] or col < 0 or col >= z.shape[1]:
            continue
        there = basin[row, col]
        if there > 0 and there != here:
            key = (np.int64(min(here, there)) << 32) | np.int64(max(here, there))
            new += _note(keys, heights, key, max(z[r, c], z[row, col]))
    return new


@njit(cache=True)
def _block_passes(
    z: Raster, basin: Int32, outlet: Mask, corner: tuple[int, int], block: int, keys: Int64, heights: Raster
) -> tuple[int, Int64, Raster]:
    """Passes from the cells of one block: how many, and the table that holds them."""
    rows, cols = min(corner[0] + block, z.shape[0]), min(corner[1] + block, z.shape[1])
    ends = np.empty(block, np.bool_)
    found = 0
    for i in range(keys.shape[0]):
        keys[i] = 0
    for r in range(corner[0], rows):
        _ends(basin, outlet, r, (corner[1], cols), ends)
        for c in range(corner[1], cols):
            if ends[c - corner[1]]:
                if 2 * (found + 5) > keys.shape[0]:
                    keys, heights = _twice(keys, heights)
                found += _note_passes(z, basin, outlet, r, c, keys, heights)
    return found, keys, heights


@njit(cache=True)
def passes(z: Raster, basin: Int32, outlet: Mask, block: int) -> tuple[Int32, Int32, Raster]:
    """Lowest pass between each two basins that meet, and from each basin to the outside: node, node, height.

    A pass lies at the higher of two neighbouring cells. Worked out block by block, so that the table of the passes
    found stays small; a pair that meets in several blocks is listed for each.
    """
    size, first, second, height = 0, np.empty(1024, np.int32), np.empty(1024, np.int32), np.empty(1024, z.dtype)
    keys, heights = np.zeros(4096, np.int64), np.empty(4096, z.dtype)
    for r in range(0, z.shape[0], block):
        for c in range(0, z.shape[1], block):
            found, keys, heights = _block_passes(z, basin, outlet, (r, c), block, keys, heights)
            if size + found > first.shape[0]:
                more = max(found, first.shape[0] // 2)
                first = np.concatenate((first, np.empty(more, np.int32)))
                second = np.concatenate((second, np.empty(more, np.int32)))
                height = np.concatenate((height, np.empty(more, z.dtype)))
            for i in range(keys.shape[0]):
                if keys[i] != 0:
                    first[size], second[size], height[size] = keys[i] >> 32, keys[i] & 0xFFFFFFFF, heights[i]
                    size += 1
    return first[:size], second[:size], height[:size]


@njit(cache=True)
def _root(parent: Int32, node: int) -> int:
    while parent[node] != node:
        parent[node] = parent[parent[node]]
        node = parent[node]
    return node


@njit(cache=True)
def spill_levels(first: Int32, second: Int32, height: Raster, lowest_first: Int64, level: Raster) -> None:
    """Fill ``level`` with the height to which each basin fills before its water gets outside.

    Basins are joined over the passes from the lowest up; a group of basins that meets the outside spills there.
    """
    nodes = level.shape[0]
    parent, members, size = np.empty(nodes, np.int32), np.empty(nodes, np.int32), np.empty(nodes, np.int32)
    for node in range(nodes):
        parent[node], members[node], size[node] = node, node, 1
    size[0] = nodes  # the outside always takes the other in
    level[0] = -np.inf
    for i in lowest_first:
        one, other = _root(parent, first[i]), _root(parent, second[i])
        if one == other:
            continue
        if size[one] < size[other]:
            one, other = other, one
        parent[other] = one
        if one == 0:
            node = other
            while True:
                level[node] = height[i]
                node = members[node]
                if node == other:
                    break
        else:
            # Members stand in rings: exchanging two successors makes one ring of two.
            members[one], members[other] = members[other], members[one]
            size[one] += size[other]


@njit(cache=True)
def raise_to(z: Raster, basin: Int32, level: Raster, filled: Raster) -> None:
    """Fill ``filled`` with the ground, or the level of its basin where that is higher."""
    for r in range(z.shape[0]):
        for c in range(z.shape[1]):
            spill = level[basin[r, c]]
            filled[r, c] = spill if spill > z[r, c] else z[r, c]


@njit(cache=True)
def _descend_row(above: Raster, here: Raster, below: Raster, out: Mask, to: Int8) -> None:
    """As descend, for one row between two others, all padded."""
    diagonal = 0.7071067811865476
    north_west, north, north_east = above[:-2], above[1:-1], above[2:]
    west, mid, east = here[:-2], here[1:-1], here[2:]
    south_west, south, south_east = below[:-2], below[1:-1], below[2:]
    for c in range(to.shape[0]):
        z = np.float64(mid[c])
        # Comparisons with NaN are false. One choice a value, not one for both, lets the loop run vectorised.
        k, drop = np.int64(OUTLET) if out[c] else np.int64(LEVEL), 0.0
        d = z - east[c]
        k, drop = np.int64(0) if d > drop else k, d if d > drop else drop
        d = (z - south_east[c]) * diagonal
        k, drop = np.int64(1) if d > drop else k, d if d > drop else drop
        d = z - south[c]
        k, drop = np.int64(2) if d > drop else k, d if d > drop else drop
        d = (z - south_west[c]) * diagonal
        k, drop = np.int64(3) if d > drop else k, d if d > drop else drop
        d = z - west[c]
        k, drop = np.int64(4) if d > drop else k, d if d > drop else drop
        d = (z - north_west[c]) * diagonal
        k, drop = np.int64(5) if d > drop else k, d if d > drop else drop
        d = z - north[c]
        k, drop = np.int64(6) if d > drop else k, d if d > drop else drop
        d = (z - north_east[c]) * diagonal
        k, drop = np.int64(7) if d > drop else k, d if d > drop else drop
        to[c] = k if mid[c] == mid[c] else MISSING


@njit(cache=True)
def descend(filled: Raster, outlet: Mask, direction: Int8) -> None:
    """Point each cell down the steepest way, the first of equals clockwise from east; else OUTLET, MISSING or LEVEL."""
    rows, cols = filled.shape
    above = np.empty(cols + 2, filled.dtype)
    here, below = np.empty_like(above), np.empty_like(above)
    for r in range(-2, rows):
        above, here, below = here, below, above
        _padded_row(filled, r + 1, below)
        if r >= 0:
            _descend_row(above, here, below, outlet[r], direction[r])


@njit(cache=True)
def _is_rim(filled: Raster, direction: Int8, r: int, c: int) -> bool:
    """Whether water gets away from a cell, and a LEVEL cell of its height is beside it."""
    if direction[r, c] < OUTLET:
        return False
    for k in range(8):
        row, col = r + ROW_STEP[k], c + COL_STEP[k]
        if row < 0 or col < 0 or row >= filled.shape[0] or col >= filled.shape[1]:
            continue
        if direction[row, col] == LEVEL and filled[row, col] == filled[r, c]:
            return True
    return False


@njit(cache=True)
def _rims(filled: Raster, direction: Int8) -> Int32:
    """Flat indices of the rims of all flats, in order."""
    rows, cols = filled.shape
    size, queue = 0, np.empty(1024, np.int32)
    near = np.empty(cols, np.bool_)
    for r in range(rows):
        above, here, below = direction[max(r - 1, 0)], direction[r], direction[min(r + 1, rows - 1)]
        # A quick look at the column first: few cells are level.
        for c in range(cols):
            near[c] = (above[c] == LEVEL) | (here[c] == LEVEL) | (below[c] == LEVEL)
        for c in range(cols):
            if near[max(c - 1, 0)] | near[c] | near[min(c + 1, cols - 1)] and _is_rim(filled, direction, r, c):
                if size == queue.shape[0]:
                    queue = np.concatenate((queue, np.empty_like(queue)))
                queue[size] = r * cols + c
                size += 1
    return queue[:size]


@njit(cache=True)
def cross_flats(filled: Raster, direction: Int8) -> None:
    """Point each LEVEL cell back to where a flood from the flat's rims reached it.

    Rims are cells of the flat from which water gets away; the flood starts from them in the order of their indices
    and goes on cell by cell, so that a flat drains to its nearest rim.
    """
    rows, cols = filled.shape
    queue = _rims(filled, direction)
    # Cells of one distance from the rims after the other; each round reads one queue and writes the next.
    while queue.shape[0] > 0:
        size, following = 0, np.empty(8 * queue.shape[0], np.int32)
        for i in range(queue.shape[0]):
            r, c = queue[i] // cols, queue[i] % cols
            for k in range(8):
                row, col = r + ROW_STEP[k], c + COL_STEP[k]
                if row < 0 or col < 0 or row >= rows or col >= cols or direction[row, col] != LEVEL:
                    continue
                if filled[row, col] == filled[r, c]:
                    direction[row, col] = (k + 4) & 7
                    following[size] = row * cols + col
                    size += 1
        queue = following[:size].copy()


@njit(cache=True)
def count_donors(direction: Int8, donors: Int8) -> None:
    """Add to ``donors``, 0 at first, the number of neighbours that drain straight into each cell."""
    way, of = direction.ravel(), donors.ravel()
    step = _flat_steps(direction.shape[1])
    for cell in range(way.shape[0]):
        if way[cell] >= 0:
            below = cell + step[way[cell]]
            if 0 <= below < way.shape[0]:
                of[below] += 1


@njit(cache=True)
def accumulate(
    direction: Int8, donors: Int8, count: Int32, from_outside: Mask, leaving: Int32, leaving_fed: Mask
) -> None:
    """Pass ``count`` and ``from_outside`` down the flow; uses ``donors`` up.

    From each cell without donors down to the first that still waits for another. What flows to the row north of the
    first and to the row south of the last is added to the two rows of ``leaving`` and ``leaving_fed``.
    """
    way, waits, total, fed = direction.ravel(), donors.ravel(), count.ravel(), from_outside.ravel()
    cols = direction.shape[1]
    step = _flat_steps(cols)
    for cell in range(way.shape[0]):
        at = cell
        while waits[at] == 0:
            waits[at] = -1
            if way[at] < 0:
                break
            below = at + step[way[at]]
            if below < 0 or below >= way.shape[0]:
                side, col = (0, below + cols) if below < 0 else (1, below - way.shape[0])
                leaving[side, col] += total[at]
                leaving_fed[side, col] |= fed[at]
                break
            total[below] += total[at]
            fed[below] |= fed[at]
            waits[below] -= 1
            at = below


@njit(cache=True)
def height_above(filled: Raster, direction: Int8, channel: Mask, height: Raster) -> None:
    """Fill ``height`` with the height of each cell above the channel cell it drains to, NaN where there is none."""
    ground, way, wet, level = filled.ravel(), direction.ravel(), channel.ravel(), height.ravel()
    step = _flat_steps(direction.shape[1])
    # The level of the channel first, infinite while it is not known.
    for cell in range(way.shape[0]):
        level[cell] = np.inf
        if wet[cell]:
            level[cell] = ground[cell]
        elif way[cell] < 0:
            level[cell] = np.nan
    for cell in range(way.shape[0]):
        at = cell
        while level[at] == np.inf:
            at += step[way[at]]
        found = level[at]
        at = cell
        while level[at] == np.inf:
            level[at] = found
            at += step[way[at]]
    for cell in range(way.shape[0]):
        level[cell] = ground[cell] - level[cell]
