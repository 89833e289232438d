"""Web maps in one file: folium's layers, Leaflet from its package, and our own panel; nothing comes from a network."""

import html
import json
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any

COORDINATE_DECIMALS = 7
"""About a centimetre of latitude."""

PAGE = """<!DOCTYPE html>
<html lang="en">
<head>
<title>{{ this.title }}</title>
{{ this.header.render(**kwargs) }}
</head>
<body>
{{ this.html.render(**kwargs) }}
</body>
<script>
{{ this.script.render(**kwargs) }}
</script>
</html>
"""
MAP = """
{% macro header(this, kwargs) %}
<meta name="viewport" content="width=device-width, initial-scale=1">
{% endmacro %}
{% macro html(this, kwargs) %}
<main id="{{ this.get_name() }}" class="map" aria-label="Map"></main>
{% endmacro %}
{% macro script(this, kwargs) %}
var {{ this.get_name() }} = L.map({{ this.get_name()|tojson }}, {{ this.options|tojavascript }});
{% endmacro %}
"""
PANEL = """
{% macro html(this, kwargs) %}{{ this.body }}{% endmacro %}
{% macro script(this, kwargs) %}
packpalePanel({{ this._parent.get_name() }}, {{ this.view|tojson }});
{% endmacro %}
"""


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
    style: "Style | None" = None
    """Where the shape is drawn otherwise than its layer."""


@dataclass(frozen=True)
class Style:
    """How a layer is drawn and shown in the legend."""

    colour: str
    fill: str = ""
    """Empty for no fill."""
    fill_opacity: float = 0.25
    width: float = 2.0
    dash: str = ""
    radius: float = 0.0
    """Of a point's disc; 0 for lines and areas. [px]"""
    backs_away: bool = False
    """Whether the fill is left out while the ground is coloured, so that its colours can be read."""
    halo: bool = False
    """Whether a light edge sets the line off from dark ground."""

    def options(self) -> dict[str, Any]:
        """The style as Leaflet's path options."""
        drawn: dict[str, Any] = {"color": self.colour, "weight": self.width, "fill": bool(self.fill)}
        if self.fill:
            drawn |= {"fillColor": self.fill, "fillOpacity": self.fill_opacity}
        if self.dash:
            drawn["dashArray"] = self.dash
        if self.radius:
            drawn["radius"] = self.radius
        if self.backs_away or self.halo:
            drawn["className"] = " ".join(["backs-away"] * self.backs_away + ["halo"] * self.halo)
        return drawn


@dataclass(frozen=True)
class VectorLayer:
    """Shapes that are switched on and off together."""

    group: str
    title: str
    shapes: Sequence[Shape]
    style: Style
    show: bool = True


@dataclass(frozen=True)
class PictureLayer:
    """A coloured picture over the ground; only one of them shows at a time."""

    group: str
    title: str
    explanation: str
    png: bytes
    bounds: list[list[float]]
    legend: Sequence[tuple[str, str]]


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
    imperial: bool = False
    introduction: Sequence[str] = field(default=())
    """Lines of text at the top of the panel."""


def write_map(page: MapPage, path: Path) -> None:
    """Write the map as one HTML file that opens without a network."""
    path.write_bytes(_figure(page).encode("utf-8"))


def to_degrees(crs: str) -> Callable[[Any], dict[str, Any]]:
    """Function that turns a shapely geometry of the run's CRS into GeoJSON in degrees."""
    import shapely
    from pyproj import Transformer

    transformer = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)

    def turn(geometry: Any) -> dict[str, Any]:
        degrees = shapely.transform(geometry, lambda xy: _columns(transformer.transform(xy[:, 0], xy[:, 1])))
        return {key: _rounded(value) for key, value in shapely.geometry.mapping(degrees).items()}

    return turn


def _columns(pair: tuple[Any, Any]) -> Any:
    import numpy as np

    return np.column_stack(pair)


def _rounded(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {k: _rounded(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(v) for v in value]
    return round(value, COORDINATE_DECIMALS) if isinstance(value, float) else value


def _figure(page: MapPage) -> str:
    import folium
    from branca.element import Element, MacroElement
    from folium.template import Template

    chart = folium.Map(
        location=page.view[0], tiles=None, attribution_control=False, zoom_snap=0.25, max_zoom=24, zoom_control=False
    )
    chart._template = Template(MAP)
    chart.default_js = []
    chart.default_css = []
    figure: Any = chart.get_root()
    figure._template = Template(PAGE)
    figure.title = html.escape(page.title)
    for name, text in _libraries():
        figure.header.add_child(Element(text), name=name)

    for png, bounds in page.grounds:
        folium.raster_layers.ImageOverlay(
            _data_uri(png), bounds, pixelated=False, z_index=1, class_name="ground", alt="Hillshade"
        ).add_to(chart)
    pictures = [
        (
            layer,
            folium.raster_layers.ImageOverlay(
                _data_uri(layer.png),
                layer.bounds,
                pixelated=False,
                z_index=2,
                class_name="picture",
                show=False,
                alt=layer.title,
            ).add_to(chart),
        )
        for layer in page.pictures
    ]
    vectors = [(layer, _vectors(layer).add_to(chart)) for layer in page.vectors]
    # Names that follow the order of the layers, where folium draws them at random: the same map gives the same file.
    _number(figure)
    panel: Any = MacroElement()  # type: ignore[no-untyped-call]  # branca leaves it untyped
    panel._template = Template(PANEL)
    panel.body = _panel(page, [(x, e.get_name()) for x, e in pictures], [(x, e.get_name()) for x, e in vectors])
    panel.view = page.view
    panel._id = "panel"
    chart.add_child(panel)
    return str(figure.render())


def _vectors(layer: VectorLayer) -> Any:
    import folium
    from folium.utilities import JsCode

    features = [
        {
            "type": "Feature",
            "geometry": dict(shape.geometry),
            "properties": {
                "title": shape.title,
                "rows": list(shape.rows),
                "link": shape.link,
                "label": shape.label,
                # folium lays this over the style of the layer.
                "style": shape.style.options() if shape.style else {},
            },
        }
        for shape in layer.shapes
    ]
    style = json.dumps(layer.style.options())
    options: dict[str, Any] = {"style": JsCode(f"function (f) {{ return packpaleStyle(f, {style}); }}")}
    if layer.style.radius:
        options["point_to_layer"] = JsCode(f"function (f, at) {{ return L.circleMarker(at, {style}); }}")
    return folium.GeoJson(
        {"type": "FeatureCollection", "features": features},
        on_each_feature=JsCode("packpaleShape"),
        show=layer.show,
        smooth_factor=0.2,
        **options,
    )


def _libraries() -> Iterable[tuple[str, str]]:
    from xstatic.pkg import leaflet

    folder = Path(leaflet.BASE_DIR)
    # Its pictures belong to controls and markers that our maps do not use; a page must not ask for them.
    css = re.sub(r"url\([^)]*\)", "none", (folder / "leaflet.css").read_text(encoding="utf-8"))
    script = re.sub(r"//# sourceMappingURL=.*", "", (folder / "leaflet.js").read_text(encoding="utf-8"))
    own = files("packpale.review") / "static"
    yield "leaflet_css", f"<style>{css}</style>"
    yield "own_css", f"<style>{(own / 'map.css').read_text(encoding='utf-8')}</style>"
    yield "leaflet_js", f"<script>{script}</script>"
    yield "own_js", f"<script>{(own / 'map.js').read_text(encoding='utf-8')}</script>"


def _panel(
    page: MapPage, pictures: Sequence[tuple[PictureLayer, str]], vectors: Sequence[tuple[VectorLayer, str]]
) -> str:
    from packpale.review.templating import render

    return render(
        "panel.html",
        page=page,
        pictures=_grouped(pictures),
        vectors=_grouped(vectors),
    )


def _grouped(layers: Sequence[tuple[Any, str]]) -> dict[str, list[tuple[Any, str]]]:
    groups: dict[str, list[tuple[Any, str]]] = {}
    for layer, name in layers:
        groups.setdefault(layer.group, []).append((layer, name))
    return groups


def _number(element: Any) -> None:
    counter = iter(range(1_000_000))

    def visit(node: Any) -> None:
        node._id = f"{next(counter):04d}"
        for child in node._children.values():
            visit(child)

    visit(element)


def _data_uri(png: bytes) -> str:
    import base64

    return "data:image/png;base64," + base64.b64encode(png).decode("ascii")
