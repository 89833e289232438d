"""Everything that is told of one plot: its sheet, and the sections of its own page."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from packpale.review.report import (
    climbing,
    digging,
    fence,
    files,
    gates,
    holding,
    holds,
    inside,
    limits,
    order,
    people,
    price,
    water,
)
from packpale.review.report.bill import bill_section
from packpale.review.report.blocks import Block, Section, from_plain, plain
from packpale.review.report.cautions import before_digging
from packpale.review.report.notes import notes_section
from packpale.review.report.programme import programme_section
from packpale.review.report.sheet import plot_sheet
from packpale.review.report.source import PlotSource
from packpale.review.summary import notes


@dataclass(frozen=True)
class PlotReport:
    """A plot's part of the report."""

    sheet: Section
    sections: tuple[Section, ...]
    """In the order of its page: what may go wrong, then what is built, then files."""

    @property
    def blocks(self) -> tuple[Section, ...]:
        """All of it."""
        return (self.sheet, *self.sections)

    def to_plain(self) -> dict[str, Any]:
        return {"sheet": plain(self.sheet), "sections": plain(self.sections)}


def report_from_plain(value: Any) -> PlotReport:
    """The report that ``to_plain`` made plain.

    Raises KeyError or TypeError if it is none.
    """
    return PlotReport(from_plain(value["sheet"]), from_plain(value["sections"]))


def plot_report(source: PlotSource) -> PlotReport:
    """All sections that this plot has."""
    fits = bool(source.result.enclosure.packs and source.result.earthworks and source.result.care)
    sections = [*(_fitted(source) if fits else ()), limits.limits(source), files.layers(source)]
    return PlotReport(plot_sheet(source), tuple(s for s in sections if s is not None))


def page_blocks(source: PlotSource, report: PlotReport) -> tuple[Block, ...]:
    """A plot's own page: the sheet with whether it holds told in full, cautions, notes, then all other sections."""
    result = source.result
    cautions = before_digging(source.section("cautions")) if result.enclosure.feasible else None
    known = notes_section(notes(result), source.show, several_packs=source.several, address=source.section("notes"))
    further = tuple(section for section in (cautions, known) if section is not None)
    if not result.enclosure.packs or result.care is None:
        return (*report.sheet.blocks, *further, *report.sections)
    brief = source.section("holding")
    sheet = (b for b in report.sheet.blocks if not (isinstance(b, Section) and b.id == brief))
    return (*sheet, holds.holds_section(source), *further, *_with_more(source, report.sections))


def _with_more(source: PlotSource, sections: Iterable[Section]) -> Iterator[Section]:
    """The sections, behind some what the page alone tells on demand."""
    behind = {
        source.section("crossings"): (water.all_crossings(source),),
        source.section("fence"): (gates.gate_sheet(source), order.order_of_work(source)),
        source.section("machine"): (programme_section(source),),
    }
    for section in sections:
        yield section
        yield from (more for more in behind.get(section.id, ()) if more is not None)


def _fitted(source: PlotSource) -> list[Section | None]:
    works = source.works
    return [
        holding.digging_out(source),
        climbing.climbing(source),
        inside.inside(source),
        water.crossings(source),
        people.round_section(source),
        digging.trench_safety(source) if works.safety else None,
        fence.fence_section(source) if works.fences else None,
        bill_section(source),
        price.how_sure(source, works.uncertainty) if works.uncertainty else None,
        digging.machine(source) if works.plant or works.haul else None,
        people.howls(source),
        people.views(source),
        people.between_packs(source),
        people.dens(source),
        files.drawings(source),
    ]
