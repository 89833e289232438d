"""index.html, for who decides, and basis.html, for who asks where the figures come from."""

from collections.abc import Sequence
from pathlib import Path

from packpale.review.pages.render import Page
from packpale.review.report.blocks import Block, Section, link, pictures_of
from packpale.review.report.front import RunSource
from packpale.review.words import counted


def write_index(
    source: RunSource, head: Sequence[Block], sections: Sequence[Section], path: Path, *, plots: Path
) -> None:
    """Write the page of the decision; pictures come from the plots' folders in ``plots``."""
    count = len(source.ranking.rows)
    pages = (link(row.plot_id, source.plot_page(row)) for row in source.told)
    Page(
        address="index.html",
        title=source.project.title,
        kicker=f"Where the wolves could live: {counted(count, 'candidate plot')} compared",
        head=head,
        blocks=sections,
        others=(
            link("Map of all plots", "map.html"),
            link("Report to print", "report.pdf"),
            link("Workbook with live rates", "quantities.xlsx"),
            link("What it rests on", "basis.html"),
            *pages,
        ),
        pictures=pictures_of(sections, plots),
    ).write(path)


def write_basis(source: RunSource, sections: Sequence[Section], path: Path) -> None:
    """Write the page of what the run rests on."""
    Page(
        address="basis.html",
        title="What the figures rest on",
        kicker=source.project.title,
        blocks=sections,
        others=(link("All plots", "index.html"), link("Report to print", "report.pdf")),
    ).write(path)
