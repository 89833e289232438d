"""Where water crosses the fence: on the map, in the GeoPackage and on the first page."""

from collections.abc import Iterable, Iterator
from typing import Any

import shapely
from shapely.geometry import Point

from packpale.care.crossings import Crossing
from packpale.care.streams import StreamCrossing
from packpale.review.columns import NUMBER, TEXT, WHOLE, YES_NO
from packpale.review.map_page import Shape, Style, VectorLayer
from packpale.review.model import PlotResult
from packpale.review.projecting import Degrees
from packpale.review.words import Wording

SHOWN = 12
"""Crossings that the first page lists, those that drain most; the GeoPackage holds all."""
COLUMNS = {
    "pack": WHOLE,
    "crossing": WHOLE,
    "chainage_m": NUMBER,
    "direction": TEXT,
    "contributing_area_m2": NUMBER,
    "is_lower_bound": YES_NO,
    "flow_path_m": NUMBER,
    "flow_path_slope": NUMBER,
    "concentration_min": NUMBER,
    "bed_slope": NUMBER,
    "intensity_mm_per_h": NUMBER,
    "design_flow_m3_per_s": NUMBER,
    "opening_width_m": NUMBER,
    "opening_height_m": NUMBER,
    "bars": WHOLE,
    "mapped": YES_NO,
}
"""Columns of the layer but the plot's name. ``mapped``: a mapped watercourse crosses there; figures are empty where
only the map shows it."""
MARK = Style("#0b3c8c", "#7cc4ff", 1.0, width=2.5, radius=7)
ADVICE = (
    "Weak points of fence and apron. Common practice: an opening with hinged bars, and stone or concrete under it in "
    "place of the apron. Licensed people design it; the water authority has to consent."
)


def crossing_rows(result: PlotResult) -> Iterable[dict[str, Any]]:
    """Rows of the layer crossings, but the plot's name: flow paths, and mapped watercourses that have none."""
    mapped = {(s.pack, s.crossing) for s in _streams(result)}
    for c in _found(result):
        yield {**_plain(c), "mapped": (c.pack, c.number) in mapped, "geometry": shapely.Point(c.x, c.y)}
    for s in _streams(result):
        if s.crossing is None:
            known = {"pack": s.pack, "chainage_m": s.chainage, "is_lower_bound": True, "mapped": True}
            yield {**dict.fromkeys(COLUMNS), **known, "geometry": shapely.Point(s.x, s.y)}


def crossing_layers(result: PlotResult, wording: Wording, degrees: Degrees) -> Iterator[VectorLayer]:
    """Points on the fence line."""
    shapes = [_shape(c, wording, degrees) for c in _found(result)]
    shapes += [_mapped_shape(s, wording, degrees) for s in _streams(result) if s.crossing is None]
    yield VectorLayer("Pack and people", "Where water crosses the fence", shapes, MARK, explanation=ADVICE)


def _found(result: PlotResult) -> tuple[Crossing, ...]:
    return result.care.crossings if result.care else ()


def _streams(result: PlotResult) -> tuple[StreamCrossing, ...]:
    return result.care.streams if result.care else ()


def _mapped_shape(s: StreamCrossing, wording: Wording, degrees: Degrees) -> Shape:
    rows = [
        ("Chainage", wording.dimension(s.chainage)),
        ("Mapped water along the fence", wording.dimension(s.width) if s.width else "mapped as a line"),
        ("Ground that drains here", "not known: the ground model shows no flow path"),
    ]
    return Shape(degrees(Point(s.x, s.y)), f"Mapped water crosses the fence of pack {s.pack}", rows)


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


def _shape(c: Crossing, wording: Wording, degrees: Degrees) -> Shape:
    least = "at least " if c.is_lower_bound else ""
    rows = [
        ("Chainage", wording.dimension(c.chainage)),
        ("Water flows", "into the enclosure" if c.inward else "out of the enclosure"),
        ("Ground that drains here", least + wording.area(c.area)),
        ("Longest flow path", least + wording.length(c.path_length)),
        ("Time of concentration", f"{least}{c.concentration_min:.1f} min"),
    ]
    if c.opening:
        rows += [
            ("Rainfall intensity", f"{c.opening.intensity_mm_per_h:.0f} mm/h"),
            ("Design flow", least + wording.discharge(c.opening.flow)),
            (
                "Opening, width by height",
                f"{wording.dimension(c.opening.width)} by {wording.dimension(c.opening.height)}",
            ),
            ("Bars in it", f"{c.opening.bars}"),
        ]
    else:
        rows.append(("Design flow", "not worked out: no rainfall is given"))
    return Shape(degrees(Point(c.x, c.y)), f"Water crosses the fence of pack {c.pack}", rows)
