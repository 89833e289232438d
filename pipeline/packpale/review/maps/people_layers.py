"""The pack and the people on a plot's map: howls, views, the other packs, the round, dens."""

from collections.abc import Iterator

from packpale.review.map_styles import Style
from packpale.review.maps.map_page import VectorLayer
from packpale.review.maps.source import MapSource
from packpale.review.maps.theme import Theme
from packpale.review.model import PlotResult
from packpale.review.subjects.dens import DENS
from packpale.review.subjects.patrol import PATROL, PATROL_CHECKS
from packpale.review.subjects.people import HOWL_LEVELS, HOWL_REACH, NEIGHBOURS, VIEWPOINTS

REACH = Style("#7d43d2", width=2.5, halo=True)
REACH_BOUND = Style("#7d43d2", width=1.5, dash="3 7", halo=True)
HEARD = Style("#5b2a86", "#c9a3e6", 1.0, width=2, radius=7)
NOT_HEARD = Style("#5b2a86", "#fffdf8", 1.0, width=2, radius=7)
VIEWPOINT = Style("#0b5c6b", "#49c2d6", 1.0, width=2, radius=6)
TOO_NEAR = Style("#a3123a", "#49c2d6", 1.0, width=3, radius=6)
GAP = Style("#1d2a2a", width=2.5, dash="2 5", halo=True)
ROUND = Style("#0b5c6b", width=2.5, dash="7 5", halo=True)
CHECK = Style("#0b5c6b", "#ffffff", 1.0, width=2, radius=5)
DEN = Style("#4a2a12", "#e0a458", 1.0, width=2, radius=7)
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


def people_layers(source: MapSource) -> Iterator[VectorLayer]:
    """Layers of the pack and the people round it, the lowest first."""
    yield VectorLayer(
        "Pack and people",
        "How far people hear the pack",
        source.shapes(
            HOWL_REACH,
            lambda reached: f"People hear pack {reached.pack}",
            style=lambda reached: REACH if reached.level == "likely" else REACH_BOUND,
        ),
        REACH,
        False,
        "A howl from the middle of the enclosure, downwind or on a clear calm night. Beyond the elevation model flat "
        "open ground is assumed. It reaches far beyond the plot: zoom out.",
        ((REACH, "likely source level"), (REACH_BOUND, "low and high source level")),
    )
    yield VectorLayer(
        "Pack and people",
        "Howls at dwellings",
        source.shapes(
            HOWL_LEVELS,
            lambda heard: f"Howl of pack {heard.pack} at dwelling {heard.number}",
            [heard for heard in source.found(HOWL_LEVELS) if heard.kind == "dwelling"],
            style=lambda heard: HEARD if heard.excess >= 0 else NOT_HEARD,
        ),
        HEARD,
        False,
        "From wherever in the enclosure a howl arrives loudest, outdoors.",
        ((HEARD, "heard"), (NOT_HEARD, "not heard")),
    )
    yield VectorLayer(
        "Pack and people",
        "What viewing points see",
        source.shapes(
            VIEWPOINTS,
            lambda view: f"Viewing point {view.number}",
            style=lambda view: VIEWPOINT if view.keeps_off else TOO_NEAR,
        ),
        VIEWPOINT,
        True,
        "Bare ground only: trees and bushes hide more.",
        ((VIEWPOINT, "keeps people off the fence"), (TOO_NEAR, "nearer to the fence than the stand-off")),
    )
    gaps = source.shapes(NEIGHBOURS, lambda two: f"Between packs {two.packs[0]} and {two.packs[1]}")
    yield VectorLayer("Pack and people", "Least gap between two packs", gaps, GAP)


def round_layers(source: MapSource) -> Iterator[VectorLayer]:
    """The rounds along the fences and their check points."""
    paths = source.shapes(PATROL, lambda walk: f"Round along the fence of pack {walk.pack}")
    yield VectorLayer("Pack and people", "Round along the fence", paths, ROUND, False, "Walked clockwise.")
    checks = source.shapes(
        PATROL_CHECKS,
        lambda on: f"Check point {on.check.number} of pack {on.pack}",
        label=lambda on: str(on.check.number),
    )
    yield VectorLayer("Pack and people", "Check points of the round", checks, CHECK, False, "Numbered as they are met.")


def den_layer(source: MapSource) -> VectorLayer:
    """The sites for dens."""
    shapes = source.shapes(
        DENS, lambda den: f"Den site {den.rank} of pack {den.pack}", label=lambda den: f"den {den.rank}"
    )
    told = "Dry, diggable, sheltered and away from people; the pack chooses for itself."
    return VectorLayer("Pack and people", "Places for dens", shapes, DEN, True, told)
