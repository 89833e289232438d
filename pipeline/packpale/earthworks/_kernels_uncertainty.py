"""Compiled loop over draws and segments: no checks, no defaults, no files."""

# ruff: noqa: PLR0917 - compiled functions take no keyword-only arguments

import numpy as np
import numpy.typing as npt
from numba import njit

Floats = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]


@njit(cache=True)
def _between(table: Floats, start: float, step: float, value: float) -> float:
    """Value of a table at equal steps from ``start``, linear between its entries, held beyond its ends."""
    u = min(max((value - start) / step, 0.0), table.size - 1.0)
    k = min(int(u), table.size - 2)
    return float(table[k] + (u - k) * (table[k + 1] - table[k]))


@njit(cache=True)
def drawn_volumes(
    rock: Floats,
    water: Floats,
    scale: Floats,
    over: Floats,
    pack: Whole,
    cut: Floats,
    soft: Floats,
    hard: Floats,
    wet: Floats,
    rock_start: float,
    rock_step: float,
    water_start: float,
    water_step: float,
    totals: Floats,
    of_rock: Floats,
    of_wet: Floats,
) -> None:
    """Add up cut, soft rock, hard rock and wet of each draw and pack into ``totals`` (draws, packs, 4).

    ``rock``, ``water``, ``scale`` (draws, segments) are the errors and the factor on all volumes, ``over`` (draws,)
    the part of the over-dig. ``cut`` (2, segments), ``soft``, ``hard``, ``wet`` (2, segments, shifts) are volumes as
    drawn and over-dug. ``of_rock`` (draws, segments, 2) and ``of_wet`` (draws, segments) get each segment's own.
    """
    for d in range(rock.shape[0]):
        x = over[d]
        for s in range(rock.shape[1]):
            f, p = scale[d, s], pack[s]
            a = f * (cut[0, s] + x * (cut[1, s] - cut[0, s]))
            b = _between(soft[0, s], rock_start, rock_step, rock[d, s])
            b = f * (b + x * (_between(soft[1, s], rock_start, rock_step, rock[d, s]) - b))
            c = _between(hard[0, s], rock_start, rock_step, rock[d, s])
            c = f * (c + x * (_between(hard[1, s], rock_start, rock_step, rock[d, s]) - c))
            w = _between(wet[0, s], water_start, water_step, water[d, s])
            w = f * (w + x * (_between(wet[1, s], water_start, water_step, water[d, s]) - w))
            totals[d, p, 0] += a
            totals[d, p, 1] += b
            totals[d, p, 2] += c
            totals[d, p, 3] += w
            of_rock[d, s, 0] = b
            of_rock[d, s, 1] = c
            of_wet[d, s] = w
