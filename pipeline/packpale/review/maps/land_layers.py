"""The plot itself on its map: boundary, usable land, pits and what is given of the surroundings."""

from collections.abc import Iterator

import shapely
from shapely.geometry import MultiPolygon
from shapely.geometry.base import BaseGeometry

from packpale.land.surroundings import cells_within
from packpale.land.usable import cell_outlines
from packpale.review.map_styles import OUTLINE, SURROUNDINGS, USABLE, Style
from packpale.review.maps.map_page import Shape, VectorLayer
from packpale.review.maps.source import MapSource
from packpale.review.subjects.land import PITS
from packpale.site import Grid
from packpale.site.spread import every

MOST_CORNERS = 30_000
"""Corners of the outline of usable land that a page carries: about 0.7 MB."""
EASY = 5
"""Up to so many times as many corners may an outline have before it is smoothed: that takes long with more."""

PIT = Style("#3b2412", "#e8d3b0", 1.0, width=2, radius=4.5)


def land_layers(source: MapSource) -> Iterator[VectorLayer]:
    """Layers of the ground, the lowest first."""
    site, land, show, degrees = source.result.site, source.result.land, source.show, source.degrees
    usable, side = drawn_outline(land.usable, site.grid)
    if not usable.is_empty:
        share = show.percent(land.usable.area / site.outline.area)
        rows = [("Usable area", show.area(land.usable.area)), ("Part of the plot", share)]
        coarse = f"Drawn in squares of {show.dimension(side)}; the GeoPackage holds it as it is." if side else ""
        shape = Shape(degrees(usable), "Usable land", rows)
        yield VectorLayer("Score", "Usable land", [shape], USABLE, explanation=coarse)
    outline = Shape(degrees(site.outline), f"Plot {site.plot_id}", [("Area of the plot", show.area(site.outline.area))])
    yield VectorLayer("Ground", "Boundary of the plot", [outline], OUTLINE)
    for kind, (room, title, style) in SURROUNDINGS.items():
        shapes = [Shape(degrees(g), title) for g in site.features.get(kind, ()) if not g.is_empty]
        yield VectorLayer(room, title, shapes, style)
    yield VectorLayer("Digging", "Trial pits", source.shapes(PITS, lambda _pit: "Trial pit"), PIT)


def drawn_outline(area: MultiPolygon, grid: Grid) -> tuple[BaseGeometry, float]:
    """An area of cells with few enough corners to draw, and the side of the squares it is drawn in. [m]

    Steps of the cells are smoothed over by half a cell. The side is 0 where that is all; else the area was taken up
    again on larger squares, as it is at the middle of each.
    """
    stride, found, squares = 1, area, grid
    while True:
        if shapely.get_num_coordinates(found) <= EASY * MOST_CORNERS:
            # The quick way may let an outline touch itself, which a drawing can bear, and drop what is thin.
            smooth = found.simplify(squares.cell / 2, preserve_topology=False)
            if shapely.get_num_coordinates(smooth) <= MOST_CORNERS:
                return (found if smooth.is_empty else smooth), (squares.cell if stride > 1 else 0.0)
        stride += 1
        squares = every(grid, stride).grid
        found = cell_outlines(cells_within([area], squares), squares)
