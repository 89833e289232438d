"""Fence lines of a given area: where the land inside is best, or where they are cheapest.

The same search as for the largest egg (fit_line.py), with another aim. The conditions are the same: no-go ground lies
neither inside nor in the outside strip, and the line runs over limits for no more than the share of its length.

A budget is met by looking for the cheapest of several areas (alternatives.py). Make ``Search.on(ground, shapes)`` once
and hand it in as ``on`` where many lines are looked for on the same ground.
"""

import math
import time
from collections.abc import Sequence
from dataclasses import replace

from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import Shapes
from packpale.enclosure.line_ground import LineCost, LineGround, Score
from packpale.enclosure.line_polish import searched
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
    if not 0 <= share <= 1:
        raise ValueError(f"share = {share} of the line over limits must lie between 0 and 1")
    on = on or Search.on(ground, Shapes(ground.outside_strip, taper, aspect, min_radius))
    if on is None or area > on.bound:
        return None
    found = searched(on, aim, labour, known)
    return Fit(found[0], on.bound, time.perf_counter() - started) if found else None


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
