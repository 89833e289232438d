"""Degrees between 0 and 1: how far a quantity is along its curve."""

import numpy as np

from packpale.site import Cells
from packpale.values.curves import SHAPES, Curve


def degree(quantity: Cells, curve: Curve) -> Cells:
    """Degree to which ``quantity``, in the curve's unit, has gone from ``zero_at`` to ``one_at``; NaN stays NaN.

    In the precision of the quantity.
    """
    if quantity.size > 1 and not any(quantity.strides):
        # The same everywhere, and held once.
        return np.broadcast_to(degree(quantity.flat[:1], curve)[0], quantity.shape)
    from packpale.land import _kernels_degree

    out = np.empty(quantity.shape, quantity.dtype)
    flat = np.ascontiguousarray(quantity).reshape(-1)
    _kernels_degree.degrees(flat, SHAPES.index(curve.shape), curve.zero_at, curve.one_at, out.reshape(-1))
    return out


def linear(quantity: Cells, *, zero_at: float, one_at: float) -> Cells:
    """Straight line from 0 at ``zero_at`` to 1 at ``one_at``, level beyond; NaN stays NaN.

    Raises ValueError if the two ends are the same.
    """
    if zero_at == one_at:
        raise ValueError(f"a line needs two ends, got {zero_at} twice")
    along: Cells = np.clip((quantity - zero_at) / (one_at - zero_at), 0.0, 1.0)
    return along


def s_curve(along: Cells) -> Cells:
    """Two parabolas that meet at the middle: level at both ends; NaN stays NaN.

    With t from 0 to 1 along the way, as the National Soil Information System draws its curves::

        S = 2 t^2                for t < 1/2
        S = 1 - 2 (1 - t)^2      for t >= 1/2

    The falling curve is its mirror image, S(1 - t) = 1 - S(t).
    """
    return np.where(along < 0.5, 2 * along**2, 1 - 2 * (1 - along) ** 2)
