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
    told = [_ToldPlot(source, number, plots, notes.plots) for number in range(len(source.told))]
    sheets = tuple(plot.sheet() for plot in told)
    sure, others = front.how_sure(source), front.others(source)
    details = tuple(plot.details() for plot in told)
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


class _ToldPlot:
    """A plot that is told in full, with its place and what it alone has to say."""

    def __init__(
        self, source: RunSource, number: int, plots: Mapping[str, PlotReport], notes: Mapping[str, Sequence[Note]]
    ) -> None:
        self.place = source.told[number]
        self.address = f"{front.PAGE}#plot-{number + 1}"
        self.page = source.plot_page(self.place)
        self.report = plots[self.place.plot_id]
        self.notes = notes[self.place.plot_id]
        self.several = len(source.brief(self.place).earthworks) > 1
        self.show = source.show

    def sheet(self) -> Section:
        found = gravest(self.notes, self.show, several_packs=self.several, address=f"{self.page}#notes")
        mark = str(self.place.rank) if self.place.rank is not None else ""
        sheet = self.report.sheet
        # Several sheets stand on one page, where an address can only be had once.
        blocks = (replace(b, id="") if isinstance(b, Section) else b for b in sheet.blocks)
        return replace(sheet, id=self.address, mark=mark, blocks=(*blocks, *_there(found)))

    def details(self) -> Section:
        known = notes_section(self.notes, self.show, several_packs=self.several, address=f"{self.page}#notes")
        sections = (*_there(known), *self.report.sections)
        return Section(f"{self.place.plot_id}: in detail", sections, f"{self.page}#detail")


def _there(*sections: Section | None) -> tuple[Section, ...]:
    return tuple(s for s in sections if s is not None)
