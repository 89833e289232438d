"""What a reader must know of a plot, the gravest first."""

from packpale.review.headlines import in_short
from packpale.review.report.blocks import Section, Words, points, words
from packpale.review.report.source import PlotSource
from packpale.review.summary import notes


def gravest(source: PlotSource, most: int) -> tuple[list[Words], int]:
    """The gravest notes in a line each, and how many more there are."""
    found = in_short(notes(source.result), most, source.show.told)
    return [words(line) for line in found.lines], found.more


def notes_section(source: PlotSource) -> Section | None:
    """All of them in full."""
    told = [source.show.told(note) for note in notes(source.result)]
    return Section("What has to be known", (points(told),), source.section("notes")) if told else None
