"""Which plot comes first, and how sure that is."""

import math
from collections.abc import Mapping, Sequence
from typing import Any, Protocol

import numpy as np

from packpale.review.model import Overtaking, RankedPlot, Ranking
from packpale.settings import RANKING_CRITERIA, RankingCriterion
from packpale.site.grid import Array

RANKED_BY = ("mean_suitability", "enclosed_area_m2", "cost_p50")
"""Figures of a plot that its score is made of."""
WEIGHT_SPREAD = 2.0
"""Every weight is drawn between one over this and this many times the chosen one."""
USUAL = (0.1, 0.9)
"""A plot's usual places are those between these parts of all draws."""
MOST_SCORES = 20_000_000
"""Scores kept at once, so that thousands of plots stay within memory; the usual places then rest on fewer draws."""


class Rankable(Protocol):
    """A plot with its figures."""

    @property
    def plot_id(self) -> str: ...
    @property
    def figures(self) -> Mapping[str, Any]: ...


def rank(plots: Sequence[Rankable], weights: Mapping[RankingCriterion, float], *, draws: int, seed: int) -> Ranking:
    """Rank plots by simple additive weighting of land, space and price.

    Each criterion is scaled linearly to its best plot, as Hwang and Yoon [1]_ do for ratio scales: land is the mean
    suitability inside the fence as it is (0 to 1), space the enclosed area over the largest, price the lowest price
    per enclosed square metre over the plot's own. The score is 100 times the weighted mean. Plots with equal scores
    stand in the order of their ids.

    For ``first_place_share`` and ``usual_places`` every weight is multiplied by a factor between 1/2 and 2, drawn
    evenly on a logarithmic scale, ``draws`` times from ``seed``; for any weights the draws are even over all mixtures
    (the simplex). Unit rates are the same for all plots, so that their spread moves all prices together; it is not
    drawn here.

    References
    ----------
    .. [1] C. L. Hwang and K. Yoon, Multiple Attribute Decision Making, Springer 1981, doi:10.1007/978-3-642-48318-9
       (from memory).
    """
    order = sorted(plots, key=lambda s: s.plot_id)
    fitting = [s for s in order if s.figures["feasible"]]
    others = tuple(RankedPlot(s.plot_id, None, None, 0.0, feasible=False) for s in order if s not in fitting)
    if not fitting:
        return Ranking(others)
    degrees = _degrees(fitting)
    chosen = np.array([weights.get(name, 0.0) for name in RANKING_CRITERIA])
    points = 100 * degrees * chosen / chosen.sum()
    score = 100 * degrees @ chosen / chosen.sum()
    best_first = np.argsort(-score, kind="stable")
    random = np.random.default_rng(seed)
    around = chosen * WEIGHT_SPREAD ** random.uniform(-1, 1, size=(draws, len(RANKING_CRITERIA)))
    share, places = _places(around, degrees)
    # Exponential draws divided by their sum lie evenly on the simplex; dividing changes no place.
    share_any, places_any = _places(random.exponential(size=around.shape), degrees)
    ranked = tuple(
        RankedPlot(
            fitting[i].plot_id,
            place,
            float(score[i]),
            float(share[i]),
            feasible=True,
            first_place_share_any=float(share_any[i]),
            usual_places=places[i],
            usual_places_any=places_any[i],
            parts=tuple(points[i].tolist()),
        )
        for place, i in enumerate(best_first, start=1)
    )
    level = _overtaking(degrees[best_first[0]] - degrees[best_first[1]], chosen) if len(fitting) > 1 else ()
    return Ranking(ranked + others, level)


def _places(weights: Array, degrees: Array) -> tuple[Array, list[tuple[int, int]]]:
    """Share of the draws in which each plot is first, and its usual places. ``weights`` has shape (draws, criteria)."""
    n = len(degrees)
    wins = np.zeros(n)
    kept, found = max(MOST_SCORES // n, 1000), []
    step = max(MOST_SCORES // (10 * n), 1)
    for start in range(0, len(weights), step):
        scores = weights[start : start + step] @ degrees.T
        wins += np.bincount(np.argmax(scores, axis=1), minlength=n)
        if start < kept:
            order = np.argsort(-scores, axis=1, kind="stable")
            place = np.empty(order.shape, np.int32)
            np.put_along_axis(place, order, np.arange(1, n + 1, dtype=np.int32)[None, :], axis=1)
            found.append(place)
    ends = np.quantile(np.concatenate(found), USUAL, axis=0, method="inverted_cdf")
    return wins / len(weights), [(int(best), int(worst)) for best, worst in ends.T]


def _overtaking(ahead: Array, chosen: Array) -> tuple[Overtaking, ...]:
    """Where the first plot's lead, sum of w (its degree - the second's), is nothing; ``ahead`` holds the differences.

    With all weights but one held, w_k = - (sum over the others of w_j D_j) / D_k. It has to be a weight, not below
    nothing, and where both are level in the criterion none will do.
    """
    lead = float(ahead @ chosen)
    found = []
    for name, weight, difference in zip(RANKING_CRITERIA, chosen.tolist(), ahead.tolist(), strict=True):
        needed = weight - lead / difference if abs(difference) > 1e-12 else math.inf
        found.append(Overtaking(name, weight, needed if 0 <= needed < math.inf else None))
    return tuple(found)


def unknown_figures(plot: Rankable) -> list[str]:
    """Names of the figures without which a plot that fits cannot be ranked, those that are missing."""
    return [name for name in RANKED_BY if plot.figures["feasible"] and plot.figures[name] is None]


def _degrees(plots: Sequence[Rankable]) -> Array:
    """Land, space and price of each plot, 0 to 1; shape (plots, 3)."""
    for plot in plots:
        if unknown := unknown_figures(plot):
            # As NaN it would take the price from all plots, not only from this one.
            raise ValueError(f"plot {plot.plot_id} cannot be ranked without {', '.join(unknown)}")
    land = np.array([p.figures["mean_suitability"] for p in plots], float)
    area = np.array([p.figures["enclosed_area_m2"] for p in plots], float)
    price = np.array([p.figures["cost_p50"] for p in plots], float) / area
    # With all rates at zero no plot is cheaper than another.
    cheapness = price.min() / price if price.min() > 0 else np.where(price == 0, 1.0, 0.0)
    return np.column_stack([land, area / area.max(), cheapness])
