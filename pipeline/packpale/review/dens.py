"""Places for dens, as layers, map and page show them."""

import math
from collections.abc import Iterable
from typing import Any

from shapely.geometry import Point

from packpale.care.dens import DenSite
from packpale.care.model import Care
from packpale.review.map_page import Shape, Style, VectorLayer
from packpale.review.model import PlotResult
from packpale.review.projecting import Degrees
from packpale.review.words import Wording

DEN = Style("#4a2a12", "#e0a458", 1.0, width=2, radius=7)
COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def den_rows(care: Care | None) -> Iterable[dict[str, Any]]:
    """Rows of the layer dens, but the plot's name."""
    for den in care.dens if care else ():
        yield {**_row(den), "geometry": Point(den.x, den.y)}


def _row(den: DenSite) -> dict[str, Any]:
    return {
        "pack": den.pack,
        "den": den.rank,
        "score": den.score,
        **{f"degree_{name}": degree for name, degree in den.degrees.items()},
        "slope_deg": math.degrees(math.atan(den.slope)),
        "faces_deg": den.downhill_deg if math.isfinite(den.downhill_deg) else None,
        "wetness": den.wetness,
        "position_m": den.position,
        "to_fence_m": den.distances["fence"],
        "to_viewpoints_m": den.distances.get("viewpoints"),
        "to_dwellings_m": den.distances.get("dwellings"),
        "to_other_pack_m": den.distances.get("other pack"),
        "build": den.passage.build,
        "passage_m": den.passage.length,
        "fall_m": den.passage.fall,
        "roof_m": den.passage.roof,
    }


def den_details(care: Care | None) -> list[dict[str, Any]]:
    """What the page tells of each."""
    return [{**_row(den), "faces": _faces(den)} for den in (care.dens if care else ())]


def _faces(den: DenSite) -> str:
    if not math.isfinite(den.downhill_deg):
        return "any way, the ground is level"
    return COMPASS[round(den.downhill_deg / 45) % 8]


def den_layer(result: PlotResult, wording: Wording, degrees: Degrees) -> VectorLayer:
    """The sites on the map."""
    shapes = [
        Shape(
            degrees(Point(den.x, den.y)),
            f"Den site {den.rank} of pack {den.pack}",
            [
                ("Score of 100", wording.score(100 * den.score)),
                ("Built", den.passage.build),
                ("Passage", wording.dimension(den.passage.length)),
                ("Fall of its floor to the entrance", wording.dimension(den.passage.fall)),
                ("Entrance faces", _faces(den)),
                ("Slope", wording.slope(math.degrees(math.atan(den.slope)))),
                *((f"Distance to {kind}", wording.length(away)) for kind, away in den.distances.items()),
            ],
            label=f"den {den.rank}",
        )
        for den in (result.care.dens if result.care else ())
    ]
    told = "Dry, diggable, sheltered and away from people; the pack chooses for itself."
    return VectorLayer("Pack and people", "Places for dens", shapes, DEN, True, told)
