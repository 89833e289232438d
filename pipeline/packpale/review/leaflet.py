"""Web maps in one file: folium's layers, Leaflet from its package, and our own panel; nothing comes from a network."""

import base64
import html
import json
import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from importlib import import_module
from importlib.resources import files
from pathlib import Path
from typing import Any

from packpale.review.map_page import ROOMS, MapPage, PictureLayer, VectorLayer
from packpale.review.templating import render

SCRIPTS = ("map", "plan", "probe", "compare", "measure", "sheet", "panel")
"""Our own scripts in review/static, in the order in which they enter a page."""

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
SHIELD = "\ufdd0"
"""Stands for an opening brace in texts; no sign of any writing, and none that a text may hold."""
PANEL = """
{% macro html(this, kwargs) %}{{ this.body }}{% endmacro %}
{% macro script(this, kwargs) %}
packpale.start({{ this._parent.get_name() }}, {{ this.data|tojson }});
{% endmacro %}
"""


def write_map(page: MapPage, path: Path) -> None:
    """Write the map as one HTML file that opens without a network."""
    path.write_bytes(_figure(page).encode("utf-8"))


def page_bytes(page: MapPage) -> int:
    """Size of the page. [bytes]"""
    return len(_figure(page).encode("utf-8"))


def _figure(page: MapPage) -> str:
    import folium
    from branca.element import Element, MacroElement
    from folium.template import Template

    chart = folium.Map(
        location=page.view[0],
        tiles=None,
        attribution_control=False,
        zoom_snap=0.25,
        max_zoom=24,
        zoom_control=False,
        bounce_at_zoom_limits=False,
    )
    chart._template = Template(MAP)
    chart.default_js = []
    chart.default_css = []
    figure: Any = chart.get_root()
    figure._template = Template(PAGE)
    figure.title = html.escape(page.title)
    for name, text in _libraries():
        library: Any = Element()
        library._template = _AsItIs(text)
        figure.header.add_child(library, name=name)

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
                alt=_shielded(layer.title),
            ).add_to(chart),
        )
        for layer in page.pictures
    ]
    vectors = [(layer, _vectors(layer).add_to(chart)) for layer in page.vectors]
    # Names that follow the order of the layers, where folium draws them at random: the same map gives the same file.
    _number(figure)
    panel: Any = MacroElement()  # type: ignore[no-untyped-call]  # branca leaves it untyped
    panel._template = Template(PANEL)
    body = _panel(page, [(x, e.get_name()) for x, e in pictures], [(x, e.get_name()) for x, e in vectors])
    panel.body = _shielded(body)
    panel.data = _shielded(_data(page) | {"drawn": [element.get_name() for _, element in vectors]})
    panel._id = "panel"
    chart.add_child(panel)
    with _written_once():
        written = str(figure.render())
    # In scripts the sign stands escaped within strings, in HTML as itself.
    return written.replace(r"\ufdd0", r"\u007b").replace(SHIELD, "&#123;")


class _AsItIs:
    """A template that is its own text: a library is not searched for places to fill."""

    def __init__(self, text: str) -> None:
        self.text = text

    def render(self, **_: Any) -> str:
        return self.text


@contextmanager
def _written_once() -> Iterator[None]:
    """While branca does not take what its elements have written for templates: compiling those is most of its time."""
    element: Any = import_module("branca.element")
    template = element.Template
    # As a template does, without the last end of a line.
    element.Template = lambda text: _AsItIs(text.removesuffix("\n"))
    try:
        yield
    finally:
        element.Template = template


def _shielded(value: Any) -> Any:
    """The same texts with a sign that no file holds for each opening brace.

    branca takes what its elements have written for a template once more: a name with two braces would be worked out
    there, as code.
    """
    if isinstance(value, str):
        return value.replace("{", SHIELD)
    if isinstance(value, dict):
        return {_shielded(k): _shielded(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_shielded(v) for v in value]
    return value


def _vectors(layer: VectorLayer) -> Any:
    import folium
    from folium.utilities import JsCode

    features = [
        {
            "type": "Feature",
            "geometry": dict(shape.geometry),
            "properties": _shielded(
                {
                    "title": shape.title,
                    "rows": list(shape.rows),
                    "link": shape.link,
                    "label": shape.label,
                    # folium lays this over the style of the layer.
                    "style": shape.style.options() if shape.style else {},
                }
            ),
        }
        for shape in layer.shapes
    ]
    style = json.dumps(layer.style.options())
    options: dict[str, Any] = {"style": JsCode(f"function (f) {{ return packpale.style(f, {style}); }}")}
    if layer.style.radius:
        options["point_to_layer"] = JsCode(f"function (f, at) {{ return L.circleMarker(at, {style}); }}")
    return folium.GeoJson(
        {"type": "FeatureCollection", "features": features},
        on_each_feature=JsCode("packpale.shape"),
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
    for name in SCRIPTS:
        yield f"own_js_{name}", f"<script>{(own / f'{name}.js').read_text(encoding='utf-8')}</script>"


def _data(page: MapPage) -> dict[str, Any]:
    """What the page's scripts work with."""
    place, probe, background = page.placing, page.probe, page.background
    return {
        "view": page.view,
        "imperial": page.imperial,
        "plan": place
        and {
            "crs": place.crs,
            "box": place.box,
            "degree": place.degree,
            "x0": place.x0,
            "y0": place.y0,
            "cx": place.cx,
            "cy": place.cy,
        },
        "probe": probe
        and {
            "west": probe.grid.west,
            "north": probe.grid.north,
            "cell": probe.grid.cell,
            "rows": probe.grid.rows,
            "cols": probe.grid.cols,
            "whole": probe.whole_window,
            "readings": [
                {
                    "key": r.key,
                    "title": r.title,
                    "unit": r.unit,
                    "digits": r.digits,
                    "least": r.least,
                    "words": r.words,
                    "several": r.several,
                    "none": r.none,
                    "lead": r.lead,
                    "cut": r.cut_at_top,
                    "wide": r.wide,
                    "packed": r.packed,
                }
                for r in probe.readings
            ],
        },
        "background": background and {"address": background.address, "credit": background.credit},
    }


def _panel(
    page: MapPage, pictures: Sequence[tuple[PictureLayer, str]], vectors: Sequence[tuple[VectorLayer, str]]
) -> str:
    rooms = [
        (room, [p for p in pictures if p[0].group == room], [v for v in vectors if v[0].group == room])
        for room in ROOMS
    ]
    return render(
        "maps/panel.html",
        page=page,
        rooms=[room for room in rooms if room[1] or room[2]],
        pictures=pictures,
    )


def _number(element: Any) -> None:
    counter = iter(range(1_000_000))

    def visit(node: Any) -> None:
        node._id = f"{next(counter):04d}"
        for child in node._children.values():
            visit(child)

    visit(element)


def _data_uri(png: bytes) -> str:
    return "data:image/png;base64," + base64.b64encode(png).decode("ascii")
