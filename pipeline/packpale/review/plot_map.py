"""The map of one plot: ground, drainage, digging, score, enclosure and surroundings."""

import math
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from packpale.enclosure.model import Pack
from packpale.result import PlotResult
from packpale.review import themes
from packpale.review.construction import CONSTRUCTION, TOUCH, construction, touching
from packpale.review.leaflet import MapPage, PictureLayer, Shape, Style, VectorLayer, to_degrees, write_map
from packpale.review.overlay import Frame, frame, png, warp
from packpale.review.summary import apron
from packpale.review.wording import Wording
from packpale.settings import Project
from packpale.site import Pit

PICTURE_BYTES = 3_600_000
"""All pictures of one map together; with the third that data links add the page stays under 6 MB."""
LARGEST_SIDES = (1500, 1200, 1000, 800, 600, 450, 300)
"""Sides of the pictures, tried in turn until they fit. [px]"""
CHORD_ERROR_M = 0.005
"""Largest distance between an arc and its chord on the map. [m]"""
STATION_STEP_M = 20.0
"""Distance between the stations shown. [m]"""

OUTLINE = Style("#1d2a2a", width=2, dash="8 5", halo=True)
USABLE = Style("#2f7d5c", "#4fae86", 0.3, width=1, backs_away=True)
FENCE = Style("#a3123a", "#a3123a", 0.06, width=3.5, backs_away=True, halo=True)
APRON = Style("#6b4a2b", "#b98b5a", 0.6, width=0.7)
POST_KINDS = {
    "line": "line post",
    "bend": "bend post, strutted",
    "gate": "gate post",
    "steep": "strutted for steep ground",
}
"""What each post is for."""
POST = Style("#a3123a", "#fffdf8", 1.0, width=1.2, radius=2.5)
GATE = Style("#1d2a2a", "#f2c230", 1.0, width=1.5, radius=6)
STATION = Style("#1d2a2a", "#1d2a2a", 1.0, width=1, radius=2.5)
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
SURROUNDINGS = {
    "watercourses": ("Watercourses", Style("#1f5fa8", "#1f5fa8", 0.35, width=2.5)),
    "dwellings": ("Dwellings", Style("#5b2a86", "#5b2a86", 0.7, width=1.5, radius=5)),
    "services": ("Buried services", Style("#c2185b", "#c2185b", 0.3, width=2.5, dash="3 6", radius=4)),
    "woodland": ("Woodland", Style("#3d6b21", "#7fae55", 0.3, width=1, backs_away=True)),
    "access": ("Tracks and roads", Style("#7a5a2b", "#7a5a2b", 0.2, width=3.5, dash="10 4", radius=4)),
    "viewpoints": ("Viewpoints", Style("#0b5c6b", "#49c2d6", 0.9, width=1.5, radius=5)),
    "keep_out": ("Areas kept out", Style("#3a3a3a", "#3a3a3a", 0.35, width=1.5)),
}


def write_plot_map(result: PlotResult, project: Project, wording: Wording, path: Path) -> None:
    """Write map.html of one plot."""
    write_map(plot_map(result, project, wording), path)


def plot_map(result: PlotResult, project: Project, wording: Wording) -> MapPage:
    """Everything the map of one plot shows."""
    grounds, pictures = _pictures(result, project, wording)
    degrees = to_degrees(result.site.crs)
    return MapPage(
        title=f"Plot {result.site.plot_id}",
        home="../../index.html",
        view=_view(result, degrees),
        grounds=grounds,
        pictures=pictures,
        vectors=[layer for layer in _vectors(result, project, wording, degrees) if layer.shapes],
        imperial=wording.imperial,
        introduction=_introduction(result, wording),
    )


def ground_picture(result: PlotResult, *, largest_side: int) -> tuple[bytes, list[list[float]]]:
    """Hillshade of a plot as a PNG, and its bounds for the map."""
    onto = frame(result.site.grid, result.site.crs, largest_side=largest_side)
    return _png(themes.hillshade(result), result, onto), onto.bounds


def _introduction(result: PlotResult, wording: Wording) -> list[str]:
    if not result.enclosure.feasible:
        return [f"No enclosure fits here: {result.enclosure.reason}"]
    areas = [pack.line.area for pack in result.enclosure.packs]
    count = "One enclosure" if len(areas) == 1 else f"{len(areas)} enclosures"
    return [f"{count}: {', '.join(wording.area(area) for area in areas)}."]


def _pictures(
    result: PlotResult, project: Project, wording: Wording
) -> tuple[list[tuple[bytes, list[list[float]]]], list[PictureLayer]]:
    """Hillshade and coloured pictures, as large as the page may be."""
    shown = themes.themes(result, project, wording)
    for side in LARGEST_SIDES:
        onto = frame(result.site.grid, result.site.crs, largest_side=side)
        ground = _png(themes.hillshade(result), result, onto)
        pictures = [
            PictureLayer(t.group, t.title, t.explanation, _png(t, result, onto), onto.bounds, t.legend()) for t in shown
        ]
        if len(ground) + sum(len(p.png) for p in pictures) <= PICTURE_BYTES:
            break
    return [(ground, onto.bounds)], pictures


def _png(theme: themes.Theme, result: PlotResult, onto: Frame) -> bytes:
    warped = warp(theme.values, result.site.grid, result.site.crs, onto, mean=theme.mean)
    return png(theme.classes(warped), theme.colours)


def _view(result: PlotResult, degrees: Callable[[BaseGeometry], dict[str, Any]]) -> list[list[float]]:
    ring = degrees(result.site.outline.envelope)["coordinates"][0]
    lon, lat = zip(*ring, strict=True)
    return [[min(lat), min(lon)], [max(lat), max(lon)]]


def _vectors(
    result: PlotResult, project: Project, wording: Wording, degrees: Callable[[BaseGeometry], dict[str, Any]]
) -> Iterable[VectorLayer]:
    site, land, packs = result.site, result.land, result.enclosure.packs
    # Steps of a raster's cells need not be drawn corner by corner.
    usable = land.usable.simplify(site.grid.cell / 2)
    outline = Shape(
        degrees(site.outline), f"Plot {site.plot_id}", [("Area of the plot", wording.area(site.outline.area))]
    )
    if not usable.is_empty:
        share = wording.percent(land.usable.area / site.outline.area)
        rows = [("Usable area", wording.area(land.usable.area)), ("Part of the plot", share)]
        yield VectorLayer("Plot", "Usable land", [Shape(degrees(usable), "Usable land", rows)], USABLE)
    yield VectorLayer("Plot", "Boundary of the plot", [outline], OUTLINE)
    for kind, (title, style) in SURROUNDINGS.items():
        shapes = [Shape(degrees(g), title) for g in site.features.get(kind, ()) if not g.is_empty]
        yield VectorLayer("Surroundings", title, shapes, style)
    yield VectorLayer("Surroundings", "Trial pits", [_pit(pit, wording, degrees) for pit in site.pits], PIT)
    layers: list[tuple[str, Style, bool, Callable[[Pack], Iterable[Shape]]]] = [
        ("Apron of buried mesh", APRON, True, lambda pack: [_apron(pack, project, wording, degrees)]),
        ("Fence line", FENCE, True, lambda pack: [_fence(pack, wording, degrees)]),
        ("Axis, arcs and centres", CONSTRUCTION, False, lambda pack: construction(pack, wording, degrees)),
        ("What holds the fence line", TOUCH, True, lambda pack: touching(pack, wording, degrees)),
        ("Posts", POST, False, lambda pack: _posts(pack, wording, degrees)),
        ("Gates", GATE, True, lambda pack: _gates(pack, wording, degrees)),
        (
            f"Stations every {wording.length(STATION_STEP_M)}",
            STATION,
            False,
            lambda pack: _stations(pack, wording, degrees),
        ),
    ]
    for title, style, show, draw in layers:
        yield VectorLayer("Enclosure", title, [shape for pack in packs for shape in draw(pack)], style, show)


def _pit(pit: Pit, wording: Wording, degrees: Callable[[BaseGeometry], dict[str, Any]]) -> Shape:
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


def _fence(pack: Pack, wording: Wording, degrees: Callable[[BaseGeometry], dict[str, Any]]) -> Shape:
    line = pack.line
    rows = [
        ("Area", wording.area(line.area)),
        ("Length in plan", wording.length(line.perimeter)),
        ("Length on the ground", wording.length(pack.length_3d)),
    ]
    if pack.fit is None:
        rows += [("Line", "drawn, used as it is"), ("Corners with a post of their own", f"{line.bends.size}")]
    else:
        egg = pack.fit.egg
        rows[1:1] = [("At best possible (proven)", wording.area(pack.fit.area_bound_m2))]
        rows += [
            ("Radius of the big end", wording.dimension(egg.big_radius)),
            ("Radius of the small end", wording.dimension(egg.small_radius)),
            ("Radius of the flanks", wording.dimension(egg.flank_radius)),
            ("Bearing of the axis", f"{egg.axis_bearing_deg % 360:.1f}°"),
        ]
    return Shape(degrees(line.polygon(CHORD_ERROR_M)), f"Fence line of pack {pack.number}", rows)


def _apron(pack: Pack, project: Project, wording: Wording, degrees: Callable[[BaseGeometry], dict[str, Any]]) -> Shape:
    trench = project.trench
    rows = [
        ("Reach from the fence", wording.dimension(trench.apron_reach_m)),
        ("Soil over it", wording.dimension(trench.apron_cover_m)),
        ("Side", trench.side),
    ]
    return Shape(degrees(apron(pack, trench, CHORD_ERROR_M)), f"Apron of pack {pack.number}", rows)


def _posts(pack: Pack, wording: Wording, degrees: Callable[[BaseGeometry], dict[str, Any]]) -> list[Shape]:
    p = pack.posts
    return [
        Shape(
            degrees(Point(p.x[i], p.y[i])),
            f"Post {i + 1} of pack {pack.number}",
            [
                ("Chainage", wording.dimension(float(p.chainage[i]))),
                ("Ground level", wording.dimension(float(p.ground[i]))),
                ("Bend in plan", f"{p.deflection_deg[i]:.1f}°"),
                ("Kind", POST_KINDS[p.kind[i] if p.kind else "line"]),
            ],
        )
        for i in range(p.x.size)
    ]


def _gates(pack: Pack, wording: Wording, degrees: Callable[[BaseGeometry], dict[str, Any]]) -> list[Shape]:
    g = pack.gates
    return [
        Shape(
            degrees(Point(g.x[i], g.y[i])),
            f"Gate {i + 1} of pack {pack.number}",
            [("Clear width", wording.dimension(g.width)), ("Chainage", wording.dimension(float(g.chainage[i])))],
        )
        for i in range(g.x.size)
    ]


def _stations(pack: Pack, wording: Wording, degrees: Callable[[BaseGeometry], dict[str, Any]]) -> list[Shape]:
    a = pack.alignment
    return [
        Shape(
            degrees(Point(a.x[i], a.y[i])),
            f"Chainage {wording.dimension(float(a.chainage[i]))} of pack {pack.number}",
            [
                ("Ground level", wording.dimension(float(a.ground[i]))),
                ("Direction of travel", f"{a.bearing_deg[i]:.1f}°"),
                ("Radius here", wording.dimension(radius) if (radius := float(a.radius[i])) < math.inf else "straight"),
            ],
        )
        for i in _coarse(a.chainage)
    ]


def _coarse(chainage: Sequence[float] | np.ndarray[Any, Any]) -> list[int]:
    """Index of the station nearest to each multiple of the step shown."""
    chainages = np.asarray(chainage)
    return sorted({int(np.argmin(np.abs(chainages - at))) for at in np.arange(0, chainages[-1], STATION_STEP_M)})
