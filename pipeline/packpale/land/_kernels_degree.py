"""Compiled loop of curves from 0 to 1: no checks, no defaults, no files."""

from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

Values = npt.NDArray[np.floating[Any]]
S, LINEAR, STEP = 0, 1, 2
"""Places of the shapes in values.curves.SHAPES."""


@njit(cache=True)
def degrees(quantity: Values, shape: int, zero_at: float, one_at: float, out: Values) -> None:
    """Fill ``out`` with how far each quantity is along a curve; NaN stays NaN. See memberships.linear and s_curve."""
    for i in range(quantity.shape[0]):
        q = quantity[i]
        if np.isnan(q):
            out[i] = q
        elif shape == STEP:
            out[i] = 1.0 if q >= one_at else 0.0
        else:
            t = min(max((q - zero_at) / (one_at - zero_at), 0.0), 1.0)
            if shape == S:
                t = 2.0 * t * t if t < 0.5 else 1.0 - 2.0 * (1.0 - t) * (1.0 - t)
            out[i] = t
