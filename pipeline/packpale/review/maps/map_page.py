"""What a web map shows, whatever draws it: shapes, styles, layers, pictures, figures to look up."""

import functools
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from packpale.review.map_styles import Room, Style
from packpale.review.maps.another_line import AnotherLine
from packpale.review.maps.placing import Placing
from packpale.review.maps.probe import Probe

ROOMS: tuple[Room, ...] = ("Ground", "Drainage", "Digging", "Score", "Enclosure", "Earthworks", "Pack and people")
"""Headings of the panel, in the order in which a plot is worked out."""


@dataclass(frozen=True)
class Shape:
    """One thing drawn on a map: GeoJSON geometry in degrees, and what its popup says."""

    geometry: Mapping[str, Any]
    title: str = ""
    rows: Sequence[tuple[str, str]] = ()
    """Name and value of each line of the popup."""
    link: str = ""
    """Page the popup leads to, relative."""
    label: str = ""
    """Text that stands on the map beside the shape."""
    sign: str = ""
    """Letter and number in whose place a point stands, where its layer's style is ``signed``."""
    style: Style | None = None
    """Where the shape is drawn otherwise than its layer."""


@dataclass(frozen=True)
class VectorLayer:
    """Shapes that are switched on and off together."""

    group: Room
    title: str
    shapes: Sequence[Shape]
    style: Style
    show: bool = True
    explanation: str = ""
    """A sentence under the title, where the title does not say all."""
    legend: Sequence[tuple[Style, str]] = ()
    """Mark and words for each kind of shape in the layer, where they are drawn in different styles."""

    @functools.cached_property
    def geojson(self) -> str:
        """The shapes as text in GeoJSON, with what their popups tell: made once, for it is the most of a page."""
        features = [
            {
                "type": "Feature",
                "geometry": shape.geometry,
                "properties": {
                    **{name: getattr(shape, name) for name in ("title", "rows", "link", "label", "sign")},
                    "style": shape.style.options() if shape.style else {},
                },
            }
            for shape in self.shapes
        ]
        return json.dumps({"type": "FeatureCollection", "features": features})


@dataclass(frozen=True)
class PictureLayer:
    """A coloured picture over the ground; one of them shows at a time, or two side by side."""

    group: Room
    title: str
    explanation: str
    png: bytes
    bounds: list[list[float]]
    legend: Sequence[tuple[str, str]]


@dataclass(frozen=True)
class Background:
    """Pictures of the surroundings from a network, shown only while a reader asks for them."""

    address: str
    """Address of one tile, with {z}, {x} and {y} in it."""
    credit: str
    """Who has to be named beside it."""


@dataclass(frozen=True)
class MapPage:
    """Everything on one map."""

    title: str
    home: str
    """Relative address of the page this map belongs to."""
    view: list[list[float]]
    """[[south, west], [north, east]] shown at first. [deg]"""
    grounds: Sequence[tuple[bytes, list[list[float]]]] = ()
    """Hillshades, each with its bounds."""
    pictures: Sequence[PictureLayer] = ()
    vectors: Sequence[VectorLayer] = ()
    """In the order in which they are drawn, the lowest first; the panel sorts them by room."""
    imperial: bool = False
    introduction: Sequence[str] = field(default=())
    """Lines of text at the top of the panel."""
    placing: Placing | None = None
    """From degrees to the run's plan; without it nothing can be measured on the map."""
    probe: Probe | None = None
    """Figures that a click looks up."""
    another_line: AnotherLine | None = None
    """What it takes to try other fence lines."""
    background: Background | None = None
    data_date: str = ""
    """When the ground was measured, in the reader's words."""
    places: Sequence[tuple[str, str]] = ()
    """Name and relative address of every page that the map leads to."""


def view_of(boxes: Sequence[Sequence[Sequence[float]]]) -> list[list[float]]:
    """What holds all of some rings in degrees, [[south, west], [north, east]]; most of the earth where none is."""
    if not boxes:
        return [[-60.0, -170.0], [70.0, 170.0]]
    lon = [point[0] for box in boxes for point in box]
    lat = [point[1] for box in boxes for point in box]
    return [[min(lat), min(lon)], [max(lat), max(lon)]]
