"""Fence lines for other aims than the largest: the best or cheapest of a given area, the largest within a budget.

The same search as for the largest egg (fit_line.py), with another aim. The conditions are the same: no-go ground lies
neither inside nor in the outside strip, and the line runs over limits for no more than the share of its length.

Interface, for whoever prices lines and makes the menu:

- ``LineCost(raster, grid, per_over_limit_m, fixed)``: what a line costs. ``line_cost(line, ground, cost)`` sums it up.
- ``Score(raster, grid)``: what is to be high inside the fence. best_place.mean_over gives the mean.
- ``place_line(ground, share, area, merit, ...)``: the egg of exactly that area with the highest mean of a Score or the
  lowest cost by a LineCost.
- ``largest_within(ground, share, budget, cost, ...)``: the largest egg whose cost is within the budget.
- ``cheapest(ground, share, cost, ...)``: the egg of the least cost of all, however small; what a budget must reach.

Each returns a Fit that is feasible exactly, or None where none was found. Make ``Search.on(ground, shapes)`` once and
hand it in as ``on`` where many lines are looked for on the same ground.
"""

import math
import time
from collections.abc import Sequence
from dataclasses import replace

from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import Shapes
from packpale.enclosure.line_ground import LineCost, LineGround, Score
from packpale.enclosure.line_polish import polished
from packpale.enclosure.line_search import USUAL, Aim, Labour, Search
from packpale.enclosure.model import Fit
from packpale.enclosure.packs import beyond


def place_line(
    ground: LineGround,
    share: float,
    area: float,
    merit: LineCost | Score,
    *,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float = 0.0,
    labour: Labour = USUAL,
    on: Search | None = None,
    known: Sequence[Egg] = (),
) -> Fit | None:
    """The feasible egg of exactly ``area`` [m2] with the highest mean of a Score, or the lowest cost by a LineCost.

    Parameters
    ----------
    ground, share, taper, aspect, min_radius
        As for fit_line.fit_line.
    merit
        What is made highest or lowest.
    on
        The same ground prepared already, with the same ranges.
    known
        Eggs to begin from, of any size.

    Raises
    ------
    ValueError
        If the share lies outside 0 to 1, the area is not positive, a coordinate is not finite or a range is none.
    """
    started = time.perf_counter()
    if not 0 < area < math.inf:
        raise ValueError(f"area = {area} m2 must be positive")
    if isinstance(merit, LineCost):
        aim = Aim(share, "cost", area=float(area), cost=merit)
    else:
        aim = Aim(share, "score", area=float(area), score=merit)
    on = on or Search.on(ground, Shapes(ground.outside_strip, taper, aspect, min_radius))
    return _found(on, aim, labour, known, started)


def place_lines(
    ground: LineGround,
    share: float,
    n: int,
    separation: float,
    *,
    area: float,
    score: Score,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float = 0.0,
    known: Sequence[Egg] = (),
) -> tuple[Fit, ...]:
    """Up to ``n`` eggs of an area [m2] at least ``separation`` [m] apart, one after the other where the score is best.

    Each in the best place that those before leave. Other parameters as for place_line.
    """
    found: list[Fit] = []
    for _ in range(n):
        free = beyond(ground.enclosable, [f.egg for f in found], separation, ground.outside_strip)
        fit = place_line(
            replace(ground, enclosable=free),
            share,
            area,
            score,
            taper=taper,
            aspect=aspect,
            min_radius=min_radius,
            known=known,
        )
        if fit is None:
            break
        found.append(fit)
    return tuple(found)


def largest_within(
    ground: LineGround,
    share: float,
    budget: float,
    cost: LineCost,
    *,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float = 0.0,
    labour: Labour = USUAL,
    on: Search | None = None,
    known: Sequence[Egg] = (),
) -> Fit | None:
    """The largest feasible egg whose cost is at most ``budget``; None if none is found. Parameters as for place_line.

    Raises ValueError as ``place_line``, and if the budget is not positive.
    """
    started = time.perf_counter()
    if not 0 < budget < math.inf:
        raise ValueError(f"budget = {budget} must be positive")
    aim = Aim(share, "area", cost=cost, budget=float(budget))
    on = on or Search.on(ground, Shapes(ground.outside_strip, taper, aspect, min_radius))
    return _found(on, aim, labour, known, started)


def cheapest(
    ground: LineGround,
    share: float,
    cost: LineCost,
    *,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float = 0.0,
    labour: Labour = USUAL,
    on: Search | None = None,
) -> Fit | None:
    """The feasible egg of the least cost, however small it is; None if none is found. Parameters as for place_line.

    Without a least radius of the small end it is smaller than anybody would build.
    """
    started = time.perf_counter()
    aim = Aim(share, "cost", cost=cost)
    on = on or Search.on(ground, Shapes(ground.outside_strip, taper, aspect, min_radius))
    return _found(on, aim, labour, (), started)


def _found(on: Search | None, aim: Aim, labour: Labour, known: Sequence[Egg], started: float) -> Fit | None:
    if not 0 <= aim.share <= 1:
        raise ValueError(f"share = {aim.share} of the line over limits must lie between 0 and 1")
    if on is None or (aim.area is not None and aim.area > on.bound):
        return None
    found = polished(on, on.annealed(aim, labour, known), aim, labour.polish)
    return Fit(found[0], on.bound, time.perf_counter() - started) if found else None
