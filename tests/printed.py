"""Comparison with numbers as a publication prints them."""

from decimal import Decimal

import pytest


def printed(text):
    """Match what rounds to the printed number: half a unit of its last digit."""
    return pytest.approx(float(text), abs=0.5 * 10.0 ** Decimal(text).as_tuple().exponent, rel=0)
