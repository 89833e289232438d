"""What a fence line costs, summed up in steps: the sum that the searches make small."""

import numpy as np

from packpale.enclosure.over_limits import over_limits_m


def along(line, per_m, grid, step):
    """Integral of a raster along a line, from its cells at the middles of steps of at most ``step`` [m].

    Beyond the raster its nearest cell counts.
    """
    count = int(line.perimeter / step) + 1
    points = line.points_at((np.arange(count) + 0.5) * line.perimeter / count)
    return float(grid.nearest(per_m, points.x, points.y).sum()) * line.perimeter / count


def line_cost(line, ground, cost):
    """What a line costs, an egg or a drawn one. [currency]

    The price per metre is summed over steps of at most ``cost.step``, the length over limits is exact.
    """
    over = over_limits_m(line, ground.soft, inside=ground.inside_strip, outside=ground.outside_strip)
    return along(line, cost.known, cost.grid, cost.step) + cost.fixed + cost.per_over_limit_m * over
