"""Where water stands and runs: filled ground, flow, upstream area, wetness, height above the channel.

The edge of the ground and missing cells are outlets: water that reaches them is gone.
"""

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Generic, TypeVar

import numpy as np
import numpy.typing as npt

from packpale.site import Cells, Mask

if TYPE_CHECKING:
    from packpale.land.inflow import Inflow

F = TypeVar("F", np.float32, np.float64)
ROW_STEP = np.array([0, 1, 1, 1, 0, -1, -1, -1])
COL_STEP = np.array([1, 1, 0, -1, -1, -1, 0, 1])
"""Of each direction, clockwise from east."""
LEAVES = -1
LEAST_SLOPE = 0.001
"""Slope below which ground counts as level in the wetness index, which would be infinite otherwise. [m/m]"""


@dataclass(frozen=True)
class Flow(Generic[F]):
    """How water runs over the filled ground; arrays in the shape of the elevation."""

    filled: npt.NDArray[F]
    """Elevation with every depression filled to its outlet. [m]"""
    direction: npt.NDArray[np.int8]
    """To the next cell downstream: 0 east, 1 south-east, clockwise to 7 north-east; -1 leaves here, -2 missing."""
    outlets: Mask
    """Cells on the window's edge or beside missing ones, where water may leave or come in."""


@dataclass(frozen=True)
class Drainage:
    """Drainage of one window; see ``packpale.land.model.Land`` for what each array means."""

    filled: Cells
    ponding: Cells
    upstream_area: Cells
    upstream_is_lower_bound: Mask
    wetness: Cells
    channel: Mask
    height_above_drainage: Cells
    direction: npt.NDArray[np.int8]
    path_length: Cells
    path_head: Cells

    def part(self, rows: slice, cols: slice) -> "Drainage":
        """That of some rows and columns, worked out on all of the ground."""
        cut = {f.name: np.ascontiguousarray(getattr(self, f.name)[rows, cols]) for f in fields(self)}
        # What leaves the part leaves here, even where it goes on.
        k, last = cut["direction"], (rows.stop - rows.start - 1, cols.stop - cols.start - 1)
        row, col = np.nonzero(k >= 0)
        to_row, to_col = row + ROW_STEP[k[row, col]], col + COL_STEP[k[row, col]]
        gone = (to_row < 0) | (to_col < 0) | (to_row > last[0]) | (to_col > last[1])
        k[row[gone], col[gone]] = LEAVES
        return Drainage(**cut)


def drainage(
    elevation: npt.NDArray[F],
    slope: npt.NDArray[F],
    *,
    cell: float,
    channel_area: float,
    runoff: float | None = None,
    inflow: "Inflow | None" = None,
) -> Drainage:
    """All drainage of some ground, in the precision of its elevation.

    ``elevation`` [m] and ``slope`` [m/m] have one shape, ``cell`` is the size of the square cells [m],
    ``channel_area`` the upstream area from which water runs in a channel [m2], ``inflow`` what enters from outside and
    ``runoff`` what runs off all ground and stands in its hollows [m]; without it they are full.
    """
    from packpale.land.ponds import depth_after

    flow = flow_over(elevation if inflow is None else inflow.dammed(elevation))
    if inflow is not None:
        flow.filled.reshape(-1)[inflow.shore] = inflow.water
    cells, is_lower_bound = upstream_cells(flow, inflow)
    length, head = longest_paths(flow, inflow)
    length *= cell
    # In the precision of the elevation, and in place where it can be: these arrays are a plot's largest.
    upstream_area = np.multiply(cells, cell**2, dtype=elevation.dtype)
    upstream_area[np.isnan(elevation)] = np.nan
    del cells
    channel = upstream_area >= channel_area
    height = height_above_drainage(flow, channel)
    per_width: npt.NDArray[F] = np.divide(upstream_area, cell, dtype=elevation.dtype)
    wetness = wetness_index(per_width, slope)
    ponding = flow.filled - elevation if runoff is None else depth_after(elevation, flow, runoff=runoff, inflow=inflow)
    return Drainage(
        filled=flow.filled,
        ponding=ponding,
        upstream_area=upstream_area,
        upstream_is_lower_bound=is_lower_bound,
        wetness=wetness,
        channel=channel,
        height_above_drainage=height,
        direction=flow.direction,
        path_length=length,
        path_head=head,
    )


def flow_over(elevation: npt.NDArray[F]) -> Flow[F]:
    """Fill every depression and route each cell to one neighbour.

    Flow takes the steepest way to a lower neighbour of the filled ground (of equals the first clockwise from east).
    Where none is lower it goes to the nearest rim of the flat, so that every cell drains and no route depends on
    chance; the course across a filled depression has no meaning of its own.

    Every cell belongs to the basin of the bottom that steps to the lowest neighbour lead to. Basins are joined over
    the lowest passes between them, from the lowest pass up, which gives the level each fills to. All loops but that
    one go through the ground row by row, so that they run as fast on large windows as on small ones.

    Parameters
    ----------
    elevation : shape (rows, cols), float32 or float64
        Height above the vertical datum, NaN is no data. [m]

    References
    ----------
    .. [1] G. Cordonnier, B. Bovy, J. Braun, "A versatile, linear complexity algorithm for flow routing in topographies
       with depressions", Earth Surface Dynamics 7, 2019, 549-562: basins and the passes between them.
    .. [2] R. Barnes, C. Lehman, D. Mulla, "Priority-flood: an optimal depression-filling and watershed-labeling
       algorithm for digital elevation models", Computers & Geosciences 62, 2014, 117-127: what filled ground is.
    .. [3] J. F. O'Callaghan, D. M. Mark, "The extraction of drainage networks from digital elevation data",
       Computer Vision, Graphics, and Image Processing 28, 1984, 323-344.
    """
    from packpale.land import routing

    z = np.ascontiguousarray(elevation)
    direction, outlets = np.empty(z.shape, np.int8), np.empty(z.shape, np.bool_)
    filled = _filled(z, direction, outlets)
    routing.descend(filled, outlets, direction)
    routing.cross_flats(filled, direction)
    return Flow(filled, direction, outlets)


def _filled(z: npt.NDArray[F], direction: npt.NDArray[np.int8], outlets: Mask) -> npt.NDArray[F]:
    """The ground with its depressions filled; sets ``outlets`` and overwrites ``direction``."""
    from packpale.land import routing

    routing.point_down(z, direction, outlets)
    basin = np.zeros(z.shape, np.int32)
    basins = routing.number_basins(direction, basin)
    level = routing.spill_levels(routing.passes(z, basin, outlets), basins)
    filled = np.empty_like(z)
    routing.raise_to(z, basin, level, filled)
    return filled


def upstream_cells(flow: Flow[F], inflow: "Inflow | None" = None) -> tuple[npt.NDArray[np.int32], Mask]:
    """Number of cells that drain through each cell, itself included, and where that is only a lower bound.

    It is a lower bound on the edge of the ground, beside missing cells, and everywhere downstream of them, because
    water may come in there; with ``inflow`` only where that does not know. Missing cells have 0.
    """
    from packpale.land import routing

    from_outside = flow.outlets.copy()
    count = np.not_equal(flow.direction, routing.MISSING).astype(np.int32)
    if inflow is not None:
        from_outside &= ~inflow.known
        np.add.at(count.reshape(-1), inflow.cell, inflow.cells.astype(np.int32))
        np.logical_or.at(from_outside.reshape(-1), inflow.cell, inflow.is_lower_bound)
    routing.accumulate(flow.direction, count, from_outside)
    return count, from_outside


def longest_paths(flow: Flow[F], inflow: "Inflow | None" = None) -> tuple[npt.NDArray[F], npt.NDArray[F]]:
    """Length of the longest flow path that ends in each cell [cells], and the level at which it begins [m]."""
    from packpale.land import routing

    length, head = np.zeros_like(flow.filled), flow.filled.copy()
    if inflow is not None:
        # The longest last, where several come in at one place.
        order = np.argsort(inflow.length, kind="stable")
        length.reshape(-1)[inflow.cell[order]] = inflow.length[order]
        head.reshape(-1)[inflow.cell[order]] = inflow.head[order]
    routing.longest_paths(flow.direction, length, head)
    return length, head


def wetness_index(catchment_per_width: npt.NDArray[F], slope: npt.NDArray[F]) -> npt.NDArray[F]:
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
    index: npt.NDArray[F] = np.maximum(slope, LEAST_SLOPE)
    np.divide(catchment_per_width, index, out=index)
    return np.log(index, out=index)


def height_above_drainage(flow: Flow[F], channel: Mask) -> npt.NDArray[F]:
    """Height of each cell above the channel cell that it drains to, both on the filled ground. [m]

    Never negative; NaN where the water leaves the window before it reaches a channel.

    References
    ----------
    .. [1] C. D. Renno et al., "HAND, a new terrain descriptor using SRTM-DEM", Remote Sensing of Environment 112,
       2008, 3469-3481.
    """
    from packpale.land import routing

    return routing.height_above(flow.filled, flow.direction, channel)
