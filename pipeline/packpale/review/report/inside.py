"""What ground the fence encloses."""

from collections.abc import Mapping
from typing import Any

from packpale.review.inside import inside_details
from packpale.review.report.blocks import Block, Section, figures, paragraph, small
from packpale.review.report.source import PlotSource


def inside(source: PlotSource) -> Section | None:
    """A line for each kind of ground inside each pack's fence."""
    show = source.show
    found = inside_details(source.result, source.project)
    if not found:
        return None
    blocks: list[Block] = []
    for one in found:
        if source.several:
            blocks.append(paragraph(f"Pack {one['pack']}, {show.area(one['area_m2'])}:"))
        rows = [(str(k["name"]), _part(source, k, one["area_m2"])) for k in one["kinds"]]
        streams, relief = one["streams_m"], one["relief_m"]
        rows.append(
            ("Mapped streams", "not known: no watercourses are given" if streams is None else show.length(streams))
        )
        rows.append(
            (
                "Relief, from the lowest to the highest ground",
                "not known: ground level is missing inside" if relief is None else show.length(relief),
            )
        )
        blocks.append(figures(rows))
    blocks.append(
        small(
            "Parts of the ground inside the fence; they may overlap. The edge of water is the dry ground beside "
            "hollows that can stand in water and beside any water that is mapped. Water, banks and rock make natural "
            "ground for the animals. Pups must be able to get out of the water: have steep shores looked at before "
            "any go in."
        )
    )
    return Section("What the enclosure holds", tuple(blocks), source.section("inside"))


def _part(source: PlotSource, kind: Mapping[str, Any], area: float) -> str:
    if kind["share"] is None:
        return f"not known: {kind['unknown']}"
    return f"{source.show.area(kind['share'] * area)}, {source.show.percent(kind['share'])}"
