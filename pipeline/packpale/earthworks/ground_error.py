"""How wrong the ground may be along the fence lines: errors that are alike nearby and small beside a pit.

Errors are normal with mean zero. Two places at distance d share them with the correlation exp(-d / L). A pit takes
away what it tells of the places round it: what is left is the covariance of simple kriging [1]_,

    K(s, t) = C(s, t) - C(s, pits) C(pits, pits)^-1 C(pits, t),    C(d) = (far^2 - at_pit^2) exp(-d / L),

so that round a single pit the variance grows as at_pit^2 + (far^2 - at_pit^2) (1 - exp(-2 d / L)).

References
----------
.. [1] N. Cressie, Statistics for Spatial Data, Wiley 1993, section 3.2 (from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from packpale.earthworks.volume import CutSections
from packpale.enclosure.model import Pack
from packpale.site import Array, Mask, Pit

PARTS_OF_CORRELATION = 3
"""Segments in one correlation length: the variance of a mean along the line comes out within 1 % of the integral."""
FEWEST_SEGMENTS, MOST_SEGMENTS = 8, 400
"""Of a pack, and of a plot. On longer lines segments grow, which overstates the spread."""
FAR_PIT = 10.0
"""Pits farther than this many correlation lengths from the line tell nothing: exp(-10)."""
COLUMNS_ACROSS = 24
"""Of a section, for the spread of the mean level across it."""

Whole = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Segments:
    """Parts of all fence lines of a plot along which an error of the ground is one value; shape (segments,)."""

    pack: Whole
    """Index of the pack, from 0."""
    first: Whole
    """First station of the pack's line that belongs to it."""
    middle: Whole
    """Station in its middle."""
    stations: Whole
    """How many stations it has."""
    x: Array
    y: Array
    """Of the station in its middle."""
    chainage: Array
    """Of the same. [m]"""
    length: Array
    """[m]"""


def segments(packs: Sequence[Pack], correlation: float) -> Segments:
    """Cut the fence lines into segments no longer than a part of the correlation length. [m]"""
    lines = [p.alignment for p in packs]
    perimeter = sum(line.step * line.chainage.size for line in lines)
    longest = max(correlation / PARTS_OF_CORRELATION, perimeter / MOST_SEGMENTS)
    columns: list[tuple[npt.NDArray[Any], ...]] = []
    for k, line in enumerate(lines):
        n = line.chainage.size
        count = min(n, max(FEWEST_SEGMENTS, int(np.ceil(n * line.step / longest))))
        first = np.arange(count) * n // count
        size = np.diff(np.append(first, n))
        middle = first + (size - 1) // 2
        columns.append(
            (
                np.full(count, k),
                first,
                middle,
                size,
                line.x[middle],
                line.y[middle],
                line.chainage[middle],
                size * line.step,
            )
        )
    return Segments(*(np.concatenate(parts) for parts in zip(*columns, strict=True)))


def telling(pits: Sequence[Pit], column: str) -> Array:
    """Places of the pits that say something of a column, shape (pits, 2)."""
    return np.array([(p.x, p.y) for p in pits if column in p.values], float).reshape(-1, 2)


def distances(one: Array, other: Array) -> Array:
    """Between the points of two lists of shape (n, 2) and (m, 2); shape (n, m). [m]"""
    return np.asarray(np.hypot(*(np.subtract.outer(one[:, k], other[:, k]) for k in range(2))))


def covariance_left(points: Array, pits: Array, *, correlation: float, variance: float) -> Array:
    """Covariance of the error at points after what pits tell, shape (points, points), as the module has it. [m2]

    ``variance`` is that far from every pit, without the part that a pit does not see.
    """
    left = variance * np.exp(-distances(points, points) / correlation)
    if pits.size:
        away = distances(points, pits)
        near = away.min(axis=0) <= FAR_PIT * correlation
        pits, away = pits[near], away[:, near]
    if variance > 0 and pits.size:
        told = variance * np.exp(-away / correlation)
        # Two pits in one place say the same: a trace of error of their own keeps the matrix regular.
        among = variance * (np.exp(-distances(pits, pits) / correlation) + 1e-6 * np.eye(len(pits)))
        left = left - told @ np.linalg.solve(among, told.T)
    return np.asarray((left + left.T) / 2)


def root(covariance: Array) -> Array:
    """A matrix whose product with its transpose is the covariance; zeros where that is zero."""
    size = float(np.diag(covariance).max(initial=0.0))
    if size <= 0:
        return np.zeros_like(covariance)
    # Rounding can leave the covariance a hair short of positive where a pit stands on the line.
    return np.asarray(np.linalg.cholesky(covariance + 1e-9 * size * np.eye(len(covariance))))


def level_error(cuts: CutSections, at: Whole, *, rmse: float, correlation: float) -> Array:
    """Standard deviation of the cut area that errors of the elevation model cause at stations of a level trench. [m2]

    The bottom is set from the ground under the fence, so that an error shared by the whole section changes nothing.
    What is left is the error at each offset less that under the fence, added up over the width that is cut open:
    the change of the area to first order, since the top edges add only products of errors.
    """
    inner, outer = cuts.edges[at, 0], cuts.edges[at, 1]
    width = outer - inner
    o = inner[:, None] + width[:, None] * (np.arange(COLUMNS_ACROSS) + 0.5) / COLUMNS_ACROSS

    def alike(apart: Array) -> Array:
        return np.asarray(np.exp(-np.abs(apart) / correlation))

    both = alike(o[:, :, None] - o[:, None, :]) - alike(o)[:, :, None] - alike(o)[:, None, :] + 1
    return np.asarray(rmse * width * np.sqrt(np.maximum(both.mean(axis=(1, 2)), 0.0)))


def sum_over_segments(values: Array, found: Segments, pack: int) -> Array:
    """Sums of a pack's values at stations, shape (..., stations), over its segments; shape (..., segments of it)."""
    own: Mask = found.pack == pack
    return np.asarray(np.add.reduceat(values, found.first[own], axis=-1))
