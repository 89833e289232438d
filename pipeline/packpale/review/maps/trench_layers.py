"""The trenches of a plot and the mesh's weakest places on its map."""

from collections.abc import Iterator

import numpy as np
from shapely.geometry import Point

from packpale.care.model import Care, DigOut
from packpale.earthworks.model import Profile, Stretch
from packpale.earthworks.stretches import stretches
from packpale.enclosure.model import Pack
from packpale.review.maps.map_page import Shape, Style, VectorLayer
from packpale.review.model import PlotResult
from packpale.review.projecting import Degrees
from packpale.review.stretch_shapes import BAND, from_to, stretch_line
from packpale.review.words import Wording
from packpale.site import Mask

CUT = {
    (False, False): ("soil, dry", Style("#e69f00", width=BAND)),
    (True, False): ("rock, dry", Style("#1d2a2a", width=BAND)),
    (False, True): ("soil, below the water table", Style("#56b4e9", width=BAND)),
    (True, True): ("rock, below the water table", Style("#0b3c8c", width=BAND)),
}
"""Words and style of a stretch of trench by whether its bottom lies in rock and in water. Ordered by lightness too."""
SECURED = Style("#cc79a7", width=9, dash="2 9")
WEAKEST = Style("#a3123a", "#f0e442", 1.0, width=2.5, radius=7)


def trench_layers(result: PlotResult, wording: Wording, degrees: Degrees) -> Iterator[VectorLayer]:
    """Layers of earthworks and of digging out, the lowest first."""
    works, care = result.earthworks, result.care
    packs = {pack.number: pack for pack in result.enclosure.packs}
    yield VectorLayer(
        "Earthworks",
        "Trench by what it is dug in",
        [
            shape
            for profile in (works.profiles if works else ())
            for shape in _cut(packs[profile.pack], profile, wording, degrees)
        ],
        CUT[False, False][1],
        show=False,
        explanation="At the bottom of the skirt trench, from soil data and pits.",
        legend=[(style, text) for text, style in CUT.values()],
    )
    yield VectorLayer(
        "Earthworks",
        "Trench walls to be secured",
        [
            _secured(packs[found.pack], stretch, wording, degrees)
            for found in (works.safety if works else ())
            for stretch in found.protection_with_over_dig
        ],
        SECURED,
        show=False,
        explanation="Deep enough, with what a machine digs too deep, for the published rule. Local codes decide.",
    )
    yield VectorLayer(
        "Pack and people",
        "Weakest place of the buried mesh",
        [_weakest(packs[found.pack], found, care, wording, degrees) for found in care.dig_out] if care else [],
        WEAKEST,
    )


def _secured(pack: Pack, stretch: Stretch, wording: Wording, degrees: Degrees) -> Shape:
    rows = [*from_to(stretch, wording), ("Deepest", wording.dimension(stretch.worst))]
    title = f"Walls of pack {pack.number} to be sloped, shored or shielded"
    return Shape(degrees(stretch_line(pack, stretch)), title, rows)


def _weakest(pack: Pack, found: DigOut, care: Care, wording: Wording, degrees: Degrees) -> Shape:
    rows = [
        ("Chainage", wording.dimension(found.weakest_chainage)),
        ("Length of the tunnel", wording.dimension(found.shortest)),
        ("Hours unattended", f"{care.unattended_h:g}"),
        ("Digging rate that gets out", wording.speed(found.dig_rate)),
    ]
    at = degrees(_at(pack, found.weakest_chainage))
    return Shape(at, f"Shortest way under the mesh of pack {pack.number}", rows)


def _cut(pack: Pack, profile: Profile, wording: Wording, degrees: Degrees) -> Iterator[Shape]:
    rock, wet = profile.depth > profile.rock_depth, profile.depth > profile.water_depth
    for (in_rock, in_water), (text, style) in CUT.items():
        holds: Mask = (rock == in_rock) & (wet == in_water)
        for stretch in stretches(holds, profile.depth, step=pack.alignment.step):
            rows = [*from_to(stretch, wording), ("Deepest", wording.dimension(stretch.worst))]
            yield Shape(
                degrees(stretch_line(pack, stretch)), f"Trench of pack {pack.number}: {text}", rows, style=style
            )


def _at(pack: Pack, chainage: float) -> Point:
    points = pack.line.points_at(np.array([chainage]))
    return Point(points.x[0], points.y[0])
