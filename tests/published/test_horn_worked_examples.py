"""Horn's 3 x 3 differences: examples worked out by hand in teaching material of geographic information systems.

Method: B. K. P. Horn, "Hill shading and the reflectance map", Proc. IEEE 69 (1), 1981, 14-47. Examples:

- ``steep``: rise over run 3.80032, 75.25762 degrees, cut off and rounded on the way, so that the last digits are off
  (exact: 3.800329, 75.257658); the aspect was computed from the same differences.
- ``facing east``: differences -8.125 and -0.375 over eight cells give an aspect of 92.64 degrees.
- ``facing west-north-west``: differences 0.3375 and -0.1625 (a university exercise), 22.7918 and 292.7510 degrees.
- ``one in ten``: falls by 1 in every cell of 10 to the south, 5.710593 and 180 degrees.
"""

import math

import numpy as np
import pytest

from packpale.land.slope import aspect_deg, slope
from printed import printed

EXAMPLES = {  # rows from north to south, cell, slope in degrees, aspect in degrees, as printed
    "steep": ([[50, 45, 50], [30, 30, 30], [8, 10, 10]], 5, None, "180.7538"),
    "facing east": ([[101, 92, 85], [101, 92, 85], [101, 91, 84]], 10, "39.123697", "92.64"),
    "facing west-north-west": ([[42, 45, 47], [40, 44, 49], [44, 48, 52]], 10, "22.791825", "292.7510"),
    "one in ten": ([[3, 3, 3], [2, 2, 2], [1, 1, 1]], 10, "5.710593", "180.0000"),
}


@pytest.mark.parametrize(("rows", "cell", "slope_deg", "aspect"), EXAMPLES.values(), ids=EXAMPLES)
def test_slope_and_aspect_match_the_worked_example(rows, cell, slope_deg, aspect):
    z = np.array(rows, float)
    found = slope(z, cell_size=(cell, cell))[1, 1]
    if slope_deg is not None:
        assert math.degrees(math.atan(found)) == printed(slope_deg)
    assert aspect_deg(z, cell_size=(cell, cell))[1, 1] == printed(aspect)


def test_steep_example_matches_its_rise_over_run_and_angle():
    z = np.array(EXAMPLES["steep"][0], float)
    found = slope(z, cell_size=(5, 5))[1, 1]
    # Cut off, not rounded, behind the last digit printed.
    assert found == pytest.approx(3.80032, abs=1e-5)
    # The printed 75.25762 was rounded on the way: a ten-thousandth of a degree is its accuracy.
    assert math.degrees(math.atan(found)) == pytest.approx(75.25762, abs=1e-4)
