"""USDA Natural Resources Conservation Service, interpretive rules for fences, of the National Soil Information System.

"GRL - Fencing, post depth up to 36 inches" (rule 883) and "CPS - Fencing (382)" (rule 32776): slope limits from 8 to
15 %; the second also wetness, from 107 cm (no limit) to 50 cm (full limit). Both are S curves.
"""

import numpy as np
import pytest

from packpale.land.memberships import degree
from packpale.values.curves import criteria

RULES = {("slope", "slope"): ("%", 15, 8), ("drainage", "water table"): ("cm", 50, 107)}


@pytest.mark.parametrize(("key", "row"), RULES.items(), ids=str)
def test_criterion_is_the_rule_turned_round(key, row):
    curve = criteria()[key]
    unit, worst, best = row
    assert (curve.unit, curve.zero_at, curve.one_at, curve.shape, curve.status) == (unit, worst, best, "S", "published")
    along = np.array([worst, (worst + best) / 2, best], float)
    assert degree(along, curve) == pytest.approx([0, 0.5, 1], abs=1e-12)


def test_only_published_curves_say_so():
    """Everything else in the table is our own choice and must not look like a standard."""
    assert {key for key, curve in criteria().items() if curve.status == "published"} == set(RULES)
