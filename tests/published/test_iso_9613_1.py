"""ISO 9613-1:1993, attenuation of pure tones by air at 101.325 kPa, three figures as printed, dB/km.

Rows are temperature in deg C and relative humidity in percent; columns the octave bands from 125 Hz to 8 kHz. The
figures were read second-hand, typed into a program in a public repository. Its first figure at 0 deg C is left out: it
is .339, that of 20 deg C, which looks like a slip of typing (the formula gives .390).
"""

import pytest

from packpale.care.atmosphere import OCTAVE_BANDS_HZ, air_absorption, mid_band
from printed import printed

TABLE_1 = {
    (10, 70): ".411 1.04 1.93 3.66 9.66 32.8 117",
    (20, 70): ".339 1.13 2.80 4.98 9.02 22.9 76.6",
    (20, 50): ".445 1.32 2.73 4.66 9.86 29.4 104",
    (0, 70): "- .763 1.61 4.64 16.1 55.5 153",
    (-10, 70): ".332 .826 2.65 9.19 27.8 58.5 86.2",
    (-20, 70): ".514 1.73 5.29 11.5 16.6 20.2 27.8",
    (30, 70): ".256 .963 3.14 7.41 12.7 23.1 59.3",
}


def per_km(band, temperature, humidity):
    return 1000 * air_absorption(mid_band(band), temperature_c=temperature, humidity_percent=humidity)


@pytest.mark.parametrize(("place", "printed_row"), list(TABLE_1.items()), ids=str)
def test_three_figures_as_printed(place, printed_row):
    for band, text in zip(OCTAVE_BANDS_HZ[1:], printed_row.split(), strict=True):
        if text != "-":
            assert per_km(band, *place) == printed(text), band


def test_nominal_8_khz_is_not_the_exact_mid_band():
    # The trap: at 8000 Hz instead of 7943 Hz the value at 20 deg C and 70 % rounds to 77.6, not the printed 76.6.
    assert mid_band(8000) == pytest.approx(7943.28, abs=0.005)
    assert round(1000 * air_absorption(8000.0, temperature_c=20, humidity_percent=70), 1) == 77.6


def test_pressure_scales_the_relaxation():
    # Equations (3) to (5): far below both relaxation frequencies, with the same molar humidity, the attenuation goes
    # with 1 / pressure; humidity in percent gives h as 1 / pressure, so it has to be lowered along.
    low = air_absorption(63.0, temperature_c=20, humidity_percent=40, pressure_kpa=101.325 / 2)
    full = air_absorption(63.0 * 2, temperature_c=20, humidity_percent=80)
    # Every term is f^2 / p times a function of f / p alone: twice the frequency at twice the pressure is twice as much.
    assert full == pytest.approx(2 * low, rel=1e-12)


@pytest.mark.parametrize("air", [(-21, 50, 101.0), (51, 50, 101.0), (10, 9, 101.0), (10, 101, 101.0), (10, 50, 200.0)])
def test_outside_the_tables_nothing_is_said(air):
    with pytest.raises(ValueError, match="no absorption is published"):
        air_absorption(500.0, temperature_c=air[0], humidity_percent=air[1], pressure_kpa=air[2])
