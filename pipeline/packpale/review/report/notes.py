"""What a reader must know, by how grave it is."""

from collections.abc import Iterable, Sequence
from itertools import groupby

from packpale.review.report.blocks import Section, link, points, small
from packpale.review.words import Wording, begun
from packpale.review.words.notes import in_short
from packpale.values.notes import SEVERITIES, Note, Severity, ordered

ON_A_SHEET = 3
"""Notes that a plot's sheet shows."""
HEADS: dict[Severity, str] = {s: begun(s) for s in SEVERITIES}


def gravest(notes: Sequence[Note], show: Wording, *, several_packs: bool, address: str) -> Section | None:
    """The gravest in a line each, and the way to all of them at ``address``."""
    if not notes:
        return None
    found = in_short(notes, ON_A_SHEET, show, several_packs=several_packs)
    way = f"All {len(notes)} in full" if len(notes) > len(found) else "In full"
    return Section("The gravest notes", (points(found), small(link(way, address))))


def notes_section(notes: Iterable[Note], show: Wording, *, several_packs: bool, address: str) -> Section | None:
    """All in full under what may come of them, the gravest first; None where there are none."""
    parts = tuple(
        Section(HEADS[severity], (points(_told(note, show, several_packs) for note in of_one),))
        for severity, of_one in groupby(ordered(notes), key=lambda note: note.severity)
    )
    return Section("What has to be known", parts, address) if parts else None


def _told(note: Note, show: Wording, several_packs: bool) -> str:
    text = show.note(note, several_packs=several_packs).text
    return f"{note.plot}: {text}" if note.plot else text
