"""Ranking by simple additive weighting, and how sure the first place is."""

from statistics import NormalDist

import numpy as np
import pytest

from packpale.review.model import PlotSummary
from packpale.run.ranking import rank, unknown_figures

WEIGHTS = {"land": 3.0, "space": 3.0, "price": 2.0}


def plot(plot_id, land=0.5, area=10_000.0, price=100_000.0, feasible=True):
    figures = {"feasible": feasible, "mean_suitability": land, "enclosed_area_m2": area, "cost_p50": price}
    return PlotSummary(plot_id, plot_id, figures, (), ())


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


@pytest.mark.parametrize("missing", [{"land": None}, {"area": None}, {"price": None}], ids=str)
def test_a_missing_figure_of_one_plot_never_turns_into_scores_of_all(missing):
    plots = [plot("a"), plot("b", **missing), plot("c", feasible=False, **missing)]
    (name,) = unknown_figures(plots[1])
    assert unknown_figures(plots[0]) == unknown_figures(plots[2]) == []
    with pytest.raises(ValueError, match=f"plot b cannot be ranked without {name}"):
        rank(plots, WEIGHTS, draws=100, seed=1)


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


MIRRORED = [plot("a", land=1.0, area=8_000, price=80_000), plot("b", land=0.8, area=10_000, price=100_000)]


def test_share_over_any_weights_is_a_part_of_the_simplex():
    # a is ahead by 0.2 in land and b by 0.2 in space: a wins where w_land > w_space, half of all mixtures; with b's
    # land at 0.6 where 2 w_land > w_space: on the simplex the part with w_land > w_space / 2 is 2/3.
    for land, exact in ((0.8, 1 / 2), (0.6, 2 / 3)):
        plots = [MIRRORED[0], plot("b", land=land, area=10_000, price=100_000)]
        ranking = rank(plots, {"land": 5.0, "space": 1.0, "price": 1.0}, draws=20_000, seed=5)
        share = {r.plot_id: r.first_place_share_any for r in ranking.rows}
        assert share["a"] == pytest.approx(exact, abs=4 * np.sqrt(exact * (1 - exact) / 20_000))
        assert share["a"] + share["b"] == pytest.approx(1.0)


def test_usual_places_leave_a_tenth_out_at_either_end():
    # a wins in 7/8 of the draws (see above): its ninth tenth is the second place, its first the first. The plots that
    # are worse in everything stand behind in every draw.
    worse = [plot(name, land=0.1, area=1_000, price=90_000 + i) for i, name in enumerate("xyz")]
    ranking = rank([*MIRRORED, *worse], {"land": 2.0, "space": 1.0, "price": 1.0}, draws=20_000, seed=5)
    places = {r.plot_id: r.usual_places for r in ranking.rows}
    assert places == {"a": (1, 2), "b": (1, 2), "x": (3, 3), "y": (4, 4), "z": (5, 5)}
    certain = rank([MIRRORED[0], *worse], {"land": 2.0, "space": 1.0, "price": 1.0}, draws=500, seed=5)
    assert certain.rows[0].usual_places == certain.rows[0].usual_places_any == (1, 1)


def test_too_many_plots_rest_on_fewer_draws_and_say_so(monkeypatch):
    whole = rank(MIRRORED, WEIGHTS, draws=5000, seed=2)
    monkeypatch.setattr("packpale.run.ranking.MOST_SCORES", 40)
    few = rank(MIRRORED, WEIGHTS, draws=5000, seed=2)
    assert (whole.draws, few.draws) == (5000, 1000)
    assert rank(MIRRORED, WEIGHTS, draws=500, seed=2).draws == 500
    # Twenty scores at a time give what one go gives.
    monkeypatch.setattr("packpale.run.ranking.MOST_SCORES", 10_000)
    assert rank(MIRRORED, WEIGHTS, draws=1000, seed=2).rows == few.rows


def drawn_from(**plots):
    """Draws of plots as their folders hold them: price, and change of the suitability."""
    made = {name: np.stack([price, np.broadcast_to(change, price.shape)]) for name, (price, change) in plots.items()}
    return lambda plot_id, most: made[plot_id][:, :most]


LEVEL = [plot("a", price=100_000), plot("b", price=100_000)]
"""Alike in everything but what is drawn."""


def test_of_two_plots_that_differ_in_price_alone_the_cheaper_draw_is_first():
    # Prices normal and independent: a is cheaper with the chance Phi((mb - ma) / sqrt(sa^2 + sb^2)), whatever weights.
    r = np.random.default_rng(3)
    n = 40_000
    ma, sa, mb, sb = 100_000, 9_000, 108_000, 12_000
    exact = NormalDist().cdf((mb - ma) / np.hypot(sa, sb))
    given = drawn_from(a=(r.normal(ma, sa, n), 0.0), b=(r.normal(mb, sb, n), 0.0))
    ranking = rank(LEVEL, WEIGHTS, draws=n, seed=5, drawn=given)
    rows = {p.plot_id: p for p in ranking.rows}
    for share in ("first_place_share", "first_place_share_any", "first_place_share_by_ground"):
        allowed = 5 * np.sqrt(exact * (1 - exact) / n)
        assert getattr(rows["a"], share) == pytest.approx(exact, abs=allowed), share
        assert getattr(rows["a"], share) + getattr(rows["b"], share) == pytest.approx(1.0)
    # Prices as estimated are level, and a stands first by its name.
    assert rows["a"].first_place_share_by_weights == 1.0


def test_of_two_triangular_prices_the_chance_is_that_of_the_integral():
    # Even triangles on [0, 2] and [1, 3], independent: P(b < a) is the integral of f_a(x) F_b(x) over [1, 2], with
    # f_a = 2 - x and F_b = (x - 1)^2 / 2: with t = x - 1 that is (t^2 - t^3) / 2 from 0 to 1, which is 1/24.
    n = 40_000
    r = np.random.default_rng(8)
    given = drawn_from(a=(1e5 * (1 + r.triangular(0, 1, 2, n)), 0.0), b=(1e5 * (1 + r.triangular(1, 2, 3, n)), 0.0))
    rows = {p.plot_id: p for p in rank(LEVEL, WEIGHTS, draws=n, seed=5, drawn=given).rows}
    assert rows["b"].first_place_share == pytest.approx(1 / 24, abs=5 * np.sqrt(23 / 24**2 / n))


def test_of_two_plots_alike_the_one_with_the_better_land_in_a_draw_is_first():
    # The change of a is normal, that of b nothing, and no weight is drawn as nothing: a is first where it is positive.
    r = np.random.default_rng(6)
    n = 20_000
    level = np.full(n, 100_000.0)
    given = drawn_from(a=(level, r.normal(0.02, 0.05, n)), b=(level, 0.0))
    rows = {p.plot_id: p for p in rank(LEVEL, WEIGHTS, draws=n, seed=5, drawn=given).rows}
    exact = NormalDist().cdf(0.02 / 0.05)
    assert rows["a"].first_place_share == pytest.approx(exact, abs=5 * np.sqrt(exact * (1 - exact) / n))


def test_what_is_common_to_two_plots_never_turns_them_round():
    # The same rates: b is dearer by a tenth in every draw, however far prices reach.
    common = np.random.default_rng(1).uniform(50_000, 200_000, 4000)
    given = drawn_from(a=(common, 0.0), b=(1.1 * common, 0.0))
    rows = rank(LEVEL, WEIGHTS, draws=4000, seed=5, drawn=given).rows
    assert [(p.plot_id, p.first_place_share) for p in rows] == [("a", 1.0), ("b", 0.0)]


def test_weights_ground_and_prices_together_against_plain_numpy():
    r = np.random.default_rng(12)
    n = 3000
    figures = {"a": (0.8, 20_000, 200_000), "b": (0.7, 30_000, 260_000), "c": (0.75, 25_000, 220_000)}
    prices = {k: f[2] * r.lognormal(0, 0.2, n) for k, f in figures.items()}
    changes = {k: r.normal(0, 0.05, n) for k in figures}
    plots = [plot(k, *f) for k, f in figures.items()]
    given = drawn_from(**{k: (prices[k], changes[k]) for k in figures})
    ranking = rank(plots, WEIGHTS, draws=n, seed=7, drawn=given)
    # One case after the other, with other weights than rank draws.
    wins = dict.fromkeys(figures, 0)
    other = np.random.default_rng(99)
    for k in range(n):
        w = np.array([3.0, 3.0, 2.0]) * 2.0 ** other.uniform(-1, 1, 3)
        for_each = {p: prices[p][k] / figures[p][1] for p in figures}
        score = {
            p: w @ [min(max(figures[p][0] + changes[p][k], 0), 1), figures[p][1] / 30_000,
                    min(for_each.values()) / for_each[p]]
            for p in figures
        }  # fmt: skip
        wins[max(score, key=score.get)] += 1
    for row in ranking.rows:
        share = wins[row.plot_id] / n
        assert row.first_place_share == pytest.approx(share, abs=5 * np.sqrt(2 * 0.25 / n)), row.plot_id
        assert 0.02 < row.first_place_share < 0.98


def test_weight_that_lets_the_second_overtake():
    weights = {"land": 2.0, "space": 1.0, "price": 1.0}
    ranking = rank(MIRRORED, weights, draws=100, seed=1)
    found = {o.criterion: o for o in ranking.overtaking}
    # By hand: 0.2 w_land = 0.2 w_space; price per area is alike and changes nothing.
    assert (found["land"].weight, found["land"].needed) == (2.0, pytest.approx(1.0))
    assert (found["space"].weight, found["space"].needed) == (1.0, pytest.approx(2.0))
    assert found["price"].needed is None
    for name in ("land", "space"):
        for factor in (0.999, 1.001):
            changed = rank(MIRRORED, weights | {name: factor * found[name].needed}, draws=10, seed=1)
            # More weight on land brings a to the front, on space b.
            assert changed.rows[0].plot_id == ("a" if (factor > 1) == (name == "land") else "b")


def test_nothing_overtakes_a_plot_that_is_better_in_everything():
    ranking = rank([plot("a", 0.9, 20_000, 90_000), plot("b")], WEIGHTS, draws=100, seed=3)
    assert [o.needed for o in ranking.overtaking] == [None, None, None]
    assert rank([plot("a")], WEIGHTS, draws=100, seed=3).overtaking == ()
