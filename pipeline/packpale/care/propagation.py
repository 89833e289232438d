"""What distance, ground, trees and ridges take from a sound on its way: ISO 9613-2.

The method holds downwind, or under a moderate inversion on a clear calm night, which is when sound carries best. Its
accuracy (3 dB) is stated up to 1000 m; beyond that it is carried on without a stated accuracy.
"""

import math

import numpy as np
import numpy.typing as npt

from packpale.care.atmosphere import OCTAVE_BANDS_HZ
from packpale.site import Array

SPEED_OF_SOUND = 340.0
"""As ISO 9613-2 takes it for the wavelength. [m/s]"""
SCREEN_MOST_DB = 20.0
"""Largest attenuation over one edge, ISO 9613-2, 7.4."""
LEAVES_MOST_M = 200.0
"""Way through leaves that counts at most, ISO 9613-2, table A.1. [m]"""
LEAVES_10_TO_20_M = (0.0, 0.0, 1.0, 1.0, 1.0, 1.0, 2.0, 3.0)
"""Attenuation of 10 to 20 m of dense leaves in each octave band, table A.1 (from memory). [dB]"""
LEAVES_PER_M = (0.02, 0.03, 0.04, 0.05, 0.06, 0.08, 0.09, 0.12)
"""Attenuation of 20 to 200 m of dense leaves in each octave band, table A.1. [dB/m]"""


def divergence(distance: npt.ArrayLike) -> Array:
    """Fall from the level at 1 m by spreading over a sphere: 20 lg d. [dB]

    The standard's A_div counts from the sound power and is 11 dB more.
    """
    return np.asarray(20.0 * np.log10(np.maximum(np.asarray(distance, float), 1.0)))


def ground_effect(
    band_hz: float, distance: npt.ArrayLike, *, source_height: float, receiver_height: float, ground: float
) -> Array:
    """Attenuation A_gr by the ground between two points in plan; negative where its reflection adds. [dB]

    Parameters
    ----------
    band_hz
        Nominal octave band. [Hz]
    distance
        In plan. [m]
    source_height, receiver_height
        Above the ground. [m]
    ground
        Ground factor G: 0 hard, 1 porous (grass, trees, earth), the same at source, receiver and between.

    References
    ----------
    .. [1] ISO 9613-2:1996, 7.3.1, equation (9) and table 3.
    """
    d = np.asarray(distance, float)
    reach = 30.0 * (source_height + receiver_height)
    q = np.maximum(1.0 - reach / np.maximum(d, reach), 0.0)
    if band_hz <= OCTAVE_BANDS_HZ[0]:
        return np.asarray(-3.0 - 3.0 * q)
    middle = -3.0 * q * (1.0 - ground)
    ends = sum(_end_region(band_hz, d, h, ground) for h in (source_height, receiver_height))
    return np.asarray(ends + middle)


def _end_region(band_hz: float, d: Array, h: float, ground: float) -> Array:
    near = 1.0 - np.exp(-d / 50.0)
    if band_hz >= 2000:
        return np.full(d.shape, -1.5 * (1.0 - ground))
    if band_hz >= 1000:
        rise = 5.0 * math.exp(-0.9 * h**2) * near
    elif band_hz >= 500:
        rise = 14.0 * math.exp(-0.46 * h**2) * near
    elif band_hz >= 250:
        rise = 8.6 * math.exp(-0.09 * h**2) * near
    else:
        rise = 3.0 * math.exp(-0.12 * (h - 5.0) ** 2) * near
        rise = rise + 5.7 * math.exp(-0.09 * h**2) * (1.0 - np.exp(-2.8e-6 * d**2))
    return np.asarray(-1.5 + ground * (1.5 + rise))


def leaves(band_hz: float, way: npt.ArrayLike) -> Array:
    """Attenuation of the way through dense leaves, so dense that nothing is seen through them. [dB]

    ``way`` in metres: nothing under 10 m, the table's sums to 20 m, then by the metre up to 200 m, beyond which the
    standard counts no more. ISO 9613-2, table A.1.
    """
    k = OCTAVE_BANDS_HZ.index(int(band_hz))
    w = np.asarray(way, float)
    by_metre = LEAVES_PER_M[k] * np.minimum(w, LEAVES_MOST_M)
    return np.asarray(np.where(w < 10.0, 0.0, np.where(w < 20.0, LEAVES_10_TO_20_M[k], by_metre)))


def screen(band_hz: float, *, over: npt.ArrayLike, straight: npt.ArrayLike, before: Array, behind: Array) -> Array:
    """Attenuation D_z by ground that stands between source and receiver. [dB]

    Parameters
    ----------
    band_hz
        Nominal octave band. [Hz]
    over
        Length of the shortest way over the ground, a line pulled tight. [m]
    straight
        Length of the straight way. [m]
    before, behind
        Lengths from the source to the first edge and from the last edge to the receiver. [m]

    Returns
    -------
    D_z = 10 lg(3 + 20 z C3 Kmet / wavelength), 20 dB at most; 0 where the line of sight is clear (over = straight):
    there the ground effect says what the ground does. One edge is taken (C3 = 1), also where the way bends over
    several: that screens less than the standard allows for two, so that a pack is never told quieter than it may be.

    References
    ----------
    .. [1] ISO 9613-2:1996, 7.4, equations (14), (15), (16), (18).
    """
    d, e1, e2 = np.asarray(straight, float), np.asarray(before, float), np.asarray(behind, float)
    z = np.asarray(over, float) - d
    # The standard takes the nominal frequency here, the exact one for the air.
    wavelength = SPEED_OF_SOUND / band_hz
    seen = z <= 0.0
    safe = np.where(seen, 1.0, z)
    weather = np.exp(-np.sqrt(e1 * e2 * d / (2.0 * safe)) / 2000.0)
    level = 10.0 * np.log10(3.0 + 20.0 / wavelength * safe * weather)
    return np.where(seen, 0.0, np.minimum(level, SCREEN_MOST_DB))
