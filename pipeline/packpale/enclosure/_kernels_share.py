"""Compiled loops of the bound for lines over limits; steps and names are those of share_bound.py.

Box rows: 0-3 centre of the box of O and S (x, y, x, y), 4-7 half widths, 8-9 R from and to, 10-11 r from and to. [m]
``limits``: 0-1 taper, 2-3 aspect, 4 least r, 5-6 area from and to, 7 share, 8 outside strip.
"""

# ruff: noqa: C901, PLR0912, PLR0915, PLR0917 - compiled loops: many small calls cost time here

import math

import numpy as np
import numpy.typing as npt
from numba import njit

from packpale.site.grid import Array

Words = npt.NDArray[np.uint64]

DIRECTIONS = 64
SECTOR = 2 * math.pi / DIRECTIONS
MOST_PIECES = 64
FINEST_PIECE_M, PIECE_OF_MOVE = 1.0, 0.35
"""Length of outline looked at as one: at least so much, and so much of what a box moves the outline by."""
KEPT, NO_GO, OVER_LIMITS = 0, 1, 2
EMPTY, LEFT, SPENT = 0, 1, 2
BY_BEND, STEEPEST = 0.62, 0.8
SURE = 1e-6  # what rounding may make of a length [m]


@njit(cache=True)
def stamp(depth: Array, offsets: npt.NDArray[np.int64], marks: Words, step: float, words: Words) -> None:
    """Set in ``words`` what soft cells of a depth make certain; ``marks`` by offset and by depth in steps."""
    rows, cols = depth.shape
    for r in range(rows):
        for c in range(cols):
            if depth[r, c] <= 0:
                continue
            level = min(int(depth[r, c] / step), marks.shape[1] - 1)
            for i in range(len(offsets)):
                y, x = r - offsets[i, 0], c - offsets[i, 1]
                if 0 <= y < rows and 0 <= x < cols:
                    words[y, x] |= marks[i, level]


@njit(cache=True)
def _all_have(levels: Words, mask: np.uint64, x: float, y: float, hx: float, hy: float, frame: Array) -> bool:
    """Whether all cells that meet a rectangle have all bits of a mask; beyond the raster no feasible line runs."""
    west, north, cell = frame[0], frame[1], frame[2]
    r0, r1 = math.floor((north - y - hy) / cell), math.floor((north - y + hy) / cell)
    c0, c1 = math.floor((x - hx - west) / cell), math.floor((x + hx - west) / cell)
    r0, c0 = max(r0, 0), max(c0, 0)
    r1, c1 = min(r1, levels.shape[1] - 1), min(c1, levels.shape[2] - 1)
    if r0 > r1 or c0 > c1:
        return True
    k = 0
    shorter = min(r1 - r0, c1 - c0) + 1
    while k + 1 < len(levels) and (2 << k) <= shorter:
        k += 1
    side = 1 << k
    r = r0
    while True:
        row = min(r, r1 - side + 1)
        c = c0
        while True:
            col = min(c, c1 - side + 1)
            if (levels[k, row, col] & mask) != mask:
                return False
            if col == c1 - side + 1:
                break
            c += side
        if row == r1 - side + 1:
            return True
        r += side


@njit(cache=True)
def _room(distance: Array, x: float, y: float, frame: Array) -> float:
    """The most that a point may be from no-go ground; negative within it. [m]"""
    r, c = math.floor((frame[1] - y) / frame[2]), math.floor((x - frame[0]) / frame[2])
    if r < 0 or c < 0 or r >= distance.shape[0] or c >= distance.shape[1]:
        return -1.0
    return float(distance[r, c] + frame[2] * math.sqrt(0.5) + SURE)


@njit(cache=True)
def area(D: float, R: float, r: float) -> float:
    """Area of an egg; that of the big disc where the small one lies within it. [m2]"""
    if R - r >= D:
        return math.pi * R * R
    tau = 2 * math.atan((R - r) / D)
    F = (R * R + D * D - r * r) / (2 * (R - r))
    lens = 2 * tau - math.sin(2 * tau)
    return math.pi * R * R / 2 + tau * r * (2 * F - r) + (F - r) ** 2 * lens / 2 + (math.pi / 2 - tau) * r * r


@njit(cache=True)
def perimeter(D: float, R: float, r: float) -> float:
    """Perimeter of an egg. [m]"""
    tau = 2 * math.atan((R - r) / D)
    F = (R * R + D * D - r * r) / (2 * (R - r))
    return math.pi * R + 2 * F * tau + (math.pi - 2 * tau) * r


@njit(cache=True)
def _largest_area(R: float, D1: float, r0: float, r1: float, limits: Array) -> float:
    r = min(r1, limits[1] * R)
    D = min(D1, (2 * limits[3] - 1) * R - max(r0, limits[0] * R))
    return float(area(max(D, R - r), R, r))


@njit(cache=True)
def _least_area(R: float, D0: float, r0: float, r1: float, limits: Array) -> float:
    r = max(r0, limits[0] * R)
    D = max(D0, (2 * limits[2] - 1) * R - min(r1, limits[1] * R))
    return float(area(D, R, r))


@njit(cache=True)
def narrow(box: Array, D0: float, D1: float, limits: Array) -> bool:
    """Narrow R and r of a box to what eggs of the areas asked about can have; False if nothing is left."""
    k0, k1, a0, a1 = limits[0], limits[1], limits[2], limits[3]
    more, less = 1 + 1e-9, 1 - 1e-9
    R0, R1, r0, r1 = box[8], box[9], box[10], box[11]
    for _ in range(2):
        r0 = max(r0, limits[4] * less, k0 * R0 * less, ((2 * a0 - 1) * R0 - D1) * less)
        r1 = min(r1, k1 * R1 * more, ((2 * a1 - 1) * R1 - D0) * more)
        R0 = max(R0, r0 / k1 * less, (D0 + r0) / (2 * a1 - 1) * less)
        R1 = min(R1, r1 / k0 * more, (D1 + r1) / (2 * a0 - 1) * more)
        if not (R0 <= R1 and r0 <= r1):
            return False
        if _largest_area(R1, D1, r0, r1, limits) < limits[5] * less:
            return False
        if _least_area(R0, D0, r0, r1, limits) > limits[6] * more:
            return False
        if _largest_area(R0, D1, r0, r1, limits) < limits[5] * less:
            low, high = R0, R1
            for _ in range(6):
                middle = (low + high) / 2
                if _largest_area(middle, D1, r0, r1, limits) < limits[5] * less:
                    low = middle
                else:
                    high = middle
            R0 = low
        if _least_area(R1, D0, r0, r1, limits) > limits[6] * more:
            low, high = R0, R1
            for _ in range(6):
                middle = (low + high) / 2
                if _least_area(middle, D0, r0, r1, limits) > limits[6] * more:
                    high = middle
                else:
                    low = middle
            R1 = high
    r0 = max(r0, k0 * R0 * less)
    r1 = min(r1, k1 * R1 * more)
    R0 = max(R0, r0 / k1 * less)
    if not (R0 <= R1 and r0 <= r1):
        return False
    box[8], box[9], box[10], box[11] = R0, R1, r0, r1
    return True


@njit(cache=True)
def _largest_span(R1: float, r0: float, least_taper: float) -> float:
    """Of R - r in a box that is narrowed. [m]"""
    return float(min(R1 - r0, (1 - least_taper) * R1 * (1 + 1e-8)))


@njit(cache=True)
def certain(
    box: Array, moved: float, D0: float, D1: float, levels: Words, frame: Array, limits: Array, enough: float
) -> float:
    """Length of line over a limit in every egg of a box that keeps off no-go ground. [m]

    The count ends once it is more than ``enough``. ``moved``: m of the box, less than its smallest r. D0, D1: least and
    largest distance of O and S.
    """
    R0, R1, r0, r1 = box[8], box[9], box[10], box[11]
    k0, k1 = limits[0], limits[1]
    ax, ay = box[2] - box[0], box[3] - box[1]
    D = math.hypot(ax, ay)
    ax, ay = ax / D, ay / D
    shift = max(math.hypot(box[4], box[5]), math.hypot(box[6], box[7]))
    grown = max(R1 - R0, r1 - r0)
    # The inner egg.
    F0 = (R0 * R0 + D * D - r0 * r0) / (2 * (R0 - r0))
    tau = 2 * math.atan((R0 - r0) / D)
    R_in, r_in, F_in = R0 - moved, r0 - moved, F0 - moved
    lift = F0 - R0
    # Ranges of tau and of the flank's radius over all eggs that stand between the box's and the inner one.
    tau0 = 2 * math.atan(max(R0 - r1, (1 - k1) * R0 * (1 - 1e-8)) / D1)
    span = _largest_span(R1, r0, k0)
    tau1 = 2 * math.atan(span / D0)
    # F - R = (D^2 - (R - r)^2) / (2 (R - r)).
    least_flank = R0 + max(D0 * D0 - span * span, 0.0) / (2 * span)
    turn = math.asin(min(2 * shift / D, 1.0))
    cos0 = math.cos(tau0)
    by_shift = math.sqrt((1 + cos0) ** 2 + (cos0 * cos0 / math.sin(tau0)) ** 2)
    swing_f = shift * (1 + 2 * by_shift) + grown / math.tan(tau0 / 2)
    half_pi = 0.5 * math.pi
    total = 0.0
    for b in range(DIRECTIONS):
        middle = b * SECTOR
        alpha = math.acos(min(max(math.cos(middle) * ax + math.sin(middle) * ay, -1.0), 1.0))
        # The largest radius that the inner egg has in the sector.
        low, high = alpha - 0.5 * SECTOR, alpha + 0.5 * SECTOR
        widest = r_in
        if high > half_pi - tau:
            widest = R_in
            if low < half_pi:
                widest = F_in
        thick = 2 * moved + grown
        length = max(FINEST_PIECE_M, PIECE_OF_MOVE * thick)
        pieces = max(1, min(MOST_PIECES, math.ceil(widest * SECTOR / length)))
        half = 0.5 * SECTOR / pieces
        for j in range(pieces):
            phi = middle - 0.5 * SECTOR + (2 * j + 1) * half
            nx, ny = math.cos(phi), math.sin(phi)
            u = nx * ax + ny * ay
            alpha = math.acos(min(max(u, -1.0), 1.0))
            if u <= 0:
                X, Y = box[0] + R_in * nx, box[1] + R_in * ny
            elif alpha >= half_pi - tau:
                side = 1.0 if -nx * ay + ny * ax >= 0 else -1.0
                X, Y = box[0] + F_in * nx + lift * ay * side, box[1] + F_in * ny - lift * ax * side
            else:
                X, Y = box[2] + r_in * nx, box[3] + r_in * ny
            low, high = alpha - half - 1e-9, alpha + half + 1e-9
            small, big = low < half_pi - tau, high > half_pi
            flank = high >= half_pi - tau and low <= half_pi
            least, most = np.inf, 0.0
            if big:
                least, most = min(least, R_in), max(most, R_in)
            if small:
                least, most = min(least, r_in), max(most, r_in)
            if flank:
                least, most = min(least, F_in), max(most, F_in)
            if big and not flank:
                thick = 2 * moved + R1 - R0
            elif high < half_pi - tau1:
                thick = 2 * moved + r1 - r0
            else:
                thick = 2 * moved + grown
            # How far a normal of any egg of the box may be off.
            rho = R_in
            swing = math.acos(rho / (rho + thick))
            if low - swing < half_pi - tau:
                rho = r_in
                swing = math.acos(rho / (rho + thick))
            # The arcs that an egg may show between this normal and its own.
            reach = swing + turn
            if low - reach > half_pi:
                finer = math.asin(min(shift / R0, 1.0))
            elif high + reach < half_pi - tau1:
                finer = math.asin(min(shift / r0, 1.0))
            elif low - reach > half_pi - tau0 and high + reach < half_pi:
                finer = math.asin(min(swing_f / least_flank, 1.0))
            elif low - reach > half_pi - tau0:
                finer = math.asin(min(swing_f / R0, 1.0))
            else:
                finer = math.asin(min(swing_f / r0, 1.0))
            swing = min(swing, finer) + 1e-9
            first = math.floor((phi - half - swing) / SECTOR + 0.5)
            last = math.floor((phi + half + swing) / SECTOR + 0.5)
            if last - first >= DIRECTIONS - 1:
                continue
            mask = np.uint64(0)
            for d in range(first, last + 1):
                mask |= np.uint64(1) << np.uint64(d % DIRECTIONS)
            if not _all_have(levels, mask, X, Y, 0.0, 0.0, frame):
                continue
            # All places of the piece, in steps along the normal.
            across = (most + thick) * half + SURE
            sag = most * half * half / 2 + SURE
            steps = max(1, math.ceil((thick + sag) / (2 * across)))
            along = 0.5 * (thick + sag) / steps + SURE
            hx, hy = across * abs(ny) + along * abs(nx), across * abs(nx) + along * abs(ny)
            sure = True
            for i in range(steps):
                t = (2 * i + 1) * along - sag
                if not _all_have(levels, mask, X + t * nx, Y + t * ny, hx, hy, frame):
                    sure = False
                    break
            if sure:
                total += 2 * half * least
                if total > enough:
                    return float(total)
    return float(total)


@njit(cache=True)
def judge(box: Array, levels: Words, distance: Array, frame: Array, limits: Array) -> tuple[int, int, float]:
    """Whether a box holds no feasible egg and why; else the unknown that moves the outline most, and how far. [m]"""
    shift_o, shift_s = math.hypot(box[4], box[5]), math.hypot(box[6], box[7])
    dx, dy = abs(box[2] - box[0]), abs(box[3] - box[1])
    wx, wy = box[4] + box[6], box[5] + box[7]
    D = math.hypot(dx, dy)
    D0 = math.hypot(max(dx - wx, 0.0), max(dy - wy, 0.0))
    D1 = math.hypot(dx + wx, dy + wy)
    if not narrow(box, D0, D1, limits):
        return NO_GO, 0, 0.0
    R0, R1, r0, r1 = box[8], box[9], box[10], box[11]
    outside = limits[8]
    for i in range(5):
        f = 0.25 * i
        x, y = box[0] + f * (box[2] - box[0]), box[1] + f * (box[3] - box[1])
        radius = (1 - f) * R0 + f * r0 - ((1 - f) * shift_o + f * shift_s)
        if _room(distance, x, y, frame) < radius + outside:
            return NO_GO, 0, 0.0
    shift = max(shift_o, shift_s)
    span = _largest_span(R1, r0, limits[0])
    steep = span / max(D0, 1e-9)
    if steep < STEEPEST:
        moved = shift * math.sqrt(1 + BY_BEND * steep**4) + SURE
        if moved < r0:
            ax, ay = (box[2] - box[0]) / D, (box[3] - box[1]) / D
            lift = (D * D - (R0 - r0) ** 2) / (2 * (R0 - r0))
            F_in, R_in, r_in = R0 + lift - moved, R0 - moved, r0 - moved
            sin_join = math.cos(2 * math.atan((R0 - r0) / D))
            for b in range(DIRECTIONS):
                nx, ny = math.cos(b * SECTOR), math.sin(b * SECTOR)
                u, v = nx * ax + ny * ay, -nx * ay + ny * ax
                if u <= 0:
                    x, y = box[0] + R_in * nx, box[1] + R_in * ny
                elif abs(v) >= sin_join:
                    side = 1.0 if v >= 0 else -1.0
                    x, y = box[0] + F_in * nx + lift * ay * side, box[1] + F_in * ny - lift * ax * side
                else:
                    x, y = box[2] + r_in * nx, box[3] + r_in * ny
                if _room(distance, x, y, frame) < outside:
                    return NO_GO, 0, 0.0
            r_longest = min(r1, limits[1] * R1)
            longest = perimeter(max(min(D1, (2 * limits[3] - 1) * R1 - r0), R1 - r_longest), R1, r_longest)
            enough = limits[7] * longest * (1 + 1e-9) + 1e-5
            if certain(box, moved, D0, D1, levels, frame, limits, enough) > enough:
                return OVER_LIMITS, 0, 0.0
    best, most = (0 if box[4] >= box[5] else 1), 2 * shift_o
    if 2 * shift_s > most:
        best, most = (2 if box[6] >= box[7] else 3), 2 * shift_s
    if most < R1 - R0:
        best, most = 4, R1 - R0
    if r1 - r0 > most:
        best, most = 5, r1 - r0
    return KEPT, best, most


@njit(cache=True)
def search(
    stack: Array,
    count: int,
    levels: Words,
    distance: Array,
    frame: Array,
    limits: Array,
    most: int,
    finest: float,
) -> tuple[int, int]:
    """Halve boxes, the last first, until none is left: EMPTY; or one moves less than ``finest``; and boxes judged."""
    judged = 0
    while count > 0:
        if judged >= most:
            return SPENT, judged
        judged += 1
        row = stack[count - 1]
        verdict, j, moved = judge(row, levels, distance, frame, limits)
        if verdict != KEPT:
            count -= 1
            continue
        if moved < finest or count >= len(stack):
            return LEFT, judged
        for i in range(12):
            stack[count, i] = row[i]
        if j < 4:
            half = row[4 + j] / 2
            row[4 + j] = half
            stack[count, 4 + j] = half
            row[j] -= half
            stack[count, j] += half
        else:
            low = 8 + 2 * (j - 4)
            middle = (row[low] + row[low + 1]) / 2
            row[low + 1] = middle
            stack[count, low] = middle
        count += 1
    return EMPTY, judged
