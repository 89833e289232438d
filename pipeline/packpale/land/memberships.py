"""Degrees between 0 and 1: how far a quantity is along its curve."""

import numpy as np

from packpale.site import Array
from packpale.values.curves import Curve


def degree(quantity: Array, curve: Curve) -> Array:
    """Degree to which ``quantity``, in the curve's unit, has gone from ``zero_at`` to ``one_at``; NaN stays NaN."""
    if curve.shape == "step":
        return np.where(np.isnan(quantity), np.nan, (quantity >= curve.one_at).astype(float))
    along = linear(quantity, zero_at=curve.zero_at, one_at=curve.one_at)
    return s_curve(along) if curve.shape == "S" else along


def linear(quantity: Array, *, zero_at: float, one_at: float) -> Array:
    """Straight line from 0 at ``zero_at`` to 1 at ``one_at``, level beyond; NaN stays NaN.

    Raises ValueError if the two ends are the same.
    """
    if zero_at == one_at:
        raise ValueError(f"a line needs two ends, got {zero_at} twice")
    return np.clip((quantity - zero_at) / (one_at - zero_at), 0.0, 1.0)


def s_curve(along: Array) -> Array:
    """Two parabolas that meet at the middle: level at both ends; NaN stays NaN.

    With t from 0 to 1 along the way, as the National Soil Information System draws its curves::

        S = 2 t^2                for t < 1/2
        S = 1 - 2 (1 - t)^2      for t >= 1/2

    The falling curve is its mirror image, S(1 - t) = 1 - S(t).
    """
    return np.where(along < 0.5, 2 * along**2, 1 - 2 * (1 - along) ** 2)
