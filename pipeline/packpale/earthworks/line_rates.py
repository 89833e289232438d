"""What a metre of fence line costs where it runs, before the line is drawn: for searches that weigh thousands of lines.

The bill charges for volumes of a trench, areas of mesh, posts and gates of one line. Here the same section, soil and
likely rates are laid out as a price for each metre of line in each cell, a price for each metre over a limit, and a
part that every line pays. The sum along a line is near the bill's likely total; the bill alone is exact.

Which way a line will run through a cell is not known. What hangs on it (slope along the line for lengths and struts,
slope across it for a level trench) is the mean over directions. The section is taken to lie in one cell. A line
turns through one full circle, so what the outer strips take more than the inner ones is a fixed part, whatever the
shape (Pappus); its soil is that of the plot in the mean.
"""

import math
from dataclasses import dataclass

import numpy as np

from packpale.earthworks.fence_take_off import airlock_fence, airlock_posts, sill_concrete
from packpale.earthworks.mesh_fixings import how_many, seams_per_m
from packpale.earthworks.mesh_rolls import mean_rolls
from packpale.earthworks.section import TrenchSection
from packpale.earthworks.volume import CATCH_REACH
from packpale.enclosure.line_ground import LineCost
from packpale.settings import Project
from packpale.site import Array, Grid, Site
from packpale.site.spread import Spread, spread

MOST_CELLS = 1_000_000
"""Places that prices are worked out for; of larger windows one in each square of cells."""
DIRECTIONS = 24
"""Directions of the line, over half a circle, that the mean of a level trench's section is taken over."""
WAYS = 8
"""Directions, over half a circle, in which the ground along a line is looked at; opposite ones are the same."""
ACROSS_M = 2.0
"""How far on either side the ground is looked at for its slope across a trench. [m]"""
SLOPES = np.linspace(0.0, 1.0, 26)
"""Slopes of the ground for which a level trench is cut. [m/m] Steeper ground counts as the last."""
DEPTHS = 501
"""Depths, from the surface to the deepest column, below which the section's area is tabled."""
BENDS = 4
"""Changes of arc of an egg, each with a strutted post."""


@dataclass(frozen=True)
class LineRates:
    """Likely price of any egg on one plot, in the run's currency."""

    per_m: Array
    """For each metre of line in plan by the cell of the grid under it, shape (rows, cols); never NaN. Away from the
    plot it is the mean."""
    grid: Grid
    """The site's, or larger squares of its cells, each with the price in its middle."""
    per_over_limit_m: float
    """For each metre of line over a limit, on top."""
    fixed: float
    """Gates, airlocks, and what one full turn of the outer strips takes; may be negative."""


@dataclass(frozen=True)
class _Below:
    """A section's area and first moment below each depth, for each slope of the ground; the mean over directions."""

    depths: Array
    """Shape (depths,). [m]"""
    area: Array
    """Shape (slopes, depths). [m2]"""
    moment: Array
    """About the fence line, positive to the apron side, on level ground; shape (depths,). [m3]"""
    open: Array
    """Width cut open, shape (slopes,). [m]"""
    open_moment: float
    """Its first moment on level ground. [m2]"""
    slopes: Array

    def area_below(self, slope: Array, depth: Array) -> Array:
        """Area below a depth [m] on ground of a slope [m/m], both of one shape, between the rows of the table."""
        i, wi = _between(self.slopes, slope)
        j, wj = _between(self.depths, depth)
        i1, j1 = np.minimum(i + 1, self.slopes.size - 1), np.minimum(j + 1, self.depths.size - 1)
        low = self.area[i, j] * (1 - wj) + self.area[i, j1] * wj
        high = self.area[i1, j] * (1 - wj) + self.area[i1, j1] * wj
        return np.asarray(low * (1 - wi) + high * wi)


def line_rates(site: Site, project: Project) -> LineRates:
    """Likely price per metre of fence line on one plot, from the rates, section and soil that its bill is made of.

    It leaves out what only a drawn line tells: how its panels are cut to length, a bottom smoothed to ``max_gradient``
    or ``vertical_curve_m``, that walls in rock may be steeper than in soil, and that ground which rises to one side all
    along a level trench makes more or less of it.
    Where the elevation is missing the ground counts as level.
    """
    whole = spread(site.grid, most_cells=MOST_CELLS)
    window = _window(site, project.fence.post_spacing_m, whole)
    near = whole.part(*window)
    trench_per_m, trench_fixed = _trench(site, near, project)
    fence_per_m, fence_fixed = _fence(site, near, project)
    found = trench_per_m + fence_per_m
    per_m = np.full(whole.grid.shape, float(found.mean()) if found.size else 0.0)
    per_m[window] = found
    return LineRates(per_m, whole.grid, project.rates.over_limit_per_m[1], trench_fixed + fence_fixed)


def line_cost(site: Site, project: Project) -> LineCost:
    """The same as searches for a line take it; nothing is paid for having a line."""
    rates = line_rates(site, project)
    return LineCost(rates.per_m, rates.grid, rates.per_over_limit_m, max(rates.fixed, 0.0))


def _window(site: Site, reach: float, whole: Spread) -> tuple[slice, slice]:
    """Rows and columns of squares that hold the plot and the ground within reach of it; all where no cell is in it."""
    inside = whole.of(site.inside)
    if not inside.any():
        return slice(0, inside.shape[0]), slice(0, inside.shape[1])
    beside = math.ceil(max(reach, ACROSS_M) / whole.grid.cell) + 2
    held = (np.flatnonzero(inside.any(axis=axis)) for axis in (1, 0))
    rows, cols = (
        slice(max(int(h[0]) - beside, 0), min(int(h[-1]) + 1 + beside, n))
        for h, n in zip(held, inside.shape, strict=True)
    )
    return rows, cols


def _trench(site: Site, some: Spread, project: Project) -> tuple[Array, float]:
    """Digging, filling and what is left over: price per metre in the middle of squares, and of one full turn."""
    rates, bulking = project.rates, project.bulking
    rock_is_hard, within = some.of(site.soil.rock_is_hard), some.of(site.inside)
    depth_to_rock, water_table = some.of(site.soil.depth_to_rock), some.of(site.soil.water_table)
    below = _below(project)
    digging = rates.excavate_soil_per_m3[1] + rates.backfill_and_compact_per_m3[1]
    lacking, surplus = rates.import_fill_per_m3[1], rates.place_surplus_per_m3[1]
    # As earthworks.bulking has it: soil goes back and shrinks, rock is left over and is made up for.
    per_cut = digging + bulking.soil_shrink * lacking
    instead = (1 - bulking.soil_shrink) * lacking - rates.excavate_soil_per_m3[1]
    per_hard = rates.excavate_rock_per_m3[1] + instead + (1 + bulking.rock_swell) * surplus
    per_soft = rates.excavate_soft_rock_per_m3[1] + instead + (1 + bulking.soft_rock_swell) * surplus
    per_rock = np.where(rock_is_hard, per_hard, per_soft)
    per_wet = rates.extra_over_wet_per_m3[1]
    surface = np.zeros(some.grid.shape)
    slope = surface if below.slopes.size == 1 else _slope_across(site, some.grid)
    per_m = (
        rates.strip_and_clear_per_m2[1] * np.interp(slope, below.slopes, below.open)
        + per_cut * below.area_below(slope, surface)
        + per_rock * below.area_below(slope, depth_to_rock)
        + per_wet * below.area_below(slope, water_table)
    )
    where = within if within.any() else np.ones_like(within)

    def moment(depth: Array) -> Array:
        return np.interp(depth, below.depths, below.moment)

    turned = (
        rates.strip_and_clear_per_m2[1] * below.open_moment
        + per_cut * below.moment[0]
        + float((per_rock * moment(depth_to_rock))[where].mean())
        + per_wet * float(moment(water_table)[where].mean())
    )
    sign = 1.0 if project.trench.side == "outside" else -1.0
    return per_m, sign * 2 * math.pi * turned


def _below(project: Project) -> _Below:
    trench = project.trench
    section = TrenchSection(
        trench.depth_m, trench.bottom_width_m, trench.apron_reach_m, trench.apron_cover_m, trench.side_slope
    )
    slopes = SLOPES if trench.formation == "level" else SLOPES[:1]
    level = _cross_section(section, 0.0)
    # The line crosses a slope at every angle alike.
    angles = (np.arange(DIRECTIONS) + 0.5) / DIRECTIONS * math.pi
    cuts = [[_cross_section(section, float(g * math.cos(a))) for a in angles] if g else [level] for g in slopes]
    deepest = max(float(rows[:, 2:].max()) for of_slope in cuts for rows in of_slope)
    depths = np.linspace(0.0, deepest, DEPTHS)
    area = np.array([np.mean([_part_below(rows, depths)[0] for rows in of_slope], axis=0) for of_slope in cuts])
    width = np.array([np.mean([_open(rows)[0] for rows in of_slope]) for of_slope in cuts])
    return _Below(depths, area, _part_below(level, depths)[1], width, _open(level)[1], slopes)


def _cross_section(section: TrenchSection, rise: float) -> Array:
    """Outline of a trench with level bottoms on ground that rises to the apron side by ``rise`` [m/m].

    Rows of inner offset, outer offset and the depth of the cut below the ground at each, as in TrenchSection.pieces;
    negative depths are ground that already lies below the outline.
    """
    bottoms = section.bottoms.copy()
    bottoms[:, 2] += rise * bottoms[:, 0]
    bottoms[:, 3] += rise * bottoms[:, 1]
    rows = [bottoms]
    if section.side_slope > 0:
        for wall in section.walls:
            depth = wall.depth + rise * wall.offset
            if depth <= 0:
                continue
            # Ground and wall draw near by this much a metre; where hardly, the wall is cut off as volume.py does it.
            closing = 1 / section.side_slope - rise * wall.direction
            reach = CATCH_REACH * section.side_slope * wall.depth
            run = min(depth / closing, reach) if closing > 0 else reach
            end = depth - closing * run
            at = wall.offset + wall.direction * run
            row = [wall.offset, at, depth, end] if wall.direction > 0 else [at, wall.offset, end, depth]
            rows.append(np.array([row]))
    return np.vstack(rows)


def _part_below(rows: Array, depths: Array) -> tuple[Array, Array]:
    """Area [m2] and first moment [m3] of what lies below each of ``depths`` under an outline; shape (depths,)."""
    o1, o2, c1, c2 = (column[:, None] for column in rows.T)
    v1, v2 = c1 - depths, c2 - depths
    with np.errstate(divide="ignore", invalid="ignore"):
        zero = o1 + (o2 - o1) * v1 / (v1 - v2)
    # Of a piece that is partly above the depth only the rest counts.
    a = np.where((v1 < 0) & (v2 > 0), zero, o1)
    b = np.where((v1 > 0) & (v2 < 0), zero, o2)
    w1, w2 = np.maximum(v1, 0.0), np.maximum(v2, 0.0)
    area = (b - a) * (w1 + w2) / 2
    # The integral of o (c(o) - depth) over a piece in which c is linear.
    moment = (b - a) * (a * (2 * w1 + w2) + b * (w1 + 2 * w2)) / 6
    some = (v1 > 0) | (v2 > 0)
    return np.where(some, area, 0.0).sum(axis=0), np.where(some, moment, 0.0).sum(axis=0)


def _open(rows: Array) -> tuple[float, float]:
    """Width cut open [m] and its first moment [m2]."""
    o1, o2, c1, c2 = rows.T
    some = (c1 > 0) | (c2 > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        zero = o1 + (o2 - o1) * c1 / (c1 - c2)
    a, b = np.where((c1 < 0) & (c2 > 0), zero, o1)[some], np.where((c1 > 0) & (c2 < 0), zero, o2)[some]
    return float((b - a).sum()), float(((b - a) * (a + b) / 2).sum())


def _between(steps: Array, values: Array) -> tuple[np.ndarray[tuple[int, ...], np.dtype[np.intp]], Array]:
    """Row of an evenly stepped table before each value, and how far it lies towards the next, 0 to 1."""
    if steps.size == 1:
        return np.zeros(np.shape(values), int), np.zeros(np.shape(values))
    at = np.clip(values / (steps[1] - steps[0]), 0.0, steps.size - 1.0)
    before = np.minimum(at.astype(int), steps.size - 2)
    return before, at - before


def _slope_across(site: Site, at: Grid) -> Array:
    """Slope of the ground over a trench's width at the centres of a grid, 0 where missing. [m/m]"""
    grid = site.grid
    x, y = np.meshgrid(*at.centres())
    lag = max(ACROSS_M, grid.cell)
    rises = [
        grid.bilinear(site.elevation, x + lag * i, y + lag * j)
        - grid.bilinear(site.elevation, x - lag * i, y - lag * j)
        for i, j in ((1, 0), (0, 1))
    ]
    return np.nan_to_num(np.hypot(*rises) / (2 * lag), nan=0.0)


def _fence(site: Site, some: Spread, project: Project) -> tuple[Array, float]:
    """Mesh, posts, wires, labour and gates: price per metre in the middle of squares, and what every line pays."""
    from packpale.earthworks import _kernels_along

    fence, mesh, trench, rates = project.fence, project.mesh, project.trench, project.rates
    gates = fence.gates
    airlocks = gates if fence.airlock_length_m > 0 else 0
    hung = airlocks * airlock_fence(fence) - gates * fence.gate_width_m
    roll = mesh.roll_width_m * mesh.roll_length_m
    over, under = rates.mesh_per_m2[1] * roll, rates.buried_mesh_per_m2[1] * roll
    per_ground_m = rates.erect_fence_per_m[1] + fence.straining_wires * rates.straining_wire_per_m[1]
    # Laps at the ends of pieces are begun once more by each part, half of one in the mean: of no weight.
    hung_laps = seams_per_m(fence.height_m, mesh, joint=False) + seams_per_m(fence.overhang_m, mesh, joint=True)
    buried_laps, apron_laps = (seams_per_m(w, mesh, joint=True) for w in (trench.depth_m, trench.apron_reach_m))
    tie, lap_ties = rates.tie_each[1], rates.tie_each[1] / mesh.lap_tie_spacing_m
    per_ground_m += tie * fence.straining_wires / mesh.wire_tie_spacing_m + lap_ties * hung_laps
    fixed = per_ground_m * hung - lap_ties * gates * fence.gate_width_m
    per_apron_m = lap_ties * apron_laps
    per_apron_m += rates.anchor_each[1] / mesh.anchor_spacing_m if trench.apron_reach_m > 0 else 0.0
    sign = 1.0 if trench.side == "outside" else -1.0
    reach = trench.apron_reach_m
    apron_longer = sign * math.pi * reach
    hung_per_m, hung_begun = mean_rolls((fence.height_m, False), (fence.overhang_m, True), mesh)
    buried_per_m, buried_begun = mean_rolls((trench.depth_m, True), (reach, True), mesh, longer=apron_longer)
    per_ground_m += over * hung_per_m + under * buried_per_m + lap_ties * buried_laps + per_apron_m
    fixed += per_apron_m * apron_longer
    fixed += over * (hung_per_m * hung + hung_begun) + under * buried_begun
    steep_from = math.tan(math.radians(fence.steep_ground_deg))
    on_ground, steep = np.empty(some.grid.shape), np.empty(some.grid.shape)
    cell, panel = site.grid.cell, fence.post_spacing_m
    places = some.rows, some.cols
    _kernels_along.along_ways(site.elevation, *places, cell, panel, steep_from, WAYS, on_ground, steep)
    per_post = (
        (rates.overhang_arm_each[1] if fence.overhang_m > 0 else 0.0)
        + rates.footing_hole_each[1]
        + how_many(fence.height_m, mesh.post_tie_spacing_m) * tie
        + math.pi / 4 * fence.hole_diameter_m**2 * fence.hole_depth_m * rates.concrete_per_m3[1]
    )
    line_post, strutted = rates.post_each[1] + per_post, rates.strutted_post_each[1] + per_post
    spacing = fence.post_spacing_m
    posts_per_m = (line_post + steep * (strutted - line_post)) / spacing
    # Each stretch between two posts that must be ends with a whole panel: half a panel more in the mean. A gate is
    # one stretch itself, without posts between.
    stretches = BENDS + gates
    fixed += line_post * (0.5 * stretches + gates - gates * fence.gate_width_m / spacing)
    fixed += BENDS * (strutted - line_post) + 2 * gates * (rates.gate_post_each[1] + per_post - line_post)
    beside = airlock_posts(fence)
    kinds = {"line": line_post, "bend": strutted, "steep": strutted, "gate": rates.gate_post_each[1] + per_post}
    fixed += airlocks * sum(n * kinds[kind] for kind, n in beside.items())
    fixed += (gates + airlocks) * rates.gate_each[1]
    fixed += sill_concrete(gates, fence, project.gates) * rates.concrete_per_m3[1]
    return (per_ground_m + posts_per_m) * on_ground, fixed
