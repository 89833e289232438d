"""The balance of cut, backfill, import and surplus."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packpale.earthworks.bulking import bulk

FACTORS = {"soil_swell": 0.25, "soil_shrink": 0.10, "rock_swell": 0.50}


def test_mixed_trench_by_hand():
    # 100 m3, 30 of it rock. Loose 70 x 1.25 + 30 x 1.5 = 132.5. Filled again with 70 x 0.9 = 63 of soil: 37 short.
    # The rock is left over: 45 loose.
    balance = bulk(cut=100.0, rock=30.0, **FACTORS)
    assert balance.cut_loose == pytest.approx(132.5)
    assert balance.backfill_compacted == 100.0
    assert balance.import_compacted == pytest.approx(37.0)
    assert balance.surplus_loose == pytest.approx(45.0)


def test_soil_that_does_not_shrink_fills_its_own_trench():
    balance = bulk(cut=100.0, rock=0.0, soil_swell=0.25, soil_shrink=0.0, rock_swell=0.5)
    assert balance.import_compacted == 0.0
    assert balance.surplus_loose == 0.0


@given(st.floats(0.01, 1e5), st.floats(0, 1), st.floats(0, 1), st.floats(0, 0.5), st.floats(0, 1))
def test_nothing_is_lost(cut, share, soil_swell, soil_shrink, rock_swell):
    rock = cut * share
    b = bulk(cut=cut, rock=rock, soil_swell=soil_swell, soil_shrink=soil_shrink, rock_swell=rock_swell)
    assert b.surplus_loose >= 0
    assert b.import_compacted >= 0
    # Loose soil is either in the trench, where 1 + swell becomes 1 - shrink, or left over with the rock.
    in_trench = (b.backfill_compacted - b.import_compacted) / (1 - soil_shrink) * (1 + soil_swell)
    assert in_trench + b.surplus_loose == pytest.approx(b.cut_loose, rel=1e-9)


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"rock": 101.0}, "rock must be a part of the cut"),
        ({"rock": -1.0}, "rock must be a part of the cut"),
        ({"soil_shrink": 1.0}, "no such factors"),
        ({"soil_swell": -0.1}, "no such factors"),
    ],
)
def test_impossible_balance_is_refused(wrong, message):
    with pytest.raises(ValueError, match=message):
        bulk(**{"cut": 100.0, "rock": 0.0, **FACTORS, **wrong})
