"""W. Tobler, "Three presentations on geographical analysis and modeling", NCGIA Technical Report 93-1 (1993).

The title is from memory. Formula, factor and sample values are those of the encyclopedia article "Tobler's hiking
function" as read in stored copies: slope in degrees, speed in km/h.
"""

import math

import pytest

from packpale.care.patrol import walking_speed
from packpale.settings import PatrolSettings
from printed import printed

SPEEDS = {
    -40: "0.38",
    -30: "0.95",
    -20: "2.00",
    -15: "2.80",
    -10: "3.86",
    -5: "5.26",
    -2.8624: "6.00",
    0: "5.04",
    1: "4.74",
    5: "3.71",
    10: "2.72",
    15: "1.97",
    20: "1.41",
    25: "0.98",
    30: "0.67",
    40: "0.27",
    50: "0.08",
}


@pytest.mark.parametrize(("degrees", "kmh"), SPEEDS.items())
def test_speed_is_that_of_the_table(degrees, kmh):
    assert 3.6 * walking_speed(math.tan(math.radians(degrees))) == printed(kmh)


def test_away_from_paths_three_fifths():
    assert PatrolSettings().pace_factor == 3 / 5
    assert walking_speed(0.1, factor=3 / 5) == pytest.approx(0.6 * walking_speed(0.1))
