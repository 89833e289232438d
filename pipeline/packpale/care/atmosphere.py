"""How much of a sound the air itself takes up."""

import math

OCTAVE_BANDS_HZ = (63, 125, 250, 500, 1000, 2000, 4000, 8000)
"""Nominal mid-band frequencies. [Hz]"""
REFERENCE_PRESSURE_KPA = 101.325
REFERENCE_TEMPERATURE_K = 293.15
TRIPLE_POINT_K = 273.16


def mid_band(nominal_hz: float) -> float:
    """Exact mid-band frequency 1000 x 10^(3k/10) of an octave band named by its nominal frequency. [Hz]

    The tables of ISO 9613 hold for these: at "8000 Hz" the exact 7943 Hz gives 1.3 % less.

    Raises ValueError if no octave band between 63 Hz and 8 kHz has this name.
    """
    if nominal_hz not in OCTAVE_BANDS_HZ:
        raise ValueError(f"{nominal_hz} Hz names no octave band; take one of {', '.join(map(str, OCTAVE_BANDS_HZ))}")
    return float(1000.0 * 10.0 ** (0.3 * round(math.log2(nominal_hz / 1000.0))))


def air_absorption(
    frequency: float, *, temperature_c: float, humidity_percent: float, pressure_kpa: float = REFERENCE_PRESSURE_KPA
) -> float:
    """Attenuation of a pure tone by still air. [dB/m]

    Parameters
    ----------
    frequency
        [Hz]
    temperature_c
        -20 to 50. [deg C]
    humidity_percent
        Relative humidity, 10 to 100. [%]
    pressure_kpa
        Below 200. [kPa]

    Raises
    ------
    ValueError
        Outside these ranges, in which the standard's tables and its accuracy of 10 % hold.

    References
    ----------
    .. [1] ISO 9613-1:1993, equations (3) to (5) and annex B.
    """
    if not (-20 <= temperature_c <= 50 and 10 <= humidity_percent <= 100 and 0 < pressure_kpa < 200):
        raise ValueError(
            f"no absorption is published for {temperature_c} deg C, {humidity_percent} % humidity, {pressure_kpa} kPa"
        )
    t = temperature_c + 273.15
    p = pressure_kpa / REFERENCE_PRESSURE_KPA
    ratio = t / REFERENCE_TEMPERATURE_K
    # Annex B: saturation pressure over the reference pressure, then molar concentration of water vapour [%].
    saturation = 10.0 ** (4.6151 - 6.8346 * (TRIPLE_POINT_K / t) ** 1.261)
    h = humidity_percent * saturation / p
    oxygen = p * (24.0 + 4.04e4 * h * (0.02 + h) / (0.391 + h))
    nitrogen = p * ratio**-0.5 * (9.0 + 280.0 * h * math.exp(-4.170 * (ratio ** (-1.0 / 3.0) - 1.0)))
    f2 = frequency**2
    classical = 1.84e-11 / p * math.sqrt(ratio)
    relaxing = ratio**-2.5 * (
        0.01275 * math.exp(-2239.1 / t) / (oxygen + f2 / oxygen)
        + 0.1068 * math.exp(-3352.0 / t) / (nitrogen + f2 / nitrogen)
    )
    return float(8.686 * f2 * (classical + relaxing))
