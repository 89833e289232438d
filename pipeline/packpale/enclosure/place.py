"""The enclosures of one plot: fitted, staked out, posted and gated."""

import math
from collections.abc import Sequence

import numpy as np

from packpale.enclosure.alignment import length_on_ground, stations
from packpale.enclosure.as_drawn import given_lines, notes_on
from packpale.enclosure.drawn import DrawnLine
from packpale.enclosure.egg import Egg
from packpale.enclosure.fence import posts
from packpale.enclosure.fitting import fits_for, line_ground, proven
from packpale.enclosure.gate_places import gate_place_notes, keep_off, place_gates
from packpale.enclosure.limit_notes import over_limits_note
from packpale.enclosure.line import Line
from packpale.enclosure.menu import at_least, chosen, menu_of, price_decides
from packpale.enclosure.model import Alternative, Enclosure, Fit, Pack, Touch
from packpale.enclosure.over_limits import stretches, union_length
from packpale.enclosure.pricing import Pricing
from packpale.enclosure.refusal import reason
from packpale.enclosure.touch import touches
from packpale.land.model import Land
from packpale.land.surroundings import cells_within
from packpale.settings import Project
from packpale.site.grid import Cells, Mask
from packpale.site.model import Site
from packpale.values.notes import Note, Phrase, phrase

CHORD_ERROR_M = 1e-4
"""Largest distance between a line and the polygon whose cells count as inside. [m]"""


def screened(site: Site, land: Land, project: Project, pricing: Pricing | None = None) -> Enclosure:
    """The enclosures that the settings ask for by a shorter search, without proof and without other lines.

    Raises ValueError as ``place``.
    """
    if site.fence_lines or project.enclosure.fence_line is not None or price_decides(project):
        # A given line takes no search; where prices decide, the other lines are the search.
        return place(site, land, project, pricing)
    wanted = project.enclosure.packs
    fits = fits_for(site, land, project, screening=True)
    if len(fits) < wanted:
        # A short search may miss the one place where something fits.
        fits = fits_for(site, land, project)
    if len(fits) < wanted:
        return Enclosure((), reason(site, land, project, len(fits)))
    packs = tuple(
        staked_out(k, fit.egg, site, land, project, fit=fit, others=_others(k, [f.egg for f in fits[:wanted]]))
        for k, fit in enumerate(fits[:wanted], start=1)
    )
    return Enclosure(packs, None)


def place(site: Site, land: Land, project: Project, pricing: Pricing | None = None) -> Enclosure:
    """The enclosures that the settings ask for, and with prices the lines that could be built instead.

    Where fewer fit than asked for, none is placed and ``reason`` says what was found and what stands in the way. Lines
    that are given are taken as they are, and nothing is looked for instead. Raises ValueError if the settings leave
    the choice to prices and there are none.
    """
    if project.enclosure.fence_line is not None or site.fence_lines:
        lines = given_lines(site, project)
        if not lines:
            return Enclosure((), phrase("no fence line is drawn on this plot"))
        packs = tuple(
            staked_out(k, line, site, land, project, given=line, others=_others(k, lines))
            for k, line in enumerate(lines, start=1)
        )
        notes = notes_on(lines, site, land, project)
        return Enclosure(packs, None, (*notes, *_notes_on_places(packs, land, project)))
    fits, menu, why = _fits_and_menu(site, land, project, pricing)
    wanted = project.enclosure.packs
    if len(fits) < wanted:
        return Enclosure((), why or reason(site, land, project, len(fits)), alternatives=menu)
    # A budget ends far below what the land allows: there the quick bound will do.
    fits, notes = (fits, ()) if price_decides(project) else proven(fits, land, project)
    packs = tuple(_fitted(i + 1, fits[:wanted], site, land, project) for i in range(wanted))
    return Enclosure(packs, None, (*notes, *_notes_on_places(packs, land, project)), menu)


def _fits_and_menu(
    site: Site, land: Land, project: Project, pricing: Pricing | None
) -> tuple[tuple[Fit, ...], tuple[Alternative, ...], Phrase | None]:
    """The lines to build, those that could be built instead, and why a budget buys none."""
    if pricing is None:
        if price_decides(project):
            raise ValueError("a budget, or the wish for a low price, needs prices")
        return fits_for(site, land, project), (), None
    ground = line_ground(land, project)
    if price_decides(project):
        menu, why = menu_of(ground, project, pricing)
        return chosen(menu, project), menu, why
    fits = fits_for(site, land, project)
    menu, _ = menu_of(ground, project, pricing, fits)
    return at_least(fits, menu, project), menu, None


def _fitted(number: int, fits: Sequence[Fit], site: Site, land: Land, project: Project) -> Pack:
    fit = fits[number - 1]
    held = touches(
        fit.egg,
        land.enclosable,
        clearance=project.trench.outside_strip_m,
        limits=[limit for limit in land.limits if not limit.may_lie_inside],
        outline=site.outline,
        others={k: f.egg for k, f in enumerate(fits, start=1) if k != number},
        separation=project.enclosure.separation_m,
    )
    others = _others(number, [f.egg for f in fits])
    return staked_out(number, fit.egg, site, land, project, fit=fit, held=held, others=others)


def _others(number: int, lines: Sequence[Line]) -> tuple[Line, ...]:
    return tuple(line for k, line in enumerate(lines, start=1) if k != number)


def _notes_on_places(packs: Sequence[Pack], land: Land, project: Project) -> tuple[Note, ...]:
    share = project.enclosure.line_over_limits
    notes = (
        over_limits_note(
            pack.number, pack.over_limits, pack.over_limits_m, pack.line.perimeter, limits=land.limits, share=share
        )
        for pack in packs
    )
    vehicle = project.fence.vehicle_length_m
    gates = (note for pack in packs for note in gate_place_notes(pack.number, pack.gates, vehicle))
    return tuple(note for note in (*notes, *gates) if note)


def staked_out(
    number: int,
    line: Line,
    site: Site,
    land: Land,
    project: Project,
    *,
    fit: Fit | None = None,
    given: DrawnLine | Egg | None = None,
    held: tuple[Touch, ...] = (),
    others: Sequence[Line] = (),
    means: bool = True,
) -> Pack:
    """A fence line staked out, posted and gated, its gates clear of the ``others``.

    Without the ``means`` of its ground, which are NaN then, if told.
    """
    grid, trench, fence = site.grid, project.trench, project.fence
    enclosed = cells_inside(line, site) if means else None
    over = stretches(line, land.soft, inside=trench.inside_strip_m, outside=trench.outside_strip_m)
    gates = place_gates(line, site, project, keep_off(line, site, land, project, others))
    return Pack(
        number=number,
        fit=fit,
        given=given,
        alignment=stations(line, step=trench.station_m, elevation=site.elevation, grid=grid),
        posts=posts(
            line,
            fence.post_spacing_m,
            site.elevation,
            grid,
            gates=gates,
            steep=math.tan(math.radians(fence.steep_ground_deg)),
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
    """Cells of the grid whose centre the line encloses, to CHORD_ERROR_M."""
    return cells_within([line.polygon(CHORD_ERROR_M)], site.grid)


def _mean(values: Cells, where: Mask | None) -> float:
    if where is None:
        return math.nan
    known = values[where & np.isfinite(values)]
    return float(known.mean(dtype=np.float64)) if known.size else math.nan
