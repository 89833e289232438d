"""plots/<plot>/index.html: everything of one plot, for who builds and who judges."""

from pathlib import Path

from packpale.review.pages.render import Page
from packpale.review.report.blocks import link
from packpale.review.report.cautions import before_digging
from packpale.review.report.notes import notes_section
from packpale.review.report.plot import PlotReport, page_blocks
from packpale.review.report.source import PlotSource
from packpale.review.summary import notes


def write_plot_page(source: PlotSource, report: PlotReport, folder: Path) -> None:
    """Write index.html into ``folder``, where the plot's other files lie."""
    cautions = before_digging(source.section("cautions")) if source.result.enclosure.feasible else None
    known = notes_section(
        notes(source.result), source.show, several_packs=source.several, address=source.section("notes")
    )
    Page(
        address=source.file("index.html"),
        title=source.plot_id,
        kicker=source.project.title,
        blocks=page_blocks(source, report, (s for s in (cautions, known) if s is not None)),
        others=(
            link("All plots", "index.html"),
            link("Map of this plot", source.file("map.html")),
            link("What it rests on", "basis.html"),
            link("Workbook", "quantities.xlsx"),
        ),
        pictures={source.file(f.name): f for f in folder.iterdir()},
    ).write(folder / "index.html")
