"""29 CFR 1926 Subpart P, Excavations: depths, distances and slopes (feet as printed).

652(a)(1): protective systems from 5 ft. 651(c)(2): a way out in trenches of 4 ft or more, within 25 ft. 651(j)(2):
spoil 2 ft from the edge. Appendix B, Table B-1, slopes for excavations under 20 ft, angles in whole degrees; 652(b)(1):
without classification not steeper than 1 1/2 : 1.
"""

import math

import pytest

from packpale.earthworks import safety
from printed import printed

TABLE_B_1 = {"A": ("0.75", "53"), "B": ("1.0", "45"), "C": ("1.5", "34")}  # soil type: run to rise, angle


@pytest.mark.parametrize(("kind", "row"), TABLE_B_1.items(), ids=TABLE_B_1)
def test_side_slopes_have_the_angles_of_the_table(kind, row):
    slope, angle = row
    assert safety.SIDE_SLOPES[kind] == printed(slope)
    assert math.degrees(math.atan(1 / safety.SIDE_SLOPES[kind])) == printed(angle)


def test_soil_nobody_has_classified_counts_as_type_c():
    assert safety.SIDE_SLOPES["unknown"] == safety.SIDE_SLOPES["C"]


@pytest.mark.parametrize(
    ("metres", "feet"),
    [
        (safety.PROTECTION_DEPTH.si, "5"),
        (safety.EGRESS_DEPTH.si, "4"),
        (safety.LATERAL_TRAVEL.si, "25"),
        (safety.SPOIL_SETBACK.si, "2"),
    ],
)
def test_lengths_in_feet(metres, feet):
    # The international foot is 0.3048 m.
    assert metres == pytest.approx(float(feet) * 0.3048, rel=1e-12)
