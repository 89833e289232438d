"""The enclosures of one plot: fitted, staked out, posted and gated."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from packpale.enclosure.alignment import length_on_ground, stations
from packpale.enclosure.as_drawn import drawn_lines, notes_on
from packpale.enclosure.drawn import DrawnLine
from packpale.enclosure.fence import place_gates, posts
from packpale.enclosure.flow_links import links_across
from packpale.enclosure.limit_notes import over_limits_note
from packpale.enclosure.line import Line
from packpale.enclosure.model import Enclosure, Fit, Pack, Touch
from packpale.enclosure.over_limits import stretches, union_length
from packpale.enclosure.touch import touches
from packpale.land.model import Land
from packpale.settings import Project
from packpale.site.grid import Array, Grid, Mask
from packpale.site.model import Site
from packpale.units import HECTARE_M2

if TYPE_CHECKING:
    from packpale.enclosure.fit import Ranges


def place(site: Site, land: Land, project: Project) -> Enclosure:
    """Fit the enclosures the settings ask for into the plot's usable land.

    Where fewer fit than asked for, none is placed and ``reason`` says what was found and what stands in the way. Lines
    that are given are taken as they are.
    """
    if project.enclosure.fence_line is not None:
        lines = drawn_lines(site, project)
        if not lines:
            return Enclosure((), "no fence line is drawn on this plot")
        packs = tuple(staked_out(k, line, site, land, project, drawn=line) for k, line in enumerate(lines, start=1))
        notes = notes_on(lines, site, land, project)
        return Enclosure(packs, "", (*notes, *_notes_on_limits(packs, land, project)))
    fits = _fits(site, land, project)
    wanted = project.enclosure.packs
    if len(fits) < wanted:
        return Enclosure((), _reason(site, land, project, len(fits)))
    fits, notes = _with_proof(fits, land, project)
    packs = tuple(_fitted(i + 1, fits, site, land, project) for i in range(wanted))
    return Enclosure(packs, "", (*notes, *_notes_on_limits(packs, land, project)))


def _fits(site: Site, land: Land, project: Project) -> tuple[Fit, ...]:
    # The search is compiled code that takes its time to load: only where it is used.
    from packpale.enclosure.packs import fit_packs

    if land.usable.is_empty:
        return ()
    wanted, ranges = project.enclosure, _ranges(project)
    if wanted.area_ha == "largest":
        return fit_packs(land.usable, wanted.packs, wanted.separation_m, **ranges)
    return _of_area(wanted.area_ha * HECTARE_M2, site, land, project)


def _of_area(area: float, site: Site, land: Land, project: Project) -> tuple[Fit, ...]:
    """Enclosures of an area [m2] where the land suits best; where water crosses them, on dry lines if those do."""
    from packpale.enclosure.best_place import fit_areas, mean_over

    wanted, grid, water = project.enclosure, site.grid, project.crossings

    def fits_on(usable: MultiPolygon) -> tuple[Fit, ...]:
        return fit_areas(
            usable,
            wanted.packs,
            wanted.separation_m,
            target_area=area,
            score=land.suitability,
            grid=grid,
            second=land.diggability,
            **_ranges(project),
        )

    fits = fits_on(land.usable)
    # Where the area is not known the comparison does not hold.
    carries: Mask = land.upstream_area >= water.min_area_m2

    def crossings(fits: tuple[Fit, ...]) -> int:
        return sum(links_across(f.egg, grid, land.flow_direction, carries).row.size for f in fits)

    if water.placing_penalty == 0 or not fits or not crossings(fits):
        return fits

    def worth(fits: tuple[Fit, ...]) -> tuple[int, float]:
        means = sum(mean_over(f.egg, land.suitability, grid) for f in fits)
        return len(fits), means - water.placing_penalty * crossings(fits)

    dry = fits_on(_beside(land.usable, grid, carries))
    return max(fits, dry, key=worth)


def _beside(usable: MultiPolygon, grid: Grid, carries: Mask) -> MultiPolygon:
    """Usable land without the cells in which flow paths run."""
    x, y = grid.centres()
    rows, cols = np.nonzero(carries)
    half = grid.cell / 2
    cells = shapely.box(x[cols] - half, y[rows] - half, x[cols] + half, y[rows] + half)
    rest = usable.difference(shapely.union_all(cells))
    parts = [part for part in shapely.get_parts(rest) if isinstance(part, Polygon)]
    return MultiPolygon(parts)


def _with_proof(fits: tuple[Fit, ...], land: Land, project: Project) -> tuple[tuple[Fit, ...], tuple[str, ...]]:
    if project.enclosure.area_ha != "largest":
        return fits, ()
    from packpale.enclosure.proven import with_proof

    return with_proof(fits, land.usable, gap=project.enclosure.proof_gap, **_ranges(project))


def _ranges(project: Project) -> "Ranges":
    from packpale.enclosure.fit import Ranges

    wanted = project.enclosure
    return Ranges(
        clearance=project.trench.outside_strip_m,
        taper=wanted.taper,
        aspect=wanted.aspect,
        min_radius=wanted.min_radius_m,
    )


def _fitted(number: int, fits: Sequence[Fit], site: Site, land: Land, project: Project) -> Pack:
    fit = fits[number - 1]
    held = touches(
        fit.egg,
        land.usable,
        clearance=project.trench.outside_strip_m,
        limits=land.limits,
        outline=site.outline,
        others={k: f.egg for k, f in enumerate(fits, start=1) if k != number},
        separation=project.enclosure.separation_m,
    )
    return staked_out(number, fit.egg, site, land, project, fit=fit, held=held)


def _notes_on_limits(packs: Sequence[Pack], land: Land, project: Project) -> tuple[str, ...]:
    share = project.enclosure.line_over_limits
    notes = (
        over_limits_note(
            pack.number, pack.over_limits, pack.over_limits_m, pack.line.perimeter, limits=land.limits, share=share
        )
        for pack in packs
    )
    return tuple(note for note in notes if note)


def staked_out(
    number: int,
    line: Line,
    site: Site,
    land: Land,
    project: Project,
    *,
    fit: Fit | None = None,
    drawn: DrawnLine | None = None,
    held: tuple[Touch, ...] = (),
) -> Pack:
    """A fence line staked out, posted and gated."""
    grid, trench = site.grid, project.trench
    enclosed = cells_inside(line, site)
    over = stretches(line, land.soft, inside=trench.inside_strip_m, outside=trench.outside_strip_m)
    gates = place_gates(
        line,
        project.fence.gates,
        width=project.fence.gate_width_m,
        elevation=site.elevation,
        grid=grid,
        channel=land.channel,
        access=site.features.get("access", ()),
        inward=project.fence.airlock_length_m,
    )
    return Pack(
        number=number,
        fit=fit,
        drawn=drawn,
        alignment=stations(line, step=trench.station_m, elevation=site.elevation, grid=grid),
        posts=posts(
            line,
            project.fence.post_spacing_m,
            site.elevation,
            grid,
            gates=gates,
            steep=math.tan(math.radians(project.fence.steep_ground_deg)),
        ),
        gates=gates,
        length_3d=length_on_ground(line, elevation=site.elevation, grid=grid),
        mean_suitability=_mean(land.suitability, enclosed),
        mean_slope=_mean(land.slope, enclosed),
        touches=held,
        over_limits=over,
        over_limits_m=union_length(over, line.perimeter),
    )


def cells_inside(line: Line, site: Site) -> Mask:
    """Cells of the grid whose centre the line encloses."""
    x, y = site.grid.centres()
    inside = np.zeros(site.grid.shape, bool)
    west, south, east, north = line.polygon(1.0).buffer(1.0).bounds
    cols = np.flatnonzero((x >= west) & (x <= east))
    rows = np.flatnonzero((y >= south) & (y <= north))
    if cols.size and rows.size:
        inside[np.ix_(rows, cols)] = line.contains(x[cols][None, :], y[rows][:, None])
    return inside


def _mean(values: Array, where: Mask) -> float:
    known = values[where & np.isfinite(values)]
    return float(known.mean()) if known.size else math.nan


def _reason(site: Site, land: Land, project: Project, fitting: int) -> str:
    """Why the enclosures asked for do not fit, what was found instead, and the limits that take most."""
    wanted = project.enclosure
    strip = project.trench.outside_strip_m
    taking = [limit for limit in sorted(land.limits, key=lambda limit: -limit.share) if limit.share >= 0.005][:3]
    limits = ""
    if taking:
        named = ", ".join(f"{limit.name} ({_percent(limit.share)})" for limit in taking)
        limits = f". What takes most of the plot: {named}"
    if land.usable.is_empty:
        return f"no usable land is left on the plot{limits}"
    largest = max(land.usable.geoms, key=lambda part: part.area)
    if fitting == 0:
        what = "no egg"
        if wanted.area_ha != "largest":
            what += f" of {wanted.area_ha:g} ha"
        if wanted.min_radius_m > 0:
            what += f" with a small end of at least {wanted.min_radius_m:g} m radius"
        first = f"{what} fits{_largest(site, land, project)}"
    else:
        first = f"only {fitting} of {wanted.packs} enclosures fit, {wanted.separation_m:g} m apart"
    found = (
        f"The largest usable patch has {largest.area / HECTARE_M2:.2f} ha; its largest circle has a radius of "
        f"{_depth(largest):.1f} m, of which the strip outside the fence takes {strip:.1f} m"
    )
    return f"{first}. {found}{limits}"


def _largest(site: Site, land: Land, project: Project) -> str:
    """What would fit instead of an area asked for."""
    if project.enclosure.area_ha == "largest":
        return ""
    largest = project.model_copy(
        update={"enclosure": project.enclosure.model_copy(update={"area_ha": "largest", "packs": 1})}
    )
    fits = _fits(site, land, largest)
    return f"; the largest that fits has {fits[0].egg.area / HECTARE_M2:.2f} ha" if fits else ""


def _depth(part: shapely.Polygon) -> float:
    return float(shapely.length(shapely.maximum_inscribed_circle(part, tolerance=0.05)))


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %" if share >= 0.01 else "under 1 %"
