"""What ground the fence encloses."""

from packpale.care.inside import WET_TABLE_M
from packpale.land.water import EDGE_M
from packpale.review.report.blocks import Block, Section, figures, paragraph, small
from packpale.review.report.source import PlotSource
from packpale.review.subjects.field import told
from packpale.review.subjects.inside import INSIDE
from packpale.values.notes import phrase
from packpale.values.quantity import given


def inside(source: PlotSource) -> Section | None:
    """A line for each kind of ground inside each pack's fence; kinds of which there is nothing share a sentence."""
    show, land = source.show, source.project.land
    blocks: list[Block] = []
    for item in INSIDE.items(source.result, source.project):
        if source.several:
            blocks.append(paragraph(f"Pack {item.pack}, {show.area(item.ground.area)}:"))
        shown = [f for f in INSIDE.fields if f.page]
        none = [f.title for f in shown if f.value(item) == 0]
        blocks.append(figures(told((f for f in shown if f.title not in none), item, show)))
        if none:
            blocks.append(paragraph(f"Nothing of: {', '.join(title.lower() for title in none)}."))
    if not blocks:
        return None
    counted = phrase(
        "Hollows count where water can stand more than {depth} deep, ground as steep beyond {slope}, rock within "
        "{rock} of the surface. The edge of water is the dry ground {edge} wide beside such hollows and any water that "
        "is mapped; wet is ground that is poorly drained, or with the water table within {table} of the surface.",
        depth=given(land.max_ponding_m, "dimension"),
        slope=given(land.max_slope_deg, "slope"),
        rock=given(land.min_depth_to_rock_m, "dimension"),
        edge=given(EDGE_M, "dimension"),
        table=given(WET_TABLE_M, "dimension"),
    )
    blocks.append(
        small(
            f"Parts of the ground inside the fence; they may overlap. {show.say(counted)} Water, banks and rock make "
            "natural ground for the animals. Pups must be able to get out of the water: have steep shores looked at "
            "before any go in."
        )
    )
    return Section("What the enclosure holds", tuple(blocks), source.section("inside"))
