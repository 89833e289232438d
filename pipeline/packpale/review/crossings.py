"""Where water crosses the fence: on the map, in the GeoPackage and on the first page."""

from collections.abc import Iterable, Iterator
from typing import Any

from shapely.geometry import Point

from packpale.care.crossings import Crossing
from packpale.care.streams import StreamCrossing
from packpale.review.maps.map_page import Shape, Style, VectorLayer
from packpale.review.model import PlotResult
from packpale.review.projecting import Degrees
from packpale.review.subjects.crossings import CROSSINGS, crossings
from packpale.review.words import Wording
from packpale.values.cautions import advised

SHOWN = 12
"""Crossings that the first page lists, those that drain most; the GeoPackage holds all."""
EXPLAINED = f"Weak points of fence and apron. {advised('crossings authority')}"
MARK = Style("#0b3c8c", "#7cc4ff", 1.0, width=2.5, radius=7)


def crossing_rows(result: PlotResult) -> Iterable[dict[str, Any]]:
    """Rows of the layer crossings, but the plot's name: flow paths, and mapped watercourses that have none."""
    for found in crossings(result):
        yield {**CROSSINGS.row(found), "geometry": Point(found.x, found.y)}


def crossing_layers(result: PlotResult, wording: Wording, degrees: Degrees) -> Iterator[VectorLayer]:
    """Points on the fence line."""
    shapes = [
        Shape(degrees(Point(found.x, found.y)), found.title, CROSSINGS.popup(found, wording))
        for found in crossings(result)
    ]
    yield VectorLayer("Pack and people", "Where water crosses the fence", shapes, MARK, explanation=EXPLAINED)


def _found(result: PlotResult) -> tuple[Crossing, ...]:
    return result.care.crossings if result.care else ()


def _streams(result: PlotResult) -> tuple[StreamCrossing, ...]:
    return result.care.streams if result.care else ()


def _plain(c: Crossing) -> dict[str, Any]:
    opening = c.opening
    return {
        "pack": c.pack,
        "crossing": c.number,
        "chainage_m": c.chainage,
        "direction": "in" if c.inward else "out",
        "contributing_area_m2": c.area,
        "is_lower_bound": c.is_lower_bound,
        "flow_path_m": c.path_length,
        "flow_path_slope": c.path_slope,
        "concentration_min": c.concentration_min,
        "bed_slope": c.bed_slope,
        "intensity_mm_per_h": opening and opening.intensity_mm_per_h,
        "design_flow_m3_per_s": opening and opening.flow,
        "opening_width_m": opening and opening.width,
        "opening_height_m": opening and opening.height,
        "bars": opening and opening.bars,
    }
