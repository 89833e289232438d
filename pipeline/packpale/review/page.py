"""index.html: the decision first, then each plot, then what the figures rest on."""

import base64
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from urllib.parse import quote

from packpale.review.assumed import assumptions, backed
from packpale.review.certainty import overtaking_sentences, place_bars, places_text
from packpale.review.digging import driver_chart
from packpale.review.guidance import guidance_table
from packpale.review.headlines import in_short
from packpale.review.method import METHOD
from packpale.review.model import FinishedPlots, PlotBrief, PlotSummary, RankedPlot, Ranking
from packpale.review.overview_map import plot_map_address
from packpale.review.report import write_report
from packpale.review.settings_in_words import ON_THE_PAGE, named_settings
from packpale.review.size_prices import size_prices
from packpale.review.templating import render
from packpale.review.wording import Wording
from packpale.settings import Project

SHORT_NOTES = 9
"""Notes that a plot's own page shows in short; with more it would not stay one page of the report."""
HELD_BY = 2
"""Kinds of limit that are named as holding a line, the most frequent first."""
EMBEDDED_BYTES = 24_000_000
"""Pictures are put into the page up to this size in all; with many plots the rest is linked to."""
SHOWN_LAYERS = ("fence_lines", "touches")
"""Layers of a plot from which the page tells something."""


@dataclass(frozen=True)
class Picture:
    """One picture of a card."""

    source: str
    """Data link, or relative address."""
    alt: str


@dataclass(frozen=True)
class Card:
    """What the page says of one plot."""

    place: RankedPlot
    summary: PlotSummary | PlotBrief
    """The whole of a plot that is told of in full."""
    pictures: Mapping[str, Picture]
    map_address: str
    folder_address: str


def write_page(
    finished: FinishedPlots,
    ranking: Ranking,
    project: Project,
    wording: Wording,
    *,
    record: Mapping[str, Any],
    path: Path,
    plots: Path,
) -> None:
    """Write index.html; pictures are taken from the plots' folders inside ``plots``."""
    budget = _Budget(EMBEDDED_BYTES)
    told = project.ranking.told_in_full
    cards = [
        _told_card(place, finished[place.plot_id], plots, budget)
        if n < told
        else _card(place, finished.briefs[place.plot_id], {})
        for n, place in enumerate(ranking.rows)
    ]
    failed = {k: p["reason"] for k, p in record.get("plots", {}).items() if p["status"] == "failed"}
    sentences = [*record.get("warnings", ()), *failed.values(), *ON_THE_PAGE]
    sentences += [str(card.summary.figures["reason"]) for card in cards]
    sentences += [note for card in cards[:told] for note in card.summary.notes]
    text = render(
        "index.html",
        project=project,
        show=wording,
        cards=cards,
        told=cards[:told],
        address_of=lambda index: f"#plot-{index + 1}" if index < told else cards[index].map_address,
        warnings=_warnings(record.get("warnings", ()), cards, told, wording),
        winners=[c for c in cards if c.place.feasible],
        record=record,
        failed=failed,
        assumptions=list(assumptions(project)),
        named=list(named_settings(sentences, project)),
        backed=list(backed(project)),
        method=METHOD,
        guidance=guidance_table(project, wording),
        bars=place_bars(ranking)[:told],
        places_text=places_text,
        overtaking=list(overtaking_sentences(ranking)),
        size_prices=size_prices(
            [(c.place.plot_id, finished.briefs[c.place.plot_id].alternatives) for c in cards],
            share=project.enclosure.line_over_limits,
            wording=wording,
        ),
        limits_of=_limits,
        holds_of=_holds,
        notes_of=_notes,
        in_short=lambda notes: in_short(notes, SHORT_NOTES, wording.told),
        chart_of=driver_chart,
    )
    path.write_bytes(text.encode("utf-8"))
    write_report(text, path.with_name("report.pdf"), title=project.title, plots=plots)


def _warnings(lines: Sequence[str], cards: Sequence[Card], told: int, wording: Wording) -> list[str]:
    """Warnings of the run but what stands with a plot, and those of plots beyond the first ``told``.

    A plot's own name stays as it is.
    """
    by_id = {card.place.plot_id: (n, card.summary.notes) for n, card in enumerate(cards)}
    kept = []
    for line in lines:
        # The longest name that fits: one plot may be called as another and a colon.
        named = max((i for i in by_id if line.startswith(f"{i}: ")), key=len, default=None)
        if named is None:
            kept.append(wording.told(line))
            continue
        said, (place, notes) = line.removeprefix(f"{named}: "), by_id[named]
        if place < told and said not in notes:
            kept.append(f"{named}: {wording.told(said)}")
    return kept


def _notes(summary: PlotSummary) -> list[str]:
    """A plot's notes; where there is one pack only, nobody has to be told at each which one it is."""
    if len(summary.layers["fence_lines"]) != 1:
        return list(summary.notes)
    plain = [re.sub(r"^Pack \d+(?:: |, )", "", note) for note in summary.notes]
    return [f"{note[:1].upper()}{note[1:]}" for note in plain]


def _limits(summary: PlotSummary) -> list[Mapping[str, Any]]:
    """What takes land away from a plot, the largest part first."""
    return sorted(summary.details["limits"], key=lambda limit: -limit["share"])


def _holds(summary: PlotSummary) -> list[str]:
    """A sentence for each pack on what its fence line touches, the most frequent first."""
    packs = [line["pack"] for line in summary.layers["fence_lines"]]
    drawn = [line["pack"] for line in summary.layers["fence_lines"] if line["origin"] == "drawn"]
    sentences = ["The fence line was given and is used as it is; nothing was fitted."] if drawn else []
    for pack in packs:
        if pack in drawn:
            continue
        counts = Counter(row["limit"] for row in summary.layers.get("touches", ()) if row["pack"] == pack)
        held = [f"{limit} ({n} {'place' if n == 1 else 'places'})" for limit, n in counts.most_common(HELD_BY)]
        if len(counts) > HELD_BY:
            held.append(f"{len(counts) - HELD_BY} other limits that its map shows")
        text = f"The line is held by: {', '.join(held)}." if held else "The line has room on all sides."
        sentences.append(f"Pack {pack}: {text[0].lower()}{text[1:]}" if len(packs) > 1 else text)
    return sentences


class _Budget:
    """Bytes that may still go into the page."""

    def __init__(self, left: int) -> None:
        self.left = left

    def take(self, wanted: int) -> bool:
        if wanted > self.left:
            return False
        self.left -= wanted
        return True


def _card(place: RankedPlot, summary: PlotSummary | PlotBrief, pictures: Mapping[str, Picture]) -> Card:
    return Card(place, summary, pictures, plot_map_address(summary.folder), f"plots/{quote(summary.folder)}/")


def _told_card(place: RankedPlot, summary: PlotSummary, plots: Path, budget: _Budget) -> Card:
    name = place.plot_id
    fits = bool(summary.layers["fence_lines"])
    alts = {
        "picture": f"Map of plot {name}: relief, usable land"
        + (", fence line, apron and gates; north of the grid is up." if fits else "; no enclosure fits."),
        "section": f"Section through trench, buried mesh and fence of plot {name}.",
        "profile": f"Profile along the fence line of plot {name}: ground, trench, rock and water against chainage.",
    }
    files = {"picture": "picture.png", "section": "section_small.svg", "profile": "profile_small.svg"}
    shown = ("picture", "section", "profile") if summary.earthworks else ("picture",)
    pictures = {key: Picture(_source(plots, summary.folder, files[key], budget), alts[key]) for key in shown}
    # Of its layers, nine tenths of a summary, the page looks at two.
    return _card(
        place, replace(summary, layers={name: summary.layers.get(name, ()) for name in SHOWN_LAYERS}), pictures
    )


def _source(plots: Path, folder: str, name: str, budget: _Budget) -> str:
    file = plots / folder / name
    if file.is_file() and budget.take(file.stat().st_size):
        kind = "svg+xml" if file.suffix == ".svg" else "png"
        return f"data:image/{kind};base64," + base64.b64encode(file.read_bytes()).decode("ascii")
    return f"plots/{quote(folder)}/{name}"
