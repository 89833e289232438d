"""How high the fence is for who stands beside it: on the map along the line, in the GeoPackage, on the first page."""

from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np

from packpale.care.climb import Climb
from packpale.earthworks.model import Stretch
from packpale.earthworks.stretches import stretches
from packpale.review.maps.map_page import Shape, Style, VectorLayer
from packpale.review.model import PlotResult
from packpale.review.projecting import Degrees
from packpale.review.stretch_shapes import BAND, from_to, stretch_line
from packpale.review.words import Wording
from packpale.settings import Project

INSIDE, OUTSIDE, TREES = "bank inside", "bank outside", "woodland near"
CLASSES = (
    ("as set, or nearly", Style("#b9d7c9", width=BAND)),
    ("less, within what is let pass", Style("#e3b23c", width=BAND)),
    ("less than that", Style("#c8501e", width=BAND)),
    ("less than that by as much again", Style("#5c0a2e", width=BAND)),
)
"""What the ground inside leaves of the height, the best first; they grow darker."""
NEARLY_M = 0.05
BANK = Style("#3a3a8c", width=10, dash="2 12")
TREE = Style("#3d6b21", width=10, dash="2 12")


def climb_rows(result: PlotResult) -> Iterable[dict[str, Any]]:
    """Rows of the layer climb_stretches, but the plot's name."""
    packs = {pack.number: pack for pack in result.enclosure.packs}
    for c, kind, stretch in _stretches(result):
        yield {
            "pack": c.pack,
            "kind": kind,
            "start_chainage_m": stretch.start,
            "end_chainage_m": stretch.end,
            "length_m": stretch.length,
            "worst_m": stretch.worst,
            "geometry": stretch_line(packs[c.pack], stretch),
        }


def climb_layers(result: PlotResult, project: Project, wording: Wording, degrees: Degrees) -> Iterator[VectorLayer]:
    """The line coloured by its height from inside; banks outside and woodland as wide lines under the fence line."""
    away, height = (wording.dimension(v) for v in (project.checks.climb_distance_m, project.fence.height_m))
    yield VectorLayer(
        "Pack and people",
        "Height of the fence from inside",
        list(_coloured(result, project, wording, degrees)),
        CLASSES[0][1],
        show=False,
        explanation=f"Its top above the highest ground within {away} inside, against {height} as set.",
        legend=[(style, text) for text, style in CLASSES],
    )
    for kind, title, style in (
        (OUTSIDE, "Ground outside stands high against the fence", BANK),
        (TREES, "Woodland stands near the fence", TREE),
    ):
        shapes = list(_lines(result, kind, title, wording, degrees))
        yield VectorLayer("Pack and people", title, shapes, style, show=False)


def _coloured(result: PlotResult, project: Project, wording: Wording, degrees: Degrees) -> Iterator[Shape]:
    packs = {pack.number: pack for pack in result.enclosure.packs}
    loss = project.checks.climb_loss_m
    # How much may be missing in each class; what is not known is in none.
    edges = (-np.inf, min(NEARLY_M, loss), loss, 2 * loss, np.inf)
    for c in _found(result):
        line, missing = packs[c.pack].alignment, project.fence.height_m - c.inside
        for (text, style), least, most in zip(CLASSES, edges, edges[1:], strict=False):
            holds = (missing > least) & (missing <= most)
            for s in stretches(holds, c.inside, step=line.step, largest=False, first=float(line.chainage[0])):
                rows = [*from_to(s, wording), ("Least height from inside", wording.dimension(s.worst))]
                title = f"Fence of pack {c.pack}: height {text}"
                yield Shape(degrees(stretch_line(packs[c.pack], s)), title, rows, style=style)


def _lines(result: PlotResult, kind: str, title: str, wording: Wording, degrees: Degrees) -> Iterator[Shape]:
    packs = {pack.number: pack for pack in result.enclosure.packs}
    worst = "Least distance" if kind == TREES else "Least height from outside"
    for c, found, s in _stretches(result):
        if found == kind:
            rows = [*from_to(s, wording), (worst, wording.dimension(s.worst))]
            yield Shape(degrees(stretch_line(packs[c.pack], s)), f"{title}, pack {c.pack}", rows)


def _found(result: PlotResult) -> tuple[Climb, ...]:
    return result.care.climbs if result.care else ()


def _stretches(result: PlotResult) -> Iterator[tuple[Climb, str, Stretch]]:
    for c in _found(result):
        for kind, found in ((INSIDE, c.banks_inside), (OUTSIDE, c.banks_outside), (TREES, c.near_trees)):
            yield from ((c, kind, stretch) for stretch in found)
