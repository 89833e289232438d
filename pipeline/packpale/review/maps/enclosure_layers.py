"""The enclosures of a plot on its map: fence line, apron, posts, gates, stations."""

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

import numpy as np
from shapely.geometry import Point, Polygon

from packpale.enclosure.model import Pack
from packpale.review.construction import ARC_LEGEND, CONSTRUCTION, TOUCH, construction, touching
from packpale.review.maps.map_page import Room, Shape, Style, VectorLayer
from packpale.review.model import PlotResult
from packpale.review.projecting import Degrees
from packpale.review.setting_out import airlock_posts, airlocks_of, first_airlock_post
from packpale.review.summary import apron
from packpale.review.words import Wording
from packpale.settings import Project

CHORD_ERROR_M = 0.005
"""Largest distance between an arc and its chord on the map. [m]"""
STATION_STEP_M = 20.0
"""Distance between the stations shown. [m]"""

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
AIRLOCK = Style("#a3123a", "#f2c230", 0.35, width=1.5)
GATE = Style("#1d2a2a", "#f2c230", 1.0, width=1.5, radius=6)
STATION = Style("#1d2a2a", "#1d2a2a", 1.0, width=1, radius=2.5)

EXPLANATIONS = {
    "Apron of buried mesh": "Mesh laid flat under the ground, against digging.",
    "Airlocks": "The room between a gate and a second one inside it; one of the two is always shut.",
    "What holds the fence line": "Where the line, with the strip it needs, comes up against a limit.",
}


def enclosure_layers(result: PlotResult, project: Project, wording: Wording, degrees: Degrees) -> Iterator[VectorLayer]:
    """Layers of all packs, the lowest first."""
    stations = f"Stations every {wording.length(STATION_STEP_M)}"
    layers: list[tuple[Room, str, Style, bool, Callable[[Pack], Iterable[Shape]]]] = [
        ("Earthworks", "Apron of buried mesh", APRON, True, lambda p: [_apron(p, project, wording, degrees)]),
        ("Enclosure", "Fence line", FENCE, True, lambda p: [_fence(p, wording, degrees)]),
        ("Enclosure", "Axis, arcs and centres", CONSTRUCTION, False, lambda p: construction(p, wording, degrees)),
        ("Enclosure", "What holds the fence line", TOUCH, True, lambda p: touching(p, wording, degrees)),
        ("Enclosure", "Airlocks", AIRLOCK, True, lambda p: _airlocks(p, project, wording, degrees)),
        ("Enclosure", "Posts", POST, False, lambda p: _posts(p, project, wording, degrees)),
        ("Enclosure", "Gates", GATE, True, lambda p: _gates(p, wording, degrees)),
        ("Enclosure", stations, STATION, False, lambda p: _stations(p, wording, degrees)),
    ]
    for room, title, style, show, draw in layers:
        shapes = [shape for pack in result.enclosure.packs for shape in draw(pack)]
        yield VectorLayer(
            room,
            title,
            shapes,
            style,
            show,
            EXPLANATIONS.get(title, ""),
            ARC_LEGEND if title == "Axis, arcs and centres" else (),
        )


def _fence(pack: Pack, wording: Wording, degrees: Degrees) -> Shape:
    line = pack.line
    rows = [
        ("Area", wording.area(line.area)),
        ("Length in plan", wording.length(line.perimeter)),
        ("Length on the ground", wording.length(pack.length_3d)),
    ]
    if pack.given is not None:
        rows.append(("Line", "drawn, used as it is" if pack.drawn else "given, used as it is"))
    if pack.fit is not None:
        rows[1:1] = [("No larger one fits than", wording.area(pack.fit.area_bound_m2))]
    egg = pack.egg
    if egg is None:
        rows.append(("Corners with a post of their own", f"{line.bends.size}"))
    else:
        rows += [
            ("Radius of the big end", wording.dimension(egg.big_radius)),
            ("Radius of the small end", wording.dimension(egg.small_radius)),
            ("Radius of the flanks", wording.dimension(egg.flank_radius)),
            ("Bearing of the axis", f"{egg.axis_bearing_deg % 360:.1f}°"),
        ]
    return Shape(degrees(line.polygon(CHORD_ERROR_M)), f"Fence line of pack {pack.number}", rows)


def _apron(pack: Pack, project: Project, wording: Wording, degrees: Degrees) -> Shape:
    trench = project.trench
    rows = [
        ("Reach from the fence", wording.dimension(trench.apron_reach_m)),
        ("Soil over it", wording.dimension(trench.apron_cover_m)),
        ("Side", trench.side),
    ]
    return Shape(degrees(apron(pack, trench, CHORD_ERROR_M)), f"Apron of pack {pack.number}", rows)


def _posts(pack: Pack, project: Project, wording: Wording, degrees: Degrees) -> list[Shape]:
    p = pack.posts
    of_airlocks = [
        Shape(
            degrees(Point(post.x, post.y)),
            f"Post {number} of pack {pack.number}",
            [("Stands in", f"airlock {post.gate}"), ("Kind", POST_KINDS[post.kind])],
        )
        for number, post in enumerate(airlock_posts(pack, project), first_airlock_post(pack))
    ]
    return of_airlocks + [
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


def _airlocks(pack: Pack, project: Project, wording: Wording, degrees: Degrees) -> list[Shape]:
    fence = project.fence
    rows = [
        ("Between its gates", wording.dimension(fence.airlock_length_m)),
        ("Along the fence", wording.dimension(fence.airlock_width_m)),
        ("Longest vehicle inside", wording.dimension(fence.vehicle_length_m)),
    ]
    return [
        Shape(degrees(Polygon(airlock.corners)), f"Airlock of gate {airlock.gate}, pack {pack.number}", rows)
        for airlock in airlocks_of(pack, project)
    ]


def _gates(pack: Pack, wording: Wording, degrees: Degrees) -> list[Shape]:
    g = pack.gates
    return [
        Shape(
            degrees(Point(g.x[i], g.y[i])),
            f"Gate {i + 1} of pack {pack.number}",
            [("Clear width", wording.dimension(g.width)), ("Chainage", wording.dimension(float(g.chainage[i])))],
        )
        for i in range(g.x.size)
    ]


def _stations(pack: Pack, wording: Wording, degrees: Degrees) -> list[Shape]:
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
