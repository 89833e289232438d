"""The trenches of a plot on its map: what they are dug in, where they need care, where a pit would help."""

from collections.abc import Iterator

from packpale.earthworks.model import Profile
from packpale.earthworks.stretches import stretches
from packpale.enclosure.model import Pack
from packpale.review.map_styles import BAND, Style
from packpale.review.maps.map_page import Shape, VectorLayer
from packpale.review.maps.source import MapSource
from packpale.review.subjects import stretches as subject
from packpale.review.subjects.stretches import ADVISED_PITS, TRENCH_STRETCHES, StretchKind, along, packs_of
from packpale.site import Mask

CUT = {
    (False, False): ("soil, dry", Style("#e69f00", width=BAND)),
    (True, False): ("rock, dry", Style("#1d2a2a", width=BAND)),
    (False, True): ("soil, below the water table", Style("#56b4e9", width=BAND)),
    (True, True): ("rock, below the water table", Style("#0b3c8c", width=BAND)),
}
"""Words and style of a stretch of trench by whether its bottom lies in rock and in water. Ordered by lightness too."""
PIT = Style("#3b1a5a", "#c9a3e6", 1.0, width=2, radius=6)
PUBLISHED = "Deep enough, with what a machine digs too deep, for the published rule. Local codes decide."
STRETCHES: tuple[tuple[StretchKind, Style, bool, str], ...] = (
    (subject.PROTECTION_OVER_DIG, Style("#cc79a7", width=9, dash="2 9"), False, PUBLISHED),
    (subject.EGRESS_OVER_DIG, Style("#d9731a", width=10, dash="2 12"), False, PUBLISHED),
    (subject.IN_WATER, Style("#1f6fb8", width=10), True, "It has to be pumped while it is open."),
    (
        subject.TOO_DEEP,
        Style("#5b2a86", width=10),
        False,
        "The skirt has to reach down there, or the gap under it be filled.",
    ),
    (
        subject.TOO_SHALLOW,
        Style("#b3275f", width=10),
        True,
        "Between stations the ground dips: dig deeper there.",
    ),
)
"""Stretches of trench on the map: kind, how it is drawn, whether it shows at first, and what to do about it."""


def stretch_layers(source: MapSource) -> Iterator[VectorLayer]:
    """Wide lines that go under the fence line, so that it stays to be seen."""
    found = source.found(TRENCH_STRETCHES)
    for kind, style, show, advice in STRETCHES:
        of_kind = [item for item in found if item.kind == kind]
        shapes = source.shapes(TRENCH_STRETCHES, lambda item: f"{item.kind.title}, pack {item.pack}", of_kind)
        yield VectorLayer("Earthworks", kind.title, shapes, style, show, advice)


def cut_layer(source: MapSource) -> VectorLayer:
    """The trench by what it is dug in."""
    works, packs = source.result.earthworks, packs_of(source.result)
    return VectorLayer(
        "Earthworks",
        "Trench by what it is dug in",
        [s for profile in (works.profiles if works else ()) for s in _cut(packs[profile.pack], profile, source)],
        CUT[False, False][1],
        show=False,
        explanation="At the bottom of the skirt trench, from soil data and pits.",
        legend=[(style, text) for text, style in CUT.values()],
    )


def _cut(pack: Pack, profile: Profile, source: MapSource) -> Iterator[Shape]:
    rock, wet = profile.depth > profile.rock_depth, profile.depth > profile.water_depth
    for (in_rock, in_water), (text, style) in CUT.items():
        holds: Mask = (rock == in_rock) & (wet == in_water)
        kind = StretchKind(text, text, "greatest depth")
        found = along(pack, ((kind, s) for s in stretches(holds, profile.depth, step=pack.alignment.step)))
        yield from source.shapes(
            TRENCH_STRETCHES,
            lambda item: f"Trench of pack {item.pack}: {item.kind.title}",
            found,
            style=style,
        )


def pit_layer(source: MapSource) -> VectorLayer:
    """Places of the pits that would narrow the price most."""
    shapes = source.shapes(ADVISED_PITS, lambda row: f"A trial pit for pack {row['pack']} would narrow the price")
    return VectorLayer("Earthworks", "Where a trial pit would help most", shapes, PIT)
