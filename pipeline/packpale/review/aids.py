"""Trees and boulders near the fences on the map, in the GeoPackage and on the first page."""

from collections.abc import Iterable
from typing import Any

import shapely

from packpale.care.aids import weakening
from packpale.review.maps.map_page import Shape, Style, VectorLayer
from packpale.review.model import PlotResult
from packpale.review.projecting import Degrees
from packpale.review.subjects.climbing import CLIMBING_AIDS
from packpale.review.words import Wording
from packpale.settings import Project

LOW = Style("#3d6b21", "#cfe3b8", 1.0, width=2, radius=5)
WEAK = Style("#5c0a2e", "#e3b23c", 1.0, width=2.5, radius=6)


def aid_rows(result: PlotResult) -> Iterable[dict[str, Any]]:
    """Rows of the layer climbing_aids, but the plot's name."""
    for aid in result.care.aids if result.care else ():
        yield {**CLIMBING_AIDS.row(aid), "geometry": shapely.Point(aid.x, aid.y)}


def aid_layer(result: PlotResult, project: Project, wording: Wording, degrees: Degrees) -> VectorLayer:
    """What stands near the fences, by whether it lowers them."""
    shapes = []
    for aid in result.care.aids if result.care else ():
        style = WEAK if weakening(aid, project) else LOW
        title = f"Thing {aid.number} near the fence of pack {aid.pack}"
        shapes.append(
            Shape(degrees(shapely.Point(aid.x, aid.y)), title, CLIMBING_AIDS.popup(aid, wording), style=style)
        )
    return VectorLayer(
        "Pack and people",
        "Trees and boulders near the fence",
        shapes,
        LOW,
        explanation=f"Within {wording.dimension(project.checks.tree_distance_m)} of it.",
        legend=((WEAK, "lowers the fence, or may"), (LOW, "low enough")),
    )
