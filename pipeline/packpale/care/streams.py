"""Where mapped streams, ditches and ponds cross the fence line, and whether the ground model shows them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from packpale.care.crossings import Crossing
from packpale.enclosure.model import Pack
from packpale.settings import CrossingSettings
from packpale.site import Site
from packpale.values.notes import Note, Phrase, phrase
from packpale.values.quantity import Quantity, given

SAME_M = 10.0
"""A mapped watercourse and a flow path that cross the fence so near to each other are one, as are those within two
cells. [m] Assumption: maps and ground models put small streams some metres apart."""
JOINED_M = 1.0
"""Places nearer to each other along the fence are one: a stream that is mapped as a line and as an area. [m]"""
NAMED = 6
"""Places that a note names; the layer crossings holds all."""
CHORD_ERROR_M = 0.001
"""Largest distance between the fence line and the chords it is cut with. [m]"""


@dataclass(frozen=True)
class StreamCrossing:
    """One place where a mapped watercourse crosses a fence line. Lengths in metres."""

    pack: int
    chainage: float
    """Of its middle."""
    x: float
    y: float
    width: float
    """Of mapped water along the fence line; 0 where it is mapped as a line."""
    crossing: int | None
    """Number of the flow path that crosses here; None where the ground model shows none."""


def stream_crossings(site: Site, pack: Pack, flow_paths: Sequence[Crossing]) -> tuple[StreamCrossing, ...]:
    """Crossings of one pack's fence line by mapped watercourses, along the line; ``flow_paths`` are those of all packs.

    A watercourse that touches the line without crossing it counts too: it is as near.
    """
    ring, perimeter = pack.line.polygon(CHORD_ERROR_M).exterior, pack.line.perimeter
    same = max(SAME_M, 2 * site.grid.cell)
    own = [c for c in flow_paths if c.pack == pack.number]
    found = []
    for start, end in _joined(sorted(_stretches(ring, site.features.get("watercourses", ()), perimeter)), perimeter):
        middle = (start + end) / 2 % perimeter
        apart = {c.number: max(_between(c.chainage, middle, perimeter) - (end - start) / 2, 0.0) for c in own}
        nearest = min(apart, key=lambda number: apart[number], default=None)
        at = ring.interpolate(middle / perimeter, normalized=True)
        found.append(
            StreamCrossing(
                pack=pack.number,
                chainage=middle,
                x=at.x,
                y=at.y,
                width=end - start,
                crossing=nearest if nearest is not None and apart[nearest] <= same else None,
            )
        )
    return tuple(sorted(found, key=lambda s: s.chainage))


def stream_notes(found: Sequence[StreamCrossing], settings: CrossingSettings) -> list[Note]:
    """What a reader must know of those that the ground model does not show, all packs together."""
    unseen = [s for s in found if s.crossing is None]
    if not unseen:
        return []
    several = len({s.pack for s in found}) > 1
    places: list[Phrase] = []
    for s in unseen[:NAMED]:
        chainage = Quantity(s.chainage, "length")
        of_pack = phrase("pack {pack}, chainage {chainage}", pack=s.pack, chainage=chainage)
        places.append(of_pack if several else phrase("chainage {chainage}", chainage=chainage))
    if len(unseen) > NAMED:
        places.append(phrase("and {more} more", more=len(unseen) - NAMED))
    return [
        Note(
            "mapped water crosses",
            f"mapped water crosses the fence at {{count}} {'place' if len(unseen) == 1 else 'places'} that the "
            "ground model does not show",
            "It has no flow path from {area} there: {places}. These too are weak points of fence and apron; what "
            "drains there is not known, and no flow and no opening were worked out. Have them looked at on the "
            "ground, and designed as the others.",
            {"count": len(unseen), "area": given(settings.min_area_m2, "area"), "places": tuple(places)},
            size=len(unseen),
        )
    ]


def _stretches(
    ring: shapely.LinearRing, features: Sequence[BaseGeometry], perimeter: float
) -> Iterator[tuple[float, float]]:
    """Chainages from and to of each piece of the fence line in mapped water, equal where a line crosses. [m]"""
    parts = shapely.get_parts(shapely.get_parts(list(features)))
    for piece in shapely.get_parts(shapely.intersection(parts, ring)):
        if piece.is_empty:
            continue
        ends = shapely.get_coordinates(piece)[[0, -1]]
        a, b = shapely.line_locate_point(ring, shapely.points(ends), normalized=True) * perimeter
        # A piece may run either way; its length tells which of the two ways round the line it takes.
        length = piece.length
        forward = abs((b - a) % perimeter - length) <= abs((a - b) % perimeter - length)
        start = float(a if forward else b)
        yield start, start + length


def _joined(stretches: Sequence[tuple[float, float]], perimeter: float) -> list[tuple[float, float]]:
    """Sorted stretches without those that overlap or lie within JOINED_M of another, over the line's start too."""
    out: list[tuple[float, float]] = []
    for start, end in stretches:
        if out and start - out[-1][1] <= JOINED_M:
            out[-1] = (out[-1][0], max(out[-1][1], end))
        else:
            out.append((start, end))
    if len(out) > 1 and out[0][0] + perimeter - out[-1][1] <= JOINED_M:
        start, end = out.pop()
        out[0] = (start, max(out[0][1] + perimeter, end))
    return [(start, min(end, start + perimeter)) for start, end in out]


def _between(a: float, b: float, perimeter: float) -> float:
    """Distance along a closed line. [m]"""
    apart = float(np.abs(a - b)) % perimeter
    return min(apart, perimeter - apart)
