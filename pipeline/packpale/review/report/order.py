"""In what order trench, posts and mesh are built."""

from packpale.review.report.blocks import Section, points, small
from packpale.review.report.source import PlotSource


def order_of_work(source: PlotSource) -> Section:
    """Steps from the first peg to the last, in words."""
    show, project = source.show, source.project
    fence, trench, mesh = project.fence, project.trench, project.mesh
    deep, hole = show.dimension(trench.depth_m), show.dimension(fence.hole_depth_m)
    apron = trench.apron_reach_m > 0
    below = fence.hole_depth_m > trench.depth_m
    hole_in = (
        f"Drill their holes from the bottom of the trench down to {hole} below the ground"
        if below
        else f"Their holes of {hole} would end in ground that is dug away: stand them on the bottom of the trench, "
        f"{deep} down, and cast the footing against it"
    )
    steps = [
        "Licence, structural design and consents first; then have buried services located and marked.",
        "Peg the line, and have the pegs checked by somebody else.",
        "Strip turf and topsoil over the width of the dig and keep them apart from what lies below.",
        "Dig only as much in a day as can be closed, or fenced off and lit, by night. Walls sloped or shored, spoil "
        "back from the edge, ladders, a look by a competent person each morning and after rain.",
        f"Set corner, bend and gate posts, then those between, plumb and braced. {hole_in}, as the structural design "
        "says. Let concrete harden before anything is strained.",
        "Hang the skirt in the trench in line with the fence's mesh, past footings on the enclosed side, down to the "
        f"bottom; laps of {show.dimension(mesh.lap_m)} tied every {show.dimension(mesh.lap_tie_spacing_m)}.",
        *(
            [
                f"Fill the trench up to the bench in layers of about {show.dimension(0.2)}, each compacted, the same "
                "on both sides of a post.",
                f"Lay the apron on the bench, {show.dimension(trench.apron_reach_m)} wide, lap it with the skirt and "
                f"tie it; peg it down every {show.dimension(mesh.anchor_spacing_m)}. Photograph every lap before it is "
                "covered: it cannot be looked at again.",
                f"Cover the apron with {show.dimension(trench.apron_cover_m)} of soil, compact, and put turf back.",
            ]
            if apron
            else [
                f"Photograph every lap, fill in layers of about {show.dimension(0.2)}, each compacted, and put turf "
                "back."
            ]
        ),
        "Strain the wires, hang the fence on the enclosed side of the posts (Ohio Adm. Code 901:1-4-01.1), so that a "
        "push does not tear it off, and tie it to the skirt at the ground.",
        "Arms and overhang; gates and airlocks last, so that machines get out.",
        "Walk the whole line and try every lap, tie and gate before an animal is let in.",
    ]
    said = small("Common practice, no published source. Contractor, structural design and local rules come first.")
    return Section("In what order it is built", (points(steps), said), source.section("order"), look="folded")
