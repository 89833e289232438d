"""Which search finds the fence lines that the settings ask for, and the proof of how good they are."""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from packpale.enclosure.flow_links import links_across
from packpale.enclosure.line_ground import LineGround
from packpale.enclosure.model import Fit
from packpale.land.model import Land
from packpale.settings import Project
from packpale.site.grid import Grid, Mask
from packpale.site.model import Site
from packpale.units import HECTARE_M2
from packpale.values.notes import Note

if TYPE_CHECKING:
    from packpale.enclosure.fit import Forms, Ranges


def fits_for(site: Site, land: Land, project: Project, *, screening: bool = False) -> tuple[Fit, ...]:
    """The enclosures that the settings ask for, the largest first; fewer where not so many fit.

    With ``screening`` the largest one over limits is searched for as shortly as each line of the menu is.
    """
    # The search is compiled code that takes its time to load: only where it is used.
    from packpale.enclosure.line_packs import fit_packs_on_lines
    from packpale.enclosure.line_search import USUAL
    from packpale.enclosure.priced_lines import FEW

    if land.enclosable.is_empty:
        return ()
    wanted = project.enclosure
    if wanted.area_ha != "largest":
        return _of_area(wanted.area_ha * HECTARE_M2, site, land, project)
    return fit_packs_on_lines(
        line_ground(land, project),
        wanted.line_over_limits,
        wanted.packs,
        wanted.separation_m,
        **forms_of(project),
        labour=FEW if screening else USUAL,
    )


def line_ground(land: Land, project: Project) -> LineGround:
    """What a fence line on this land has to keep off, and what it may run over."""
    return LineGround(land.enclosable, land.soft, project.trench.inside_strip_m, project.trench.outside_strip_m)


def _of_area(area: float, site: Site, land: Land, project: Project) -> tuple[Fit, ...]:
    """Enclosures of an area [m2] where the land suits best; where water crosses them, on dry lines if those do."""
    from packpale.enclosure.best_place import mean_over

    grid, water = site.grid, project.crossings
    fits, score = _best_of_area(area, site, land, project), land.suitability.astype(np.float64)
    # Where the area is not known the comparison does not hold.
    carries: Mask = land.upstream_area >= water.min_area_m2

    def crossings(fits: tuple[Fit, ...]) -> int:
        return sum(links_across(f.egg, grid, land.flow_direction, carries).row.size for f in fits)

    if water.placing_penalty == 0 or not fits or not crossings(fits):
        return fits

    def worth(fits: tuple[Fit, ...]) -> tuple[int, float]:
        means = sum(mean_over(f.egg, score, grid) for f in fits)
        return len(fits), means - water.placing_penalty * crossings(fits)

    beside = replace(
        land,
        usable=_beside(land.usable, grid, carries),
        enclosable=_beside(land.enclosable, grid, carries),
    )
    return max(fits, _best_of_area(area, site, beside, project), key=worth)


def _best_of_area(area: float, site: Site, land: Land, project: Project) -> tuple[Fit, ...]:
    """Enclosures of an area [m2], one after the other, each in the best place that those before leave."""
    from packpale.enclosure.best_place import fit_areas, mean_over
    from packpale.enclosure.line_ground import Score
    from packpale.enclosure.place_line import place_lines

    wanted, ranges, grid = project.enclosure, ranges_of(project), site.grid
    score = land.suitability.astype(np.float64)
    # Nothing of them runs over a limit.
    contained = fit_areas(
        land.usable,
        wanted.packs,
        wanted.separation_m,
        target_area=area,
        score=score,
        grid=grid,
        second=land.diggability.astype(np.float64),
        **ranges,
    )
    if not land.soft:
        return contained
    found = place_lines(
        line_ground(land, project),
        wanted.line_over_limits,
        wanted.packs,
        wanted.separation_m,
        area=area,
        score=Score(score, grid),
        **forms_of(project),
        known=[f.egg for f in contained],
    )

    def worth(fits: Sequence[Fit]) -> tuple[int, float]:
        return len(fits), sum(mean_over(f.egg, score, grid) for f in fits)

    return max(contained, found, key=worth)


def _beside(land: MultiPolygon, grid: Grid, carries: Mask) -> MultiPolygon:
    """Land without the cells in which flow paths run."""
    x, y = grid.centres()
    rows, cols = np.nonzero(carries)
    half = grid.cell / 2
    cells = shapely.box(x[cols] - half, y[rows] - half, x[cols] + half, y[rows] + half)
    rest = land.difference(shapely.union_all(cells))
    parts = [part for part in shapely.get_parts(rest) if isinstance(part, Polygon)]
    return MultiPolygon(parts)


def proven(fits: tuple[Fit, ...], land: Land, project: Project) -> tuple[tuple[Fit, ...], tuple[Note, ...]]:
    """The fits with the bound that a search for one proves, where they are the largest; and notes on that search."""
    wanted = project.enclosure
    if wanted.area_ha != "largest" or not fits:
        return fits, ()
    from packpale.enclosure.line_bound import with_line_proof

    return with_line_proof(
        fits,
        line_ground(land, project),
        wanted.line_over_limits,
        gap=wanted.proof_gap,
        separation=wanted.separation_m,
        **forms_of(project),
    )


def forms_of(project: Project) -> "Forms":
    """What the egg may look like."""
    from packpale.enclosure.fit import Forms

    wanted = project.enclosure
    return Forms(taper=wanted.taper, aspect=wanted.aspect, min_radius=wanted.min_radius_m)


def ranges_of(project: Project) -> "Ranges":
    """The same and the strip outside it, for searches of what is contained in the land."""
    from packpale.enclosure.fit import Ranges

    return Ranges(clearance=project.trench.outside_strip_m, **forms_of(project))
