"""Random lines on a plot, and their figures by the program's own rooms: what the map's page has to agree with."""

from dataclasses import dataclass

import numpy as np

from line_costs import along
from packpale.earthworks.line_rates import line_cost, line_rates
from packpale.enclosure.egg import Egg
from packpale.enclosure.over_limits import over_limits_m
from packpale.enclosure.place import cells_inside
from packpale.land.surroundings import cells_within

FIGURES = ("big_x", "big_y", "axis_bearing_deg", "big_radius_m", "small_radius_m", "centre_spacing_m")


@dataclass(frozen=True)
class LineFigures:
    over: float
    price: float
    rock: float
    relief: float | None
    """None where ground inside is not known."""
    wood: float
    room: float | None
    """From the strip outside the line to no-go ground; None for lines that reach into it."""


def random_lines(outline, many, *, seed):
    """Eggs all over the plot and a little beyond it, of every size and shape."""
    rng = np.random.default_rng(seed)
    west, south, east, north = outline.bounds
    return [
        Egg.from_shape(
            float(rng.uniform(0.4, 0.95)),
            float(rng.uniform(1.05, 2.2)),
            big_x=float(rng.uniform(west, east)),
            big_y=float(rng.uniform(south, north)),
            axis_bearing_deg=float(rng.uniform(0, 360)),
            area=float(rng.uniform(0.02, 0.6)) * outline.area,
        )
        for _ in range(many)
    ]


def as_figures(egg):
    return [egg.big_x, egg.big_y, egg.axis_bearing_deg, egg.big_radius, egg.small_radius, egg.centre_spacing]


def figures_by_the_program(egg, result, project):
    site, land, trench = result.site, result.land, project.trench
    rates, grid = line_rates(site, project), result.site.grid
    over = over_limits_m(egg, land.soft, inside=trench.inside_strip_m, outside=trench.outside_strip_m)
    price = along(egg, rates.per_m, grid, line_cost(site, project).step) + rates.per_over_limit_m * over + rates.fixed
    at = egg.points_at((np.arange(4000) + 0.5) / 4000 * egg.perimeter)
    rock = float((grid.nearest(site.soil.depth_to_rock, at.x, at.y) < trench.depth_m).mean()) * egg.perimeter
    inside = cells_inside(egg, site)
    west, south, east, north = egg.polygon(0.01).bounds
    x, y = grid.centres()
    on_grid = west > x.min() and east < x.max() and south > y.min() and north < y.max()
    whole = on_grid and np.isfinite(site.elevation[inside]).all()
    level = site.elevation[inside]
    wood = cells_within(site.features.get("woodland", ()), grid)[inside].mean() if inside.any() else 0.0
    return LineFigures(
        over, price, rock, float(np.ptp(level)) if whole else None, float(wood), _room(egg, result, project)
    )


def _room(egg, result, project):
    ring = egg.polygon(0.002)
    no_go = [limit.area for limit in result.land.limits if not limit.may_lie_inside]
    if not result.site.outline.contains(ring) or any(ring.intersects(area) for area in no_go):
        return None
    gaps = [ring.exterior.distance(area) for area in (result.site.outline.boundary, *no_go)]
    return float(np.min(gaps)) - project.trench.outside_strip_m
