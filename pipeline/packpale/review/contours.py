"""Lines of equal ground level, as drawings show them."""

import math
from collections.abc import Iterator

import numpy as np

from packpale.site import Array, Site
from packpale.site.spread import spread

MOST_LINES = 14
"""Levels between the lowest and the highest ground shown; the step is the smallest round one with no more."""
MOST_CELLS = 1_000_000
"""Of ground that lines are drawn through; of more the means of squares of cells."""
LEFT_OUT_M = 0.01
"""Points nearer than this to the line without them are left out. [m]"""
STEPS_M = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)


def contour_step(site: Site) -> float:
    """Round distance between two levels in the plot. [m]"""
    some = spread(site.grid, most_cells=MOST_CELLS)
    ground = some.of(site.elevation)[some.of(site.inside)]
    relief = float(np.nanmax(ground) - np.nanmin(ground)) if np.isfinite(ground).any() else 0.0
    return next((step for step in STEPS_M if relief <= MOST_LINES * step), STEPS_M[-1])


def contours(site: Site, around: tuple[float, float, float, float]) -> Iterator[tuple[float, Array]]:
    """Level and points, shape (points, 2), of each contour line within a box west, south, east, north. [m]

    Levels run straight between the cells' centres, but for LEFT_OUT_M; where ground is missing a line ends.
    """
    # Not by way of a matplotlib figure, which takes longer and moves long lines by up to two tenths of a metre.
    import contourpy
    import shapely

    grid = site.grid
    x, y = grid.centres()
    west, south, east, north = around
    cols = np.flatnonzero((x >= west - grid.cell) & (x <= east + grid.cell))
    rows = np.flatnonzero((y >= south - grid.cell) & (y <= north + grid.cell))
    if cols.size < 2 or rows.size < 2:
        return
    held = slice(int(rows[0]), int(rows[-1]) + 1), slice(int(cols[0]), int(cols[-1]) + 1)
    some = spread(grid.part(*held), most_cells=MOST_CELLS)
    x, y = some.grid.centres()
    ground = np.ma.masked_invalid(some.mean(site.elevation[held]))
    if ground.mask.all():
        return
    step = contour_step(site)
    levels = np.arange(math.ceil(float(ground.min()) / step), math.floor(float(ground.max()) / step) + 1) * step
    drawn = contourpy.contour_generator(x, y, ground, name="serial")
    for level in levels.tolist():
        for points in drawn.lines(level):
            line = shapely.simplify(shapely.LineString(points), LEFT_OUT_M)
            yield level, shapely.get_coordinates(line)
