"""A run's notes: what concerns all plots is told once, the gravest first, each in a line or in full."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from packpale.review.words.quantities import plain
from packpale.review.words.wording import FILES, Wording
from packpale.values.notes import Note, ordered

LONGEST = 112
"""Signs that a lead may have: one line of the report. A longer one is cut, and ends in an ellipsis."""


@dataclass(frozen=True)
class RunNotes:
    """The notes of a run, the gravest first."""

    run: tuple[Note, ...]
    """What concerns the whole run, or every plot."""
    plots: Mapping[str, tuple[Note, ...]]
    """What concerns each plot alone, by plot."""


def told_once(run: Sequence[Note], plots: Mapping[str, Sequence[Note]], fitting: Collection[str]) -> RunNotes:
    """The notes of the whole run and of its plots, those that all of several plots share among the run's.

    Of plots on which nothing fits little is known to say: what the others share counts, those that are ``fitting``.
    """
    own = {plot: [*(n for n in run if n.plot == plot), *notes] for plot, notes in plots.items()}
    shared: list[Note] = []
    compared = [set(notes) for plot, notes in own.items() if plot in fitting]
    if len(compared) > 1:
        everywhere = set.intersection(*compared)
        shared = [note for notes in own.values() for note in notes if note in everywhere]
    of_run = [*(n for n in run if n.plot not in plots), *shared]
    return RunNotes(
        tuple(ordered(each_once(of_run))),
        {plot: tuple(ordered(each_once(n for n in notes if n not in shared))) for plot, notes in own.items()},
    )


def each_once(notes: Iterable[Note]) -> list[Note]:
    """The notes without those that stand before."""
    return list(dict.fromkeys(notes))


def in_short(notes: Sequence[Note], most: int, wording: Wording, *, several_packs: bool) -> list[str]:
    """The gravest notes, at most so many, in a line each."""
    leads = (wording.note(note, several_packs=several_packs).lead for note in ordered(notes)[:most])
    return list(map(_one_line, leads))


def for_files(run: Sequence[Note], plots: Mapping[str, Sequence[Note]]) -> list[str]:
    """All notes as sentences for other programs: SI, settings by their keys, a plot's own after its name."""
    return _listed(run, plots, FILES)


def as_messages(run: Sequence[Note], plots: Mapping[str, Sequence[Note]], *, imperial: bool) -> list[str]:
    """The same for a terminal: metric and by key, as files and settings are, for an ``imperial`` reader feet too."""
    return _listed(run, plots, replace(FILES, feet_too=imperial))


def for_a_file(note: Note) -> str:
    """One of them, without the name of its plot."""
    return plain(FILES.note(note).text)


def _listed(run: Sequence[Note], plots: Mapping[str, Sequence[Note]], wording: Wording) -> list[str]:
    def said(note: Note) -> str:
        return plain(wording.note(note).text)

    lines = [f"{note.plot}: {said(note)}" if note.plot else said(note) for note in run]
    return lines + [f"{plot}: {said(note)}" for plot, notes in plots.items() for note in notes]


def _one_line(text: str) -> str:
    if len(text) <= LONGEST:
        return text
    return text[: LONGEST - 2].rsplit(" ", 1)[0].rstrip(",(") + " …"
