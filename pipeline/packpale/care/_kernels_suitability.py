"""Compiled loops over cells and draws for the error of the suitability: no checks, no defaults, no files."""

# ruff: noqa: PLR0917 - compiled functions take no keyword-only arguments

import numpy as np
import numpy.typing as npt
from numba import njit

Floats = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]


@njit(cache=True)
def add_changes(
    block: Whole, as_is: Floats, by_rock: Floats, by_water: Floats, dry: Floats, w_dig: float, w_dry: float, out: Floats
) -> None:
    """Add each cell's change at every pair of shifts to ``out``, shape (blocks, shifts of rock, shifts of water).

    ``by_rock`` has shape (cells, shifts of rock), ``by_water`` and ``dry`` (cells, shifts of water).
    """
    for k in range(block.size):
        for i in range(by_rock.shape[1]):
            for j in range(by_water.shape[1]):
                worst = max(by_rock[k, i], by_water[k, j])
                out[block[k], i, j] += w_dry * dry[k, j] - w_dig * worst - as_is[k]


@njit(cache=True)
def _between(error: float, first: float, step: float, count: int) -> tuple[int, float]:
    """Index of the shift below an error, and how far it is on the way to the next, 0 to 1."""
    along = min(max((error - first) / step, 0.0), count - 1.0)
    below = min(int(along), count - 2)
    return below, along - below


@njit(cache=True)
def sum_changes(table: Floats, rock_shifts: Floats, water_shifts: Floats, rock: Floats, water: Floats) -> Floats:
    """Sum over the blocks at errors of shape (draws, blocks), linear between the shifts of both; shape (draws,)."""
    out = np.zeros(rock.shape[0])
    rock_step, water_step = rock_shifts[1] - rock_shifts[0], water_shifts[1] - water_shifts[0]
    for d in range(rock.shape[0]):
        for b in range(table.shape[0]):
            i, u = _between(rock[d, b], rock_shifts[0], rock_step, rock_shifts.size)
            j, v = _between(water[d, b], water_shifts[0], water_step, water_shifts.size)
            near = (1 - v) * table[b, i, j] + v * table[b, i, j + 1]
            far = (1 - v) * table[b, i + 1, j] + v * table[b, i + 1, j + 1]
            out[d] += (1 - u) * near + u * far
    return out
