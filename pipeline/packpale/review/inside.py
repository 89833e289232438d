"""What ground a fence encloses: in the GeoPackage, and a line each on the plot's page."""

from collections.abc import Iterable, Mapping
from typing import Any

from packpale.care.inside import WET_TABLE_M
from packpale.land.water import EDGE_M
from packpale.review.model import PlotResult
from packpale.review.words import Wording
from packpale.settings import Project
from packpale.values.quantity import given

SHARES: Mapping[str, str] = {
    "wood": "wood_m2",
    "mapped_water": "mapped_water_m2",
    "hollows": "hollows_m2",
    "water_edge": "water_edge_m2",
    "steep": "steep_m2",
    "rocky": "rocky_m2",
    "wet": "wet_m2",
}
"""Column of each kind of ground in the layer, by the name of its share."""
NO_WOODLAND, NO_WATER = "no woodland is given", "no watercourses are given"
NO_SOIL, NO_GROUND = "nothing is given of the soil", "ground level is missing inside"


def inside_rows(result: PlotResult) -> Iterable[dict[str, Any]]:
    """Rows of the layer inside, but the plot's name: one polygon for each pack."""
    packs = {pack.number: pack for pack in result.enclosure.packs}
    for found in result.care.insides if result.care else ():
        areas = {column: _area(getattr(found, name), found.area) for name, column in SHARES.items()}
        yield {
            "pack": found.pack,
            "area_m2": found.area,
            **areas,
            "streams_m": found.streams,
            "lowest_m": found.lowest,
            "highest_m": found.highest,
            "geometry": packs[found.pack].line.polygon(0.001),
        }


def inside_details(result: PlotResult, project: Project) -> list[dict[str, Any]]:
    """What the page tells of each pack: a line for each kind of ground, its share, and why that is not known."""
    land, show = project.land, Wording.of(project)
    depth, edge, rock, table = (
        show.say(given(v, "dimension")) for v in (land.max_ponding_m, EDGE_M, land.min_depth_to_rock_m, WET_TABLE_M)
    )
    return [
        {
            "pack": found.pack,
            "area_m2": found.area,
            "kinds": [
                {"name": name, "share": share, "unknown": unknown}
                for name, share, unknown in (
                    ("Woodland", found.wood, NO_WOODLAND),
                    ("Mapped water", found.mapped_water, NO_WATER),
                    (
                        f"Hollows that can stand more than {depth} deep in water",
                        found.hollows,
                        NO_GROUND,
                    ),
                    (f"Edge of water, {edge} wide", found.water_edge, NO_GROUND),
                    (f"Steeper than {land.max_slope_deg:g} degrees", found.steep, NO_GROUND),
                    (f"Rock nearer to the surface than {rock}", found.rocky, NO_SOIL),
                    (
                        f"Wet: poorly drained, or the water table within {table} of the surface",
                        found.wet,
                        NO_SOIL,
                    ),
                )
            ],
            "streams_m": found.streams,
            "relief_m": found.relief,
        }
        for found in (result.care.insides if result.care else ())
    ]


def _area(share: float | None, whole: float) -> float | None:
    return None if share is None else share * whole
