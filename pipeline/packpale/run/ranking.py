"""Which plot comes first, and how sure that is."""

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from packpale.review.model import Overtaking, RankedPlot, Ranking
from packpale.settings import RANKING_CRITERIA, RankingCriterion
from packpale.site.grid import Array

RANKED_BY = ("mean_suitability", "enclosed_area_m2", "cost_p50")
"""Figures of a plot that its score is made of."""
WEIGHT_SPREAD = 2.0
"""Every weight is drawn between one over this and this many times the chosen one."""
USUAL = (0.1, 0.9)
"""A plot's usual places are those between these parts of all draws."""
MOST_SCORES, FEWEST_DRAWS = 10_000_000, 1000
"""Scores kept at once, so that thousands of plots stay within memory, and the draws that are made all the same."""

Draws = Callable[[str, int], Array]
"""Gives the first draws of a plot, shape (2, draws): price, and change of the mean suitability."""


class Rankable(Protocol):
    """A plot with its figures."""

    @property
    def plot_id(self) -> str: ...
    @property
    def figures(self) -> Mapping[str, Any]: ...


def rank(
    plots: Sequence[Rankable],
    weights: Mapping[RankingCriterion, float],
    *,
    draws: int,
    seed: int,
    drawn: Draws | None = None,
) -> Ranking:
    """Rank plots by simple additive weighting of land, space and price.

    Each criterion is scaled linearly to its best plot, as Hwang and Yoon [1]_ do for ratio scales: land is the mean
    suitability inside the fence as it is (0 to 1), space the enclosed area over the largest, price the lowest price
    per enclosed square metre over the plot's own. The score is 100 times the weighted mean. Plots with equal scores
    stand in the order of their ids.

    ``first_place_share`` and ``usual_places`` are counted over ``draws`` drawn cases. Every weight is multiplied by a
    factor between 1/2 and 2, drawn evenly on a logarithmic scale from ``seed``; for any weights the draws are even over
    all mixtures (the simplex). Price and suitability of each plot are those that ``drawn`` has for the same case: rates
    are then the same on all plots, rock and water each plot's own. Without ``drawn`` they stay as they are. The area
    enclosed does not vary.

    References
    ----------
    .. [1] C. L. Hwang and K. Yoon, Multiple Attribute Decision Making, Springer 1981, doi:10.1007/978-3-642-48318-9
       (from memory).
    """
    order = sorted(plots, key=lambda s: s.plot_id)
    fitting = [s for s in order if s.figures["feasible"]]
    others = tuple(RankedPlot(s.plot_id, None, None, 0.0, feasible=False) for s in order if not s.figures["feasible"])
    if not fitting:
        return Ranking(others)
    figures = _figures(fitting)
    degrees = _degrees(figures)
    chosen = np.array([weights.get(name, 0.0) for name in RANKING_CRITERIA])
    points = 100 * degrees * chosen / chosen.sum()
    score = 100 * degrees @ chosen / chosen.sum()
    best_first = np.argsort(-score, kind="stable")
    # With thousands of plots the shares rest on fewer draws.
    count = min(draws, max(MOST_SCORES // len(fitting), FEWEST_DRAWS))
    random = np.random.default_rng(seed)
    around = chosen * WEIGHT_SPREAD ** random.uniform(-1, 1, size=(count, len(RANKING_CRITERIA)))
    # Exponential draws divided by their sum lie evenly on the simplex; dividing changes no place.
    mixtures = random.exponential(size=around.shape)
    as_chosen = np.broadcast_to(chosen, around.shape)
    as_is = np.broadcast_to(figures, (1, *figures.shape))
    cases = as_is if drawn is None else _cases(fitting, figures, drawn, count)
    share, places = _places(around, cases)
    share_any, places_any = _places(mixtures, cases)
    by_weights, by_ground = _places(around, as_is)[0], _places(as_chosen, cases)[0]
    ranked = tuple(
        RankedPlot(
            fitting[i].plot_id,
            place,
            float(score[i]),
            float(share[i]),
            feasible=True,
            first_place_share_any=float(share_any[i]),
            first_place_share_by_weights=float(by_weights[i]),
            first_place_share_by_ground=float(by_ground[i]),
            usual_places=places[i],
            usual_places_any=places_any[i],
            parts=tuple(points[i].tolist()),
        )
        for place, i in enumerate(best_first, start=1)
    )
    level = _overtaking(degrees[best_first[0]] - degrees[best_first[1]], chosen) if len(fitting) > 1 else ()
    return Ranking(ranked + others, level, count)


def _cases(plots: Sequence[Rankable], figures: Array, drawn: Draws, count: int) -> npt.NDArray[np.float32]:
    """Figures of the plots in each case, shape (count, plots, 3)."""
    out = np.empty((count, *figures.shape), np.float32)
    for k, plot in enumerate(plots):
        price, change = drawn(plot.plot_id, count)
        out[:, k, 0] = np.clip(figures[k, 0] + change, 0.0, 1.0)
        out[:, k, 1] = figures[k, 1]
        out[:, k, 2] = price
    return out


def _places(weights: Array, cases: npt.NDArray[Any]) -> tuple[Array, list[tuple[int, int]]]:
    """Share of the cases in which each plot is first, and its usual places.

    ``weights`` has shape (cases, criteria), ``cases`` (cases, plots, figures), or (1, plots, figures) where they do not
    vary.
    """
    n = cases.shape[1]
    place = np.empty((len(weights), n), np.int32)
    step = max(MOST_SCORES // (10 * n), 1)
    for start in range(0, len(weights), step):
        part = slice(start, start + step)
        degrees = _degrees(cases[part] if len(cases) > 1 else cases)
        scores = np.einsum(
            "dpc,dc->dp", np.broadcast_to(degrees, (len(weights[part]), *degrees.shape[1:])), weights[part]
        )
        order = np.argsort(-scores, axis=1, kind="stable")
        np.put_along_axis(place[part], order, np.arange(1, n + 1, dtype=np.int32)[None, :], axis=1)
    ends = np.quantile(place, USUAL, axis=0, method="inverted_cdf")
    return (place == 1).mean(axis=0), [(int(best), int(worst)) for best, worst in ends.T]


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


def _figures(plots: Sequence[Rankable]) -> Array:
    """Suitability, area [m2] and price of each plot, shape (plots, 3)."""
    for plot in plots:
        if unknown := unknown_figures(plot):
            # As NaN it would take the price from all plots, not only from this one.
            raise ValueError(f"plot {plot.plot_id} cannot be ranked without {', '.join(unknown)}")
    return np.array([[p.figures[name] for name in RANKED_BY] for p in plots], float)


def _degrees(figures: npt.NDArray[Any]) -> Array:
    """Land, space and price of each plot, 0 to 1; both arrays have shape (..., plots, 3)."""
    land, area, price = np.moveaxis(np.asarray(figures, float), -1, 0)
    for_each = price / area
    least = for_each.min(axis=-1, keepdims=True)
    # With all rates at zero no plot is cheaper than another.
    cheapness = np.where(least > 0, least / np.where(for_each > 0, for_each, 1.0), for_each == 0)
    return np.stack([land, area / area.max(axis=-1, keepdims=True), cheapness], axis=-1)
