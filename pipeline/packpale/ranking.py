"""Which plot comes first, and how sure that is."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from packpale.result import PlotSummary
from packpale.settings import RANKING_CRITERIA, RankingCriterion
from packpale.site.grid import Array

WEIGHT_SPREAD = 2.0
"""Every weight is drawn between this part of the chosen one and this many times it."""


@dataclass(frozen=True)
class RankedPlot:
    """One plot's place. ``rank``, ``score`` are None where nothing fits."""

    plot_id: str
    rank: int | None
    score: float | None
    """0 to 100."""
    first_place_share: float
    """Share of the draws of weights in which the plot comes first, 0 to 1."""
    feasible: bool


@dataclass(frozen=True)
class Ranking:
    """Feasible plots from the first place down, then the others by id."""

    rows: tuple[RankedPlot, ...]


def rank(
    summaries: Sequence[PlotSummary], weights: Mapping[RankingCriterion, float], *, draws: int, seed: int
) -> Ranking:
    """Rank plots by simple additive weighting of land, space and price.

    Each criterion is scaled linearly to its best plot, as Hwang and Yoon [1]_ do for ratio scales: land is the mean
    suitability inside the fence as it is (0 to 1), space the enclosed area over the largest, price the lowest price
    per enclosed square metre over the plot's own. The score is 100 times the weighted mean. Plots with equal scores
    stand in the order of their ids.

    For ``first_place_share`` every weight is multiplied by a factor between 1/2 and 2, drawn evenly on a logarithmic
    scale, ``draws`` times from ``seed``. Unit rates are the same for all plots, so that their spread moves all prices
    together; it is not drawn here.

    References
    ----------
    .. [1] C. L. Hwang and K. Yoon, Multiple Attribute Decision Making, Springer 1981, doi:10.1007/978-3-642-48318-9
       (from memory).
    """
    order = sorted(summaries, key=lambda s: s.plot_id)
    fitting = [s for s in order if s.figures["feasible"]]
    others = tuple(RankedPlot(s.plot_id, None, None, 0.0, feasible=False) for s in order if s not in fitting)
    if not fitting:
        return Ranking(others)
    degrees = _degrees(fitting)
    chosen = np.array([weights.get(name, 0.0) for name in RANKING_CRITERIA])
    score = 100 * degrees @ chosen / chosen.sum()
    random = np.random.default_rng(seed)
    drawn = chosen * WEIGHT_SPREAD ** random.uniform(-1, 1, size=(draws, len(RANKING_CRITERIA)))
    winners = np.argmax(drawn @ degrees.T, axis=1)
    share = np.bincount(winners, minlength=len(fitting)) / draws
    best_first = np.argsort(-score, kind="stable")
    ranked = tuple(
        RankedPlot(fitting[i].plot_id, place, float(score[i]), float(share[i]), feasible=True)
        for place, i in enumerate(best_first, start=1)
    )
    return Ranking(ranked + others)


def _degrees(plots: Sequence[PlotSummary]) -> Array:
    """Land, space and price of each plot, 0 to 1; shape (plots, 3)."""
    land = np.array([p.figures["mean_suitability"] for p in plots], float)
    area = np.array([p.figures["enclosed_area_m2"] for p in plots], float)
    price = np.array([p.figures["cost_p50"] for p in plots], float) / area
    # With all rates at zero no plot is cheaper than another.
    cheapness = price.min() / price if price.min() > 0 else np.where(price == 0, 1.0, 0.0)
    return np.column_stack([land, area / area.max(), cheapness])
