"""How deep water stands in hollows after a given rain: what their catchment sends, not what they could hold."""

from typing import TYPE_CHECKING, TypeVar

import numpy as np
import numpy.typing as npt

from packpale.land import _kernels_ponds as kernels
from packpale.land.drainage import Flow
from packpale.land.routing import flat, steps

if TYPE_CHECKING:
    from packpale.land.inflow import Inflow

F = TypeVar("F", np.float32, np.float64)


def depth_after(
    ground: npt.NDArray[F], flow: Flow[F], *, runoff: float, inflow: "Inflow | None" = None
) -> npt.NDArray[F]:
    """Depth of water in every hollow once ``runoff`` has run off all ground [m]; NaN where ground is missing.

    Each hollow takes what runs off its own catchment, and what those above it have no room for. Water stands in it at
    one level, as if smaller hollows in it were joined; nothing seeps away or dries up. ``ground`` is the
    elevation [m], ``inflow`` what enters from outside.
    """
    pond = np.zeros(ground.shape, np.int32)
    ponds = kernels.number_ponds(ground, flow.filled, pond, np.empty(ground.size, np.int64))
    way, step, of_cell = flat(flow.direction), steps(ground.shape[1]), flat(pond)
    meets = np.full(ground.size, -1, np.int32)
    kernels.first_ponds(way, step, of_cell, meets)
    below = np.zeros(ponds + 1, np.int32)
    kernels.next_ponds(way, step, of_cell, meets, below)
    # In cells times metres.
    drained = np.bincount(meets[~np.isnan(flat(ground))], minlength=ponds + 1).astype(np.float64)
    if inflow is not None:
        np.add.at(drained, meets[inflow.cell], inflow.cells)
    water = runoff * drained
    wet = np.flatnonzero(of_cell)
    order = wet[np.lexsort((flat(ground)[wet], of_cell[wet]))]
    heights, numbers = flat(ground)[order].astype(np.float64), of_cell[order]
    level = np.full(ponds + 1, -np.inf)
    level[numbers] = flat(flow.filled)[order]
    room = np.bincount(numbers, weights=level[numbers] - heights, minlength=ponds + 1).astype(np.float64)
    kernels.spill(below, room, water, np.zeros(ponds + 1, np.int32), np.zeros(ponds + 1, np.int32))
    kernels.levels(heights, np.searchsorted(numbers, np.arange(1, ponds + 2)), water, level)
    depth = level.astype(ground.dtype)[pond]
    depth -= ground
    return np.maximum(depth, 0, out=depth)
