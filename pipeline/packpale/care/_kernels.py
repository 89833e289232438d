"""Compiled search for the shortest tunnel round the buried mesh: no checks, no defaults, no files."""

# ruff: noqa: PLR0917 - compiled functions take no keyword-only arguments

import math

import numpy as np
import numpy.typing as npt
from numba import njit

Floats = npt.NDArray[np.float64]

# Corners stand this far off the mesh when lines of sight are tested, so that none merely touches it. [m] Lengths are
# taken between the true points.
OFF = 1e-6
# An apron that leaves the straight by less has no bend there. [m] Far less than OFF, so that nothing passes through.
STRAIGHT = 1e-9
# The fence above ground, and the skirt below it, as one wall. [m]
SKY = 1e4


@njit(cache=True)
def _crosses(ax: float, az: float, bx: float, bz: float, cx: float, cz: float, dx: float, dz: float) -> bool:
    """Segment ab crosses segment cd.

    An end of cd right on the line ab counts as lying to its left, so that a way through the joint of two pieces of
    mesh crosses exactly one of them.
    """
    c = (bx - ax) * (cz - az) - (bz - az) * (cx - ax)
    d = (bx - ax) * (dz - az) - (bz - az) * (dx - ax)
    if (c >= 0.0) == (d >= 0.0):
        return False
    a = (dx - cx) * (az - cz) - (dz - cz) * (ax - cx)
    b = (dx - cx) * (bz - cz) - (dz - cz) * (bx - cx)
    return a * b <= 0.0


@njit(cache=True)
def _sees(ax: float, az: float, bx: float, bz: float, depth: float, apron_x: Floats, apron_z: Floats) -> bool:
    """No mesh between two points."""
    if _crosses(ax, az, bx, bz, 0.0, -depth, 0.0, SKY):
        return False
    for j in range(apron_x.size - 1):
        if _crosses(ax, az, bx, bz, apron_x[j], apron_z[j], apron_x[j + 1], apron_z[j + 1]):
            return False
    return True


@njit(cache=True)
def _nearest_on(px: float, pz: float, ax: float, az: float, bx: float, bz: float) -> float:
    """Share of the way from a to b of the point nearest to p."""
    ux, uz = bx - ax, bz - az
    t = ((px - ax) * ux + (pz - az) * uz) / (ux * ux + uz * uz)
    return min(max(t, 0.0), 1.0)


@njit(cache=True)
def _to_ground(
    px: float,
    pz: float,
    seen_x: float,
    seen_z: float,
    side: float,
    ground_x: Floats,
    ground_z: Floats,
    depth: float,
    apron_x: Floats,
    apron_z: Floats,
    best: float,
) -> float:
    """Shortest straight way from a point to the ground on one side (-1 or 1), if shorter than ``best``.

    ``seen_x, seen_z`` is the point itself, moved off the mesh.
    """
    for g in range(ground_x.size - 1):
        if side * (ground_x[g] + ground_x[g + 1]) < 0.0:
            continue
        ax, az, bx, bz = ground_x[g], ground_z[g], ground_x[g + 1], ground_z[g + 1]
        # Only the foot of the perpendicular, or the end next to it. Where the mesh hides it, the ground gets nearer
        # towards it until the mesh comes into the way, and a way past that place bends round a corner of the mesh.
        t = _nearest_on(px, pz, ax, az, bx, bz)
        qx, qz = ax + t * (bx - ax), az + t * (bz - az)
        length = math.hypot(qx - px, qz - pz)
        # A missing height compares as false.
        if length < best and _sees(seen_x, seen_z, side * max(side * qx, OFF), qz + OFF, depth, apron_x, apron_z):
            best = length
    return best


@njit(cache=True)
def _corners(depth: float, apron_x: Floats, apron_z: Floats, corners: Floats) -> int:
    """Fill rows of ``corners`` with where a shortest way may bend: x, z, and x, z moved off the mesh; how many.

    The lower end of the skirt, the free end of the apron, and the bends of the apron, each on the side that a taut
    way could touch: below where the apron sags, above where it humps. An apron without reach adds nothing.
    """
    last = apron_x.size - 1
    corners[0, 0], corners[0, 1], corners[0, 2], corners[0, 3] = 0.0, -depth, 0.0, -depth - OFF
    if apron_x[last] == 0.0:
        return 1
    run, rise = apron_x[last] - apron_x[last - 1], apron_z[last] - apron_z[last - 1]
    length = math.hypot(run, rise)
    corners[1, 0], corners[1, 1] = apron_x[last], apron_z[last]
    corners[1, 2], corners[1, 3] = apron_x[last] + OFF * run / length, apron_z[last] + OFF * rise / length
    n = 2
    for b in range(1, last):
        share = (apron_x[b] - apron_x[b - 1]) / (apron_x[b + 1] - apron_x[b - 1])
        hump = apron_z[b] - apron_z[b - 1] - share * (apron_z[b + 1] - apron_z[b - 1])
        if abs(hump) > STRAIGHT:
            corners[n, 0] = corners[n, 2] = apron_x[b]
            corners[n, 1], corners[n, 3] = apron_z[b], apron_z[b] + math.copysign(OFF, hump)
            n += 1
    return n


@njit(cache=True)
def _next(length: Floats, done: npt.NDArray[np.bool_], n: int, best: float) -> int:
    """Corner reached by the shortest way that has not been gone on from and is shorter than ``best``; -1 if none."""
    found = -1
    for k in range(n):
        if not done[k] and length[k] < best:
            found, best = k, length[k]
    return found


@njit(cache=True)
def _shortest_tunnel(
    ground_x: Floats,
    ground_z: Floats,
    depth: float,
    apron_x: Floats,
    apron_z: Floats,
    corner: Floats,
    length: Floats,
    done: npt.NDArray[np.bool_],
) -> float:
    """Length of the shortest tunnel between the ground at x <= 0 and the ground at x >= 0.

    Heights are above the ground under the fence; ``ground_x`` ascends and holds 0. The skirt stands at x = 0 down to
    ``-depth``, the apron runs from (0, apron_z[0]) to its free end.

    A shortest way round obstacles is a chain of straight pieces whose bends lie on corners of the obstacles; the
    shortest chain is found after Dijkstra. A way that touches no corner need not be looked at: shifted upward until it
    touches one, its ends stick out of the ground, so that less of it has to be dug.
    """
    n = _corners(depth, apron_x, apron_z, corner)
    for c in range(n):
        done[c] = False
        x, z, seen_x, seen_z = corner[c, 0], corner[c, 1], corner[c, 2], corner[c, 3]
        # By way of the skirt's lower end, or straight if that is shorter.
        length[c] = np.inf
        if c > 0 and _sees(corner[0, 2], corner[0, 3], seen_x, seen_z, depth, apron_x, apron_z):
            length[c] = length[0] + math.hypot(x, z + depth)
        length[c] = _to_ground(x, z, seen_x, seen_z, -1.0, ground_x, ground_z, depth, apron_x, apron_z, length[c])
    best = np.inf
    c = _next(length, done, n, best)
    while c >= 0:
        done[c] = True
        x, z, seen_x, seen_z = corner[c, 0], corner[c, 1], corner[c, 2], corner[c, 3]
        # To the ground beyond, if that beats the best way so far; then on to every corner in sight.
        left = best - length[c]
        best = min(
            best,
            length[c] + _to_ground(x, z, seen_x, seen_z, 1.0, ground_x, ground_z, depth, apron_x, apron_z, left),
        )
        for k in range(n):
            further = length[c] + math.hypot(corner[k, 0] - x, corner[k, 1] - z)
            if further < length[k] and _sees(seen_x, seen_z, corner[k, 2], corner[k, 3], depth, apron_x, apron_z):
                length[k] = further
        c = _next(length, done, n, best)
    return best


@njit(cache=True)
def shortest_tunnels(
    ground_x: Floats,
    ground_z: Floats,
    depth: Floats,
    apron_x: Floats,
    apron_z: Floats,
    corner: Floats,
    length: Floats,
    done: npt.NDArray[np.bool_],
    out: Floats,
) -> None:
    """``_shortest_tunnel`` for each entry of ``depth`` and row of ``ground_z``, ``apron_x`` and ``apron_z``.

    ``corner`` (points of the apron, 4), ``length`` and ``done`` are work space.
    """
    for i in range(out.size):
        out[i] = _shortest_tunnel(ground_x, ground_z[i], depth[i], apron_x[i], apron_z[i], corner, length, done)
