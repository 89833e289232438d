"""Web maps in one file: Leaflet from its package and our own scripts and panel; nothing comes from a network."""

import base64
import functools
import json
import re
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any

from packpale.review.maps.map_page import ROOMS, MapPage, PictureLayer, Shape, VectorLayer
from packpale.review.maps.probe import Probe
from packpale.review.templating import render

SCRIPTS = (
    "map",
    "chart",
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


def write_map(page: MapPage, path: Path) -> None:
    """Write the map as one HTML file that opens without a network."""
    path.write_bytes(_figure(page).encode("utf-8"))


def page_bytes(page: MapPage) -> int:
    """Size of the page. [bytes]"""
    return len(_figure(page).encode("utf-8"))


def _figure(page: MapPage) -> str:
    pictures = [(layer, f"picture-{k}") for k, layer in enumerate(page.pictures)]
    vectors = [(layer, f"shapes-{k}") for k, layer in enumerate(page.vectors)]
    styles, scripts = _libraries()
    return render(
        "maps/page.html",
        page=page,
        styles=styles,
        scripts=scripts,
        panel=_panel(page, pictures, vectors),
        data=_json(_data(page, pictures, vectors)),
    )


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


def _data(
    page: MapPage, pictures: Sequence[tuple[PictureLayer, str]], vectors: Sequence[tuple[VectorLayer, str]]
) -> dict[str, Any]:
    """What the page's scripts work with."""
    place, probe, background = page.placing, page.probe, page.background
    return {
        "view": page.view,
        "canvas": sum(len(layer.shapes) for layer in page.vectors) > MANY_SHAPES,
        "grounds": [
            {"address": _data_uri(png), "bounds": bounds, "title": "Hillshade"} for png, bounds in page.grounds
        ],
        "pictures": [
            {"name": name, "address": _data_uri(layer.png), "bounds": layer.bounds, "title": layer.title}
            for layer, name in pictures
        ],
        "shapes": [
            {
                "name": name,
                "show": layer.show,
                "signed": layer.style.signed,
                "style": layer.style.options(),
                "features": [_feature(shape) for shape in layer.shapes],
            }
            for layer, name in vectors
        ],
        "listed": [name for layer, name in vectors if layer.style.signed],
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
        "probe": probe and _cells(probe),
        "another": page.another_line and dict(page.another_line.data) | {"cells": _cells(page.another_line.probe)},
        "background": background and {"address": background.address, "credit": background.credit},
    }


def _feature(shape: Shape) -> dict[str, Any]:
    return {
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


def _cells(probe: Probe) -> dict[str, Any]:
    """Readings of cells as the page unpacks them."""
    return {
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


def _data_uri(png: bytes) -> str:
    return "data:image/png;base64," + base64.b64encode(png).decode("ascii")
