"""Compiled loops that fill depressions, and of flow over filled ground: no checks, no defaults, no files.

Directions are counted clockwise from east. Node 0 of the graph is the outside, node n the n-th basin.
"""

# ruff: noqa: PLR0917 - compiled functions take no keyword-only arguments

import math
from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

Raster = npt.NDArray[np.floating[Any]]
Int8 = npt.NDArray[np.int8]
Int32 = npt.NDArray[np.int32]
Float64 = npt.NDArray[np.float64]
Int64 = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

ROW_STEP = (0, 1, 1, 1, 0, -1, -1, -1)
COL_STEP = (1, 1, 0, -1, -1, -1, 0, 1)
BOTTOM = OUTLET = -1
MISSING = -2
LEVEL = -3
"""Not yet known: no neighbour is lower."""


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
def point_down(z: Raster, padded: Raster, direction: Int8, outlet: Mask) -> None:
    """Point each cell to its lowest neighbour, or mark it BOTTOM or MISSING; say which cells are outlets.

    Of equally low cells the one with the smaller flat index counts as lower, so that no two point at each other.
    ``padded`` (3, columns + 2) is work space.
    """
    above, here, below = padded[0], padded[1], padded[2]
    for r in range(-2, z.shape[0]):
        above, here, below = here, below, above
        _padded_row(z, r + 1, below)
        if r >= 0:
            _point_down_row(above, here, below, direction[r], outlet[r])


@njit(cache=True)
def number_basins(way: Int8, step: Int64, number_of: Int32) -> int:
    """Number the bottoms from 1 and give each cell the number of the bottom it leads to; return how many there are.

    Flat arrays; ``step`` is what each direction adds to an index. ``number_of`` comes in as 0, and stays so where cells
    are missing.
    """
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
def _ends(basin: Int32, outlet: Mask, row: int, c0: int, c1: int, ends: Mask) -> None:
    """Mark the cells of a row, from column ``c0`` up to ``c1``, that lie at the end of their basin."""
    below = basin[min(row + 1, basin.shape[0] - 1)]
    here, out = basin[row], outlet[row]
    for c in range(c0, c1):
        left, right = max(c - 1, 0), min(c + 1, here.shape[0] - 1)
        b = here[c]
        # A missing cell (0) beside a basin is taken for another basin: nothing comes of it.
        ends[c - c0] = (b != 0) & (
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
def block_passes(
    z: Raster, basin: Int32, outlet: Mask, r0: int, c0: int, ends: Mask, keys: Int64, heights: Raster
) -> int:
    """Fill a table with the passes from the cells of one block, as wide as ``ends``; how many, or -1 without room.

    A key is a node times 2^32 plus the other, of which the first is the smaller, or a basin alone for the outside.
    """
    rows, cols = min(r0 + ends.shape[0], z.shape[0]), min(c0 + ends.shape[0], z.shape[1])
    found = 0
    for i in range(keys.shape[0]):
        keys[i] = 0
    for r in range(r0, rows):
        _ends(basin, outlet, r, c0, cols, ends)
        for c in range(c0, cols):
            if ends[c - c0]:
                if 2 * (found + 5) > keys.shape[0]:
                    return -1
                found += _note_passes(z, basin, outlet, r, c, keys, heights)
    return found


@njit(cache=True)
def _root(parent: Int32, node: int) -> int:
    while parent[node] != node:
        parent[node] = parent[parent[node]]
        node = parent[node]
    return node


@njit(cache=True)
def spill_levels(
    first: Int32,
    second: Int32,
    height: Raster,
    lowest_first: Int64,
    parent: Int32,
    members: Int32,
    size: Int32,
    level: Raster,
) -> None:
    """Fill ``level`` with the height to which each basin fills before its water gets outside.

    Basins are joined over the passes from the lowest up; a group of basins that meets the outside spills there.
    ``parent`` and ``members`` come in as the nodes' own numbers, ``size`` as 1, the outside's as more than all.
    """
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
def raise_to(ground: Raster, basin: Int32, level: Raster, filled: Raster) -> None:
    """Fill ``filled`` with the ground, or the level of its basin where that is higher; flat arrays, NaN stays NaN."""
    for cell in range(ground.shape[0]):
        here, water = ground[cell], level[basin[cell]]
        filled[cell] = water if water > here else here


@njit(cache=True)
def descend(filled: Raster, padded: Raster, outlet: Mask, direction: Int8) -> None:
    """Point each cell down the steepest way, the first of equals clockwise from east; else OUTLET, MISSING or LEVEL.

    ``padded`` (3, columns + 2) is work space.
    """
    above, here, below = padded[0], padded[1], padded[2]
    for r in range(-2, filled.shape[0]):
        above, here, below = here, below, above
        _padded_row(filled, r + 1, below)
        if r >= 0:
            _descend_row(above, here, below, outlet[r], direction[r])


@njit(cache=True)
def cross_flats(filled: Raster, direction: Int8, queue: Int32, last: int) -> None:
    """Point each LEVEL cell back to where a flood from the flat's rims reached it.

    The flood starts from the rims, which fill ``queue`` up to ``last``, and goes on cell by cell in the order in which
    cells are reached, so that a flat drains to its nearest rim. The queue has room for every LEVEL cell besides.
    """
    rows, cols = filled.shape
    first = 0
    while first < last:
        r, c = queue[first] // cols, queue[first] % cols
        first += 1
        for k in range(8):
            row, col = r + ROW_STEP[k], c + COL_STEP[k]
            if row < 0 or col < 0 or row >= rows or col >= cols or direction[row, col] != LEVEL:
                continue
            if filled[row, col] == filled[r, c]:
                direction[row, col] = (k + 4) & 7
                queue[last] = row * cols + col
                last += 1


@njit(cache=True)
def count_donors(way: Int8, step: Int64, donors: Int8) -> None:
    """Add to ``donors``, 0 at first, the number of neighbours that drain straight into each cell; flat arrays."""
    for cell in range(way.shape[0]):
        if way[cell] >= 0:
            donors[cell + step[way[cell]]] += 1


@njit(cache=True)
def accumulate(way: Int8, step: Int64, donors: Int8, count: Int32, from_outside: Mask) -> None:
    """Pass ``count`` and ``from_outside`` down the flow; uses ``donors`` up. Flat arrays.

    From each cell without donors down to the first that still waits for another.
    """
    for cell in range(way.shape[0]):
        at = cell
        while donors[at] == 0:
            donors[at] = -1
            if way[at] < 0:
                break
            below = at + step[way[at]]
            count[below] += count[at]
            from_outside[below] |= from_outside[at]
            donors[below] -= 1
            at = below


@njit(cache=True)
def longest_paths(way: Int8, step: Int64, donors: Int8, length: Raster, head: Raster) -> None:
    """Pass the longest way from above down the flow, in cells, with the level at which it begins; uses ``donors`` up.

    Flat arrays, which hold what each cell starts with. As ``accumulate``; of equals the first found.
    """
    for cell in range(way.shape[0]):
        at = cell
        while donors[at] == 0:
            donors[at] = -1
            if way[at] < 0:
                break
            below = at + step[way[at]]
            here = length[at] + (math.sqrt(2.0) if way[at] & 1 else 1.0)
            if here > length[below]:
                length[below], head[below] = here, head[at]
            donors[below] -= 1
            at = below


@njit(cache=True)
def height_above(ground: Raster, way: Int8, step: Int64, channel: Mask, level: Raster) -> None:
    """Fill ``level`` with the height of each cell above the channel cell it drains to, NaN where there is none.

    Flat arrays.
    """
    # The level of the channel first, infinite while it is not known.
    for cell in range(way.shape[0]):
        level[cell] = np.inf
        if channel[cell]:
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
