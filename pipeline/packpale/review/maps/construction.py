"""What the map of a plot shows of how an egg is made up, and of what keeps it from being larger."""

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from shapely.geometry import LineString, MultiLineString, Polygon

from packpale.enclosure.egg import Arc, Egg
from packpale.enclosure.model import Pack
from packpale.enclosure.setting_out import pegging
from packpale.review.map_styles import Style
from packpale.review.maps.map_page import Shape
from packpale.review.maps.source import MapSource
from packpale.review.projecting import Degrees
from packpale.review.subjects.line import TOUCHES
from packpale.review.subjects.setting_out import ARCS, ArcOf
from packpale.review.words import Wording

CHORD_ERROR_M = 0.005
"""Largest distance between an arc and its chord. [m]"""
MARK_SHARE = 0.02
"""Half the length of a tick across the line, and of a cross, as a share of the egg's length."""

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


def touching(source: MapSource) -> Iterator[Shape]:
    """Every place where a fence line is held: a thin line to the limit, and a point on the limit."""
    for held in source.found(TOUCHES):
        (point,) = source.shapes(TOUCHES, lambda item: f"Touches: {source.show.say(item.limits)}", [held])
        yield replace(point, geometry=source.degrees(held.way))
        yield point


def construction(pack: Pack, source: MapSource) -> Iterator[Shape]:
    """Axis, the four arcs with ticks where they meet, and their centres; nothing for a drawn line."""
    egg, show, degrees = pack.egg, source.show, source.degrees
    if egg is None:
        return
    arcs = [ArcOf(pack.number, swing.arc) for swing in pegging(egg).swings]
    named = [(one.arc, f"{one.arc.name.capitalize()} of pack {pack.number}", ARCS.popup(one, show)) for one in arcs]
    for arc, title, rows in named:
        yield Shape(degrees(_curve(egg, arc)), title, rows, style=ENDS[arc.name])
    yield _axis(egg, pack.number, show, degrees)
    yield Shape(degrees(_ticks(egg)), style=TICK)
    for arc, title, rows in named:
        cross = _cross(arc.centre_x, arc.centre_y, MARK_SHARE * egg.length)
        yield Shape(degrees(cross), f"Centre: {title}", rows, style=CROSS)


def _axis(egg: Egg, number: int, wording: Wording, degrees: Degrees) -> Shape:
    # The tips of the two ends: where the line starts, and half way round.
    tips = egg.points_at([0.0, egg.perimeter / 2])
    rows = [
        ("Length, tip to tip", wording.dimension(egg.length)),
        ("Width", wording.dimension(egg.width)),
        ("Bearing from the big end", f"{egg.axis_bearing_deg % 360:.3f}°"),
    ]
    return Shape(degrees(LineString(np.column_stack([tips.x, tips.y]))), f"Axis of pack {number}", rows)


def _curve(egg: Egg, arc: Arc) -> LineString:
    # Sagitta of a chord over the angle a: radius (1 - cos(a / 2)).
    widest = 4 * math.asin(math.sqrt(min(CHORD_ERROR_M / (2 * arc.radius), 1.0)))
    steps = max(math.ceil(arc.length / arc.radius / widest), 8)
    points = egg.points_at(np.linspace(arc.chainage, arc.chainage + arc.length, steps + 1))
    return LineString(np.column_stack([points.x, points.y]))


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
