"""What ground a fence encloses: wood, water and its edge, steep, rocky and wet ground, relief."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from packpale.enclosure.model import Pack
from packpale.land.model import Land
from packpale.land.surroundings import cells_within
from packpale.land.usable import too_steep
from packpale.land.water import edge_of_water, standing_water
from packpale.settings import DRAINAGE_CLASSES, Project
from packpale.site import Mask, Site
from packpale.values import default
from packpale.values.notes import Note
from packpale.values.quantity import Quantity, given

WET_CLASS = DRAINAGE_CLASSES.index("poorly")
"""Ground of this drainage class and beyond is wet."""
WET_TABLE_M = 0.25
"""So is ground whose water table comes as near to the surface in some part of the year. [m] "Very shallow" in the Soil
Survey Manual, chapter 3 (from memory)."""
MUCH_WATER, MUCH_WET = 0.25, 0.5
"""Shares of hollows that can stand in water, and of wet ground, from which it is said. Assumption."""
CHORD_ERROR_M = 0.01
"""Largest distance between the fence line and the chords it is looked at with. [m]"""


@dataclass(frozen=True)
class Inside:
    """The ground inside one pack's fence.

    Shares of its area, 0 to 1, counted by cells whose centre lies inside; one cell may count for several. None where
    that is not known, since an input was not given or ground level is missing inside: that is not none of it.
    """

    pack: int
    area: float
    """[m2]"""
    wood: float | None
    """Mapped woodland."""
    mapped_water: float | None
    """Water that is mapped as an area."""
    hollows: float | None
    """Hollows that can stand deeper in water than the limit set."""
    water_edge: float | None
    """Dry ground within land.water.EDGE_M of any of this water and of mapped streams."""
    steep: float | None
    """Past the limit of slope, under a machine's footprint."""
    rocky: float | None
    """Rock nearer to the surface than the limit set."""
    wet: float | None
    """Poorly or very poorly drained, or with a water table within WET_TABLE_M of the surface."""
    streams: float | None
    """Length of watercourses that are mapped as lines. [m]"""
    lowest: float | None
    """Level of the lowest ground. [m]"""
    highest: float | None

    @property
    def relief(self) -> float | None:
        """Height of the highest ground over the lowest. [m]"""
        return None if self.lowest is None or self.highest is None else self.highest - self.lowest


def kinds_of_ground(site: Site, land: Land, project: Project) -> dict[str, Callable[[], Mask | None]]:
    """Cells of each kind of ground that ``Inside`` counts, by its names; None where nothing tells of that kind.

    Made when they are asked for: not everybody wants all.
    """
    grid, features, soil, limits = site.grid, site.features, site.soil, project.land

    def edge() -> Mask:
        water = standing_water(features, grid, land.ponding, deeper_than=limits.max_ponding_m)
        return edge_of_water(water, features, grid)

    def rocky() -> Mask | None:
        given = _is_given(project, "depth_to_rock_m")
        return soil.depth_to_rock < limits.min_depth_to_rock_m if given else None

    def wet() -> Mask | None:
        given = _is_given(project, "drainage_class") or _is_given(project, "water_table_m")
        return (soil.drainage_class >= WET_CLASS) | (soil.water_table <= WET_TABLE_M) if given else None

    def mapped(kind: str) -> Mask | None:
        return cells_within(features[kind], grid) if kind in features else None

    return {
        "wood": lambda: mapped("woodland"),
        "mapped_water": lambda: mapped("watercourses"),
        "hollows": lambda: land.ponding > limits.max_ponding_m,
        "water_edge": edge,
        "steep": lambda: too_steep(site, limits, land.slope),
        "rocky": rocky,
        "wet": wet,
    }


def ground_inside(site: Site, land: Land, packs: Sequence[Pack], project: Project) -> tuple[Inside, ...]:
    """What each pack's fence encloses, by pack."""
    grid = site.grid
    within = [cells_within([pack.line.polygon(CHORD_ERROR_M)], grid) for pack in packs]
    shares: dict[str, list[float | None]] = {}
    for kind, made in kinds_of_ground(site, land, project).items():
        cells = made()
        shares[kind] = [float(cells[i].mean()) if cells is not None and i.any() else None for i in within]
        del cells
    found = []
    for k, (pack, inside) in enumerate(zip(packs, within, strict=True)):
        level = site.elevation[inside]
        ground_is_known = bool(inside.any()) and bool(np.isfinite(land.slope[inside]).all())

        def share(kind: str, known: bool = True, k: int = k) -> float | None:
            return shares[kind][k] if known else None

        found.append(
            Inside(
                pack=pack.number,
                area=pack.line.area,
                wood=share("wood"),
                mapped_water=share("mapped_water"),
                hollows=share("hollows", ground_is_known),
                water_edge=share("water_edge", ground_is_known),
                steep=share("steep", ground_is_known),
                rocky=share("rocky"),
                wet=share("wet"),
                streams=_streams(site, pack) if "watercourses" in site.features else None,
                lowest=float(level.min()) if ground_is_known else None,
                highest=float(level.max()) if ground_is_known else None,
            )
        )
    return tuple(found)


def inside_notes(found: Sequence[Inside], project: Project) -> list[Note]:
    """Where so much of the ground is water or wet that little is left to live on."""
    notes = []
    for one in found:
        if one.hollows is not None and one.hollows >= MUCH_WATER:
            notes.append(
                Note(
                    "much water inside",
                    "{share} of the ground inside can stand more than {depth} deep in water",
                    "What is left is what the animals have to live on in a wet season. Look at it after weeks of rain "
                    "before you count it as theirs.",
                    {
                        "share": Quantity(one.hollows, "share"),
                        "depth": given(project.land.max_ponding_m, "dimension"),
                    },
                    (one.pack,),
                    size=one.hollows,
                )
            )
        if one.wet is not None and one.wet >= MUCH_WET:
            notes.append(
                Note(
                    "much wet ground inside",
                    "{share} of the ground inside is wet (poorly drained, or water within {depth} of the surface)",
                    "Animals need dry ground to lie and to dig dens on. Have it looked at in the wettest month.",
                    {"share": Quantity(one.wet, "share"), "depth": given(WET_TABLE_M, "dimension")},
                    (one.pack,),
                    size=one.wet,
                )
            )
    return notes


def _streams(site: Site, pack: Pack) -> float:
    """Length of mapped watercourses inside a fence, banks of mapped areas of water left out. [m]"""
    parts = shapely.get_parts(shapely.get_parts(list(site.features["watercourses"])))
    lines = parts[shapely.get_dimensions(parts) == 1]
    return float(shapely.length(shapely.intersection(lines, pack.line.polygon(CHORD_ERROR_M))).sum())


def _is_given(project: Project, key: str) -> bool:
    """Whether anything but the defaults of the program speaks of this property of the soil."""
    inputs = project.inputs
    return inputs.soil is not None or inputs.pits is not None or getattr(project.soil, key) != default(f"soil.{key}")
