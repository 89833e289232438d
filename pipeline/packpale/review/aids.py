"""Trees and boulders near the fences on the map, in the GeoPackage and on the first page."""

from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely

from packpale.care.aids import ClimbingAid, weakening
from packpale.review.map_page import Shape, Style, VectorLayer
from packpale.review.model import PlotResult
from packpale.review.projecting import Degrees
from packpale.review.words import Wording
from packpale.settings import Project

LOW = Style("#3d6b21", "#cfe3b8", 1.0, width=2, radius=5)
WEAK = Style("#5c0a2e", "#e3b23c", 1.0, width=2.5, radius=6)


def aid_rows(result: PlotResult) -> Iterable[dict[str, Any]]:
    """Rows of the layer climbing_aids, but the plot's name."""
    for aid in result.care.aids if result.care else ():
        yield {**_values(aid), "geometry": shapely.Point(aid.x, aid.y)}


def _values(aid: ClimbingAid) -> dict[str, Any]:
    return {
        "pack": aid.pack,
        "number": aid.number,
        "side": aid.side,
        "chainage_m": aid.chainage,
        "distance_m": aid.distance,
        "height_m": aid.height,
        "left_m": aid.left,
    }


def _away(aid: ClimbingAid, wording: Wording) -> str:
    return aid.side if aid.side == "on the line" else f"{wording.dimension(aid.distance)} {aid.side}"


def _left(aid: ClimbingAid, wording: Wording) -> str:
    if np.isnan(aid.left):
        return "not known"
    return wording.dimension(aid.left) if aid.left > 0 else "none"


def aid_layer(result: PlotResult, project: Project, wording: Wording, degrees: Degrees) -> VectorLayer:
    """What stands near the fences, by whether it lowers them."""
    shapes = []
    for aid in result.care.aids if result.care else ():
        rows = [
            ("Distance to the fence", _away(aid, wording)),
            ("Chainage", wording.length(aid.chainage)),
            ("Height", "not given" if np.isnan(aid.height) else wording.dimension(aid.height)),
            ("Left of the fence's height", _left(aid, wording)),
        ]
        style = WEAK if weakening(aid, project) else LOW
        title = f"Thing {aid.number} near the fence of pack {aid.pack}"
        shapes.append(Shape(degrees(shapely.Point(aid.x, aid.y)), title, rows, style=style))
    return VectorLayer(
        "Pack and people",
        "Trees and boulders near the fence",
        shapes,
        LOW,
        explanation=f"Within {wording.dimension(project.checks.tree_distance_m)} of it.",
        legend=((WEAK, "lowers the fence, or may"), (LOW, "low enough")),
    )
