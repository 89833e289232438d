"""The largest egg whose line runs over limits for no more than a share of its length.

What changes against the egg contained in the land (fit.py): soft ground may lie inside, so that an egg that fits need
not fit when it is made smaller, and the size is a sixth unknown. The length over limits is an integral along the line
of a yes or no, which no linear programme follows far. So line_search.py looks for good places by rasters and
annealing, and line_polish.py brings them to the end by exact measures.

``fit_line`` is for one share, ``fit_lines`` for several, which share the preparation. place_line.py has the other aims.
"""

import math
import time
from collections.abc import Sequence

from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import Shapes, reported
from packpale.enclosure.line_ground import LineGround
from packpale.enclosure.line_polish import a_hair_less, searched
from packpale.enclosure.line_search import USUAL, Aim, Labour, Search
from packpale.enclosure.model import Fit


def fit_line(
    ground: LineGround,
    share: float,
    *,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float = 0.0,
    labour: Labour = USUAL,
) -> Fit | None:
    """The largest egg whose line runs over limits for at most ``share`` of its length; None if none is found.

    Parameters
    ----------
    ground
        Where the enclosure may lie and where its line may not.
    share
        Largest part of the line's length that may run over limits, 0 to 1.
    taper, aspect, min_radius
        As for fit.fit_largest.

    Returns
    -------
    Fit
        Feasible exactly. Its area_bound_m2 is the bound from no-go ground alone.

    Raises
    ------
    ValueError
        If the share lies outside 0 to 1, a coordinate is not finite or a range is none.
    """
    return fit_lines(ground, (share,), taper=taper, aspect=aspect, min_radius=min_radius, labour=labour)[0]


def fit_lines(
    ground: LineGround,
    shares: Sequence[float],
    *,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float = 0.0,
    labour: Labour = USUAL,
) -> tuple[Fit | None, ...]:
    """The same for several shares at once, in their order: a larger share never gives a smaller egg.

    The smallest share carries the time of the preparation in its ``fit_s``.
    """
    for share in shares:
        if not 0 <= share <= 1:
            raise ValueError(f"share = {share} of the line over limits must lie between 0 and 1")
    started = time.perf_counter()
    on = Search.on(ground, Shapes(ground.outside_strip, taper, aspect, min_radius))
    found: dict[float, Fit | None] = {}
    egg: Egg | None = None
    for share in sorted(set(shares)):
        egg = None if on is None else largest(on, share, labour, egg)
        now = time.perf_counter()
        found[share] = None if egg is None or on is None else Fit(egg, on.bound, now - started)
        started = now
    return tuple(found[share] for share in shares)


def largest(on: Search, share: float, labour: Labour, start: Egg | None) -> Egg | None:
    """The largest egg found for a share; ``start``, an egg feasible for it, is improved on."""
    if on.near is None:
        return on.contained
    for row in on.free[:1]:
        # Nothing is larger than what no-go ground alone allows.
        egg = reported(on.land, on.shapes, row[:5])
        if egg is not None and on.allows(egg, share):
            return egg
    best = start
    for row in on.strict[:3]:
        egg = reported(on.land, on.shapes, row[:5], at_most=a_hair_less(math.exp(row[5])))
        if egg is not None and on.allows(egg, share) and (best is None or egg.area > best.area):
            best = egg
    aim = Aim(share)
    known = () if best is None else (best,)
    eggs = searched(on, aim, labour, known)
    return max((*known, *eggs), default=None, key=lambda egg: egg.area)
