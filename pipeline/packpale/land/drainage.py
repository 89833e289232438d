"""Where water stands and runs: filled ground, flow, upstream area, wetness, height above the channel.

The window's edge and missing cells are outlets: water that reaches them is gone.
"""

from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np
import numpy.typing as npt

from packpale.land.surroundings import widened
from packpale.site import Array, Mask

F = TypeVar("F", np.float32, np.float64)
LEAST_SLOPE = 0.001
"""Slope below which ground counts as level in the wetness index, which would be infinite otherwise. [m/m]"""


@dataclass(frozen=True)
class Flow(Generic[F]):
    """How water runs over the filled ground; arrays in the shape of the elevation."""

    filled: npt.NDArray[F]
    """Elevation with every depression filled to its outlet. [m]"""
    direction: npt.NDArray[np.int8]
    """To the next cell downstream: 0 east, 1 south-east, clockwise to 7 north-east; -1 leaves here, -2 missing."""
    order: npt.NDArray[np.int32]
    """Flat indices of the cells that are not missing, each behind the one it drains to."""


@dataclass(frozen=True)
class Drainage:
    """Drainage of one window; see ``packpale.land.model.Land`` for what each array means."""

    filled: Array
    ponding: Array
    upstream_area: Array
    upstream_is_lower_bound: Mask
    wetness: Array
    channel: Mask
    height_above_drainage: Array
    direction: npt.NDArray[np.int8]


def drainage(elevation: Array, slope: Array, *, cell: float, channel_area: float) -> Drainage:
    """All of a window's drainage.

    ``elevation`` [m] and ``slope`` [m/m] have one shape, ``cell`` is the size of the square cells [m] and
    ``channel_area`` the upstream area from which water runs in a channel [m2].
    """
    flow = flow_over(elevation)
    cells, is_lower_bound = upstream_cells(flow)
    upstream_area = np.where(np.isnan(elevation), np.nan, cells * cell**2)
    channel = upstream_area >= channel_area
    return Drainage(
        filled=flow.filled,
        ponding=flow.filled - elevation,
        upstream_area=upstream_area,
        upstream_is_lower_bound=is_lower_bound,
        wetness=wetness_index(upstream_area / cell, slope),
        channel=channel,
        height_above_drainage=height_above_drainage(flow, channel),
        direction=flow.direction,
    )


def flow_over(elevation: npt.NDArray[F]) -> Flow[F]:
    """Fill every depression and route each cell to one neighbour.

    Flow takes the steepest way to a lower neighbour of the filled ground (of equals the first clockwise from east).
    Where none is lower it goes back the way the flood came, so that every cell drains and no route depends on chance;
    the course across a filled depression has no meaning of its own.

    Parameters
    ----------
    elevation : shape (rows, cols), float32 or float64
        Height above the vertical datum, NaN is no data. [m]

    References
    ----------
    .. [1] R. Barnes, C. Lehman, D. Mulla, "Priority-flood: an optimal depression-filling and watershed-labeling
       algorithm for digital elevation models", Computers & Geosciences 62, 2014, 117-127.
    .. [2] J. F. O'Callaghan, D. M. Mark, "The extraction of drainage networks from digital elevation data",
       Computer Vision, Graphics, and Image Processing 28, 1984, 323-344.
    """
    from packpale.land import _kernels_drainage as kernels

    z = np.ascontiguousarray(elevation)
    filled = np.empty_like(z)
    direction = np.empty(z.shape, np.int8)
    order = np.empty(z.size, np.int32)
    outlets = kernels.mark_outlets(z, direction)
    count = kernels.flood(z, outlets, direction, filled, order)
    kernels.descend(filled, direction)
    return Flow(filled, direction, order[:count])


def upstream_cells(flow: Flow[F]) -> tuple[npt.NDArray[np.int32], Mask]:
    """Number of cells that drain through each cell, itself included, and where that is only a lower bound.

    It is a lower bound on the window's edge, beside missing cells, and everywhere downstream of them, because water
    may come in there. Missing cells have 0.
    """
    from packpale.land import _kernels_drainage as kernels

    missing = flow.direction == kernels.MISSING
    count = np.where(missing, 0, 1).astype(np.int32)
    from_outside = np.zeros(count.shape, np.bool_)
    from_outside[[0, -1], :] = from_outside[:, [0, -1]] = True
    from_outside |= widened(missing)
    from_outside &= ~missing
    kernels.accumulate(flow.direction, flow.order, count, from_outside)
    return count, from_outside


def wetness_index(catchment_per_width: Array, slope: Array) -> Array:
    """Topographic wetness index ln(a / tan b); NaN stays NaN.

    Parameters
    ----------
    catchment_per_width
        Upstream area per metre of contour that it crosses, a. [m2/m]
    slope
        Rise over run, tan b; smaller values count as LEAST_SLOPE. [m/m]

    References
    ----------
    .. [1] K. J. Beven, M. J. Kirkby, "A physically based, variable contributing area model of basin hydrology",
       Hydrological Sciences Bulletin 24 (1), 1979, 43-69.
    """
    return np.log(catchment_per_width / np.maximum(slope, LEAST_SLOPE))


def height_above_drainage(flow: Flow[F], channel: Mask) -> npt.NDArray[F]:
    """Height of each cell above the channel cell that it drains to, both on the filled ground. [m]

    Never negative; NaN where the water leaves the window before it reaches a channel.

    References
    ----------
    .. [1] C. D. Renno et al., "HAND, a new terrain descriptor using SRTM-DEM", Remote Sensing of Environment 112,
       2008, 3469-3481.
    """
    from packpale.land import _kernels_drainage as kernels

    level = np.full_like(flow.filled, np.nan)
    kernels.channel_level(flow.filled, flow.direction, flow.order, channel, level)
    return flow.filled - level
