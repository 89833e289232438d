"""Main pegs, which an instrument sets, and the pegs between them, which are taped from the chord of two main pegs."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from packpale.enclosure.line import Line
from packpale.enclosure.setting_out import SAME_PEG_M, Pegs, baselines
from packpale.enclosure.survey_errors import LONGEST_TAPE_M, instrument_error, offset_error, tape_error
from packpale.settings import SettingOutSettings
from packpale.site.grid import Array

LONGEST_CHORD_M = LONGEST_TAPE_M / 2
"""Longest chord between two main pegs, so that from one to the next but one is a tape's length. [m]"""
FARTHEST_OUT_M = 3.0
"""Farthest that a peg is set squarely out from a chord: a degree in the right angle moves it by 5 cm. Assumption. [m]
"""


@dataclass(frozen=True)
class MainPegs:
    """Which pegs are main ones, and where the others lie from them; indices into the pegs, from 0."""

    at: npt.NDArray[np.integer]
    """The main pegs in running order, shape (main pegs,)."""
    chord: Array
    """From each to the next, from the last to the first. [m]"""
    diagonal: Array
    """From each to the next but one. [m]"""
    before: npt.NDArray[np.integer]
    """For each peg the main peg at or before it, shape (pegs,)."""
    after: npt.NDArray[np.integer]
    """And the one after that."""
    along: Array
    """From ``before`` along the chord to ``after``. [m]"""
    offset: Array
    """Squarely out from the chord, positive to its left, which is outside. [m]"""


def main_pegs(found: Pegs, line: Line) -> MainPegs:
    """Main pegs of a line: all corners and changes of arc, and in between as few as stand half a tape apart, so that no
    peg lies farther out from their chord than 3 m.

    Two pegs that stand farther apart themselves are both main pegs. A line without bends begins at its first peg.
    """
    n = found.x.size
    bends = np.searchsorted(found.chainage, line.bends - SAME_PEG_M) % n
    fixed = sorted(set(bends.tolist())) or [0]
    at: list[int] = []
    for start, end in zip(fixed, [*fixed[1:], fixed[0] + n], strict=True):
        here = start
        while here < end:
            at.append(here % n)
            step = here + 1
            while step < end and _taped(found, here, step + 1):
                step += 1
            here = step
    at = sorted(at)
    main = np.array(at)
    x, y = found.x[main], found.y[main]
    place = (np.searchsorted(main, np.arange(n), side="right") - 1) % main.size
    before, after = main[place], main[(place + 1) % main.size]
    dx, dy = found.x[after] - found.x[before], found.y[after] - found.y[before]
    length = np.hypot(dx, dy)
    px, py = found.x - found.x[before], found.y - found.y[before]
    return MainPegs(
        at=main,
        chord=_to(x, y, 1),
        diagonal=_to(x, y, 2),
        before=before,
        after=after,
        along=(px * dx + py * dy) / length,
        offset=(dx * py - dy * px) / length,
    )


def _taped(found: Pegs, first: int, last: int) -> bool:
    """Whether the pegs between two can be taped from their chord."""
    of = np.arange(first, last + 1) % found.x.size
    x, y = found.x[of] - found.x[of[0]], found.y[of] - found.y[of[0]]
    length = float(np.hypot(x[-1], y[-1]))
    if not 0 < length <= LONGEST_CHORD_M:
        return False
    return float(np.abs(x[-1] * y - y[-1] * x).max()) <= FARTHEST_OUT_M * length


def _to(x: Array, y: Array, steps: int) -> Array:
    return np.asarray(np.hypot(np.roll(x, -steps) - x, np.roll(y, -steps) - y))


def peg_errors(line: Line, found: Pegs, main: MainPegs, settings: SettingOutSettings) -> Array:
    """What each peg may be out by, shape (pegs,): main pegs by the instrument at stake A, the others by that of the
    worse of their two main pegs and by their tapes. [m]
    """
    _, distance = baselines(line).bearing_and_distance(found.x, found.y)
    set_from_a = instrument_error(distance, settings)
    taped = offset_error(main.along, main.offset, full=settings.tape_error_m)
    error = np.maximum(set_from_a[main.before], set_from_a[main.after]) + taped
    error[main.at] = set_from_a[main.at]
    return np.asarray(error)


def check_errors(main: MainPegs, error: Array, settings: SettingOutSettings) -> tuple[Array, Array]:
    """By how much each chord and each diagonal between main pegs may differ when it is taped: what both pegs and the
    tape may be out by. ``error`` is that of all pegs; both have the shape (main pegs,). [m]
    """
    at = error[main.at]
    chord, diagonal = (tape_error(length, full=settings.tape_error_m) for length in (main.chord, main.diagonal))
    return at + np.roll(at, -1) + chord, at + np.roll(at, -2) + diagonal
