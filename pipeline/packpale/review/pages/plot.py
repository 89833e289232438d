"""plots/<plot>/index.html: everything of one plot, for who builds and who judges."""

from pathlib import Path

from packpale.review.pages.render import Page
from packpale.review.report.blocks import link
from packpale.review.report.plot import PlotReport, page_blocks
from packpale.review.report.source import PlotSource


def write_plot_page(source: PlotSource, report: PlotReport, folder: Path) -> None:
    """Write index.html into ``folder``, where the plot's other files lie."""
    Page(
        address=source.file("index.html"),
        title=source.plot_id,
        kicker=source.project.title,
        blocks=page_blocks(source, report),
        others=(
            link("All plots", "index.html"),
            link("Map of this plot", source.file("map.html")),
            link("What it rests on", "basis.html"),
            link("Workbook", "quantities.xlsx"),
        ),
        pictures={source.file(f.name): f for f in folder.iterdir()},
    ).write(folder / "index.html")
