"""How far a wolf has to dig to get out: the shortest tunnel round the buried mesh at every station."""

import math

import numpy as np

from packpale.care.model import DigOut
from packpale.earthworks.volume import Formation, Side
from packpale.enclosure.model import Alignment
from packpale.settings import Gap
from packpale.site import Array, Site

SPAN_M = 4.0
"""Ground looked at on both sides of the fence, at the least. [m]"""
SHORTEST_STEP_M, LONGEST_STEP_M = 0.1, 0.25
"""Limits to the spacing of the points that stand for the ground across the fence, else a quarter of a cell. [m]"""

BARE_M = 1e-6
"""An apron is bare from this height above the ground; less is rounding. [m]"""


def shortest_tunnels(
    line: Alignment,
    site: Site,
    *,
    depth: float | Array,
    apron_reach: float,
    apron_cover: float,
    side: Side,
    formation: Formation,
) -> Array:
    """Length of the shortest tunnel under the mesh in the real section at each station, shape (stations,). [m]

    The mesh is a skirt that hangs from the ground under the fence down to ``depth``, and an apron from the skirt out
    to ``apron_reach`` on its side: under ``follow`` it lies ``apron_cover`` below the ground at each offset, under
    ``level`` horizontally at that depth below the ground under the fence. The tunnel starts anywhere on the ground
    inside, ends anywhere on the ground outside, stays below the ground, and does not cross the mesh; on the surface
    nothing has to be dug. It is the exact shortest way in that section; that the fence bends is left out. Rock is
    dug like soil, so on rock the tunnel is a lower bound of the effort. All lengths in metres; ``depth`` is one for
    all stations or of shape (stations,), and where it is less than ``apron_cover`` the apron lies no deeper.

    NaN where the ground above the apron, or all of it on one side, has no elevation.

    Notes
    -----
    On level ground the way leads straight down along the skirt, in a straight line to the apron's free end and
    straight up: ``depth + hypot(apron_reach, depth - apron_cover) + apron_cover``.
    """
    depths = np.broadcast_to(np.asarray(depth, float), line.chainage.shape)
    cover = np.minimum(apron_cover, depths)[:, None]
    offsets = _offsets(site.grid.cell, span=max(SPAN_M, apron_reach + 2 * float(depths.max())), apron_reach=apron_reach)
    ground = ground_across(line, site, offsets, side=side)
    over_apron = ground[:, (offsets >= 0) & (offsets <= apron_reach)]
    at = offsets[(offsets >= 0) & (offsets <= apron_reach)]
    if formation == "follow":
        apron_x, apron_z = np.tile(at, (line.chainage.size, 1)), over_apron - cover
    else:
        end = level_apron_end(at, over_apron + cover)
        apron_x = np.column_stack([np.zeros_like(end), end])
        apron_z = np.broadcast_to(-cover, apron_x.shape)
    # Copies: for arrays that must not be written to, as spread ones, the loop would be compiled once more.
    out = shortest_ways(offsets, *(np.array(a, float, order="C") for a in (ground, depths, apron_x, apron_z)))
    missing = np.isnan(over_apron).any(axis=1) | ~np.isfinite(out)
    return np.where(missing, np.nan, out)


def shortest_ways(ground_x: Array, ground_z: Array, depth: Array, apron_x: Array, apron_z: Array) -> Array:
    """Length of the shortest tunnel in each of several sections, shape (sections,). [m]

    ``ground_x`` (points,) ascends and holds 0, where the fence stands; ``ground_z`` (sections, points) and ``apron_x``
    and ``apron_z`` (sections, bends) are heights and places of ground and apron. The skirt goes down to ``depth``.
    """
    from packpale.care import _kernels

    bends, out = apron_x.shape[1], np.empty(len(depth))
    work = np.empty((bends, 4)), np.empty(bends), np.empty(bends, bool)
    _kernels.shortest_tunnels(ground_x, ground_z, depth, apron_x, apron_z, *work, out)
    return out


def level_apron_end(offsets: Array, cover: Array) -> Array:
    """Offset to which a level apron stays buried: its reach, or where it first comes out of the ground. [m]

    ``cover`` is the ground above the apron at ``offsets``, shape (stations, offsets) [m], never negative at the
    first. Past that place the apron holds nobody back: whoever gets there is out.
    """
    if offsets.size == 1:
        return np.zeros(cover.shape[0])
    bare = cover < -BARE_M
    first = np.maximum(np.argmax(bare, axis=1), 1)
    rows = np.arange(cover.shape[0])
    left, right = offsets[first - 1], offsets[first]
    above, below = np.maximum(cover[rows, first - 1], 0), cover[rows, first]
    crossing = left + (right - left) * above / np.where(bare.any(axis=1), above - below, 1)
    return np.asarray(np.where(bare.any(axis=1), crossing, offsets[-1]), float)


def ground_across(line: Alignment, site: Site, offsets: Array, *, side: Side) -> Array:
    """Height of the ground above the ground under the fence, shape (stations, offsets). [m]

    Offsets are positive to the apron side.
    """
    sign = 1.0 if side == "outside" else -1.0
    x = line.x[:, None] + sign * line.outward[:, :1] * offsets
    y = line.y[:, None] + sign * line.outward[:, 1:] * offsets
    ground: Array = site.grid.bilinear(site.elevation, x, y) - line.ground[:, None]
    # The station's own level, so that the fence stands on the ground to the last digit.
    ground[:, offsets == 0] = 0.0
    return ground


def dig_out(pack: int, line: Alignment, tunnel: Array, *, no_apron: Array, gap: Gap, night: Gap) -> DigOut:
    """The weakest station, and the digging rate that gets a wolf out there while nobody looks.

    ``gap`` is the longest time between two rounds, which decides; ``night`` that of the night.

    ``no_apron`` holds the shortest tunnels round the skirt alone, as where its lap with the apron is missing.
    """
    weakest = int(np.argmin(tunnel))
    shortest = float(tunnel[weakest])
    bare = int(np.argmin(no_apron))
    return DigOut(
        pack,
        tunnel,
        float(line.chainage[weakest]),
        shortest,
        shortest / gap.hours,
        shortest / night.hours,
        without_lap=float(no_apron[bare]),
        without_lap_chainage=float(line.chainage[bare]),
        without_lap_rate=float(no_apron[bare]) / gap.hours,
    )


def _offsets(cell: float, *, span: float, apron_reach: float) -> Array:
    """Points across the fence, ascending, 0 and the apron's free end among them. [m]"""
    step = min(max(cell / 4, SHORTEST_STEP_M), LONGEST_STEP_M)
    near = np.linspace(0, apron_reach, math.ceil(apron_reach / step) + 1)
    beyond = apron_reach + step * np.arange(1, math.ceil((span - apron_reach) / step) + 1)
    other = -step * np.arange(math.ceil(span / step), 0, -1)
    return np.concatenate([other, near, beyond])
