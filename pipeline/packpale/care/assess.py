"""Everything this room has to say about one plot."""

import numpy as np

from packpale.care.aids import aid_notes, climbing_aids
from packpale.care.climb import climb, climb_notes
from packpale.care.crossings import crossing_notes, find_crossings, flat_length, with_streams
from packpale.care.dens import den_sites
from packpale.care.digout import BARE_M, dig_out, ground_across, shortest_tunnels
from packpale.care.holding import holding, holding_notes, skirt_depths
from packpale.care.howl import howl
from packpale.care.inside import ground_inside, inside_notes
from packpale.care.model import Care
from packpale.care.neighbours import neighbour_notes, neighbours
from packpale.care.patrol import Mark, gate_marks, rounds, weak_places
from packpale.care.sights import lines_of_sight
from packpale.care.space import space_notes
from packpale.care.streams import stream_crossings, stream_notes
from packpale.care.suitability_error import drawn_suitability
from packpale.care.viewing import den_notes, viewing
from packpale.care.wading import wading_notes
from packpale.enclosure.model import Enclosure, Pack
from packpale.faults import Faults
from packpale.land.model import Land
from packpale.settings import Project
from packpale.site import Site
from packpale.units import measured
from packpale.values.notes import Note
from packpale.values.quantity import Quantity


def assess(site: Site, land: Land, enclosure: Enclosure, project: Project, *, den_mounds: int = 0) -> Care:
    """How well every pack's fence holds between the rounds, the round along it, and where dens could go.

    ``den_mounds`` is the number of mounds for dens that the soil left over by the trench makes.

    Raises Faults if elevation is missing beside a fence.
    """
    trench, checks = project.trench, project.checks
    results, holdings, faults = [], [], []
    notes: list[Note] = []
    for pack in enclosure.packs:
        depths = skirt_depths(pack.alignment, site, trench)
        tunnel, no_apron = (
            shortest_tunnels(
                pack.alignment,
                site,
                depth=depths,
                apron_reach=reach,
                apron_cover=trench.apron_cover_m,
                side=trench.side,
                formation=trench.formation,
            )
            for reach in (trench.apron_reach_m, 0.0)
        )
        missing = np.isnan(tunnel)
        if missing.any():
            faults.append(
                f'plot "{site.plot_id}", pack {pack.number}: no elevation beside the fence at chainage '
                f"{measured(pack.alignment.chainage[missing][0], 'm', '.1f')} "
                f"({missing.sum()} of {missing.size} stations); "
                "the ground on both sides is needed: supply a larger raster or keep the fence away from the gap"
            )
            continue
        results.append(
            dig_out(
                pack.number,
                pack.alignment,
                tunnel,
                no_apron=no_apron,
                gap=checks.longest_gap,
                night=checks.night,
            )
        )
        holdings.append(holding(pack.number, pack.alignment, tunnel, depths, trench=trench, checks=checks))
        notes += holding_notes(holdings[-1], checks)
        notes += _bare_apron(site, pack, project)
    if faults:
        raise Faults(*faults)
    crossings = tuple(c for p in enclosure.packs for c in find_crossings(site, land, p, project))
    streams = tuple(s for p in enclosure.packs for s in stream_crossings(site, p, crossings))
    crossings = with_streams(crossings, [(s.pack, s.crossing) for s in streams])
    flat = sum(flat_length(site, land, p) for p in enclosure.packs)
    marks = {
        pack.number: (
            *gate_marks(pack),
            *(
                Mark("crossing", f"where water crosses ({c.number})", c.chainage)
                for c in crossings
                if c.pack == pack.number
            ),
            *(
                Mark("crossing", "where mapped water crosses", s.chainage)
                for s in streams
                if s.pack == pack.number and s.crossing is None
            ),
            *weak_places(
                pack.alignment,
                found.tunnel,
                count=project.patrol.weak_places,
                apart=project.patrol.weak_places_apart_m,
            ),
        )
        for pack, found in zip(enclosure.packs, results, strict=True)
    }
    walks, said = rounds(site, enclosure.packs, marks, patrol=project.patrol, trench=trench)
    mound = (project.plant.mound_height_m, project.plant.mound_slope)
    dens, of_dens = den_sites(site, land, enclosure.packs, settings=project.dens, mounds=den_mounds, mound=mound)
    howls = howl(site, enclosure.packs, project.howl)
    climbs = tuple(climb(site, p, project) for p in enclosure.packs)
    aids = tuple(aid for p in enclosure.packs for aid in climbing_aids(site, p, project))
    sights = lines_of_sight(site)
    views = viewing(sights, enclosure.packs, project.viewing)
    notes += [*said, *of_dens, *howls.notes, *crossing_notes(crossings, project, flat=flat)]
    notes += [*stream_notes(streams, project.crossings), *climb_notes(climbs, project)]
    notes += aid_notes(aids, project)
    notes += [*views.notes, *den_notes(sights, views, enclosure.packs, dens, project.viewing)] if views else ()
    pairs = neighbours(sights, enclosure.packs, howls, views, project)
    notes += neighbour_notes(pairs, project)
    notes += wading_notes(site, land, walks, deeper_than=project.land.max_ponding_m)
    insides = ground_inside(site, land, enclosure.packs, project)
    notes += inside_notes(insides, project)
    notes += space_notes(enclosure.packs, project.pack.animals)
    return Care(
        checks.longest_gap,
        checks.night,
        len(checks.rounds),
        tuple(results),
        tuple(notes),
        rounds=walks,
        howl=howls,
        crossings=crossings,
        streams=streams,
        flat_m=flat,
        climbs=climbs,
        aids=aids,
        dens=dens,
        viewing=views,
        holdings=tuple(holdings),
        neighbours=pairs,
        insides=insides,
        drawn_suitability=drawn_suitability(site, land, enclosure.packs, project) if enclosure.packs else None,
    )


def _bare_apron(site: Site, pack: Pack, project: Project) -> list[Note]:
    """A level apron comes out of ground that falls away from the fence; say where."""
    trench = project.trench
    if trench.formation == "follow" or trench.apron_reach_m == 0:
        return []
    cover = ground_across(pack.alignment, site, np.linspace(0, trench.apron_reach_m, 11), side=trench.side)
    buried = np.minimum(trench.apron_cover_m, skirt_depths(pack.alignment, site, trench))
    bare = (cover + buried[:, None] < -BARE_M).any(axis=1)
    if not bare.any():
        return []
    where = pack.alignment.chainage[bare]
    first = float(where[0])
    return [
        Note(
            "bare apron",
            "the level apron comes out of the ground at {few} of {stations} stations",
            "It falls away too steeply there, first at chainage {first}. Choose the formation follow.",
            {"few": where.size, "stations": bare.size, "first": Quantity(first, "length")},
            (pack.number,),
            first,
            where.size,
        )
    ]
