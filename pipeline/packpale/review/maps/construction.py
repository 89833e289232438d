"""What the map of a plot shows of how an egg is made up, and of what keeps it from being larger."""

import math
from collections.abc import Iterator

import numpy as np
from shapely.geometry import LineString, MultiLineString, Point, Polygon

from packpale.enclosure.egg import Arc, Egg
from packpale.enclosure.model import Pack
from packpale.review.maps.map_page import Shape, Style
from packpale.review.projecting import Degrees
from packpale.review.subjects.line import touched
from packpale.review.words import Wording

CHORD_ERROR_M = 0.005
"""Largest distance between an arc and its chord. [m]"""
MARK_SHARE = 0.02
"""Half the length of a tick across the line, and of a cross, as a share of the egg's length."""

TOUCH = Style("#c2410c", "#fffdf8", 1.0, width=2.2, radius=4.5)
CONSTRUCTION = Style("#1d2a2a", width=1.6, dash="9 3 2 3")
ENDS = {
    "big end": Style("#0072b2", width=5),
    "small end": Style("#009e73", width=5),
    "flank 1": Style("#e69f00", width=5),
    "flank 2": Style("#e69f00", width=5),
}
"""How each arc is drawn over the fence line."""
TICK = Style("#1d2a2a", width=2)
CROSS = Style("#1d2a2a", "#1d2a2a", 1.0, width=1.5)
ARC_LEGEND = (
    (ENDS["big end"], "big end, a half circle"),
    (ENDS["small end"], "small end"),
    (ENDS["flank 1"], "flanks"),
    (CONSTRUCTION, "axis, and crosses at the centres of the arcs"),
)


def touching(pack: Pack, wording: Wording, degrees: Degrees) -> Iterator[Shape]:
    """Every place where the fence line is held: a thin line to the limit, and a point on the limit."""
    for touch in pack.touches:
        here, limit = (touch.x, touch.y), (touch.limit_x, touch.limit_y)
        title = f"Touches: {wording.say(touched(touch))}"
        rows = [
            ("Fence line of pack", f"{pack.number}"),
            ("Chainage", wording.dimension(touch.chainage)),
            ("From the fence line to here", wording.dimension(math.dist(here, limit))),
        ]
        yield Shape(degrees(LineString([here, limit])), title, rows)
        yield Shape(degrees(Point(limit)), title, rows)


def construction(pack: Pack, wording: Wording, degrees: Degrees) -> Iterator[Shape]:
    """Axis, the four arcs with ticks where they meet, and their centres; nothing for a drawn line."""
    egg = pack.egg
    if egg is None:
        return
    arcs = [arc for arc in egg.arcs() if arc.chainage > 0]
    for arc in arcs:
        yield Shape(degrees(_curve(egg, arc)), _named(arc, pack), _arc_rows(arc, wording), style=ENDS[arc.name])
    yield _axis(egg, pack.number, wording, degrees)
    yield Shape(degrees(_ticks(egg)), style=TICK)
    for arc in arcs:
        rows = [("Radius", wording.dimension(arc.radius)), *_position(arc)]
        cross = _cross(arc.centre_x, arc.centre_y, MARK_SHARE * egg.length)
        yield Shape(degrees(cross), f"Centre: {_named(arc, pack)}", rows, style=CROSS)


def _named(arc: Arc, pack: Pack) -> str:
    return f"{arc.name.capitalize()} of pack {pack.number}"


def _axis(egg: Egg, number: int, wording: Wording, degrees: Degrees) -> Shape:
    # The tips of the two ends: where the line starts, and half way round.
    tips = egg.points_at([0.0, egg.perimeter / 2])
    rows = [
        ("Length, tip to tip", wording.dimension(egg.length)),
        ("Width", wording.dimension(egg.width)),
        ("Bearing from the big end", f"{egg.axis_bearing_deg % 360:.3f}°"),
    ]
    return Shape(degrees(LineString(np.column_stack([tips.x, tips.y]))), f"Axis of pack {number}", rows)


def _span(egg: Egg, arc: Arc) -> tuple[float, float]:
    """Chainage of both ends; the big end runs over the tip, from one flank to the other."""
    return arc.chainage, arc.chainage + (2 * arc.length if arc.name == "big end" else arc.length)


def _curve(egg: Egg, arc: Arc) -> LineString:
    start, end = _span(egg, arc)
    # Sagitta of a chord over the angle a: radius (1 - cos(a / 2)).
    widest = 4 * math.asin(math.sqrt(min(CHORD_ERROR_M / (2 * arc.radius), 1.0)))
    points = egg.points_at(np.linspace(start, end, max(math.ceil((end - start) / arc.radius / widest), 8) + 1))
    return LineString(np.column_stack([points.x, points.y]))


def _arc_rows(arc: Arc, wording: Wording) -> list[tuple[str, str]]:
    whole = 2 if arc.name == "big end" else 1
    return [
        ("Radius", wording.dimension(arc.radius)),
        ("Length", wording.dimension(whole * arc.length)),
        ("Turns through", f"{whole * arc.turn_deg:.2f}°"),
        ("Begins at chainage", wording.dimension(arc.chainage)),
        *((f"Centre {name}", value) for name, value in _position(arc)),
    ]


def _position(arc: Arc) -> list[tuple[str, str]]:
    """Coordinates of an arc's centre in the run's CRS, which is in metres whatever the pages show."""
    return [("x", f"{arc.centre_x:.2f}"), ("y", f"{arc.centre_y:.2f}")]


def _ticks(egg: Egg) -> MultiLineString:
    joints = egg.points_at([arc.chainage for arc in egg.arcs()[1:]])
    middle, reach = np.column_stack([joints.x, joints.y]), MARK_SHARE * egg.length * joints.outward
    return MultiLineString(list(np.stack([middle - reach, middle + reach], axis=1)))


def _cross(x: float, y: float, arm: float) -> Polygon:
    """Upright cross as an area, so that it can be pointed at."""
    w = arm / 12
    u, v = np.array([w, -w, -w]), np.array([arm, arm, w])
    # Each arm is the one before turned by a right angle.
    return Polygon(np.concatenate([np.column_stack([x + e, y + n]) for e, n in ((u, v), (-v, u), (-u, -v), (v, -u))]))
