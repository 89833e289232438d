"""Places for dens, as layers, map and page show them."""

from collections.abc import Iterable
from typing import Any

from shapely.geometry import Point

from packpale.care.model import Care
from packpale.review.maps.map_page import Shape, Style, VectorLayer
from packpale.review.model import PlotResult
from packpale.review.projecting import Degrees
from packpale.review.subjects.dens import DENS
from packpale.review.words import Wording

DEN = Style("#4a2a12", "#e0a458", 1.0, width=2, radius=7)


def den_rows(care: Care | None) -> Iterable[dict[str, Any]]:
    """Rows of the layer dens, but the plot's name."""
    for den in care.dens if care else ():
        yield {**DENS.row(den), "geometry": Point(den.x, den.y)}


def den_layer(result: PlotResult, wording: Wording, degrees: Degrees) -> VectorLayer:
    """The sites on the map."""
    shapes = [
        Shape(
            degrees(Point(den.x, den.y)),
            f"Den site {den.rank} of pack {den.pack}",
            DENS.popup(den, wording),
            label=f"den {den.rank}",
        )
        for den in (result.care.dens if result.care else ())
    ]
    told = "Dry, diggable, sheltered and away from people; the pack chooses for itself."
    return VectorLayer("Pack and people", "Places for dens", shapes, DEN, True, told)
