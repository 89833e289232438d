"""What the fence takes."""

from packpale.enclosure.model import PostKind
from packpale.review.report.blocks import Section, small, table
from packpale.review.report.source import PlotSource

MESH = (
    ("fence", "Mesh for the fence, with laps"),
    ("overhang", "Mesh for the overhang, with laps"),
    ("skirt", "Mesh for the skirt, with laps"),
    ("apron", "Mesh for the apron, with laps"),
)
POSTS: tuple[tuple[PostKind, str], ...] = (
    ("line", "Line posts"),
    ("bend", "Posts at bends"),
    ("steep", "Posts on steep ground"),
    ("gate", "Gate posts"),
)


def fence_section(source: PlotSource) -> Section:
    """Lengths, mesh, posts and gates of each pack's fence."""
    show, fences, mesh = source.show, source.works.fences, source.project.mesh
    rows: list[tuple[str, ...]] = [
        ("Fence to hang, airlocks included", *(show.length(f.hung_length) for f in fences)),
        *((name, *(show.quantity(f.mesh[kind].with_laps, "m2") for f in fences)) for kind, name in MESH),
        (
            f"Rolls of {show.dimension(mesh.roll_width_m)} by {show.length(mesh.roll_length_m)} to buy: for fence and "
            "overhang; for skirt and apron",
            *(f"{f.rolls['hung']}; {f.rolls['buried']}" for f in fences),
        ),
        *((name, *(str(f.posts[kind]) for f in fences)) for kind, name in POSTS),
        ("Footing holes, and concrete in them", *(f"{f.holes}, {show.volume(f.concrete)}" for f in fences)),
        *([("Concrete in sills", *(show.volume(f.sills) for f in fences))] if any(f.sills for f in fences) else []),
        ("Arms of the overhang", *(str(f.arms) for f in fences)),
        ("Straining wire", *(show.length(f.wire) for f in fences)),
        (
            "Ties on wires; on posts; in laps; in the joint of fence and skirt, and its length",
            *(
                f"{f.fixings.on_wires:,}; {f.fixings.on_posts:,}; {f.fixings.in_laps:,}; {f.fixings.in_joint:,}, "
                f"{show.length(f.fixings.joint_length)}"
                for f in fences
            ),
        ),
        ("Pegs that hold the apron down", *(f"{f.fixings.anchors:,}" for f in fences)),
        ("Gates, of them in airlocks", *(f"{f.gates}, {f.airlocks}" for f in fences)),
        (
            "Panels bend at most, where; what they can take",
            *(
                f"{show.slope(f.largest_deflection_deg)} at chainage {show.length(f.deflection_chainage)}; "
                f"{source.project.fence.max_panel_deflection_deg:g}°"
                for f in fences
            ),
        ),
    ]
    heads = (
        ("Part of the fence", "name"),
        *((f"Pack {f.pack}" if source.several else "Quantity", "figure") for f in fences),
    )
    note = small(
        "Posts at bends are strutted and are left out of the last row. Each gate has a second one at the inner end of "
        "its airlock, where there is one. Ties and pegs rust as the mesh does: take the same wire and zinc."
    )
    return Section("What the fence takes", (table("What the fence takes", heads, rows), note), source.section("fence"))
