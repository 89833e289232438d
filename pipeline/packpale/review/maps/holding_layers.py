"""What holds the animals in, on a plot's map: the mesh under the ground, the fence above it, things to climb, water."""

import bisect
import itertools
from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from packpale.care.aids import weakening
from packpale.care.model import Care, DigOut
from packpale.earthworks.stretches import stretches
from packpale.enclosure.model import Pack
from packpale.review.map_styles import BAND, Style
from packpale.review.maps.map_page import Shape, VectorLayer
from packpale.review.maps.source import MapSource
from packpale.review.subjects import stretches as subject
from packpale.review.subjects.climbing import CLIMBING_AIDS
from packpale.review.subjects.crossings import CROSSINGS
from packpale.review.subjects.field import told
from packpale.review.subjects.holds import LETTERS, PLACES, places
from packpale.review.subjects.line import TOUCHES, Held
from packpale.review.subjects.stretches import (
    ADVISED_PITS,
    CLIMB_STRETCHES,
    DIG_STRETCHES,
    Along,
    StretchKind,
    along,
    packs_of,
    rate_limits,
)
from packpale.values.cautions import advised

COLOURS = ("#5c0a2e", "#c8501e", "#e3b23c", "#b9d7c9")
"""From the weakest stretches to the best, lighter and lighter."""
HEIGHTS = ("as set, or nearly", "less, within what is let pass", "less than that", "less than that by as much again")
"""What the ground inside leaves of the height, the best first; they grow darker."""
NEARLY_M = 0.05
FROM_INSIDE = StretchKind("height", "Height of the fence from inside", "least height from inside")
ROCK = Style("#1d2a2a", width=10, dash="2 12")
BANK = Style("#3a3a8c", width=10, dash="2 12")
TREE = Style("#3d6b21", width=10, dash="2 12")
TOLD_OF_A_PLACE = PLACES.of("chainage_m", "length_m", "figure")
TOLD_OF_A_TOUCH = TOUCHES.of("chainage_m", "limit")
PLACE = Style("#1d2a2a", "#fffdf8", 1.0, width=2, radius=6, signed=True)
WEAKEST = Style("#a3123a", "#f0e442", 1.0, width=2.5, radius=7)
LOW = Style("#3d6b21", "#cfe3b8", 1.0, width=2, radius=5)
WEAK = Style("#5c0a2e", "#e3b23c", 1.0, width=2.5, radius=6)
CROSSING = Style("#0b3c8c", "#7cc4ff", 1.0, width=2.5, radius=7)


def mesh_layers(source: MapSource) -> Iterator[VectorLayer]:
    """The line coloured by digging rate, by margin where a rate is given, and where the mesh ends on rock."""
    found = source.found(DIG_STRETCHES)
    yield from _by_class(
        source,
        [item for item in found if item.kind == subject.RATE],
        rate_limits(source.result),
        "What an animal has to dig to get under the mesh in the longest time between two rounds.",
    )
    yield from _by_class(
        source,
        [item for item in found if item.kind == subject.MARGIN],
        subject.MARGINS_H,
        "At the digging rate given, beyond the hours nobody looks; below zero the animal is out first.",
    )
    on_rock = [item for item in found if item.kind == subject.ON_ROCK]
    rock = source.shapes(DIG_STRETCHES, lambda item: f"Mesh of pack {item.pack} ends on rock", on_rock)
    yield VectorLayer("Pack and people", "Mesh ends on rock", rock, ROCK, show=False)


def _by_class(
    source: MapSource, found: Sequence[Along], limits: Sequence[float], explanation: str
) -> Iterator[VectorLayer]:
    """The line coloured by classes of a value; nothing where there is none."""
    if not (found and limits):
        return
    kind, styles = found[0].kind, [Style(colour, width=BAND) for colour in COLOURS]
    shapes = source.shapes(
        DIG_STRETCHES,
        lambda item: f"{item.kind.title}, pack {item.pack}",
        found,
        # All of a stretch is of one class.
        style=lambda item: styles[bisect.bisect_right(limits, item.stretch.worst)],
    )
    said = [source.show.say(kind.told(limit)) for limit in limits]
    between = (f"{low} to {high}" for low, high in itertools.pairwise(said))
    texts = [f"below {said[0]}", *between, f"{said[-1]} and more"]
    legend = list(zip(styles, texts, strict=True))
    yield VectorLayer("Pack and people", kind.title, shapes, styles[0], False, explanation, legend)


def climb_layers(source: MapSource) -> Iterator[VectorLayer]:
    """The line coloured by its height from inside; banks outside and woodland as wide lines under the fence line."""
    project, show = source.project, source.show
    away, height = (show.dimension(v) for v in (project.checks.climb_distance_m, project.fence.height_m))
    styles = [Style(colour, width=BAND) for colour in reversed(COLOURS)]
    yield VectorLayer(
        "Pack and people",
        FROM_INSIDE.title,
        [shape for k, style in enumerate(styles) for shape in _of_height(source, k, style)],
        styles[0],
        show=False,
        explanation=f"Its top above the highest ground within {away} inside, against {height} as set.",
        legend=list(zip(styles, HEIGHTS, strict=True)),
    )
    stretches_ = source.found(CLIMB_STRETCHES)
    for kind, style in ((subject.BANK_OUTSIDE, BANK), (subject.TREES, TREE)):
        found = [item for item in stretches_ if item.kind == kind]
        shapes = source.shapes(CLIMB_STRETCHES, lambda item: f"{item.kind.title}, pack {item.pack}", found)
        yield VectorLayer("Pack and people", kind.title, shapes, style, show=False)


def _of_height(source: MapSource, k: int, style: Style) -> list[Shape]:
    """Stretches in one of the classes of HEIGHTS; where the height is not known there is none."""
    packs, project = packs_of(source.result), source.project
    loss = project.checks.climb_loss_m
    least, most = (-np.inf, min(NEARLY_M, loss), loss, 2 * loss, np.inf)[k : k + 2]
    found = []
    for c in source.result.care.climbs if source.result.care else ():
        line, missing = packs[c.pack].alignment, project.fence.height_m - c.inside
        runs = stretches(
            (missing > least) & (missing <= most),
            c.inside,
            step=line.step,
            largest=False,
            first=float(line.chainage[0]),
        )
        found += along(packs[c.pack], ((FROM_INSIDE, run) for run in runs))
    return source.shapes(
        CLIMB_STRETCHES, lambda item: f"Fence of pack {item.pack}: height {HEIGHTS[k]}", found, style=style
    )


def weakest_layer(source: MapSource) -> VectorLayer:
    """Where the shortest way under the mesh is."""
    care, packs = source.result.care, packs_of(source.result)
    found = [_weakest(packs[dug.pack], dug, care, source) for dug in care.dig_out] if care else []
    return VectorLayer("Pack and people", "Weakest place of the buried mesh", found, WEAKEST)


def _weakest(pack: Pack, found: DigOut, care: Care, source: MapSource) -> Shape:
    show = source.show
    rows = [
        ("Chainage", show.dimension(found.weakest_chainage)),
        ("Length of the tunnel", show.dimension(found.shortest)),
        ("Hours unattended", f"{care.unattended_h:g}"),
        ("Digging rate that gets out", show.speed(found.dig_rate)),
    ]
    at = pack.line.points_at(np.array([found.weakest_chainage]))
    place = source.degrees(shapely.Point(at.x[0], at.y[0]))
    return Shape(place, f"Shortest way under the mesh of pack {pack.number}", rows)


def aid_layer(source: MapSource) -> VectorLayer:
    """What stands near the fences, by whether it lowers them."""
    return VectorLayer(
        "Pack and people",
        "Trees and boulders near the fence",
        source.shapes(
            CLIMBING_AIDS,
            lambda aid: f"Thing {aid.number} near the fence of pack {aid.pack}",
            style=lambda aid: WEAK if weakening(aid, source.project) else LOW,
        ),
        LOW,
        explanation=f"Within {source.show.dimension(source.project.checks.tree_distance_m)} of it.",
        legend=((WEAK, "lowers the fence, or may"), (LOW, "low enough")),
    )


def crossing_layer(source: MapSource) -> VectorLayer:
    """Where water crosses the fence."""
    shapes = source.shapes(CROSSINGS, lambda found: found.title)
    told = f"Weak points of fence and apron. {advised('crossings authority')}"
    return VectorLayer("Pack and people", "Where water crosses the fence", shapes, CROSSING, explanation=told)


def places_layer(source: MapSource) -> VectorLayer:
    """Everything that matters on the lines by letter and number, as on the ring and on the plan."""
    return VectorLayer(
        "Pack and people",
        "Places on the line",
        [shape for pack in source.result.enclosure.packs for shape in _signs(source, pack)],
        PLACE,
        explanation="By letter, as on the ring of the plot's page and on the plan; H is where a limit holds the "
        "line. A stretch has its letter in its middle.",
    )


def _signs(source: MapSource, pack: Pack) -> Iterator[Shape]:
    of_pack = f", pack {pack.number}" if len(source.result.enclosure.packs) > 1 else ""

    def shape(sign: str, what: str, chainage: float, rows: Sequence[tuple[str, str]]) -> Shape:
        at = pack.line.points_at(chainage)
        return Shape(source.degrees(shapely.Point(float(at.x), float(at.y))), f"{what}{of_pack}", rows, sign=sign)

    for place in places(source.result, source.project, pack):
        rows = told(TOLD_OF_A_PLACE, place, source.show)
        yield shape(place.name, LETTERS[place.letter].partition(",")[0], place.chainage + place.length / 2, rows)
    for number, touch in enumerate(pack.touches, start=1):
        rows = told(TOLD_OF_A_TOUCH, Held(pack.number, touch), source.show)
        yield shape(f"H{number}", "held by a limit", touch.chainage, rows)
    for row in source.found(ADVISED_PITS):
        if row["pack"] == pack.number:
            rows = ADVISED_PITS.popup(row, source.show)
            yield shape(f"pit {row['pit']}", "a trial pit would narrow the price", row["chainage_m"], rows)
