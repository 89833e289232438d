"""What a peg may be out by: errors of tapes, of an instrument, of right angles. Lengths in metres.

All are bounds to reckon with, not standard deviations, and share out nothing: a check that is off by more than its
bound is a mistake to be found.
"""

import math

import numpy as np
import numpy.typing as npt

from packpale.settings import SettingOutSettings
from packpale.site.grid import Array

LONGEST_TAPE_M = 50.0
"""Longest distance that is taped; beyond it tapes sag and stretch, and an instrument is used. Common practice."""
READING_SHARE = 0.2
"""Part of a full tape's error that does not grow with length: setting and reading both ends. Assumption."""
SQUARE_DEG = 1.0
"""Error of a right angle set off with an optical square or a 3-4-5 triangle. [deg] Assumption."""


def tape_error(length: npt.ArrayLike, *, full: float) -> Array:
    """Error of a taped distance: e = f (0.2 + 0.8 L / 50), with f the error of a tape of 50 m.

    A part for both ends and a part for each metre, as the classes of tapes in OIML R 35-1 have it, a + b L (from
    memory); slope, sag and pull, which are larger, grow with length too. The share is an assumption.
    """
    return np.asarray(full * (READING_SHARE + (1 - READING_SHARE) * np.asarray(length, float) / LONGEST_TAPE_M))


def instrument_error(distance: npt.ArrayLike, settings: SettingOutSettings) -> Array:
    """Error of a peg set by bearing and distance: e = sqrt(m^2 + (D tan a)^2), along and across the line of sight.

    m is the error of a distance, a that of a bearing.
    """
    across = np.asarray(distance, float) * math.tan(math.radians(settings.instrument_angle_error_deg))
    return np.asarray(np.hypot(settings.instrument_distance_error_m, across))


def offset_error(along: npt.ArrayLike, offset: npt.ArrayLike, *, full: float) -> Array:
    """Error of a peg taped along a chord and squarely out from it, the chord's ends being right.

    Both tapes and the right angle: e = sqrt((e(along) + h sin q)^2 + e(h)^2), q the error of the right angle.
    """
    h = np.abs(np.asarray(offset, float))
    lengthwise = tape_error(along, full=full) + h * math.sin(math.radians(SQUARE_DEG))
    return np.asarray(np.hypot(lengthwise, tape_error(h, full=full)))
