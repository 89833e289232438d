"""The drawings of one plot: each as SVG, and all of them as one PDF to print."""

import dataclasses
from collections.abc import Callable, Iterator
from pathlib import Path

from packpale.review.drawings.gate_sheets import gate_sheet, gates_of
from packpale.review.drawings.holds_sheet import holds_sheet, small_holds
from packpale.review.drawings.paper import write_pdf, write_svg
from packpale.review.drawings.peg_sheets import peg_pages, peg_sheet
from packpale.review.drawings.plan_sheet import plan_sheet
from packpale.review.drawings.profile_sheet import profile_sheet
from packpale.review.drawings.section_sheet import section_sheet
from packpale.review.drawings.sections_sheet import sections_sheet
from packpale.review.drawings.sheet import NOT_STATED, Sheet, Title
from packpale.review.drawings.small_drawings import small_profile, small_section
from packpale.review.model import PlotResult
from packpale.review.words import Wording
from packpale.settings import Project

Draw = Callable[[PlotResult, Project, Wording, Title], Sheet]
DRAWINGS: dict[str, tuple[str, Draw]] = {
    "section": ("Section", section_sheet),
    "profile": ("Long profile", profile_sheet),
    "plan": ("Plan", plan_sheet),
    "holds": ("Will it hold?", holds_sheet),
    "sections": ("Sections along the line", sections_sheet),
}
"""File name, name in the title block, and what draws it; in the PDF the gates and the table of pegs follow."""
SMALL: dict[str, Draw] = {"section": small_section, "profile": small_profile, "holds": small_holds}
"""Those that there are small too."""


def write_drawings(result: PlotResult, project: Project, wording: Wording, folder: Path) -> None:
    """Write section.svg, profile.svg, plan.svg, holds.svg, sections.svg and drawings.pdf, A4 lying, to scale.

    Section, profile and ring also small; gates and the table of pegs in the PDF alone.

    Where nothing fits there is the section alone, and neither PDF nor small ones.
    """
    sheets = dict(_sheets(result, project, wording))
    for name in sheets.keys() & DRAWINGS.keys():
        write_svg(sheets[name], folder / f"{name}.svg")
    if len(sheets) > 1:
        for name, draw in SMALL.items():
            write_svg(draw(result, project, wording, sheets[name].title), folder / f"{name}_small.svg")
        title = f"{project.title}, plot {result.site.plot_id}: drawings"
        write_pdf(list(sheets.values()), folder / "drawings.pdf", title=title)


def _sheets(result: PlotResult, project: Project, wording: Wording) -> Iterator[tuple[str, Sheet]]:
    complete = bool(result.earthworks and result.enclosure.packs)
    pegs = peg_pages(result, project) if complete else []
    gates = gates_of(result, project) if complete else []
    title = Title(
        project.title,
        result.site.plot_id,
        drawing="",
        number=0,
        sheets=len(DRAWINGS) + len(gates) + len(pegs) if complete else 1,
        scale="",
        crs=_crs_text(result.site.crs),
        units="Coordinates in metres, all else in feet." if wording.imperial else "All in metres.",
        heights=project.drawings.height_datum or NOT_STATED,
        data_date=project.maps.data_date or NOT_STATED,
        date=project.drawings.date or NOT_STATED,
        revision=project.drawings.revision or NOT_STATED,
    )
    for k, (name, (drawing, draw)) in enumerate(DRAWINGS.items(), 1):
        if complete or name == "section":
            yield name, draw(result, project, wording, dataclasses.replace(title, drawing=drawing, number=k))
    for k, gate in enumerate(gates, len(DRAWINGS) + 1):
        yield f"gate-{k}", gate_sheet(gate, result, project, wording, dataclasses.replace(title, number=k))
    for k, page in enumerate(pegs, len(DRAWINGS) + len(gates) + 1):
        yield f"pegs-{k}", peg_sheet(page, dataclasses.replace(title, drawing="Pegs", number=k))


def _crs_text(crs: str) -> str:
    """Code and name of a CRS; its name alone where it has no code."""
    from pyproj import CRS

    known = CRS.from_user_input(crs)
    authority = known.to_authority()
    return f"{':'.join(authority)} {known.name}" if authority else str(known.name)
