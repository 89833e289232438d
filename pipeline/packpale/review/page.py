"""index.html: the decision first, then each plot, then what the figures rest on."""

import base64
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from urllib.parse import quote

from packpale.review.assumed import assumptions, backed
from packpale.review.certainty import overtaking_sentences, place_bars, places_text
from packpale.review.digging import driver_chart
from packpale.review.guidance import guidance_table
from packpale.review.method import METHOD
from packpale.review.model import FinishedPlots, PlotBrief, PlotSummary, RankedPlot, Ranking
from packpale.review.overview_map import plot_map_address
from packpale.review.report import write_report
from packpale.review.size_prices import size_prices
from packpale.review.templating import render
from packpale.review.words import Wording
from packpale.review.words.notes import in_short, told_once
from packpale.review.words.settings import ON_THE_PAGE, named_settings
from packpale.settings import Project
from packpale.values.notes import Note, Phrase, Value, phrase

SHORT_NOTES = 9
"""Notes that a plot's own page shows in short; with more it would not stay one page of the report."""
HELD_BY = 2
"""Kinds of limit that are named as holding a line, the most frequent first."""
EMBEDDED_BYTES = 24_000_000
"""Pictures are put into the page up to this size in all; with many plots the rest is linked to."""
SHOWN_LAYERS = ("fence_lines",)
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
    notes = told_once(finished.notes, {card.place.plot_id: card.summary.notes for card in cards})
    settings = [*ON_THE_PAGE, *(k for c in cards if (why := c.summary.phrases.reason) for k in why.settings)]
    settings += [
        key
        for some in (notes.run, *(notes.plots[card.place.plot_id] for card in cards[:told]))
        for note in some
        for key in note.settings
    ]
    text = render(
        "index.html",
        project=project,
        show=wording,
        cards=cards,
        told=cards[:told],
        address_of=lambda index: f"#plot-{index + 1}" if index < told else cards[index].map_address,
        warnings=[_of_run(note, wording) for note in notes.run],
        winners=[c for c in cards if c.place.feasible],
        record=record,
        failed=failed,
        assumptions=list(assumptions(project)),
        named=list(named_settings(settings, project)),
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
        notes_of=lambda plot, several: [wording.note(n, several_packs=several).text for n in notes.plots[plot]],
        in_short=lambda plot, several: in_short(notes.plots[plot], SHORT_NOTES, wording, several_packs=several),
        chart_of=driver_chart,
    )
    path.write_bytes(text.encode("utf-8"))
    write_report(text, path.with_name("report.pdf"), title=project.title, plots=plots)


def _of_run(note: Note, wording: Wording) -> str:
    """A note of the run in full, with the name of the plot that it concerns."""
    text = wording.note(note).text
    return f"{note.plot}: {text}" if note.plot else text


def _limits(summary: PlotSummary) -> list[tuple[Phrase, float]]:
    """What takes land away from a plot, the largest part first."""
    return sorted(summary.phrases.limits, key=lambda limit: -limit[1])


def _holds(summary: PlotSummary) -> list[Phrase]:
    """What each pack's fence line touches, the most frequent first."""
    packs = [line["pack"] for line in summary.layers["fence_lines"]]
    drawn = [line["pack"] for line in summary.layers["fence_lines"] if line["origin"] == "drawn"]
    sentences = [phrase("The fence line was given and is used as it is; nothing was fitted.")] if drawn else []
    for pack in packs:
        if pack in drawn:
            continue
        counts = Counter(what for number, what in summary.phrases.touched if number == pack)
        held = [
            phrase(f"{{what}} ({{n}} {'place' if n == 1 else 'places'})", what=what, n=n)
            for what, n in counts.most_common(HELD_BY)
        ]
        if len(counts) > HELD_BY:
            held.append(phrase("{n} other limits that its map shows", n=len(counts) - HELD_BY))
        text = "he line is held by: {held}." if held else "he line has room on all sides."
        values: dict[str, Value] = {"held": tuple(held)} if held else {}
        of_pack: dict[str, Value] = {"pack": pack} if len(packs) > 1 else {}
        sentences.append(Phrase(f"Pack {{pack}}: t{text}" if of_pack else f"T{text}", {**values, **of_pack}))
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
