"""Ranking by simple additive weighting, and how sure the first place is."""

import numpy as np
import pytest

from packpale.ranking import rank
from packpale.result import PlotSummary

WEIGHTS = {"land": 3.0, "space": 3.0, "price": 2.0}


def plot(plot_id, land=0.5, area=10_000.0, price=100_000.0, feasible=True):
    figures = {"feasible": feasible, "mean_suitability": land, "enclosed_area_m2": area, "cost_p50": price}
    return PlotSummary(plot_id, plot_id, figures, (), (), {}, ())


def test_scores_are_the_weighted_mean_by_hand():
    # By hand: land as it is; space over the largest; price per m2 20 and 10, so that the dearer has 10/20.
    ranking = rank([plot("a", 0.8, 10_000, 200_000), plot("b", 0.6, 20_000, 200_000)], WEIGHTS, draws=100, seed=1)
    scores = {r.plot_id: r.score for r in ranking.rows}
    assert scores["a"] == pytest.approx(100 * (3 * 0.8 + 3 * 0.5 + 2 * 0.5) / 8)
    assert scores["b"] == pytest.approx(100 * (3 * 0.6 + 3 * 1.0 + 2 * 1.0) / 8)
    assert [(r.plot_id, r.rank) for r in ranking.rows] == [("b", 1), ("a", 2)]


def test_what_does_not_fit_stands_last_without_a_score():
    ranking = rank([plot("z"), plot("a", feasible=False)], WEIGHTS, draws=100, seed=1)
    assert [(r.plot_id, r.rank, r.feasible) for r in ranking.rows] == [("z", 1, True), ("a", None, False)]
    assert ranking.rows[1].score is None
    assert rank([plot("a", feasible=False)], WEIGHTS, draws=100, seed=1).rows[0].rank is None


def test_a_plot_better_in_everything_is_first_in_every_draw():
    ranking = rank([plot("a", 0.9, 20_000, 90_000), plot("b")], WEIGHTS, draws=1000, seed=3)
    assert [r.first_place_share for r in ranking.rows] == [1.0, 0.0]


def test_first_place_share_of_two_mirrored_plots_is_the_share_of_the_larger_weight():
    # a is better in land by 0.2, b in space by 0.2, prices per area alike: a wins where its weight was drawn larger.
    # Both factors are 2**u with u even on [-1, 1] and the chosen weights are equal: by symmetry in half of the draws.
    a = plot("a", land=1.0, area=8_000, price=80_000)
    b = plot("b", land=0.8, area=10_000, price=100_000)
    ranking = rank([a, b], {"land": 1.0, "space": 1.0, "price": 1.0}, draws=20_000, seed=5)
    assert {r.plot_id: r.first_place_share for r in ranking.rows}["a"] == pytest.approx(
        0.5, abs=4 * 0.5 / np.sqrt(20_000)
    )
    # With twice the weight on land, u_a + 1 > u_b: 1 - (half a square of side 1 out of area 4) = 7/8.
    ranking = rank([a, b], {"land": 2.0, "space": 1.0, "price": 1.0}, draws=20_000, seed=5)
    share = {r.plot_id: r.first_place_share for r in ranking.rows}["a"]
    assert share == pytest.approx(7 / 8, abs=4 * np.sqrt(7 / 64 / 20_000))


def test_neither_the_order_of_the_plots_nor_a_second_run_changes_the_ranking():
    plots = [plot("c", 0.3), plot("a", 0.5), plot("b", 0.5)]
    ranking = rank(plots, WEIGHTS, draws=500, seed=9)
    assert ranking == rank(plots[::-1], WEIGHTS, draws=500, seed=9)
    assert [r.plot_id for r in ranking.rows] == ["a", "b", "c"]


def test_free_work_makes_no_plot_cheaper_than_another():
    ranking = rank([plot("a", price=0.0), plot("b", price=0.0)], WEIGHTS, draws=100, seed=1)
    assert ranking.rows[0].score == ranking.rows[1].score == pytest.approx(100 * (3 * 0.5 + 3 + 2) / 8)
