"""Drawings (DXF): closed lines as outlines of plots, and the texts written inside them."""

from pathlib import Path

import shapely
from pyproj import CRS
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from packpale.faults import Faults
from packpale.site.vectors import Feature, Layer, read_layer

ENTITIES = "entities"
"""GDAL's one layer of a drawing."""
COLUMNS = ("Text", "Layer", "EntityHandle")
"""What names an outline of a drawing: the text inside it, its layer, its handle."""


def is_drawing(path: Path) -> bool:
    return path.suffix.lower() == ".dxf"


def read_drawing(path: Path, wanted: str | None, crs: CRS | None, key: str = "inputs.plots_layer") -> Layer:
    """Closed lines, and areas, of one layer of a drawing as polygons, in ``crs``, since a drawing states none.

    ``Text`` is the text that stands inside an outline, empty where there is none or more than one. Without ``wanted``
    the one layer that holds closed lines is taken; ``key`` is where a user names it. Raises Faults.
    """
    drawn = read_layer(path, ENTITIES)
    rings = {f.number: ring for f in drawn.features if (ring := _ring(f.geometry)) is not None}
    layers = sorted({_layer(f) for f in drawn.features if f.number in rings})
    listed = ", ".join(map(repr, layers)) or "none"
    if wanted is None and len(layers) > 1:
        raise Faults(f"{path.name}: has closed lines on the layers {listed}; name one of them as {key}")
    if not layers or (wanted is not None and wanted not in layers):
        on = "" if wanted is None else f" on the layer {wanted!r}"
        raise Faults(
            f"{path.name}: has no closed line{on}; layers with closed lines are {listed}: draw each plot as a closed "
            "polyline"
        )
    chosen = wanted or layers[0]
    texts = [
        (f.geometry, str(f.properties["Text"]).strip())
        for f in drawn.features
        if f.geometry is not None and f.geometry.geom_type == "Point" and f.properties.get("Text")
    ]
    features = []
    for feature in drawn.features:
        ring = rings.get(feature.number)
        if ring is None or _layer(feature) != chosen:
            continue
        inside = list(dict.fromkeys(text for place, text in texts if ring.covers(shapely.force_2d(place))))
        named = {**feature.properties, "Text": inside[0] if len(inside) == 1 else None}
        features.append(Feature(feature.number, ring, named))
    return Layer(path.name, chosen, crs, COLUMNS, tuple(features))


def drawing_layers(path: Path) -> tuple[str, ...]:
    """Layers of a drawing that hold closed lines. Raises Faults if it cannot be read."""
    drawn = read_layer(path, ENTITIES)
    return tuple(sorted({_layer(f) for f in drawn.features if _ring(f.geometry) is not None}))


def needs_crs(path: Path) -> Faults:
    """The fault of a drawing without the run's CRS."""
    return Faults(
        f'{path.name}: is a drawing, which does not say where on Earth it lies; set crs, such as crs = "EPSG:25832"'
    )


def _layer(feature: Feature) -> str:
    return str(feature.properties.get("Layer") or "0")


def _ring(geometry: BaseGeometry | None) -> BaseGeometry | None:
    """The area that a closed line, or a filled area, encloses; None for anything else."""
    if geometry is None or geometry.is_empty:
        return None
    if geometry.geom_type in ("Polygon", "MultiPolygon"):
        return geometry
    points = shapely.get_coordinates(geometry)
    if geometry.geom_type != "LineString" or len(points) < 4 or not (points[0] == points[-1]).all():
        return None
    return Polygon(points)
