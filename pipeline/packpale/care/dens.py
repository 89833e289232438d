"""Where a den could go: dry, diggable, sheltered ground inside the fence, away from people and the other pack."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from packpale.earthworks.haul import cone_volume
from packpale.enclosure.model import Pack
from packpale.land.criteria import dryness
from packpale.land.model import Land
from packpale.land.relief import level_of, mean_within
from packpale.land.slope import aspect_deg
from packpale.land.surroundings import cells_within, distance_to
from packpale.settings import DenSettings
from packpale.site import Array, Cells, Grid, Mask, Site
from packpale.site.spread import spread
from packpale.values.notes import Note
from packpale.values.quantity import Quantity, given

Build = Literal["into the slope", "mound", "mound of soil brought in"]

ENTRANCE_WIDTH_M = 0.46
"""Width of an entrance, about 18 in. [m] A popular page on wild dens; no measured series was found."""
CHAMBER_M = (1.3, 1.0, 0.5)
"""Length, width and height of a chamber, about 50 by 40 by 20 in. [m] The same page."""
CHORD_ERROR_M = 0.01
"""Largest distance between the fence line and the chords that distances are taken to. [m]"""
MOST_CELLS = 2_000_000
"""Places looked at; of larger enclosures one in each square of cells."""
SERVICE_M = 10.0
"""A den keeps this far from buried services: a passage and what the animals add to it. [m] Assumption."""
PEOPLE = ("viewpoints", "dwellings")
"""Inputs that a den is kept away from."""
OTHER_PACK = "other pack"
MAY_LIE_ON = ("setback", "slope", "woodland", "missing")
"""Kinds of limit of the land that keep no den off: dens have a distance to the fence and a steepest slope of their own,
banks and woods are where wild dens are, and ground that is missing has no score. All others do: ponds and hollows that
can stand in water, rock near the surface, the strips beside watercourses, tracks and the like."""


@dataclass(frozen=True)
class Passage:
    """How the den of one site would be built."""

    build: Build
    length: float
    """From the entrance to the chamber. [m]"""
    fall: float
    """By which the chamber's floor lies above the entrance, so that water runs out. [m]"""
    roof: float
    """Ground over the chamber. [m]"""


@dataclass(frozen=True)
class DenSite:
    """One place where a den could go."""

    pack: int
    rank: int
    """Within the pack, from 1."""
    x: float
    y: float
    score: float
    """0 to 1."""
    degrees: Mapping[str, float]
    """Degree to which each criterion is met, 0 to 1."""
    slope: float
    """[m/m]"""
    downhill_deg: float
    """Direction the entrance faces, clockwise from grid north; NaN on flat ground. [deg]"""
    wetness: float
    """Topographic wetness index."""
    position: float
    """Height above the mean of the ground around. [m]"""
    distances: Mapping[str, float]
    """To fence, viewpoints, dwellings and the other pack's fence, those that there are. [m]"""
    passage: Passage


def den_sites(
    site: Site, land: Land, packs: Sequence[Pack], *, settings: DenSettings, mounds: int, mound: tuple[float, float]
) -> tuple[tuple[DenSite, ...], list[Note]]:
    """The best places of each pack, apart from each other, and what a reader must know of them.

    ``mounds`` is the number of den mounds that the soil left over makes, ``mound`` their height and the run of their
    sides per unit of rise. They go to the best sites that need one, whichever pack they belong to.
    """
    places: list[DenSite] = []
    notes = []
    for pack in packs:
        others = [other for other in packs if other.number != pack.number]
        found = _best_of(site, land, pack, others, settings)
        places += found
        if len(found) < settings.count:
            notes.append(
                Note(
                    "few den sites",
                    "{found} of {wanted} den sites were found",
                    "The rest of the ground is wet or beside water, rocky, too steep, within {fence} of the fence or "
                    "near a site already chosen.",
                    {"found": len(found), "wanted": settings.count, "fence": given(settings.fence_m, "dimension")},
                    (pack.number,),
                    size=settings.count - len(found),
                )
            )
    built, lacking = _built(places, site, settings, mounds, mound)
    if lacking:
        notes.append(
            Note(
                "mounds fall short",
                f"the soil left over makes {mounds or 'no'} den {'mound' if mounds == 1 else 'mounds'}",
                f"{{lacking}} of the den sites {'needs' if lacking == 1 else 'need'} a mound of soil brought in, "
                "{volume} loose each.",
                {"lacking": lacking, "volume": Quantity(cone_volume(mound[0], side_slope=mound[1]), "volume")},
                size=lacking,
            )
        )
    if settings.count and mound[0] - settings.fall * mound[0] * mound[1] - CHAMBER_M[2] < settings.roof_m:
        notes.append(
            Note(
                "roof of the den",
                "a mound {height} high leaves less than {roof} of soil over a chamber",
                "Raise {setting:plant.mound_height_m}, or ask for less by {setting:dens.roof_m}.",
                {"height": given(mound[0], "dimension"), "roof": given(settings.roof_m, "dimension")},
            )
        )
    return built, notes


def passage_of(
    slope: float, *, rock: float, water: float, settings: DenSettings, mound: tuple[float, float], mounds: int
) -> Passage:
    """How a den is built on ground of one slope [m/m], with rock and water at these depths [m].

    Dug level with the entrance but for its fall f, a passage of length L on a slope S has its chamber's floor
    ``(S - f) L`` below the ground, so that a chamber h high has the roof ``(S - f) L - h``. The shortest passage that
    gives the roof asked is taken if it is within the lengths allowed and its floor lies above rock and water.
    Otherwise a mound is built on the ground, with the passage from its foot to its middle.
    """
    shortest, longest = settings.passage_m
    height = CHAMBER_M[2]
    gain = slope - settings.fall
    length = max((settings.roof_m + height) / gain, shortest) if gain > 0 else math.inf
    if length <= longest and gain * length <= min(rock, water):
        return Passage("into the slope", length, settings.fall * length, gain * length - height)
    top, run = mound
    length = min(max(top * run, shortest), longest)
    rise = settings.fall * length
    return Passage("mound" if mounds > 0 else "mound of soil brought in", length, rise, top - rise - height)


@dataclass(frozen=True)
class _Ground:
    """What counts for a den in the window round a fence; all arrays in the shape of its grid."""

    grid: Grid
    near: Mapping[str, Array]
    """Distance to fence, viewpoints, dwellings and the other pack's fence, those that there are. [m]"""
    degrees: Mapping[str, Array]
    score: Array
    """0 to 1."""
    allowed: Mask
    slope: Cells
    aspect: Array
    wetness: Cells
    position: Array


def _best_of(site: Site, land: Land, pack: Pack, others: Sequence[Pack], settings: DenSettings) -> list[DenSite]:
    """The best sites of one pack, best first; how they are built is left to ``_built``."""
    ground = _ground(site, land, pack, others, settings)
    worth = np.where(ground.allowed, ground.score, -np.inf)
    x, y = ground.grid.centres()
    found = []
    for rank, (r, c) in enumerate(apart(worth, ground.grid, count=settings.count, least=settings.apart_m), 1):
        found.append(
            DenSite(
                pack=pack.number,
                rank=rank,
                x=float(x[c]),
                y=float(y[r]),
                score=float(ground.score[r, c]),
                degrees={name: float(degree[r, c]) for name, degree in ground.degrees.items()},
                slope=float(ground.slope[r, c]),
                downhill_deg=float(ground.aspect[r, c]),
                wetness=float(ground.wetness[r, c]),
                position=float(ground.position[r, c]),
                distances={kind: float(distance[r, c]) for kind, distance in ground.near.items()},
                passage=Passage("mound", 0.0, 0.0, 0.0),
            )
        )
    return found


def _ground(site: Site, land: Land, pack: Pack, others: Sequence[Pack], settings: DenSettings) -> _Ground:
    fence = pack.line.polygon(CHORD_ERROR_M)
    cut, whole = _window(site.grid, fence.bounds, settings.shelter_radius_m)
    some = spread(whole, most_cells=MOST_CELLS)
    grid = some.grid
    inside = cells_within([fence], grid)
    near = {
        "fence": distance_to([fence.exterior], grid),
        **{kind: distance_to(site.features[kind], grid) for kind in PEOPLE if site.features.get(kind)},
        **({OTHER_PACK: distance_to([p.line.polygon(CHORD_ERROR_M) for p in others], grid)} if others else {}),
    }
    deepest = float(near["fence"][inside].max(initial=0))
    elevation = some.mean(site.elevation[cut])
    reach = settings.shelter_radius_m
    position = elevation - mean_within(elevation, reach=reach, cell=grid.cell, level=level_of(elevation))
    slope, wetness = some.of(land.slope[cut]), some.of(land.wetness[cut])
    aspect = aspect_deg(elevation, cell_size=(grid.cell, grid.cell))
    dry = dryness(
        wetness=wetness,
        ponding=some.of(land.ponding[cut]),
        drainage_class=some.of(site.soil.drainage_class[cut]),
        water_table=some.of(site.soil.water_table[cut]),
        height_above_drainage=some.of(land.height_above_drainage[cut]),
    )
    away = [distance for kind, distance in near.items() if kind != "fence"]
    steepest = math.tan(math.radians(settings.max_slope_deg))
    flattest, steep = (math.tan(math.radians(angle)) for angle in settings.best_slope_deg)
    degrees = {
        "drainage": dry,
        "digging": 1 - some.of(land.limitation[cut]),
        "shelter": np.clip(0.5 - position / (2 * settings.shelter_relief_m), 0, 1),
        "people": np.minimum.reduce([np.ones(slope.shape), *(np.clip(d / settings.quiet_m, 0, 1) for d in away)]),
        "fence": np.clip(near["fence"] / max(deepest, grid.cell), 0, 1),
        "slope": np.interp(slope, [0, flattest, steep, max(steepest, steep + 1e-9)], [0, 1, 1, 0]),
        "aspect": np.where(np.isnan(aspect), 0.5, (1 + np.cos(np.deg2rad(aspect - settings.sunny_side_deg))) / 2),
    }
    held = [limit.area for limit in land.limits if limit.kind not in MAY_LIE_ON]
    weights = {name: weight for name, weight in settings.weights.items() if weight > 0}
    score = sum((w * degrees[name] for name, w in weights.items()), np.zeros(slope.shape)) / sum(weights.values())
    allowed = (
        inside
        # Limits are known within the plot, and beyond it the ground is somebody else's.
        & some.of(site.inside[cut])
        & ~cells_within(held, grid)
        & (near["fence"] >= settings.fence_m)
        & (slope <= steepest)
        & (dry > 0)
        & ~some.of(land.channel[cut])
        & (distance_to(site.features.get("services", ()), grid) >= SERVICE_M)
        & np.isfinite(score)
    )
    return _Ground(grid, near, degrees, score, allowed, slope, aspect, wetness, position)


def apart(worth: Array, grid: Grid, *, count: int, least: float) -> list[tuple[int, int]]:
    """Rows and columns of the best cells, each at least ``least`` [m] from all better ones chosen.

    ``worth`` is -inf where none may be; it is used up.
    """
    x, y = grid.centres()
    chosen: list[tuple[int, int]] = []
    while len(chosen) < count:
        r, c = divmod(int(np.argmax(worth)), grid.cols)
        if worth[r, c] == -math.inf:
            break
        chosen.append((r, c))
        worth[r, c] = -np.inf
        worth[np.hypot(x[None, :] - x[c], y[:, None] - y[r]) < least] = -np.inf
    return chosen


def _built(
    places: Sequence[DenSite], site: Site, settings: DenSettings, mounds: int, mound: tuple[float, float]
) -> tuple[tuple[DenSite, ...], int]:
    """The sites with their passages, in the order given, and how many mounds are lacking."""
    from dataclasses import replace

    built: dict[int, DenSite] = {}
    left, lacking = mounds, 0
    for k in sorted(range(len(places)), key=lambda k: -places[k].score):
        place = places[k]
        rock, water = (
            float(site.grid.nearest(depth, place.x, place.y))
            for depth in (site.soil.depth_to_rock, site.soil.water_table)
        )
        passage = passage_of(place.slope, rock=rock, water=water, settings=settings, mound=mound, mounds=left)
        left -= passage.build == "mound"
        lacking += passage.build == "mound of soil brought in"
        built[k] = replace(place, passage=passage)
    return tuple(built[k] for k in range(len(places))), lacking


def _window(grid: Grid, bounds: tuple[float, float, float, float], margin: float) -> tuple[tuple[slice, slice], Grid]:
    """Rows and columns of the grid within ``margin`` of some bounds, and the grid they make."""
    west, south, east, north = bounds
    c0 = max(math.floor((west - margin - grid.west) / grid.cell), 0)
    c1 = min(math.ceil((east + margin - grid.west) / grid.cell), grid.cols)
    r0 = max(math.floor((grid.north - north - margin) / grid.cell), 0)
    r1 = min(math.ceil((grid.north - south + margin) / grid.cell), grid.rows)
    part = Grid(grid.west + c0 * grid.cell, grid.north - r0 * grid.cell, grid.cell, r1 - r0, c1 - c0)
    return (slice(r0, r1), slice(c0, c1)), part
