"""Output of an excavator: a construction-methods textbook, example 3-3 (from memory).

A bucket of 3/4 cubic yard, filled to 0.95, 250 cycles an hour, no correction for swing and depth, in an hour of 50
minutes moves 148 loose cubic yards an hour.
"""

from packpale.earthworks.plant import excavator_output
from printed import printed


def test_loose_cubic_yards_an_hour():
    assert excavator_output(0.75, cycle=3600 / 250, fill=0.95, efficiency=50 / 60) == printed("148")
