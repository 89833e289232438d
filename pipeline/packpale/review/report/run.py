"""The whole report: which sections the page of the decision has, and which the print has, in their order."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from packpale.review.report import front
from packpale.review.report.basis import basis
from packpale.review.report.blocks import Block, Chart, Section, paragraph
from packpale.review.report.cautions import before_digging
from packpale.review.report.front import RunSource
from packpale.review.report.notes import gravest, notes_section
from packpale.review.report.plot import PlotReport
from packpale.review.report.sheet import on_paper
from packpale.review.report.sizes import sizes
from packpale.review.words.notes import told_once
from packpale.values.cautions import caution
from packpale.values.notes import Note

MOST_PRINTED = 100
"""Rows of the ranking in print: of more plots the page and the tables tell."""


@dataclass(frozen=True)
class RunReport:
    """All that is told of a run."""

    head: tuple[Block, ...]
    """The verdict."""
    index: tuple[Section, ...]
    """Sections of the page of the decision."""
    basis: tuple[Section, ...]
    printed: tuple[Block, ...]
    """The report for print: the same sections, then what the plots' pages and the page of the basis hold."""


def run_report(source: RunSource, plots: Mapping[str, PlotReport], overview: Chart | None) -> RunReport:
    """The report of a run. ``plots`` has the reports of those plots that are told in full."""
    briefs = source.finished.briefs
    fitting = {name for name, brief in briefs.items() if brief.figures["feasible"]}
    notes = told_once(source.finished.notes, {name: brief.notes for name, brief in briefs.items()}, fitting)
    head = front.verdict(source)
    ranking = front.ranking(source, overview)
    left_out = Section("What the prices leave out", (paragraph(caution("left_out")),), f"{front.PAGE}#left-out")
    # What every plot has in common is told once, so that the gravest of it has to stand before the sheets.
    first = (left_out, before_digging(f"{front.PAGE}#cautions"), front.run_notes(source, notes.run))
    costs = sizes(source)
    figures = front.more_figures(source)
    first_figures = front.more_figures(source, MOST_PRINTED)
    names = [place.plot_id for place in source.told]
    told = [_told(source, number, plots[name], notes.plots[name]) for number, name in enumerate(names)]
    sheets, details = (tuple(parts[k] for parts in told) for k in (0, 1))
    sure, others = front.how_sure(source), front.others(source)
    rests_on = basis(source.project, source.show, source.record)
    folded = replace(figures, look="folded") if figures else None
    return RunReport(
        head=head,
        index=_there(ranking, costs, *first, folded, sure, *sheets, others),
        basis=rests_on,
        printed=(
            *head,
            *_there(front.ranking(source, overview, MOST_PRINTED), *first, first_figures, costs, sure, others),
            *_there(*map(on_paper, sheets), *details, *rests_on),
        ),
    )


def _told(source: RunSource, number: int, report: PlotReport, notes: Sequence[Note]) -> tuple[Section, Section]:
    """A plot that is told in full, with its place and what it alone has to say: its sheet, and its details."""
    place, show = source.told[number], source.show
    page = source.plot_page(place)
    several, address = len(source.brief(place).earthworks) > 1, f"{page}#notes"
    found = gravest(notes, show, several_packs=several, address=address)
    # Several sheets stand on one page, where an address can only be had once.
    blocks = (replace(b, id="") if isinstance(b, Section) else b for b in report.sheet.blocks)
    sheet = replace(
        report.sheet,
        id=f"{front.PAGE}#plot-{number + 1}",
        mark=str(place.rank) if place.rank is not None else "",
        blocks=(*blocks, *_there(found)),
    )
    known = notes_section(notes, show, several_packs=several, address=address)
    return sheet, Section(f"{place.plot_id}: in detail", (*_there(known), *report.sections), f"{page}#detail")


def _there(*sections: Section | None) -> tuple[Section, ...]:
    return tuple(s for s in sections if s is not None)
