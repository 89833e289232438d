"""What a fence line costs, summed up piece by piece: the sum that the searches make small."""

import numpy as np

from packpale.enclosure import _kernels_over
from packpale.enclosure.over_limits import over_limits_m, pieces_of


def line_cost(line, ground, cost):
    """What a line costs, an egg or a drawn one. [currency]

    The price per metre is summed over steps of at most ``cost.step``, the length over limits is exact.
    """
    origin = (cost.grid.west, cost.grid.north)
    frame = np.array([0.0, 0.0, cost.grid.cell])
    along = _kernels_over.along(pieces_of(line, origin), cost.step, cost.known, frame)
    over = over_limits_m(line, ground.soft, inside=ground.inside_strip, outside=ground.outside_strip)
    return float(along) + cost.fixed + cost.per_over_limit_m * over
