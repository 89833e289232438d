"""Plots drawn by a seeded generator on the laser-scanned sample, and the ground of each for the search of a line."""

import math
from pathlib import Path

import numpy as np
import rasterio
import shapely
from shapely.geometry import Point, Polygon

from packpale.enclosure.line_ground import LineGround
from packpale.land.drainage import drainage
from packpale.land.slope import slope
from packpale.land.usable import cell_outlines, inward, polygons
from packpale.site.grid import Grid

SAMPLE = Path(__file__).parents[1] / "data_samples" / "real" / "lidar_1m_utm15n.tif"
INSIDE, OUTSIDE = 4.5, 5.1
SETBACK = 3.0


def real_grounds(count, seed=1):
    """By name: plots of 1 to 7 ha with limits of 15 to 25 degrees and 0.3 or 3 m of water.

    A twentieth to a half of each is soft ground; half have places to keep away from.
    """
    with rasterio.open(SAMPLE) as file:
        heights = file.read(1).astype(float)
        grid = Grid(file.transform.c, file.transform.f, file.transform.a, *heights.shape)
    cells = (grid.cell, grid.cell)
    ground = slope(heights, cell_size=cells)
    ponding = drainage(heights, ground, cell=grid.cell, channel_area=10_000.0).ponding
    # The hollows of this ground have no way out and take half of it; some plots get them filled, others half so.
    steep = {degrees: ground > math.tan(math.radians(degrees)) for degrees in (15, 20, 25)}
    wet = {depth: ponding > depth for depth in (0.3, 3.0)}
    x, y = (a.ravel() for a in np.meshgrid(*grid.centres()))
    rng = np.random.default_rng(seed)
    found = {}
    while len(found) < count:
        plot = random_plot(rng, grid)
        degrees, depth = (15, 20, 25)[len(found) % 3], (0.3, 3.0)[len(found) % 2]
        taken = (steep[degrees] | wet[depth]).ravel()[shapely.contains_xy(plot, x, y)]
        if not 0.05 < taken.mean() < 0.5:
            continue
        near = shapely.contains_xy(plot.buffer(2), x, y).reshape(grid.shape)
        soft = {
            "slope": cell_outlines(steep[degrees] & near, grid),
            "ponding": cell_outlines(wet[depth] & near, grid),
        }
        free = inward(plot, SETBACK)
        if len(found) % 4 > 1:
            west, south, east, north = plot.bounds
            for _ in range(rng.integers(1, 4)):
                free = free.difference(Point(rng.uniform(west, east), rng.uniform(south, north)).buffer(12))
        name = f"{len(found)}: {plot.area / 1e4:.1f} ha, {degrees} degrees, {depth:g} m"
        found[name] = LineGround(polygons(free, least_area=1.0), soft, INSIDE, OUTSIDE)
    return found


def random_plot(rng, grid):
    """A star-shaped piece of land with a few corners within the raster."""
    west, south, east, north = grid.bounds
    while True:
        radius = math.sqrt(rng.uniform(1.5e4, 9e4) / math.pi)
        x, y = rng.uniform(west + 5 + radius, east - 5 - radius), rng.uniform(south + 5 + radius, north - 5 - radius)
        angle = np.sort(rng.uniform(0, 2 * np.pi, rng.integers(5, 12)))
        reach = radius * rng.uniform(0.6, 1.4, angle.size)
        plot = Polygon(np.column_stack([x + reach * np.cos(angle), y + reach * np.sin(angle)]))
        if plot.is_valid and plot.area > 8000 and shapely.box(west + 3, south + 3, east - 3, north - 3).contains(plot):
            return plot
