"""The tree of circles: what a search leaves out with a circle must really lie in it."""

import numpy as np
import pytest

from packpale.enclosure.circles import circle_tree


@pytest.mark.parametrize(("edges", "per_leaf"), [(1, 4), (4, 4), (5, 4), (57, 8), (300, 1)])
def test_each_circle_holds_the_edges_below_it(edges, per_leaf):
    rng = np.random.default_rng(edges)
    angle = rng.uniform(0, 7, edges)
    rows = np.column_stack([rng.normal(0, 40, (edges, 2)), np.cos(angle), np.sin(angle), rng.exponential(5, edges)])
    nodes = circle_tree(rows, per_leaf)
    leaves = len(nodes) // 2
    for i in range(leaves):
        held = rows[i * per_leaf : (i + 1) * per_leaf]
        ends = np.concatenate([held[:, :2], held[:, :2] + held[:, 2:4] * held[:, 4:]])
        node = leaves + i
        assert (nodes[node, 2] >= 0) == (len(held) > 0)
        while node >= 1 and len(held):
            assert (np.hypot(*(ends - nodes[node, :2]).T) <= nodes[node, 2] * (1 + 1e-12)).all()
            node //= 2
    # Not much larger than needed: no circle is wider than what lies in it.
    every = np.concatenate([rows[:, :2], rows[:, :2] + rows[:, 2:4] * rows[:, 4:]])
    assert nodes[1, 2] <= max(np.hypot(*(every - point).T).max() for point in every)
