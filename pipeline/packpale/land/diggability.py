"""How far the ground limits digging, and which of its properties limits it most."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from packpale.land.memberships import degree
from packpale.site import Cells, Mask, Soil
from packpale.values.curves import shallow_excavations

FEATURES = tuple(shallow_excavations())
"""Properties that can limit digging; of equal limitations the first is named."""


@dataclass(frozen=True)
class Digging:
    """Limitation for shallow excavations, arrays in the shape of the grid."""

    limitation: Cells
    """0 not limited to 1 very limited; NaN where the slope or the ponding is not known."""
    limiting_feature: npt.NDArray[np.int8]
    """Index into FEATURES; -1 where nothing limits and where the limitation is not known."""


def digging(soil: Soil, *, slope: Cells, ponding: Cells) -> Digging:
    """Limitation of each cell by the interpretive rule for shallow excavations: the largest of its features decides.

    ``slope`` in m/m, ``ponding`` the depth of a full hollow in m.

    References
    ----------
    .. [1] USDA Natural Resources Conservation Service, "ENG - Shallow Excavations" (rule 302 of the National Soil
       Information System); its numbers stand in values/shallow_excavations.csv.
    """
    # Made when their turn comes, so that no more than two are held at a time.
    quantities: dict[str, Callable[[], Cells]] = {
        "hard bedrock": lambda: _where(soil.rock_is_hard, soil.depth_to_rock, slope),
        "soft bedrock": lambda: _where(~soil.rock_is_hard, soil.depth_to_rock, slope),
        "water table": lambda: np.multiply(soil.water_table, 100, dtype=slope.dtype),
        "clay": lambda: soil.clay,
        "stones": lambda: soil.stones,
        "slope": lambda: 100 * slope,
        "ponding": lambda: ponding,
    }
    limitation, feature = np.zeros_like(slope), np.full(slope.shape, -1, np.int8)
    for index, (name, curve) in enumerate(shallow_excavations().items()):
        degrees = degree(quantities[name](), curve)
        feature[degrees > limitation] = index
        # np.maximum hands NaN on: a cell with an unknown feature is not known.
        np.maximum(limitation, degrees, out=limitation)
    feature[np.isnan(limitation)] = -1
    return Digging(limitation, feature)


def _where(is_so: Mask, depth: Cells, like: Cells) -> Cells:
    """Depths in centimetres where something is so, infinite elsewhere; in the precision of ``like``."""
    if not is_so.any():
        return np.broadcast_to(like.dtype.type(np.inf), like.shape)
    centimetres: Cells = np.multiply(depth, 100, dtype=like.dtype)
    centimetres[~is_so] = np.inf
    return centimetres


def limitations(quantities: Mapping[str, Cells]) -> dict[str, Cells]:
    """Limitation by each feature, 0 to 1, from its quantity in the unit of the table (cm, %, m).

    Raises KeyError if a feature of the table has no quantity.
    """
    return {feature: degree(quantities[feature], curve) for feature, curve in shallow_excavations().items()}
