"""USDA Natural Resources Conservation Service, interpretive rule "ENG - Shallow Excavations" (rule 302).

Rule and curves as held by the National Soil Information System (public domain). The S curve runs from 0 to 1 in two
parabolas that meet half way; the rule takes the largest limitation. The limitations between the ends were worked out
from the curve's definition, x < m: 2 ((x - a) / (b - a))^2, else 1 - 2 ((x - b) / (b - a))^2 with m = (a + b) / 2.
"""

import numpy as np
import pytest

from packpale.land.diggability import FEATURES, limitations
from packpale.values.curves import shallow_excavations
from printed import printed

RULE_302 = {  # feature: (unit, limitation 0, limitation 1) as in the rule
    "hard bedrock": ("cm", 149.9, 99.9),
    "soft bedrock": ("cm", 99.9, 49.9),
    "water table": ("cm", 181.9, 74.9),
    "clay": ("%", 40, 60),
    "stones": ("%", 24.99, 50.01),
    "slope": ("%", 7.999, 15),
}
LIMITATIONS = [
    ("slope", 8, "0.0000"),
    ("slope", 10, "0.1634"),
    ("slope", 12, "0.6328"),
    ("slope", 13, "0.8368"),
    ("slope", 15, "1"),
    ("hard bedrock", 110, "0.9184"),
    ("hard bedrock", 120, "0.6768"),
    ("hard bedrock", 130, "0.3168"),
    ("hard bedrock", 140, "0.0784"),
    ("soft bedrock", 60, "0.9184"),
    ("soft bedrock", 75, "0.4960"),
    ("soft bedrock", 90, "0.0784"),
    ("water table", 100, "0.8899"),
    ("water table", 120, "0.6447"),
    ("water table", 150, "0.1778"),
    ("clay", 45, "0.125"),
    ("clay", 50, "0.5"),
    ("clay", 55, "0.875"),
    ("stones", 30, "0.0802"),
    ("stones", 45, "0.9198"),
]


def limitation(feature, quantity):
    nothing = {name: np.array(np.inf if "rock" in name or "table" in name else 0.0) for name in FEATURES}
    found = limitations({**nothing, feature: np.array(float(quantity))})
    assert all(value == 0 for name, value in found.items() if name != feature)
    return float(found[feature])


@pytest.mark.parametrize(("feature", "row"), RULE_302.items(), ids=RULE_302)
def test_table_holds_the_rule(feature, row):
    curve = shallow_excavations()[feature]
    assert (curve.unit, curve.zero_at, curve.one_at, curve.shape, curve.status) == (*row, "S", "published")


@pytest.mark.parametrize(("feature", "row"), RULE_302.items(), ids=RULE_302)
def test_limitation_runs_from_none_through_half_to_full(feature, row):
    _, none, full = row
    assert limitation(feature, none) == 0
    assert limitation(feature, none - (full - none)) == 0
    assert limitation(feature, (none + full) / 2) == pytest.approx(0.5, abs=1e-12)
    assert limitation(feature, full) == 1
    assert limitation(feature, full + (full - none)) == 1


@pytest.mark.parametrize(("feature", "quantity", "expected"), LIMITATIONS)
def test_limitation_between_the_ends(feature, quantity, expected):
    assert limitation(feature, quantity) == printed(expected)


def test_any_ponding_is_very_limiting():
    """The rule takes ponding of any frequency as 1; the depth from which we call a hollow ponded is our own."""
    assert limitation("ponding", 0.0) == 0
    assert limitation("ponding", shallow_excavations()["ponding"].one_at) == 1
    assert shallow_excavations()["ponding"].status == "assumption"


def test_every_feature_of_the_table_is_checked_here():
    assert set(FEATURES) == {*RULE_302, "ponding"}
