"""Weights from comparisons; a published matrix is checked in published/test_saaty_pairwise.py."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packpale.land.pairwise import priorities


@settings(deadline=None, max_examples=60)
@given(st.lists(st.floats(0.05, 20), min_size=1, max_size=6))
def test_comparisons_that_agree_give_their_weights_back(weights):
    names = [f"c{i}" for i in range(len(weights))]
    pairwise = {
        a: {a: 1.0} | {b: weights[i] / weights[j] for j, b in enumerate(names) if j > i} for i, a in enumerate(names)
    }
    found = priorities(pairwise)
    assert np.array(list(found.weights.values())) == pytest.approx(np.array(weights) / sum(weights), rel=1e-6)
    assert found.largest_eigenvalue == pytest.approx(len(weights), rel=1e-6)
    assert found.consistency_ratio == pytest.approx(0, abs=1e-6)


def test_three_criteria_that_contradict_each_other():
    """A cycle a > b > c > a, each k = 3 times.

    Its matrix is circulant, so the weights are equal and the largest eigenvalue is 1 + k + 1/k = 4.33: the consistency
    index is 0.667 and the ratio 0.667 / 0.58.
    """
    found = priorities({"a": {"b": 3.0}, "b": {"c": 3.0}, "c": {"a": 3.0}})
    assert list(found.weights.values()) == pytest.approx([1 / 3] * 3)
    assert found.largest_eigenvalue == pytest.approx(1 + 3 + 1 / 3)
    assert found.consistency_ratio == pytest.approx((1 + 3 + 1 / 3 - 3) / 2 / 0.58)


def test_two_criteria_are_always_consistent():
    found = priorities({"slope": {"drainage": 3.0}})
    assert found.weights == pytest.approx({"slope": 0.75, "drainage": 0.25})
    assert found.consistency_ratio == 0


def test_a_rounded_reciprocal_is_no_contradiction():
    assert priorities({"a": {"b": 3.0}, "b": {"a": 0.33}}).weights == pytest.approx({"a": 0.75, "b": 0.25})
    assert priorities({"a": {"b": 0.33}, "b": {"a": 3.0}}).weights == pytest.approx({"a": 0.25, "b": 0.75})


def test_every_fault_is_named():
    with pytest.raises(ValueError, match="slope") as caught:
        priorities({"slope": {"slope": 2.0, "drainage": 3.0}, "drainage": {"slope": 3.0}, "cover": {"slope": 2.0}})
    assert str(caught.value).splitlines() == [
        "land.pairwise.slope.slope: a criterion is as important as itself; write 1 or leave it out",
        "land.pairwise.slope.drainage = 3 and land.pairwise.drainage.slope = 3 contradict each other; "
        "one must be the reciprocal of the other: leave one out",
        "land.pairwise: drainage is not compared with cover; give land.pairwise.drainage.cover",
    ]


@pytest.mark.parametrize("bad", [0.0, -2.0, np.inf, np.nan])
def test_a_comparison_is_a_positive_number(bad):
    with pytest.raises(ValueError, match="positive number"):
        priorities({"a": {"b": bad}})


def test_nothing_to_compare_is_refused():
    with pytest.raises(ValueError, match="found 0 criteria"):
        priorities({})
