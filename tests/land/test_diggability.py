"""Which property limits digging; the curves themselves are checked in published/test_nrcs_shallow_excavations.py."""

import numpy as np
import pytest

from made_soil import soil_of
from packpale.land.diggability import FEATURES, digging

SHAPE = (1, 1)


def found(*, slope=0.0, ponding=0.0, **soil):
    result = digging(soil_of(SHAPE, **soil), slope=np.full(SHAPE, slope), ponding=np.full(SHAPE, ponding))
    return float(result.limitation[0, 0]), int(result.limiting_feature[0, 0])


CASES = {  # one property each, in SI units or percent, where the rule of the table gives one half
    "hard bedrock": {"depth_to_rock": 1.249},
    "soft bedrock": {"depth_to_rock": 0.749, "rock_is_hard": False},
    "water table": {"water_table": 1.284},
    "clay": {"clay": 50.0},
    "stones": {"stones": 37.5},
    "slope": {"slope": 0.114995},
}


@pytest.mark.parametrize(("feature", "values"), CASES.items(), ids=CASES)
def test_each_feature_limits_alone_and_is_named(feature, values):
    limitation, index = found(**values)
    assert limitation == pytest.approx(0.5, abs=1e-9)
    assert FEATURES[index] == feature


def test_standing_water_limits_in_full():
    assert found(ponding=0.05) == (0.0, -1)
    assert found(ponding=0.2) == (1.0, FEATURES.index("ponding"))


def test_most_limiting_feature_decides():
    """Clay of 45 % gives 0.125, stones of 45 % give 0.92: not their sum, not their mean."""
    limitation, index = found(clay=45.0, stones=45.0)
    assert limitation == pytest.approx(1 - 2 * ((45 - 50.01) / (50.01 - 24.99)) ** 2)
    assert FEATURES[index] == "stones"


def test_of_equal_limitations_the_first_of_the_list_is_named():
    assert found(depth_to_rock=0.5, water_table=0.5, slope=0.4) == (1.0, FEATURES.index("hard bedrock"))


def test_soft_rock_is_dug_where_hard_rock_stops():
    assert found(depth_to_rock=1.0, rock_is_hard=True)[0] == pytest.approx(1.0, abs=1e-4)
    assert found(depth_to_rock=1.0, rock_is_hard=False)[0] == 0


def test_nothing_limits():
    assert found() == (0.0, -1)


def test_unknown_ground_is_unknown_even_where_rock_would_decide():
    limitation, index = found(slope=np.nan, depth_to_rock=0.1)
    assert np.isnan(limitation)
    assert index == -1
