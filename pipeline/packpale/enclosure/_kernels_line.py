"""Compiled loops of the search for a line: no checks, no defaults, no files. The mathematics is in fit_line.py.

A position z is (x, y, psi, k, a, log R): x and y are the middle of the axis, psi its direction, counter-clockwise from
east. ``words``: bit b of a cell tells whether the cross-section centred there, its outward normal in the direction
2 pi b / 64, touches soft ground; ``blocked``: 1 nearer to no-go ground than the outside strip. Frames are (west, north,
cell). ``islands`` (n, 2): a point of each piece of no-go ground that an egg could hold.
``aims``: see AIMS; ``limits`` (3, 2): ranges of taper, aspect and log R.
"""

# ruff: noqa: C901, PLR0915, PLR0917 - compiled loops: calls with keywords and many small calls cost time here

from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

from packpale.site.grid import Array

Words = npt.NDArray[np.uint64]
Bytes = npt.NDArray[np.uint8]
Indices = npt.NDArray[np.int64]
Rasters = tuple[Any, ...]

AIMS = (
    "share",  # of the line that may run over limits
    "log_min_radius",
    "log_area",  # of every egg; minus infinity where the size is free
    "per_over_limit",  # what a metre over limits adds to the cost
    "fixed",  # cost that does not depend on the line
    "by_area",  # weights: of the log area,
    "by_field",  # of the field's mean,
    "by_cost",  # of the log cost, which is taken off
)
SHARE, MIN_RADIUS, LOG_AREA, PER_OVER, FIXED, BY_AREA, BY_FIELD, BY_COST = range(8)

_A, _B, _C, _D = np.uint64(13), np.uint64(7), np.uint64(17), np.uint64(11)
_ONE = np.uint64(1)


@njit(cache=True)
def _uniform(state: Words) -> float:
    """Next number of a xorshift generator, 0 to 1 (G. Marsaglia, "Xorshift RNGs", J. Stat. Softw. 8 (14), 2003)."""
    x = state[0]
    x ^= x << _A
    x ^= x >> _B
    x ^= x << _C
    state[0] = x
    return float(x >> _D) / 9007199254740992.0


@njit(cache=True)
def squared_distances(free: Bytes, out: Array) -> None:
    """Squared distance of each cell to the nearest cell that is 0 in ``free``, in cells (lower envelope of parabolas).

    P. F. Felzenszwalb and D. P. Huttenlocher, "Distance transforms of sampled functions", Theory of Computing 8, 2012.
    """
    rows, cols = free.shape
    far = 1e12
    for c in range(cols):
        near = far
        for r in range(rows):
            near = 0.0 if free[r, c] == 0 else near + 1.0
            out[r, c] = near
        near = far
        for r in range(rows - 1, -1, -1):
            near = 0.0 if free[r, c] == 0 else near + 1.0
            out[r, c] = min(near, out[r, c])
            out[r, c] = min(out[r, c], 1e6) ** 2
    line = np.empty(cols)
    at = np.empty(cols, np.int64)
    begin = np.empty(cols + 1)
    for r in range(rows):
        for c in range(cols):
            line[c] = out[r, c]
        k = 0
        at[0], begin[0], begin[1] = 0, -np.inf, np.inf
        for c in range(1, cols):
            cut = ((line[c] + c * c) - (line[at[k]] + at[k] * at[k])) / (2.0 * c - 2.0 * at[k])
            while cut <= begin[k]:
                k -= 1
                cut = ((line[c] + c * c) - (line[at[k]] + at[k] * at[k])) / (2.0 * c - 2.0 * at[k])
            k += 1
            at[k], begin[k], begin[k + 1] = c, cut, np.inf
        k = 0
        for c in range(cols):
            while begin[k + 1] < c:
                k += 1
            out[r, c] = (c - at[k]) ** 2 + line[at[k]]


@njit(cache=True)
def stamp(soft: Bytes, offsets: Indices, marks: Words, words: Words) -> None:
    """Fill ``words`` from the soft cells: ``marks`` are the directions in which a section meets a cell at an offset."""
    rows, cols = soft.shape
    full = ~np.uint64(0)
    for r in range(rows):
        for c in range(cols):
            if soft[r, c] == 0:
                continue
            words[r, c] = full
            # A section that enters soft ground meets a cell of its edge.
            if 0 < r < rows - 1 and 0 < c < cols - 1:
                around = soft[r - 1, c] + soft[r + 1, c] + soft[r, c - 1] + soft[r, c + 1]
                if around == 4:
                    continue
            for i in range(offsets.shape[0]):
                y, x = r - offsets[i, 0], c - offsets[i, 1]
                if 0 <= y < rows and 0 <= x < cols:
                    words[y, x] |= marks[i]


@njit(cache=True)
def unit_egg(k: float, a: float) -> tuple[float, float, float, float]:
    """Spacing, flank radius, flank turn and area at R = 1, as in egg.py."""
    d = 2.0 * a - 1.0 - k
    q = 1.0 - k
    F = (d * d + q * (1.0 + k)) / (2.0 * q)
    phi = np.arctan2(d, (d - q) * (d + q) / (2.0 * q))
    c = F - k
    double = 2.0 * phi
    if double > 0.5:
        excess = double - np.sin(double)
    else:
        x2 = double * double
        excess = double * x2 / 6.0 * (1 - x2 / 20.0 * (1 - x2 / 42.0 * (1 - x2 / 72.0 * (1 - x2 / 110.0))))
    return d, F, phi, 0.5 * np.pi + phi * k * (2.0 * F - k) + c * c * excess / 2.0 + (0.5 * np.pi - phi) * k * k


@njit(cache=True)
def _held(x: float, y: float, psi: float, k: float, d: float, F: float, phi: float, R: float, islands: Array) -> float:
    """How far no-go ground lies inside the egg, over R, added up over its pieces; 0 where none does."""
    cos, sin = np.cos(psi), np.sin(psi)
    cos_phi, sin_phi = np.cos(phi), np.sin(phi)
    total = 0.0
    for i in range(islands.shape[0]):
        dx, dy = (islands[i, 0] - x) / R, (islands[i, 1] - y) / R
        u, v = dx * cos + dy * sin, abs(dy * cos - dx * sin)
        if v >= 1.0 or u <= -1.0 or u >= d + k:
            continue
        if u <= 0.0:
            off = 1.0 - np.hypot(u, v)
        elif (u - d) * cos_phi >= v * sin_phi:
            off = k - np.hypot(u - d, v)
        else:
            off = F - np.hypot(u, v + F - 1.0)
        if off > 0.0:
            total += 0.02 + off
    return total


@njit(cache=True)
def measure(z: Array, samples: float, rasters: Rasters, priced: bool, scored: bool) -> tuple[float, ...]:
    """Over limits, no-go, perimeter, unit area, islands held, cost along the line, field inside.

    From about so many samples of the line, no closer than the cells of the rasters.
    The field's integral is that of its sums along rows, ``before`` a cell and in it, over dy along the line (Green).
    """
    words, blocked, frame, islands, cost, cost_frame, field, before, field_frame = rasters
    psi, k, R = z[2], z[3], np.exp(z[5])
    d, F, phi, unit = unit_egg(k, z[4])
    cos, sin = np.cos(psi), np.sin(psi)
    step = max(R * (np.pi + 2.0 * phi * F + (np.pi - 2.0 * phi) * k) / samples, frame[2])
    half = 0.5 * (d + k - 1.0) * R
    x, y = z[0] - half * cos, z[1] - half * sin
    rows, cols = words.shape
    west, north, per_cell = frame[0], frame[1], 1.0 / frame[2]
    over, no_go, perimeter, total, inside = 0.0, 0.0, 0.0, 0.0, 0.0
    angle = psi - 0.5 * np.pi + phi
    for arc in range(4):
        if arc == 0:
            cu, cv, radius, turn = d, 0.0, k * R, np.pi - 2.0 * phi
        elif arc == 2:
            cu, cv, radius, turn = 0.0, 0.0, R, np.pi
        else:
            cu, cv, radius, turn = 0.0, (1.0 - F) if arc == 1 else (F - 1.0), F * R, phi
        cx, cy = x + R * (cu * cos - cv * sin), y + R * (cu * sin + cv * cos)
        n = int(radius * turn / step) + 1
        by = turn / n
        ds = radius * by
        nx, ny = np.cos(angle + 0.5 * by), np.sin(angle + 0.5 * by)
        turn_x, turn_y = np.cos(by), np.sin(by)
        bit, bits = (angle + 0.5 * by) * (32.0 / np.pi) + 256.5, by * (32.0 / np.pi)
        overs, blocks = 0, 0
        for _ in range(n):
            px, py = cx + radius * nx, cy + radius * ny
            c, r = int((px - west) * per_cell), int((north - py) * per_cell)
            if px < west or py > north or r >= rows or c >= cols or blocked[r, c] != 0:
                blocks += 1
            elif (words[r, c] >> np.uint64(int(bit) & 63)) & _ONE:
                overs += 1
            if priced:
                c = min(max(int((px - cost_frame[0]) / cost_frame[2]), 0), cost.shape[1] - 1)
                r = min(max(int((cost_frame[1] - py) / cost_frame[2]), 0), cost.shape[0] - 1)
                total += ds * cost[r, c]
            if scored:
                at = (field_frame[1] - py) / field_frame[2]
                if 0.0 <= at < field.shape[0]:
                    r = int(at)
                    at = (px - field_frame[0]) / field_frame[2]
                    if at >= field.shape[1]:
                        c = field.shape[1] - 1
                        inside += (before[r, c] + field[r, c]) * nx * ds * field_frame[2]
                    elif at > 0.0:
                        c = int(at)
                        inside += (before[r, c] + field[r, c] * (at - c)) * nx * ds * field_frame[2]
            nx, ny = nx * turn_x - ny * turn_y, ny * turn_x + nx * turn_y
            bit += bits
        over += overs * ds
        no_go += blocks * ds
        perimeter += radius * turn
        angle += turn
    held = _held(x, y, psi, k, d, F, phi, R, islands) if islands.shape[0] else 0.0
    return over, no_go, perimeter, unit, held, total, inside


@njit(cache=True)
def rate(z: Array, aims: Array, samples: float, rasters: Rasters) -> tuple[float, float]:
    """What the search makes largest, and what the conditions miss. Sets log R where the area is given."""
    priced = aims[BY_COST] != 0.0
    if aims[LOG_AREA] > -np.inf:
        z[5] = 0.5 * (aims[LOG_AREA] - np.log(unit_egg(z[3], z[4])[3]))
    over, no_go, perimeter, unit, held, total, inside = measure(z, samples, rasters, priced, aims[BY_FIELD] != 0.0)
    log_area = 2.0 * z[5] + np.log(unit)
    value = aims[BY_AREA] * log_area
    missed = max(over / perimeter - aims[SHARE], 0.0) + 2.0 * no_go / perimeter + held
    missed += max(aims[MIN_RADIUS] - np.log(z[3]) - z[5], 0.0)
    if aims[BY_FIELD] != 0.0:
        value += aims[BY_FIELD] * inside / np.exp(log_area)
    if priced:
        value -= aims[BY_COST] * np.log(total + aims[FIXED] + aims[PER_OVER] * over)
    return value, missed


@njit(cache=True)
def _moved(z: Array, by: float, limits: Array, state: Words, out: Array) -> None:
    """A neighbour of z: all unknowns or one of them, near or far."""
    by *= 10.0 ** (-1.5 * _uniform(state))
    R = np.exp(z[5])
    only = int(_uniform(state) * 12.0)
    for j in range(6):
        out[j] = z[j]
        u = 2.0 * _uniform(state) - 1.0
        if only < 6 and only != j:
            continue
        if j < 2:
            out[j] += by * 0.8 * R * u
        elif j == 2:
            out[j] += by * 1.5 * u
        elif j < 5:
            low, high = limits[j - 3, 0], limits[j - 3, 1]
            out[j] += by * (high - low) * u
            out[j] = min(max(out[j], low), high)
        else:
            out[j] = min(max(out[j] + by * 0.5 * u, limits[2, 0]), limits[2, 1])


@njit(cache=True)
def anneal(
    starts: Array,
    merits: Array,
    steps: int,
    warmth: Array,
    aims: Array,
    limits: Array,
    samples: float,
    seed: int,
    rasters: Rasters,
) -> None:
    """Simulated annealing from each start in place; its best merit under the last penalty into ``merits``.

    ``warmth``: first and last temperature, reach of a move, penalty.
    """
    state = np.empty(1, np.uint64)
    z, trial, best = np.empty(6), np.empty(6), np.empty(6)
    for i in range(starts.shape[0]):
        state[0] = np.uint64(88172645463325252) ^ (np.uint64(seed * 1000003 + i + 1) * np.uint64(2654435769))
        for j in range(6):
            z[j] = best[j] = starts[i, j]
        hardest = warmth[2, 1]
        value, missed = rate(z, aims, samples, rasters)
        record = value - hardest * missed
        for t in range(steps):
            part = t / steps
            warm = warmth[0, 0] * (warmth[0, 1] / warmth[0, 0]) ** part
            by = warmth[1, 0] * (warmth[1, 1] / warmth[1, 0]) ** part
            hard = warmth[2, 0] * (warmth[2, 1] / warmth[2, 0]) ** part
            _moved(z, by, limits, state, trial)
            new_value, new_missed = rate(trial, aims, samples, rasters)
            gain = new_value - value - hard * (new_missed - missed)
            if gain >= 0.0 or _uniform(state) < np.exp(gain / warm):
                value, missed = new_value, new_missed
                for j in range(6):
                    z[j] = trial[j]
                if value - hardest * missed > record:
                    record = value - hardest * missed
                    for j in range(6):
                        best[j] = z[j]
        for j in range(6):
            starts[i, j] = best[j]
        merits[i] = record
