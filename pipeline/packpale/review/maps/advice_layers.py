"""What the map shows of trench that needs looking after, and where a trial pit would help most."""

from collections.abc import Iterable, Iterator

from shapely.geometry import Point

from packpale.review.digging import (
    EGRESS_OVER_DIG,
    IN_WATER,
    TOO_DEEP,
    TOO_SHALLOW,
    StretchKind,
    stretches_of,
)
from packpale.review.maps.map_page import Shape, Style, VectorLayer
from packpale.review.model import PlotResult
from packpale.review.projecting import Degrees
from packpale.review.stretch_shapes import from_to, stretch_line
from packpale.review.words import Wording

PIT = Style("#3b1a5a", "#c9a3e6", 1.0, width=2, radius=6)
STRETCHES: tuple[tuple[StretchKind, Style, bool, str], ...] = (
    (
        EGRESS_OVER_DIG,
        Style("#d9731a", width=10, dash="2 12"),
        False,
        "Deep enough, with what a machine digs too deep, for the published rule. Local codes decide.",
    ),
    (IN_WATER, Style("#1f6fb8", width=10), True, "It has to be pumped while it is open."),
    (TOO_DEEP, Style("#5b2a86", width=10), False, "The skirt has to reach down there, or the gap under it be filled."),
    (TOO_SHALLOW, Style("#c2185b", width=10), True, "Between stations the ground dips: dig deeper there."),
)
"""Stretches of trench on the map: kind, how it is drawn, whether it shows at first, and what to do about it."""


def stretch_layers(result: PlotResult, wording: Wording, degrees: Degrees) -> Iterator[VectorLayer]:
    """Wide lines that go under the fence line, so that it stays to be seen."""
    for kind, style, show, advice in STRETCHES:
        shapes = list(_stretches(result, kind, wording, degrees))
        yield VectorLayer("Earthworks", kind.title, shapes, style, show, advice)


def pit_layer(result: PlotResult, wording: Wording, degrees: Degrees) -> VectorLayer:
    """Places of the pits that would narrow the price most."""
    works = result.earthworks
    shapes = [
        Shape(
            degrees(Point(pit.x, pit.y)),
            "A trial pit here would narrow the price",
            [("Flank", f"{pit.flank}, pack {pit.pack}"), ("Chainage", wording.length(pit.chainage))],
        )
        for pit in (works.uncertainty.pits if works and works.uncertainty else ())
    ]
    return VectorLayer("Earthworks", "Where a trial pit would help most", shapes, PIT)


def _stretches(result: PlotResult, kind: StretchKind, wording: Wording, degrees: Degrees) -> Iterable[Shape]:
    packs = {pack.number: pack for pack in result.enclosure.packs}
    for number, reason, stretch in stretches_of(result.earthworks):
        if reason == kind:
            rows = [*from_to(stretch, wording), (kind.worst, wording.dimension(stretch.worst))]
            yield Shape(degrees(stretch_line(packs[number], stretch)), f"{kind.title}, pack {number}", rows)
