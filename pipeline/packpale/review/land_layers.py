"""The plot itself on its map: boundary, usable land, pits and what is given of the surroundings."""

from collections.abc import Iterator

from shapely.geometry import Point

from packpale.result import PlotResult
from packpale.review.map_page import Room, Shape, Style, VectorLayer
from packpale.review.projecting import Degrees
from packpale.review.wording import Wording
from packpale.site import Pit

OUTLINE = Style("#1d2a2a", width=2, dash="8 5", halo=True)
USABLE = Style("#2f7d5c", "#4fae86", 0.3, width=1, backs_away=True)
PIT = Style("#3b2412", "#e8d3b0", 1.0, width=2, radius=4.5)
PIT_ROWS = {
    "depth_to_rock_m": "Depth to rock",
    "rock_hardness": "Rock",
    "water_table_m": "Depth to water",
    "clay_percent": "Clay",
    "stones_percent": "Stones",
    "drainage_class": "Drainage",
}
"""What the popup of a pit says, by the column that the pit fills in."""
SURROUNDINGS: dict[str, tuple[Room, str, Style]] = {
    "watercourses": ("Drainage", "Watercourses", Style("#1f5fa8", "#1f5fa8", 0.35, width=2.5)),
    "dwellings": ("Pack and people", "Dwellings", Style("#5b2a86", "#5b2a86", 0.7, width=1.5, radius=5)),
    "services": ("Digging", "Buried services", Style("#c2185b", "#c2185b", 0.3, width=2.5, dash="3 6", radius=4)),
    "woodland": ("Ground", "Woodland", Style("#3d6b21", "#7fae55", 0.3, width=1, backs_away=True)),
    "access": (
        "Pack and people",
        "Tracks and roads",
        Style("#7a5a2b", "#7a5a2b", 0.2, width=3.5, dash="10 4", radius=4),
    ),
    "viewpoints": ("Pack and people", "Viewpoints", Style("#0b5c6b", "#49c2d6", 0.9, width=1.5, radius=5)),
    "keep_out": ("Score", "Areas kept out", Style("#3a3a3a", "#3a3a3a", 0.35, width=1.5)),
}
"""Room, title and style of every optional input."""


def land_layers(result: PlotResult, wording: Wording, degrees: Degrees) -> Iterator[VectorLayer]:
    """Layers of the ground, the lowest first."""
    site, land = result.site, result.land
    # Steps of a raster's cells need not be drawn corner by corner.
    usable = land.usable.simplify(site.grid.cell / 2)
    if not usable.is_empty:
        share = wording.percent(land.usable.area / site.outline.area)
        rows = [("Usable area", wording.area(land.usable.area)), ("Part of the plot", share)]
        yield VectorLayer("Score", "Usable land", [Shape(degrees(usable), "Usable land", rows)], USABLE)
    outline = Shape(
        degrees(site.outline), f"Plot {site.plot_id}", [("Area of the plot", wording.area(site.outline.area))]
    )
    yield VectorLayer("Ground", "Boundary of the plot", [outline], OUTLINE)
    for kind, (room, title, style) in SURROUNDINGS.items():
        shapes = [Shape(degrees(g), title) for g in site.features.get(kind, ()) if not g.is_empty]
        yield VectorLayer(room, title, shapes, style)
    yield VectorLayer("Digging", "Trial pits", [_pit(pit, wording, degrees) for pit in site.pits], PIT)


def _pit(pit: Pit, wording: Wording, degrees: Degrees) -> Shape:
    rows = []
    for column, name in PIT_ROWS.items():
        value = pit.values.get(column)
        if value is None:
            text = "not given"
        elif isinstance(value, str):
            text = value
        else:
            text = f"{value:g} %" if column.endswith("_percent") else wording.dimension(value)
        rows.append((name, text))
    return Shape(degrees(Point(pit.x, pit.y)), "Trial pit", rows)
