"""What takes land from a plot, and what holds its fence line."""

from collections import Counter
from collections.abc import Iterator

from packpale.review.report.blocks import Block, Section, Share, Shares, paragraph, small, words
from packpale.review.report.source import PlotSource
from packpale.review.subjects.line import touched
from packpale.review.words import counted

HELD_BY = 2
"""Kinds of limit that are named as holding a line, the most frequent first."""


def limits(source: PlotSource) -> Section | None:
    """Parts of the plot that limits take, the largest first, and what each line touches."""
    show = source.show
    found = sorted(source.result.land.limits, key=lambda limit: -limit.share)
    blocks: list[Block] = []
    if found:
        rows = (Share(limit.share, show.percent(limit.share), words(show.say(limit.name))) for limit in found)
        blocks += [Shares(tuple(rows)), small("Parts of the plot’s area; they may overlap.")]
    blocks += [paragraph(said) for said in _held(source)]
    return Section("What limits this plot", tuple(blocks), source.section("limits")) if blocks else None


def _held(source: PlotSource) -> Iterator[str]:
    """A sentence for each pack on what its fence line touches."""
    packs = source.result.enclosure.packs
    if any(pack.given is not None for pack in packs):
        yield "The fence line was given and is used as it is; nothing was fitted."
    for pack in packs:
        if pack.given is not None:
            continue
        counts = Counter(source.show.say(touched(touch)) for touch in pack.touches)
        held = [f"{limit} ({counted(n, 'place')})" for limit, n in counts.most_common(HELD_BY)]
        if len(counts) > HELD_BY:
            held.append(f"{len(counts) - HELD_BY} other limits that its map shows")
        text = f"The line touches: {', '.join(held)}." if held else "The line has room on all sides."
        yield f"Pack {pack.number}: {text[0].lower()}{text[1:]}" if source.several else text
