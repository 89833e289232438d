"""Weights from pairwise comparisons: how many times as important is one criterion as another."""

import itertools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from packpale.site import Array

Comparisons = Mapping[Any, Mapping[Any, float]]
"""By name and name; the settings narrow the names to a set of literals, which a mapping of str would not admit."""
RANDOM_INDEX = (0.0, 0.0, 0.58, 0.90, 1.12, 1.24, 1.32, 1.41, 1.45, 1.49, 1.51, 1.48, 1.56, 1.57, 1.59)
"""Mean consistency index of random matrices of 1 to 15 criteria, after Saaty."""
ACCEPTED_RATIO = 0.10
"""Consistency ratio up to which comparisons are taken as consistent enough, after Saaty."""
ROUNDING = 0.05
"""Two comparisons of one pair agree if their product is 1 within this: 3 against 0.33 is meant as a reciprocal."""


@dataclass(frozen=True)
class Priorities:
    """Weights of the criteria and how well the comparisons agree with each other."""

    weights: Mapping[str, float]
    """They add up to 1."""
    largest_eigenvalue: float
    """The number of criteria where all comparisons agree, larger otherwise."""
    consistency_ratio: float
    """0 where all comparisons agree, 1 where they are as good as random."""


def priorities(pairwise: Comparisons) -> Priorities:
    """Weights from comparisons by the principal eigenvector of their matrix.

    Parameters
    ----------
    pairwise
        ``pairwise[a][b]`` says how many times as important a is as b; b against a may be left out.

    Raises
    ------
    ValueError
        With one line for each pair that is missing, contradicts itself or is no positive number.

    References
    ----------
    .. [1] T. L. Saaty, "Decision making with the analytic hierarchy process", International Journal of Services
       Sciences 1 (1), 2008, 83-98.
    """
    names, matrix = comparison_matrix(pairwise)
    values, vectors = np.linalg.eig(matrix)
    principal = int(np.argmax(values.real))
    # A matrix of positive numbers has one largest eigenvalue, real, with a vector of one sign (Perron).
    vector = np.abs(vectors[:, principal].real)
    weights = vector / vector.sum()
    n, largest = len(names), float(values[principal].real)
    index = (largest - n) / (n - 1) if n > 1 else 0.0
    random_index = RANDOM_INDEX[n - 1]
    ratio = max(index / random_index, 0.0) if random_index > 0 else 0.0
    return Priorities(dict(zip(names, weights.tolist(), strict=True)), largest, ratio)


def comparison_matrix(pairwise: Comparisons) -> tuple[tuple[str, ...], Array]:
    """Names in the order in which they first appear, and the full matrix with reciprocals filled in.

    Raises ValueError as ``priorities``.
    """
    names = tuple(dict.fromkeys(itertools.chain(pairwise, *pairwise.values())))
    if not 1 <= len(names) <= len(RANDOM_INDEX):
        raise ValueError(f"land.pairwise: found {len(names)} criteria; 1 to {len(RANDOM_INDEX)} can be compared")
    matrix = np.ones((len(names), len(names)))
    faults = [
        f"land.pairwise.{name}.{name}: a criterion is as important as itself; write 1 or leave it out"
        for name in names
        if pairwise.get(name, {}).get(name, 1.0) != 1.0
    ]
    for (i, a), (j, b) in itertools.combinations(enumerate(names), 2):
        forward, backward = pairwise.get(a, {}).get(b), pairwise.get(b, {}).get(a)
        given = [value for value in (forward, backward) if value is not None]
        if not given:
            faults.append(f"land.pairwise: {a} is not compared with {b}; give land.pairwise.{a}.{b}")
        elif not all(0 < value < np.inf for value in given):
            faults.append(f"land.pairwise.{a}.{b}: found {given[0]:g}; a comparison is a positive number")
        elif forward is not None and backward is not None and abs(forward * backward - 1) > ROUNDING:
            faults.append(
                f"land.pairwise.{a}.{b} = {forward:g} and land.pairwise.{b}.{a} = {backward:g} contradict each other; "
                "one must be the reciprocal of the other: leave one out"
            )
        else:
            # Of two, the one above 1 is the one that was not rounded.
            value = forward if forward is not None and (backward is None or forward >= 1) else 1 / given[-1]
            matrix[i, j], matrix[j, i] = value, 1 / value
    if faults:
        raise ValueError("\n".join(faults))
    return names, matrix
