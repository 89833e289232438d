"""Web maps in one file: folium's layers, Leaflet from its package, and our own panel; nothing comes from a network.

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

from packpale.review.maps.map_page import ROOMS, MapPage, PictureLayer, Style, VectorLayer
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
ADDRESS = "data:"
"""Before the token that stands for a picture."""
SENT = ("key", "title", "unit", "digits", "least", "words", "several", "none", "lead", "cut_at_top", "wide", "packed")
"""What the page has to know of each figure of cells."""
_NAMED = re.compile(r"\b(map|image_overlay|geo_json)_[0-9a-f]{32}(?![0-9a-f])")
"""What folium calls a thing: by its kind, and at random."""
Corner = tuple[float, float]
"""Latitude and longitude. [deg]"""


def write_map(page: MapPage, path: Path) -> None:
    """Write the map as one HTML file that opens without a network."""
    path.write_bytes(_figure(page).encode("utf-8"))


def page_bytes(page: MapPage) -> int:
    """Size of the page. [bytes]"""
    return len(_figure(page).encode("utf-8"))


def _figure(page: MapPage) -> str:
    script, names = _script(page)
    main, pictures, vectors = names
    data = _data(page) | {
        "shapes": [[name, _features(layer)] for layer, name in zip(page.vectors, vectors, strict=True)],
        "listed": [name for layer, name in zip(page.vectors, vectors, strict=True) if layer.style.signed],
    }
    styles, scripts = _libraries()
    return render(
        "maps/page.html",
        page=page,
        main=main,
        styles=styles,
        scripts=scripts,
        panel=_panel(
            page, list(zip(page.pictures, pictures, strict=True)), list(zip(page.vectors, vectors, strict=True))
        ),
        script=script,
        data=_json(data),
    )


def _script(page: MapPage) -> tuple[str, tuple[str, list[str], list[str]]]:
    """What folium writes for the map and its layers, and the names of the map, of its pictures and of its shapes.

    Names follow the order of the layers: the same map gives the same file.
    """
    found, names = _chart(
        _corners(page.view)[0],
        tuple(_corners(bounds) for _, bounds in page.grounds),
        tuple(_corners(p.bounds) for p in page.pictures),
        tuple((layer.style, layer.show) for layer in page.vectors),
        sum(len(layer.shapes) for layer in page.vectors) > MANY_SHAPES,
    )
    texts = {f"ground-{k}": (_data_uri(png), "Hillshade") for k, (png, _) in enumerate(page.grounds)}
    texts |= {f"picture-{k}": (_data_uri(p.png), p.title) for k, p in enumerate(page.pictures)}
    for token, (picture, alt) in texts.items():
        found = found.replace(f'"{ADDRESS}{token}"', _json(picture)).replace(f'"{token}"', _json(alt))
    return found, names


@functools.lru_cache(maxsize=2)
def _chart(
    middle: Corner,
    grounds: tuple[tuple[Corner, ...], ...],
    pictures: tuple[tuple[Corner, ...], ...],
    vectors: tuple[tuple[Style, bool], ...],
    painted: bool,
) -> tuple[str, tuple[str, list[str], list[str]]]:
    """The same with a token in the place of each picture: of a map with others in the same places it is the same."""
    import folium

    chart = folium.Map(
        location=middle,
        tiles=None,
        attribution_control=False,
        zoom_snap=0.25,
        max_zoom=24,
        zoom_control=False,
        bounce_at_zoom_limits=False,
        prefer_canvas=painted,
    )
    for k, bounds in enumerate(grounds):
        _overlay(f"ground-{k}", bounds, 1, "ground").add_to(chart)
    overlays = [_overlay(f"picture-{k}", bounds, 2, "picture").add_to(chart) for k, bounds in enumerate(pictures)]
    layers = [_vectors(style, show=show).add_to(chart) for style, show in vectors]
    found = chart.get_root().render().rpartition("<script>")[2].partition("</script>")[0]
    order = dict.fromkeys(match.group() for match in _NAMED.finditer(found))
    new = {name: f"{_NAMED.sub(lambda m: m.group(1), name)}_{k:04d}" for k, name in enumerate(order)}
    return _NAMED.sub(lambda match: new[match.group()], found), (
        new[chart.get_name()],
        [new[p.get_name()] for p in overlays],
        [new[v.get_name()] for v in layers],
    )


def _corners(bounds: Sequence[Sequence[float]]) -> tuple[Corner, ...]:
    return tuple((lat, lon) for lat, lon in bounds)


def _overlay(token: str, bounds: tuple[Corner, ...], level: int, kind: str) -> Any:
    """A picture that stands for itself by a token until the script is written."""
    import folium

    return folium.raster_layers.ImageOverlay(
        f"{ADDRESS}{token}",
        bounds,
        pixelated=False,
        z_index=level,
        class_name=kind,
        show=kind == "ground",
        alt=token,
    )


def _vectors(look: Style, *, show: bool) -> Any:
    """A layer that is filled when the page is opened."""
    import folium
    from folium.utilities import JsCode

    style = json.dumps(look.options())
    options: dict[str, Any] = {"style": JsCode(f"function (f) {{ return packpale.style(f, {style}); }}")}
    if look.signed:
        options["point_to_layer"] = JsCode("packpale.sign")
    elif look.radius:
        options["point_to_layer"] = JsCode(f"function (f, at) {{ return L.circleMarker(at, {style}); }}")
    return folium.GeoJson(
        {"type": "FeatureCollection", "features": []},
        on_each_feature=JsCode("packpale.shape"),
        show=show,
        smooth_factor=0.2,
        **options,
    )


def _features(layer: VectorLayer) -> dict[str, Any]:
    features = [
        {
            "type": "Feature",
            "geometry": dict(shape.geometry),
            "properties": {
                "title": shape.title,
                "rows": list(shape.rows),
                "link": shape.link,
                "label": shape.label,
                "sign": shape.sign,
                "style": shape.style.options() if shape.style else {},
            },
        }
        for shape in layer.shapes
    ]
    return {"type": "FeatureCollection", "features": features}


def _json(value: Any) -> str:
    """A value as it may stand in a script, which no text in it can end."""
    text = json.dumps(value)
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


def _data(page: MapPage) -> dict[str, Any]:
    """What the page's scripts work with."""
    place, probe, background = page.placing, page.probe, page.background
    return {
        "view": page.view,
        "imperial": page.imperial,
        "plan": place and vars(place),
        "probe": probe and _cells(probe),
        "another": page.another_line and dict(page.another_line.data) | {"cells": _cells(page.another_line.probe)},
        "background": background and vars(background),
    }


def _cells(probe: Probe) -> dict[str, Any]:
    """Readings of cells as the page unpacks them."""
    readings = [{name: getattr(reading, name) for name in SENT} for reading in probe.readings]
    return vars(probe.grid) | {"whole": probe.whole_window, "readings": readings}


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


def _data_uri(png: bytes) -> str:
    return "data:image/png;base64," + base64.b64encode(png).decode("ascii")
