"""The whole report: which sections the page of the decision has, and which the print has, in their order."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from packpale.review.report import front
from packpale.review.report.basis import basis
from packpale.review.report.blocks import Block, Chart, Section
from packpale.review.report.front import RunSource
from packpale.review.report.plot import PlotReport


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


def run_report(
    source: RunSource, plots: Mapping[str, PlotReport], overview: Chart | None, notes: Sequence[str]
) -> RunReport:
    """The report of a run. ``plots`` has the reports of those plots that are told in full, ``notes`` concern all."""
    head = front.verdict(source)
    ranking = front.ranking(source, overview)
    first = (front.left_out(), front.cautions())
    figures = front.more_figures(source)
    sheets = tuple(_ranked(source, number, plots) for number in range(len(source.told)))
    after = (front.how_sure(source), *sheets, front.others(source), front.run_notes(source, notes))
    rests_on = basis(source.project, source.show, source.record)
    details = tuple(
        Section(f"{place.plot_id}: in detail", plots[place.plot_id].sections, f"{source.plot_page(place)}#detail")
        for place in source.told
    )
    folded = replace(figures, look="folded") if figures else None
    return RunReport(
        head=head,
        index=_there(ranking, *first, folded, *after),
        basis=rests_on,
        printed=(*head, *_there(ranking, *first, figures, *after, *details, *rests_on)),
    )


def _ranked(source: RunSource, number: int, plots: Mapping[str, PlotReport]) -> Section:
    place = source.told[number]
    sheet = plots[place.plot_id].sheet
    return replace(sheet, id=f"{front.PAGE}#plot-{number + 1}", mark=str(place.rank) if place.rank is not None else "")


def _there(*sections: Section | None) -> tuple[Section, ...]:
    return tuple(s for s in sections if s is not None)
