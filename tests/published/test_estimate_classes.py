"""Classes of cost estimate: AACE International Recommended Practice 18R-97.

As printed in secondary copies; the near ends of class 4, all of class 2 and the near ends of class 1 from memory.
"""

import pytest

from packpale.values.estimate_classes import estimate_classes

RP_18R_97 = {  # class: maturity from and to, low near and far, high near and far, all in percent
    5: (0, 2, -20, -50, 30, 100),
    4: (1, 15, -15, -30, 20, 50),
    3: (10, 40, -10, -20, 10, 30),
    2: (30, 75, -5, -15, 5, 20),
    1: (65, 100, -3, -10, 3, 15),
}


@pytest.mark.parametrize(("number", "row"), RP_18R_97.items(), ids=[f"class {n}" for n in RP_18R_97])
def test_ranges(number, row):
    found = estimate_classes()[number]
    percent = (*found.maturity, *(100 * v for v in (*found.low, *found.high)))
    assert tuple(round(v) for v in percent) == row


def test_no_other_class():
    assert estimate_classes().keys() == RP_18R_97.keys()
