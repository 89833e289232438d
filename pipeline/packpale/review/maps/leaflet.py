"""Web maps in one file: folium's map, Leaflet from its package, and our own panel; nothing comes from a network.

folium writes a page with one script in it. That script alone is taken, and set with all that it needs into a page of
our own: texts of the run never pass through folium, which would take braces in them for places to fill.
"""

import base64
import functools
import json
import re
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any

from packpale.review.maps.map_page import ROOMS, MapPage, PictureLayer, VectorLayer
from packpale.review.maps.probe import Probe
from packpale.review.templating import render

SCRIPTS = (
    "map",
    "plan",
    "cells",
    "probe",
    "compare",
    "measure",
    "egg",
    "over_limits",
    "other_ground",
    "another_line",
    "places",
    "sheet",
    "panel",
)
"""Our own scripts in review/maps/static, in the order in which they enter a page."""
MANY_SHAPES = 500
"""With more shapes than that they are painted into one picture: an element of the page for each would make it slow."""
SENT = ("key", "title", "unit", "digits", "least", "words", "several", "none", "lead", "cut_at_top", "wide", "packed")
"""What the page has to know of each figure of cells."""
Pictures = Sequence[tuple[str, PictureLayer]]
Layers = Sequence[tuple[str, VectorLayer]]
"""Pictures, and layers of shapes, with their names in the page."""


def write_map(page: MapPage, path: Path) -> None:
    """Write the map as one HTML file that opens without a network."""
    path.write_bytes(_figure(page).encode("utf-8"))


def page_bytes(page: MapPage) -> int:
    """Size of the page. [bytes]"""
    return len(_figure(page).encode("utf-8"))


def _figure(page: MapPage) -> str:
    pictures = [(f"picture-{k}", picture) for k, picture in enumerate(page.pictures)]
    layers = [(f"layer-{k}", layer) for k, layer in enumerate(page.vectors)]
    named: list[tuple[str, PictureLayer | VectorLayer]] = [*pictures, *layers]
    rooms = [(room, [one for one in named if one[1].group == room]) for room in ROOMS]
    styles, scripts = _libraries()
    return render(
        "maps/page.html",
        page=page,
        styles=styles,
        scripts=scripts,
        pictures=pictures,
        rooms=[room for room in rooms if room[1]],
        script=_script(painted=sum(len(layer.shapes) for layer in page.vectors) > MANY_SHAPES),
        data=_in_script(json.dumps(_data(page, pictures, layers))),
        shapes=[_in_script(layer.geojson) for layer in page.vectors],
    )


@functools.cache
def _script(*, painted: bool) -> str:
    """What folium writes for a map and for the layer that makes all its shapes: ``map`` and ``shapes`` in the script.

    The page's own scripts fill it, so that folium compiles its templates once and not for each layer of each map.
    """
    import folium
    from folium.utilities import JsCode

    chart = folium.Map(
        tiles=None,
        attribution_control=False,
        zoom_snap=0.25,
        max_zoom=24,
        zoom_control=False,
        bounce_at_zoom_limits=False,
        prefer_canvas=painted,
    )
    shapes = folium.GeoJson(
        {"type": "FeatureCollection", "features": []},
        on_each_feature=JsCode("packpale.shape"),
        show=False,
        smooth_factor=0.2,
        style=JsCode("packpale.style"),
        point_to_layer=JsCode("packpale.point"),
    ).add_to(chart)
    found: str = chart.get_root().render().rpartition("<script>")[2].partition("</script>")[0]
    # folium names things at random: the same map gives the same file.
    return found.replace(chart.get_name(), "map").replace(shapes.get_name(), "shapes")


def _in_script(text: str) -> str:
    """JSON as it may stand in a script, which no text in it can end."""
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


@functools.cache
def _libraries() -> tuple[list[str], list[str]]:
    """Styles and scripts of a page, in their order."""
    from xstatic.pkg import leaflet

    folder = Path(leaflet.BASE_DIR)
    # Its pictures belong to controls and markers that our maps do not use; a page must not ask for them.
    css = re.sub(r"url\([^)]*\)", "none", (folder / "leaflet.css").read_text(encoding="utf-8"))
    script = re.sub(r"//# sourceMappingURL=.*", "", (folder / "leaflet.js").read_text(encoding="utf-8"))
    own = files("packpale.review.maps") / "static"
    return [css, (own / "map.css").read_text(encoding="utf-8")], [
        script,
        *((own / f"{name}.js").read_text(encoding="utf-8") for name in SCRIPTS),
    ]


def _data(page: MapPage, pictures: Pictures, layers: Layers) -> dict[str, Any]:
    """What the page's scripts work with."""
    place, probe, background = page.placing, page.probe, page.background
    return {
        "view": page.view,
        "imperial": page.imperial,
        "plan": place and vars(place),
        "probe": probe and _cells(probe),
        "another": page.another_line and dict(page.another_line.data) | {"cells": _cells(page.another_line.probe)},
        "background": background and vars(background),
        "grounds": [{"png": _data_uri(png), "bounds": bounds, "title": "Hillshade"} for png, bounds in page.grounds],
        "pictures": [
            {"name": name, "png": _data_uri(p.png), "bounds": p.bounds, "title": p.title} for name, p in pictures
        ],
        "layers": [
            {"name": name, "style": layer.style.options(), "signed": layer.style.signed, "show": layer.show}
            for name, layer in layers
        ],
    }


def _cells(probe: Probe) -> dict[str, Any]:
    """Readings of cells as the page unpacks them."""
    readings = [{name: getattr(reading, name) for name in SENT} for reading in probe.readings]
    return vars(probe.grid) | {"whole": probe.whole_window, "readings": readings}


def _data_uri(png: bytes) -> str:
    return "data:image/png;base64," + base64.b64encode(png).decode("ascii")
