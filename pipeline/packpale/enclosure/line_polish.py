"""The last steps of the search for a line, with exact measures: what is reported is feasible, always.

The rasters were half a cell off, which in a narrow place hides what is best: so annealing goes on from each end with
the exact lengths over limits and at no-go ground, what the conditions miss as a penalty. Then random neighbours are
tried, nearer the rarer they are better, and only such as keep the conditions. The egg is evaluated once more as it is
reported, in the run's coordinates, with a micrometre to spare.
"""

import math
from collections.abc import Sequence

import numpy as np

from packpale.enclosure import _kernels_line
from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import position_reported, thinned_out
from packpale.enclosure.line_search import SPARE_M, Aim, Labour, Search, centres, middles, position_of
from packpale.site.grid import Array

_ALIKE, _AGREE = 4, 0.01
"""So many passes have to find the same, and so near to the best of all is that."""
_WARMTH = np.array([(0.02, 0.0005), (0.2, 0.01), (300.0, 300.0)])
"""Of the annealing by exact measures: temperature, reach and weight as for line_search.Round."""
_AGAIN = np.array([(0.02, 0.0005), (0.8, 0.01), (300.0, 300.0)])
"""The same where it sets out once more from the best places."""
_SAME = 5e-4
"""Where the best ends come as near to one another as this, there is nothing to be found beside them."""
_PLACES, _WALKS = 2, 8
"""So many of these, and so many walks from each."""
_BEST = 3
"""So many ends are brought as far as they go."""


def searched(on: Search, aim: Aim, labour: Labour, known: Sequence[Egg] = ()) -> list[Egg]:
    """Feasible eggs, best first, from passes of the whole search until four find the same.

    ``known`` are eggs to begin from. Only the first pass does, so that the others can tell whether it was led astray.
    The polish begins from them too: the rasters may prefer places that prove to be none.
    """
    before = np.array([position_of(egg, on.land.origin) for egg in known]).reshape(-1, 6)
    found: list[tuple[float, Egg]] = []
    bests: list[float] = []
    for seed in range(labour.passes):
        rows = on.annealed(aim, labour.of_pass(seed), () if seed else known, seed)
        steps = 2 * labour.polish // 3
        more = _polished(
            on, rows if seed else np.vstack([before, rows]), aim, steps=steps, warmth=_WARMTH, proposals=labour.polish
        )
        found += more
        # In logs of area or price, or as much of a score.
        bests.append(more[0][0] if more else -math.inf)
        if sum(best >= max(bests) - _AGREE for best in bests) >= _ALIKE:
            break
    found.sort(key=lambda end: -end[0])
    if found and labour.again and (len(found) < _BEST or found[0][0] - found[_BEST - 1][0] > _SAME):
        # A little beside a good place there often is a better one.
        ends = np.array([(value, *position_of(egg, on.land.origin)) for value, egg in found])
        best = thinned_out(ends, near=0.5 * found[0][1].big_radius, turn=2 * math.pi, most=_PLACES)
        rows = np.repeat(best[:, 1:], _WALKS, axis=0)
        found += _polished(on, rows, aim, steps=labour.again, warmth=_AGAIN, proposals=labour.polish)
        found.sort(key=lambda end: -end[0])
    return [egg for _, egg in found]


def _polished(
    on: Search, rows: Array, aim: Aim, *, steps: int, warmth: Array, proposals: int
) -> list[tuple[float, Egg]]:
    """What the aim makes largest, and feasible eggs near positions (x, y, psi, taper, aspect, log R), best first.

    Three of them are as good as they get.
    """
    # The smallest egg of all has the least radius in one shape only, and would miss it by rounding.
    aims, ground = aim.numbers(on.shapes.log_min_radius - 5e-7), (on.rasters(aim), on.exact)
    rows, merits = middles(rows), np.empty(len(rows))
    _kernels_line.anneal(rows, merits, steps, warmth, aims, on.limits, 0.0, 5, *ground)

    def climbed(rows: Array, steps: int) -> list[tuple[float, Array]]:
        ended = [(_kernels_line.climb(z[None], 0.03, steps, aims, on.limits, 11, *ground), z) for z in rows]
        return sorted((end for end in ended if end[0] > -np.inf), key=lambda end: -end[0])

    begun = np.array([z for _, z in climbed(rows, proposals // 6)[:_BEST]]).reshape(-1, 6)
    ended = climbed(begun, proposals)
    found = [(value, _reported(on, centres(z[None])[0], aim)) for value, z in ended]
    return [(value, egg) for value, egg in found if egg is not None]


def a_hair_less(R: float) -> float:
    """A scale less what rounding may take. [m]"""
    return R * (1 - 1e-8) - SPARE_M


def _reported(on: Search, row: Array, aim: Aim) -> Egg | None:
    """The egg of a row (x, y, psi, taper, aspect, log R) about O in the run's coordinates, feasible there."""
    taper, aspect, R = float(row[3]), float(row[4]), float(np.exp(row[5]))
    at, most, inside = position_reported(on.land, on.shapes, row[:5], at_most=2 * R)
    if not inside:
        return None
    for _ in range(40):
        if aim.area is not None:
            egg = Egg.from_shape(taper, aspect, **at, area=aim.area)
        else:
            egg = Egg.from_shape(taper, aspect, **at, big_radius=min(R, most))
        if egg.big_radius <= most and egg.small_radius >= on.shapes.min_radius and on.allows(egg, aim.share):
            return egg
        if aim.area is not None:
            return None
        R *= 1 - 1e-6
    return None
