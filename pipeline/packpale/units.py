"""Exact ratios between units people give and the SI units everything is computed in."""

FOOT_M = 0.3048
"""International foot. [m] Exact by definition (1959)."""
INCH_M = 0.0254
"""Inch. [m] Exact by definition (1959)."""
US_SURVEY_FOOT_M = 1200 / 3937
"""US survey foot. [m] Exact by definition (Mendenhall order, 1893)."""
MILE_M = 5280 * FOOT_M
"""International mile. [m]"""
ACRE_M2 = 43_560 * FOOT_M**2
"""Acre. [m2]"""
HECTARE_M2 = 10_000.0
"""Hectare. [m2]"""
METRES_PER_ELEVATION_UNIT = {"m": 1.0, "ft": FOOT_M, "us-ft": US_SURVEY_FOOT_M}
