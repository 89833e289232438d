"""The limits of a plot and the stretches of fence line over them: on the map and in the GeoPackage."""

import math
from collections.abc import Iterable, Iterator
from typing import Any

from shapely.geometry import LineString

from packpale.earthworks.model import Stretch
from packpale.enclosure.model import Pack
from packpale.enclosure.over_limits import Stretch as OverLimit
from packpale.review.maps.map_page import Shape, Style, VectorLayer
from packpale.review.model import PlotResult
from packpale.review.projecting import Degrees
from packpale.review.stretch_shapes import BAND, from_to, stretch_line
from packpale.review.words import FILES, Wording, plain

OVER = Style("#5b2a86", width=BAND)


def limit_rows(result: PlotResult) -> Iterable[dict[str, Any]]:
    """Rows of the layer limits, but the plot's name."""
    for limit in result.land.limits:
        yield {
            "kind": limit.kind,
            "name": plain(FILES.say(limit.name)),
            "may_lie_inside": limit.may_lie_inside,
            "geometry": limit.area,
        }


def over_limit_rows(result: PlotResult) -> Iterable[dict[str, Any]]:
    """Rows of the layer over_limits, but the plot's name."""
    for pack in result.enclosure.packs:
        for over in pack.over_limits:
            yield {
                "pack": pack.number,
                "kind": over.kind,
                "from_m": over.from_m,
                "to_m": over.to_m,
                "geometry": over_limit_line(pack, over),
            }


def over_limit_line(pack: Pack, over: OverLimit) -> LineString:
    """A stretch over a limit on the ground."""
    return stretch_line(pack, _plain(pack, over))


def over_limits_layer(result: PlotResult, wording: Wording, degrees: Degrees) -> Iterator[VectorLayer]:
    """The line where it runs over a limit, as a wide line under the fence line."""
    names = {limit.kind: wording.say(limit.name) for limit in result.land.limits}
    shapes = [
        Shape(
            degrees(stretch_line(pack, stretch)),
            f"Fence line of pack {pack.number} over a limit",
            [("Limit", names[over.kind]), *from_to(stretch, wording)],
        )
        for pack in result.enclosure.packs
        for over in pack.over_limits
        for stretch in [_plain(pack, over)]
    ]
    yield VectorLayer(
        "Enclosure",
        "Fence line over a limit",
        shapes,
        OVER,
        show=True,
        explanation="Its strip touches ground that may lie inside the fence and does not carry it as it is.",
    )


def _plain(pack: Pack, over: OverLimit) -> Stretch:
    return Stretch(over.from_m, over.to_m % pack.line.perimeter, over.length_m, math.nan)
