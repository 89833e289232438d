"""Everything this room has to say about one plot: volumes of each pack's trench, quantities and price."""

import math

import numpy as np

from packpale.earthworks.bulking import bulk
from packpale.earthworks.fence_take_off import FenceTakeOff, fence_notes, fence_take_off
from packpale.earthworks.footing import footing
from packpale.earthworks.gates import GateLeaf, gate_leaves, gate_notes
from packpale.earthworks.haul import haul, haul_notes
from packpale.earthworks.mesh_life import mesh_life, mesh_notes
from packpale.earthworks.model import Earthworks, Profile, TrenchSafety, Volumes
from packpale.earthworks.plant import machine_work, plant_notes
from packpale.earthworks.price import total_cost
from packpale.earthworks.profile import gradient_notes, profile_notes, trench_profile
from packpale.earthworks.programme import programme, programme_notes
from packpale.earthworks.quantities import take_off
from packpale.earthworks.safety import safety_notes, trench_safety
from packpale.earthworks.section import TrenchSection
from packpale.earthworks.uncertainty import Trench, uncertainty
from packpale.earthworks.volume import (
    CATCH_REACH,
    CutSections,
    along_curve,
    average_end_area,
    cut_sections,
    mean_curvature,
)
from packpale.earthworks.wall_heights import wall_heights
from packpale.enclosure.model import Enclosure, Pack
from packpale.faults import Faults
from packpale.settings import Project, TrenchSettings
from packpale.site import Array, Mask, Site
from packpale.units import measured
from packpale.values.notes import Note
from packpale.values.quantity import Quantity, given

HARD_ROCK_TOLD_M3 = 0.5
"""Hard rock in the dig from which it is told how its walls were reckoned. [m3]"""
WORTH_SAYING_M = 0.05
"""Overrun of the free strip from which it is mentioned. [m]"""


def work_out(site: Site, enclosure: Enclosure, project: Project) -> Earthworks:
    """Cut the trench of every pack into the ground, balance it and price it.

    Raises Faults if the elevation under a trench is missing, or if a bend is so tight that the strip folds over
    itself.
    """
    trench = project.trench
    volumes: list[Volumes] = []
    profiles: list[Profile] = []
    safety: list[TrenchSafety] = []
    trenches: list[Trench] = []
    notes: list[Note] = []
    faults: list[str] = []
    for pack in enclosure.packs:
        try:
            one, drawn = _drawn(site, pack, project)
        except Faults as error:
            faults += error.lines
            continue
        volumes.append(one)
        profiles.append(drawn.profile)
        trenches.append(drawn)
        heights, over_dug = (_heights(site, drawn, trench, deeper) for deeper in (0.0, trench.over_dig_m))
        safe = trench_safety(
            pack,
            drawn.cuts,
            heights,
            over_dug,
            drawn.profile.depth - drawn.profile.water_depth,
            trench=trench,
            bulking=project.bulking,
            plant=project.plant,
        )
        safety.append(safe)
        notes += _notes(pack, drawn.cuts, trench, one.import_compacted)
        notes += [*profile_notes(drawn.profile, trench), *gradient_notes(pack, drawn.profile, project.land)]
        notes += safety_notes(safe)
    if faults:
        raise Faults(*faults)
    fences = [_fence(pack, project) for pack in enclosure.packs]
    for pack, fence in zip(enclosure.packs, fences, strict=True):
        notes += fence_notes(pack, fence, project.fence, leaves=project.gates.leaves)
    leaves: list[GateLeaf] = []
    for pack in enclosure.packs:
        found = gate_leaves(site, pack, project)
        notes += gate_notes(found, project.gates.max_gap_m)
        leaves += found
    notes += [*_posts_in_the_dig(project), *_rock_walls(trench, sum(v.hard_rock for v in volumes))]
    hauled = haul(volumes, bulking=project.bulking, plant=project.plant)
    worked = machine_work(enclosure.packs, volumes, profiles, bulking=project.bulking, plant=project.plant)
    planned = programme(
        enclosure.packs, volumes, profiles, fences, worked, plant=project.plant, settings=project.programme
    )
    notes += [*haul_notes(hauled), *plant_notes(worked), *programme_notes(planned)]
    over = sum(pack.over_limits_m for pack in enclosure.packs)
    items = take_off(volumes, fences, rates=project.rates, over_limits_m=over)
    (buried,) = (item for item in items if item.key == "buried_mesh_per_m2")
    life = mesh_life(project.mesh, buried)
    notes += mesh_notes(project.mesh, life)
    spread = uncertainty(site, trenches, trench_section(trench), items, project)
    cost = total_cost(items) | dict(zip(("p10", "p50", "p90"), spread.price, strict=True))
    return Earthworks(
        tuple(volumes),
        items,
        cost,
        tuple(notes),
        tuple(fences),
        profiles=tuple(profiles),
        uncertainty=spread,
        haul=hauled,
        plant=worked,
        programme=planned,
        mesh_life=life,
        safety=tuple(safety),
        gates=tuple(leaves),
    )


def likely_price(site: Site, pack: Pack, project: Project) -> float:
    """The bill's likely total of one fence line, as ``work_out`` has it, without all that is not needed for it.

    Quantities as drawn at likely rates, in the run's currency. Raises Faults as ``work_out`` does.
    """
    volumes, _ = _drawn(site, pack, project)
    fence = _fence(pack, project)
    items = take_off([volumes], [fence], rates=project.rates, over_limits_m=pack.over_limits_m)
    return total_cost(items)["likely"]


def _fence(pack: Pack, project: Project) -> FenceTakeOff:
    return fence_take_off(pack, fence=project.fence, trench=project.trench, mesh=project.mesh, gates=project.gates)


def trench_section(trench: TrenchSettings) -> TrenchSection:
    """The section that the settings ask for."""
    return TrenchSection(
        trench.depth_m,
        trench.bottom_width_m,
        trench.apron_reach_m,
        trench.apron_cover_m,
        trench.side_slope,
        trench.rock_side_slope,
    )


def _drawn(site: Site, pack: Pack, project: Project) -> tuple[Volumes, Trench]:
    """Volumes of one pack's trench and what they were taken from; Faults if it cannot be drawn."""
    trench = project.trench
    if coarse := _too_coarse(site, pack):
        raise Faults(*coarse)
    profile = _profile(site, pack, trench)
    cuts = cut_sections(
        trench_section(trench),
        pack.alignment,
        site,
        side=trench.side,
        formation=trench.formation,
        depth=profile.depth if profile.smoothed else None,
    )
    curvature = mean_curvature(pack.alignment, side=trench.side)
    if found := _faults(site, pack, cuts, curvature):
        raise Faults(*found)
    return _volumes(pack, cuts, curvature, profile, project), Trench(pack, cuts, profile, curvature)


def _heights(site: Site, drawn: Trench, trench: TrenchSettings, deeper: float) -> Array:
    """Depths of the open trench, dug deeper than drawn by so much. [m]"""
    return wall_heights(
        trench_section(trench),
        drawn.pack.alignment,
        site,
        side=trench.side,
        formation=trench.formation,
        depth=drawn.profile.depth + deeper,
    )


def _profile(site: Site, pack: Pack, trench: TrenchSettings) -> Profile:
    """Profile of the bottom; Faults where there is none."""
    if np.isnan(pack.alignment.ground).any():
        raise Faults(*_no_elevation(site, pack, np.isnan(pack.alignment.ground)))
    if math.isnan(pack.length_3d):
        raise Faults(
            f'plot "{site.plot_id}", pack {pack.number}: no elevation between two stations of the fence line; '
            "the whole trench needs ground: supply a larger raster or keep the fence away from the gap"
        )
    try:
        return trench_profile(pack, site, trench)
    except (ArithmeticError, ValueError) as error:
        raise Faults(f'plot "{site.plot_id}", pack {pack.number}: {error}') from error


def _no_elevation(site: Site, pack: Pack, missing: Mask) -> list[str]:
    return [
        f'plot "{site.plot_id}", pack {pack.number}: no elevation under the trench at chainage '
        f"{measured(pack.alignment.chainage[missing][0], 'm', '.1f')} "
        f"({missing.sum()} of {missing.size} stations); "
        "the whole trench needs ground: supply a larger raster or keep the fence away from the gap"
    ]


def _volumes(pack: Pack, cuts: CutSections, curvature: Array, profile: Profile, project: Project) -> Volumes:
    line = pack.alignment
    cut, rock, hard, wet = (
        along_curve(part, curvature, step=line.step) for part in (cuts.cut, cuts.rock, cuts.hard, cuts.wet)
    )
    # Equal but for rounding where rock lies at the surface.
    rock = min(rock, cut)
    hard = min(hard, rock)
    balance = bulk(
        cut=cut,
        rock=rock,
        soft_rock=rock - hard,
        soil_swell=project.bulking.soil_swell,
        soil_shrink=project.bulking.soil_shrink,
        rock_swell=project.bulking.rock_swell,
        soft_rock_swell=project.bulking.soft_rock_swell,
    )
    areas = cuts.cut[:, 0]
    return Volumes(
        pack=pack.number,
        fence_length=line.step * line.chainage.size,
        section_area=float(areas.mean()),
        cut=cut,
        rock=rock,
        wet=min(wet, cut),
        average_end_area=average_end_area(areas, spacing=line.step, closed=True),
        backfill_compacted=balance.backfill_compacted,
        cut_loose=balance.cut_loose,
        import_compacted=balance.import_compacted,
        surplus_loose=balance.surplus_loose,
        stripped_area=along_curve(cuts.open, curvature, step=line.step),
        cut_at_station=areas.copy(),
        invert=line.ground - profile.depth,
        soft_rock=rock - hard,
        hard_rock=hard,
        surplus_soil_loose=balance.surplus_soil_loose,
    )


def _rock_walls(trench: TrenchSettings, hard_rock: float) -> list[Note]:
    """How walls in hard rock were reckoned, where there is some."""
    if hard_rock < HARD_ROCK_TOLD_M3 or trench.side_slope == 0:
        return []
    volume = Quantity(hard_rock, "volume")
    if trench.rock_side_slope is None:
        return [
            Note(
                "rock dug as wide as soil",
                "walls in hard rock are reckoned as flat as in soil, so that {volume} of it are broken",
                "Rock stands steeper as a rule: with {setting:trench.rock_side_slope} set there is less of it. Ask "
                "whoever will dig it.",
                {"volume": volume},
                size=hard_rock,
            )
        ]
    return [
        Note(
            "steep walls in rock",
            "walls in hard rock are drawn at {slope}:1 (run to rise), in soil at {soil}:1",
            "Only rock that a competent person has found to be stable may stand so, not what is cracked or wet (29 CFR "
            "1926 Subpart P App. A and B, rules of the United States; your rules may differ).",
            {"slope": given(trench.rock_side_slope, "number"), "soil": given(trench.side_slope, "number")},
            size=hard_rock,
        )
    ]


def _posts_in_the_dig(project: Project) -> list[Note]:
    """That posts stand where the skirt's trench is dug, which their design has to reckon with."""
    trench, fence = project.trench, project.fence
    stand = footing(fence, trench.depth_m).made_ground
    return [
        Note(
            "posts in made ground",
            f"the posts stand on the line of the dig, and their footings {stand} ground that has been filled again",
            "Footings are {footing} deep, the trench {trench}. The structural design has to reckon with made ground, "
            "or with footings cast against the trench's bottom before it is filled.",
            {"footing": given(fence.hole_depth_m, "dimension"), "trench": given(trench.depth_m, "dimension")},
        )
    ]


def _too_coarse(site: Site, pack: Pack) -> list[str]:
    """Stations so far apart that a bend between two of them could be half a circle or more."""
    line = pack.alignment
    # A drawn line brings the turning of its corners with it, however far apart its stations are.
    tightest = math.inf if line.turning is not None else float(line.radius.min())
    if line.chainage.size >= 3 and line.step <= 2 * tightest:
        return []
    return [
        f'plot "{site.plot_id}", pack {pack.number}: stations {measured(line.step, "m", ".2f")} apart on a fence line '
        f"{measured(line.step * line.chainage.size, 'm', '.1f')} long with bends of "
        f"{measured(tightest, 'm', '.2f')} radius; at most twice the radius and a third of the line are allowed: "
        "lower trench.station_m"
    ]


def _faults(site: Site, pack: Pack, cuts: CutSections, curvature: Array) -> list[str]:
    line = pack.alignment
    missing = np.isnan(cuts.cut[:, 0]) | np.isnan(line.ground)
    if missing.any():
        return _no_elevation(site, pack, missing)
    folded = (1 + cuts.edges * curvature[:, ::-1]).min(axis=1) <= 0
    # Inside a corner of a drawn line two strips lie over each other; that is not a fold.
    if folded.any() and line.turning is None:
        i = int(np.flatnonzero(folded)[0])
        radius, reach = 1 / np.abs(curvature[i]).max(), np.abs(cuts.edges[i]).max()
        return [
            f'plot "{site.plot_id}", pack {pack.number}: at chainage {measured(line.chainage[i], "m", ".1f")} the '
            f"fence bends with a radius of {measured(radius, 'm', '.2f')} and the trench reaches "
            f"{measured(reach, 'm', '.2f')} "
            "towards the centre; the radius must be larger: raise enclosure.min_radius_m"
        ]
    return []


def _notes(pack: Pack, cuts: CutSections, trench: TrenchSettings, imported: float) -> list[Note]:
    """What a reader of the volumes must know."""
    line, packs = pack.alignment, (pack.number,)
    stations = line.chainage.size
    notes = []
    if imported > 0.5:
        notes.append(
            Note(
                "soil falls short",
                "the soil from the trench, compacted, falls {volume} short of filling it",
                "That much fill has to be brought in.",
                {"volume": Quantity(imported, "volume")},
                packs,
                size=imported,
            )
        )
    if not cuts.caught.all():
        where = line.chainage[~cuts.caught]
        notes.append(
            Note(
                "walls meet the ground late",
                "at {few} of {stations} stations the trench wall rises no faster than the ground",
                "It was cut off at {reach} times its run on flat ground, first at chainage {first}, and the volumes "
                "there are too small. Choose the formation follow, or lower {setting:trench.side_slope}.",
                {
                    "few": where.size,
                    "stations": stations,
                    "reach": given(CATCH_REACH, "number"),
                    "first": Quantity(float(where[0]), "length"),
                },
                packs,
                float(where[0]),
                where.size,
            )
        )
    apron_strip, other_strip = trench.outside_strip_m, trench.inside_strip_m
    if trench.side == "inside":
        apron_strip, other_strip = other_strip, apron_strip
    excess = np.maximum(cuts.edges[:, 1] - apron_strip, -cuts.edges[:, 0] - other_strip)
    wide = excess > WORTH_SAYING_M
    if wide.any():
        first = float(line.chainage[wide][0])
        notes.append(
            Note(
                "dig leaves its strip",
                "at {few} of {stations} stations the dig reaches beyond the strip kept free for it",
                "By up to {excess}, first at chainage {first}. Raise {setting:trench.working_strip_m} or choose the "
                "formation follow.",
                {
                    "few": int(wide.sum()),
                    "stations": stations,
                    "excess": Quantity(float(excess.max()), "dimension"),
                    "first": Quantity(first, "length"),
                },
                packs,
                first,
                float(excess.max()),
            )
        )
    return notes
