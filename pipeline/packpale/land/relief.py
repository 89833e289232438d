"""How a place lies in the ground around it."""

import numpy as np

from packpale.land.surroundings import counts_within, sums_within
from packpale.site import Array


def level_of(values: Array) -> float:
    """Mean of the values that are known; 0 where none is."""
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else 0.0


def mean_within(values: Array, *, reach: float, cell: float, level: float) -> Array:
    """Mean of the cells with centres within ``reach`` of each cell, itself included.

    ``values`` is of shape (rows, cols), NaN where unknown; ``reach`` and ``cell``, its size, are in metres. Unknown
    cells and ground beyond the edge do not count; NaN where nothing is known. Sums are taken of what the values are
    above ``level``, in their unit, so that they keep their digits: near the mean it serves best.

    The height of a cell above this mean is its topographic position: positive on crests, negative in hollows and at the
    foot of slopes, 0 on any inclined plane. It stands for shelter from wind from all sides, not from one.

    References
    ----------
    .. [1] A. Guisan, S. B. Weiss, A. D. Weiss, "GLM versus CCA spatial modeling of plant species distribution", Plant
       Ecology 143, 1999, 107-122 (reference and definition read in handbooks of terrain programs).
    """
    known = np.isfinite(values)
    mean = sums_within(np.where(known, values - level, 0.0), reach=reach, cell=cell)
    within = {"reach": reach, "cell": cell}
    counted = counts_within(values.shape, **within) if known.all() else sums_within(known, **within)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean /= counted
    mean += level
    mean[counted == 0] = np.nan
    return mean


def spread_within(values: Array, *, reach: float, cell: float) -> Array:
    """Standard deviation of the cells with centres within ``reach`` of each cell, itself included.

    As in ``mean_within``, unknown cells and ground beyond the edge do not count, and NaN stands where nothing is known.
    On a plane that rises by g per metre it is ``g reach / 2``: that of a disc's points about its diameter.
    """
    above = values - level_of(values)
    mean, of_squares = (mean_within(v, reach=reach, cell=cell, level=0.0) for v in (above, above**2))
    # Rounding can leave a trace below zero on level ground.
    return np.asarray(np.sqrt(np.maximum(of_squares - mean**2, 0.0)))
