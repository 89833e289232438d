"""Howls and views on the plot's map."""

from collections.abc import Iterator

import numpy as np
from shapely.geometry import LineString, Point

from packpale.care.howl import Heard, Reach
from packpale.care.viewing import Viewpoint
from packpale.review.maps.map_page import Shape, Style, VectorLayer
from packpale.review.model import PlotResult
from packpale.review.people import LEVELS, reach_outline
from packpale.review.projecting import Degrees
from packpale.review.theme import Theme
from packpale.review.words import Wording
from packpale.settings import Project
from packpale.values.quantity import Quantity, given

REACH = Style("#8a3ffc", width=2.5, halo=True)
REACH_BOUND = Style("#8a3ffc", width=1.5, dash="3 7", halo=True)
HEARD = Style("#5b2a86", "#c9a3e6", 1.0, width=2, radius=7)
NOT_HEARD = Style("#5b2a86", "#fffdf8", 1.0, width=2, radius=7)


VIEWPOINT = Style("#0b5c6b", "#49c2d6", 1.0, width=2, radius=6)
TOO_NEAR = Style("#a3123a", "#49c2d6", 1.0, width=3, radius=6)
GAP = Style("#1d2a2a", width=2.5, dash="2 5", halo=True)
SEEN_RAMP = ("#1f3b2c", "#9fb8c9", "#e3c95b", "#c8532d")
SEEN_TEXTS = ("from none: refuge", "from one", "from two", "from three or more")


def seen_themes(result: PlotResult) -> list[Theme]:
    """From how many viewing points each place inside the fences is seen; nothing where no points are given."""
    viewing = result.care.viewing if result.care else None
    if viewing is None:
        return []
    said = "Bare ground only: trees and bushes hide more. Blank outside the fences."
    edges = (0.5, 1.5, 2.5)
    title = "Seen from how many viewing points"
    return [Theme("seen", "Pack and people", title, said, viewing.seen_from, edges, SEEN_RAMP, SEEN_TEXTS, mean=False)]


def people_layers(result: PlotResult, project: Project, wording: Wording, degrees: Degrees) -> Iterator[VectorLayer]:
    """Layers of the pack and the people round it, the lowest first."""
    howl = result.care.howl if result.care else None
    if howl is None:
        return
    yield VectorLayer(
        "Pack and people",
        "How far people hear the pack",
        [_reach(reach, k, project, wording, degrees) for reach in howl.reach for k in range(len(LEVELS))],
        REACH,
        False,
        "A howl from the middle of the enclosure, downwind or on a clear calm night. Beyond the elevation model flat "
        "open ground is assumed. It reaches far beyond the plot: zoom out.",
        ((REACH, "likely source level"), (REACH_BOUND, "low and high source level")),
    )
    yield VectorLayer(
        "Pack and people",
        "Howls at dwellings",
        [_heard(h, wording, degrees) for h in howl.heard if h.kind == "dwelling"],
        HEARD,
        False,
        "From wherever in the enclosure a howl arrives loudest, outdoors.",
        ((HEARD, "heard"), (NOT_HEARD, "not heard")),
    )
    viewing = result.care.viewing if result.care else None
    yield VectorLayer(
        "Pack and people",
        "What viewing points see",
        [_viewpoint(v, wording, degrees) for v in (viewing.viewpoints if viewing else ())],
        VIEWPOINT,
        True,
        "Bare ground only: trees and bushes hide more.",
        ((VIEWPOINT, "keeps people off the fence"), (TOO_NEAR, "nearer to the fence than the stand-off")),
    )
    yield VectorLayer(
        "Pack and people",
        "Least gap between two packs",
        [
            Shape(
                degrees(LineString(n.ends)),
                f"Between packs {n.packs[0]} and {n.packs[1]}",
                [
                    ("Gap", wording.dimension(n.gap)),
                    ("What it is", n.between),
                    (f"Seen of pack {n.packs[1]} by pack {n.packs[0]}", wording.percent(n.sees[0])),
                    (f"Seen of pack {n.packs[0]} by pack {n.packs[1]}", wording.percent(n.sees[1])),
                ],
            )
            for n in (result.care.neighbours if result.care else ())
        ],
        GAP,
    )


def _viewpoint(view: Viewpoint, wording: Wording, degrees: Degrees) -> Shape:
    seen = "not computed: beyond the elevation model" if np.isnan(view.seen_share) else wording.percent(view.seen_share)
    rows = [
        ("Ground inside the fences it sees", seen),
        (f"Distance to the fence of pack {view.pack}", wording.length(view.fence_distance)),
    ]
    style = VIEWPOINT if view.keeps_off else TOO_NEAR
    return Shape(degrees(Point(view.x, view.y)), f"Viewing point {view.number}", rows, style=style)


def _reach(reach: Reach, k: int, project: Project, wording: Wording, degrees: Degrees) -> Shape:
    level = wording.say(given(project.howl.source_level_db[k], "level"))
    rows = [
        ("Source level", f"{level} at {wording.dimension(1.0)} ({LEVELS[k]}, assumed)"),
        ("Nearest and farthest", f"{wording.length(reach.radius[k].min())}, {wording.length(reach.radius[k].max())}"),
        ("Bearings on assumed flat ground", wording.percent(1 - float(reach.surveyed[k].mean()))),
    ]
    style = REACH if LEVELS[k] == "likely" else REACH_BOUND
    return Shape(degrees(reach_outline(reach, k)), f"People hear pack {reach.pack}", rows, style=style)


def _heard(heard: Heard, wording: Wording, degrees: Degrees) -> Shape:
    rows = [
        ("Distance", wording.length(heard.distance)),
        ("Level", wording.say(Quantity(heard.level, "level"))),
        ("Above the background", wording.say(Quantity(heard.excess, "level"))),
        (
            "Taken by ridges, by leaves",
            wording.say((Quantity(heard.screened, "level"), Quantity(heard.leaves, "level"))),
        ),
        ("Ground", "surveyed" if heard.surveyed else "flat ground assumed beyond the elevation model"),
    ]
    title = f"Howl of pack {heard.pack} at dwelling {heard.number}"
    return Shape(degrees(Point(heard.x, heard.y)), title, rows, style=HEARD if heard.excess >= 0 else NOT_HEARD)
