"""Howls on the plot's map."""

from collections.abc import Iterator

from shapely.geometry import Point

from packpale.care.howl import Heard, Reach
from packpale.result import PlotResult
from packpale.review.map_page import Shape, Style, VectorLayer
from packpale.review.people import LEVELS, reach_outline
from packpale.review.projecting import Degrees
from packpale.review.wording import Wording
from packpale.settings import Project

REACH = Style("#8a3ffc", width=2.5, halo=True)
REACH_BOUND = Style("#8a3ffc", width=1.5, dash="3 7", halo=True)
HEARD = Style("#5b2a86", "#c9a3e6", 1.0, width=2, radius=7)
NOT_HEARD = Style("#5b2a86", "#fffdf8", 1.0, width=2, radius=7)


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
        "open ground is assumed.",
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


def _reach(reach: Reach, k: int, project: Project, wording: Wording, degrees: Degrees) -> Shape:
    rows = [
        ("Source level", f"{project.howl.source_level_db[k]:g} dB at {wording.dimension(1.0)} ({LEVELS[k]}, assumed)"),
        ("Nearest and farthest", f"{wording.length(reach.radius[k].min())}, {wording.length(reach.radius[k].max())}"),
        ("Bearings on assumed flat ground", wording.percent(1 - float(reach.surveyed[k].mean()))),
    ]
    style = REACH if LEVELS[k] == "likely" else REACH_BOUND
    return Shape(degrees(reach_outline(reach, k)), f"People hear pack {reach.pack}", rows, style=style)


def _heard(heard: Heard, wording: Wording, degrees: Degrees) -> Shape:
    rows = [
        ("Distance", wording.length(heard.distance)),
        ("Level", f"{heard.level:.0f} dB"),
        ("Above the background", f"{heard.excess:.0f} dB"),
        ("Taken by ridges, by leaves", f"{heard.screened:.0f} dB, {heard.leaves:.0f} dB"),
        ("Ground", "surveyed" if heard.surveyed else "flat ground assumed beyond the elevation model"),
    ]
    title = f"Howl of pack {heard.pack} at dwelling {heard.number}"
    return Shape(degrees(Point(heard.x, heard.y)), title, rows, style=HEARD if heard.excess >= 0 else NOT_HEARD)
