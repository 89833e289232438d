"""The gate sheet: what a builder of gates has to know of each leaf."""

from packpale.review.report.blocks import Section, link, paragraph, small
from packpale.review.report.listing import listing
from packpale.review.report.source import PlotSource
from packpale.review.subjects.gates import GATE_LEAVES, widest_open


def gate_sheet(source: PlotSource) -> Section | None:
    """Every leaf; None without gates."""
    leaves, show, settings = source.works.gates, source.show, source.project.gates
    if not leaves:
        return None
    fence = source.project.fence
    worst = widest_open(leaves)
    blocks = (
        paragraph(
            f"The greatest gap below a shut leaf is {show.dimension(worst.gap)}, at gate {worst.gate} {worst.place}. A "
            "leaf is straight, its lower edge level. It hangs so low that it passes all ground on its quarter circle, "
            f"and what lies below it, with {show.dimension(settings.clearance_m)} to spare. Measure again on site "
            "before a gate is ordered: elevation models miss ruts and kerbs. Each gate is drawn to scale in ",
            link("drawings.pdf", source.file("drawings.pdf")),
            ".",
        ),
        listing(source, "Leaves of the gates", GATE_LEAVES, leaves),
        small(
            "Seen from outside from left to right; levels as the elevation has them. Room is reckoned for a vehicle "
            f"{show.dimension(fence.vehicle_length_m)} long and {show.dimension(fence.vehicle_width_m)} wide with both "
            "gates shut. No overhang is drawn or priced above gates: the structural design has to carry it across, or "
            "the leaf needs its own. One of an airlock's two gates is always shut: interlock them. Some rules ask for "
            "two independent locks on each."
        ),
    )
    return Section("Gates, leaf by leaf", blocks, source.section("gates"), look="folded")
