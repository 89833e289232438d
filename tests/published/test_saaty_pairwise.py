"""T. L. Saaty, "Decision making with the analytic hierarchy process", Int. J. Services Sciences 1 (1), 2008, 83-98.

Consumption of drinks in the United States: the matrix, the printed weights and the printed consistency ratio are from
memory. The weights and the ratio follow from this matrix, and not from 2 for its doubtful entry tea / wine.
The random index is Saaty's, for 1 to 15 criteria.
"""

from fractions import Fraction

import numpy as np
import pytest

from packpale.land.pairwise import ACCEPTED_RATIO, RANDOM_INDEX, comparison_matrix, priorities
from printed import printed

DRINKS = ("coffee", "wine", "tea", "beer", "soda", "milk", "water")
MATRIX = """
    1    9    5    2    1    1    1/2
    1/9  1    1/3  1/9  1/9  1/9  1/9
    1/5  3    1    1/3  1/4  1/3  1/9
    1/2  9    3    1    1/2  1    1/3
    1    9    4    2    1    2    1/2
    1    9    3    1    1/2  1    1/3
    2    9    9    3    2    3    1
"""
WEIGHTS = ("0.177", "0.019", "0.042", "0.116", "0.190", "0.129", "0.327")
RATIO = "0.022"
SAATY_RANDOM_INDEX = "0 0 .58 .90 1.12 1.24 1.32 1.41 1.45 1.49 1.51 1.48 1.56 1.57 1.59"

rows = [[float(Fraction(entry)) for entry in line.split()] for line in MATRIX.strip().splitlines()]


def test_drinks_get_the_printed_weights_and_consistency_ratio():
    upper = {a: {b: rows[i][j] for j, b in enumerate(DRINKS) if j > i} for i, a in enumerate(DRINKS)}
    found = priorities(upper)
    assert tuple(found.weights) == DRINKS
    assert list(found.weights.values()) == [printed(weight) for weight in WEIGHTS]
    assert found.consistency_ratio == printed(RATIO)
    assert found.consistency_ratio < ACCEPTED_RATIO == 0.10


def test_reciprocals_are_filled_in_as_the_printed_matrix_has_them():
    lower = {a: {b: rows[i][j] for j, b in enumerate(DRINKS) if j < i} for i, a in enumerate(DRINKS)}
    names, matrix = comparison_matrix(lower)
    order = [names.index(drink) for drink in DRINKS]
    assert matrix[np.ix_(order, order)] == pytest.approx(np.array(rows))


def test_random_index_is_saatys():
    assert [float(value) for value in SAATY_RANDOM_INDEX.split()] == list(RANDOM_INDEX)
