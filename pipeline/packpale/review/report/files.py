"""The files of one plot, and what each is for."""

from pyproj import CRS

from packpale.review.report.blocks import Block, Columns, File, Files, Picture, Section, paragraph, words
from packpale.review.report.source import PlotSource
from packpale.site.crs import shown

SETTING_OUT = (
    ("pegging.txt", "how to peg the line by instrument and tape, step by step, with checks"),
    ("pegs.csv", "every peg with its coordinates, from the instrument and from the chord of two main pegs"),
    ("points.csv", "stakes and pegs as name, E, N, Z and code, for instruments; {crs}, metres"),
    ("plan.dxf", "the plan for design software, arcs as true arcs; {crs}, metres"),
    ("arcs.csv", "centres and radii of the arcs"),
    ("setting_out.csv", "points along the line with ground and bottom of the trench"),
    ("fence_line.gpx", "the line for a hand-held receiver"),
    ("alignment.xml", "the line as LandXML 1.2"),
    ("patrol.gpx", "the round along the fence for a receiver"),
)
RING = (
    ("holds.csv", "this table"),
    ("holds.svg", "the ring as a sheet, which is in drawings.pdf too"),
)
DAYS = (("programme.csv", "every day with its stretch, hours and amounts"),)
DRAWN = (
    (
        "drawings.pdf",
        "section, long profile, plan, ring, sections, gates, to scale when printed at 100 % on A4; table of pegs",
    ),
    ("section.svg", "the section"),
    ("profile.svg", "the long profile"),
    ("plan.svg", "the plan with the centres of the arcs and what lies round the line"),
    ("sections.svg", "sections where rock, water and banks are median and worst"),
)
LAYERS = (
    ("layers.gpkg", "all lines, points and areas of this plot"),
    ("slope_deg.tif", "slope"),
    ("wetness.tif", "wetness"),
    ("ponding_m.tif", "depth of ponding"),
    ("diggability.tif", "diggability"),
    ("suitability.tif", "suitability"),
)


def drawings(source: PlotSource) -> Section:
    """Section and profile, and the files to build from."""
    small = (
        ("section", "Section", f"Section through trench, buried mesh and fence of plot {source.plot_id}."),
        (
            "profile",
            "Profile along the fence",
            f"Profile along the fence line of plot {source.plot_id}: ground, trench, rock and water against chainage.",
        ),
    )
    pictures = tuple(
        (Picture(source.file(f"{name}_small.svg"), alt, words(title), source.file(f"{name}.svg")),)
        for name, title, alt in small
    )
    blocks: list[Block] = [
        Columns(pictures),
        file_list(source, DRAWN),
        paragraph("For setting out. Review them before anybody builds from them; nothing here replaces a surveyor."),
        file_list(source, SETTING_OUT),
    ]
    return Section("Drawings and setting out", tuple(blocks), source.section("drawings"))


def layers(source: PlotSource) -> Section:
    """What a GIS opens."""
    return Section("For a GIS", (file_list(source, LAYERS),), source.section("layers"))


def file_list(source: PlotSource, files: tuple[tuple[str, str], ...]) -> Files:
    """Some of the plot's files, each by its name with what it is for."""
    crs = shown(CRS.from_user_input(source.result.site.crs))
    return Files(tuple(File(source.file(name), words(said.format(crs=crs))) for name, said in files))
