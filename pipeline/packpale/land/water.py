"""Where water stands, and the dry ground at its edge."""

from collections.abc import Mapping, Sequence

from shapely.geometry.base import BaseGeometry

from packpale.land.surroundings import cells_within, distance_to, sums_within
from packpale.site import Cells, Grid, Mask

EDGE_M = 10.0
"""How far from water its edge reaches. [m] Assumption: none published; plants and animals of the shore live about so
near to it."""

Features = Mapping[str, Sequence[BaseGeometry]]


def standing_water(features: Features, grid: Grid, ponding: Cells, *, deeper_than: float) -> Mask:
    """Cells in water that is mapped as an area, or in hollows that can stand deeper in water than a limit.

    ``features`` has the inputs by kind, of which watercourses count; ``ponding`` is the depth of a full hollow, NaN
    where it is not known, which is no water; ``deeper_than`` in metres.
    """
    return cells_within(features.get("watercourses", ()), grid) | (ponding > deeper_than)


def edge_of_water(water: Mask, features: Features, grid: Grid) -> Mask:
    """Dry cells within EDGE_M, or a cell where cells are larger, of ``water`` or of any mapped watercourse."""
    reach = max(EDGE_M, grid.cell)
    near = sums_within(water, reach=reach, cell=grid.cell) > 0
    return (near | (distance_to(features.get("watercourses", ()), grid) <= reach)) & ~water
