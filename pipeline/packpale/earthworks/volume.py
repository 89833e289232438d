"""Volumes of the trench along the curved fence line, and the end-area formulas surveyors check them with.

The volume is the integral of the cut over chainage s and offset o, with the strip at offset o longer or shorter than
the fence line by the curvature::

    V = integral of c(s, o) (1 + o k(s)) do ds = integral of (A(s) + M(s) k(s)) ds

with the section's area A and its first moment M about the fence line, taken for either side of the line by itself,
because at a corner of a drawn line they see different turnings. For one constant section that is Pappus's
theorem: the area times the path of its centroid.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from packpale.earthworks.section import TrenchSection, outlines
from packpale.enclosure.model import Alignment
from packpale.site import Array, Mask, Site

Side = Literal["outside", "inside"]
Formation = Literal["follow", "level"]

STRIP_M = 0.05
"""Widest strip of a section that is integrated as one. [m] A quarter of a cell where cells are small."""
CATCH_REACH = 10.0
"""How far a wall of a level trench is followed until it meets the ground, in multiples of its run on flat ground."""


@dataclass(frozen=True)
class CutSections:
    """The cut at each station; arrays of shape (stations,) or, for parts with their moments, (stations, 3).

    Where several shifts of rock and water were cut at once, all arrays have an axis of the shifts in front.

    The columns are the area [m2] and the first moments about the fence line [m3] of what lies on the apron side and
    of what lies on the other, whose offsets are negative. NaN where the elevation under the trench is missing.
    """

    cut: Array
    rock: Array
    """Part of each column below the depth to rock of the cells it stands in, over the stretch of its station."""
    hard: Array
    """Part of the rock where that of those cells needs a breaker."""
    wet: Array
    """Part of each column below the water table of the same cells."""
    open: Array
    """Width of ground that is cut open [m] and its first moments [m2]."""
    edges: Array
    """Offsets of the two top edges, first the one away from the apron, shape (stations, 2). [m]"""
    deepest: Array
    """Deepest column. [m]"""
    caught: Mask
    """Both walls meet the ground within reach."""


def cut_sections(
    section: TrenchSection,
    line: Alignment,
    site: Site,
    *,
    side: Side,
    formation: Formation,
    depth: Array | None = None,
    rock_shift: npt.ArrayLike = 0.0,
    water_shift: npt.ArrayLike = 0.0,
) -> CutSections:
    """Cut the section into the ground at every station.

    ``follow``: the cut is measured below the ground at the same offset, so that it is the same profile everywhere.
    ``level``: bottoms are horizontal across the section at the ground under the fence line less their depth; the
    outer walls rise until they first meet the actual ground (followed for CATCH_REACH times their run on flat
    ground); between them everything above the outline is cut, and the cut is never negative.

    Where ``depth`` is given, shape (stations,), the skirt trench is that deep at each station instead of the
    section's own depth, which is the least allowed [m]; the apron bench stays. Where the section has a slope of its own
    in hard rock, its walls break at the depth to rock under the fence. ``rock_shift`` and ``water_shift`` are added to
    the depths to rock and water, which never become negative [m]: one number, one for each station, or, of shape
    (shifts, stations) or (shifts, 1), several of them to be cut at once.

    Notes
    -----
    Across the section the cut is taken as linear over strips of at most STRIP_M between exact breakpoints. That is
    exact for ``follow``, and for ``level`` on inclined planes, catch points included. Depths to rock and water jump
    from cell to cell and at the borders of soil polygons. So a station's section does not take them from where it
    stands: each strip takes them from all cells that it crosses from half-way to the station before to half-way to
    the next, each by the length in it, and strips are parted where the section enters another cell.
    """
    from packpale.earthworks import _kernels

    sign = 1.0 if side == "outside" else -1.0
    stations = line.chainage.size
    shape = np.broadcast_shapes((stations,), np.shape(rock_shift), np.shape(water_shift))
    # Copies, as the compiled loops take them: a row for each shift.
    rock_shifts = np.array(np.broadcast_to(rock_shift, shape), float).reshape(-1, stations)
    water_shifts = np.array(np.broadcast_to(water_shift, shape), float).reshape(-1, stations)
    shifts, rows = (rock_shifts, water_shifts), rock_shifts.shape
    out = np.zeros((*rows, 15))
    along = (np.ascontiguousarray(line.x, float), np.ascontiguousarray(line.y, float))
    across = (np.ascontiguousarray(sign * line.outward[:, 0]), np.ascontiguousarray(sign * line.outward[:, 1]))
    rock = np.ascontiguousarray(site.soil.depth_to_rock, float)
    hard_rock = np.ascontiguousarray(site.soil.rock_is_hard, bool)
    water = np.ascontiguousarray(site.soil.water_table, float)
    frame = (site.grid.west, site.grid.north, site.grid.cell)
    strip = min(STRIP_M, site.grid.cell / 4)
    depths = np.array([section.depth]) if depth is None else np.asarray(depth, float)
    hard = hard_rock_depth(section, line, site, shift=rock_shifts)
    # Where walls heed the rock there is an outline for each shift and station, else for each station, or one for all.
    form = (
        outlines(section, depths) if hard is None else outlines(section, np.resize(depths, rows).ravel(), hard.ravel())
    )
    # Copies again, since the compiled loop writes into them.
    edges = np.resize(np.column_stack([form.pieces[:, 0, 0], form.pieces[:, -1, 1]]), (*rows, 2))
    deepest = np.resize(depths, rows)
    caught = np.ones(rows, bool)
    space = np.empty((5, 7))
    if formation == "follow":
        ground = (rock, hard_rock, water)
        _kernels.follow_sections(form.pieces, strip, *along, *across, *ground, *shifts, *frame, space, out)
    else:
        _kernels.level_sections(
            form.bottoms,
            form.walls,
            section.side_slope,
            section.in_rock,
            CATCH_REACH * section.side_slope,
            strip,
            *along,
            *across,
            np.ascontiguousarray(line.ground, float),
            np.ascontiguousarray(site.elevation, float),
            rock,
            hard_rock,
            water,
            *shifts,
            *frame,
            space,
            out,
            edges,
            deepest,
            caught,
        )
    cut, in_rock, wet, opened, in_hard = (out[..., k : k + 3].reshape(*shape, 3) for k in range(0, 15, 3))
    tops = (edges.reshape(*shape, 2), deepest.reshape(shape), caught.reshape(shape))
    return CutSections(cut, in_rock, in_hard, wet, opened, *tops)


def hard_rock_depth(section: TrenchSection, line: Alignment, site: Site, *, shift: npt.ArrayLike = 0.0) -> Array | None:
    """Depth to hard rock under the fence at each station, infinite without any; None where walls do not heed it. [m]

    ``shift``, shape (..., stations), is added to the depth to rock.
    """
    if section.rock_side_slope is None:
        return None
    soil, grid = site.soil, site.grid
    depth = grid.nearest(soil.depth_to_rock, line.x, line.y) + np.asarray(shift)
    return np.where(grid.nearest(soil.rock_is_hard, line.x, line.y), np.maximum(depth, 0.0), np.inf)


def mean_curvature(line: Alignment, *, side: Side) -> Array:
    """Mean curvature of the fence line over the stretch of each station, positive where the apron side is longer.

    Shape (stations, 2), 1 / radius within an arc: as a strip on the apron side has it, and as one on the other. [1/m]
    Where two arcs join between neighbouring stations, the place of the join follows from the turning between them and
    the two radii, so that each stretch gets exactly its own part. Taken positive for an apron outside a line that
    bends round the enclosed ground and negative for one inside; added up over the stretches, the turning of a closed
    line is one full circle.

    A drawn line brings its turning with it. At its corners the strip on the outer side of the turn is a sector, as it
    is dug; on the inner side two strips overlap in a kite, which is taken off: there the two columns differ.

    Raises ValueError if the line has fewer than three stations or does not close after one full turn.
    """
    if line.chainage.size < 3:
        raise ValueError(f"a closed line needs at least 3 stations, got {line.chainage.size}")
    outer = 1.0 if side == "outside" else -1.0
    if line.turning is not None:
        # Of a turn to the right, round the enclosed ground, that ground lies on the inner side.
        lapped = np.zeros((line.chainage.size, 2)) if line.lapped is None else line.lapped
        inside, outside = line.turning + lapped[:, 0], line.turning + lapped[:, 1]
        both = (outside, inside) if side == "outside" else (inside, outside)
        return np.asarray(outer * np.column_stack(both) / line.step)
    bearing = np.deg2rad(line.bearing_deg)
    # Turning from each station to the next, wrapped into half a circle either way.
    turning = (np.roll(bearing, -1) - bearing + math.pi) % (2 * math.pi) - math.pi
    total = float(turning.sum())
    if not math.isclose(abs(total), 2 * math.pi, abs_tol=1e-6):
        raise ValueError(f"the line turns through {math.degrees(total):.3f} degrees; a closed one turns through 360")
    before, after = 1 / line.radius, 1 / np.roll(line.radius, -1)
    first_half = turning / 2
    differ = np.flatnonzero(before != after)
    k0, k1, turned = before[differ], after[differ], np.abs(turning[differ])
    join, half = (turned - line.step * k1) / (k0 - k1), line.step / 2
    # Outside the step only where an arc shorter than the step lies between: then both stretches take half.
    found = (join >= 0) & (join <= line.step)
    split = np.minimum(join, half) * k0 + np.maximum(half - join, 0) * k1
    first_half[differ[found]] = np.copysign(split, turning[differ])[found]
    second_half = turning - first_half
    sign = math.copysign(1.0, total) * outer
    curvature = sign * (first_half + np.roll(second_half, 1)) / line.step
    return np.column_stack([curvature, curvature])


def at_stations(part: Array, curvature: Array) -> Array:
    """What a metre of line takes of a part, from area and first moments; shape (..., stations, 3) and (stations, 2)."""
    return np.asarray(part[..., 0] + (part[..., 1:] * curvature).sum(axis=-1))


def along_curve(part: Array, curvature: Array, *, step: float) -> float:
    """Integral along the line of a part given by area and first moments at each station, shape (stations, 3).

    The periodic midpoint rule: each station stands for ``step`` metres of line. [m3], or [m2] for a width.
    """
    return float(step * at_stations(part, curvature).sum())


def average_end_area(areas: Array, *, spacing: float, closed: bool) -> float:
    """Volume between sections by averaging the areas of neighbouring ends. [m3]

    V = L (A1 + A2) / 2 between each two of ``areas`` [m2] at equal ``spacing`` [m]; ``closed`` adds the stretch from
    the last back to the first. Exact for prisms and wedges; for other solids it can be too large or too small. The
    curvature of the line is left out, as in the usual reckoning.
    """
    ends = np.append(areas, areas[0]) if closed else np.asarray(areas, float)
    return float(spacing * np.sum((ends[:-1] + ends[1:]) / 2))


def prismoidal(first: float, middle: float, last: float, *, length: float) -> float:
    """Volume of a prismoid from the areas of its ends and of its middle section: L (A1 + 4 Am + A2) / 6. [m3]

    ``middle`` is measured from the mean dimensions of the two ends. With the mean of the two areas in its place the
    formula falls back to the average end area.
    """
    return length * (first + 4 * middle + last) / 6
