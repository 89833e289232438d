"""A plot's notes in short: which come first on its page, and the few words that say what each is about."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

LONGEST = 112
"""Signs that a note in short may have: one line of the report. Longer ones are cut, and end in an ellipsis."""
FIRST: tuple[str, ...] = (
    # People in the trench.
    "walls are set steeper",
    "m deep or more over",
    "too narrow for the spoil",
    "stands in water",
    "climbs or falls more steeply",
    # Animals that get out, or at each other.
    "an animal is under the mesh",
    "and count as one",
    "nearer than they should",
    "m less deep than",
    "m deeper than",
    "the level apron comes out of the ground",
    "the skirt ends on rock",
    "high ground ",
    "or other things stand",
    "or other thing stands",
    "woodland stands within",
    "its gates have no second gate",
    "crosses the fence at",
    "panels meet at up to",
    "degrees, the sharpest of",
    # Ground that is none to live on.
    "of the ground inside can stand",
    "of the ground inside is wet",
    # Where the line may not lie.
    "lie outside the plot",
    "lie on no-go ground",
    "of no-go ground",
    "run over limits",
    # Neighbours and visitors.
    "nearer than the stand-off",
    "is out of sight of all viewing points",
    # Money.
    "short of filling it",
    "need an airlock",
    "does not pass gates",
)
"""What a note speaks of, in small letters, the weightiest first; all others follow in the order of the rooms."""
_BEGINNING = re.compile(r"(?:Packs? \d[\w ,]*|Den site \d+|Howls): ")
_END = re.compile(r"[.;:](?=\s|$)")


@dataclass(frozen=True)
class InShort:
    """Notes that a page shows in short, and how many more there are."""

    lines: tuple[str, ...]
    more: int


def in_short(notes: Sequence[str], most: int, told: Callable[[str], str] = str) -> InShort:
    """The weightiest notes, a few words each, and how many are left for elsewhere.

    ``told`` puts a note as the rooms have written it, which is what is weighed, into the words of the page.
    """
    shown = sorted(notes, key=_weight)[:most]
    return InShort(tuple(headline(told(note)) for note in shown), len(notes) - len(shown))


def headline(note: str) -> str:
    """The part of a note up to its first full stop, colon or semicolon, whom it is about included.

    A note is worded so that this says what it is about; in brackets nothing ends.
    """
    start = _BEGINNING.match(note)
    at = start.end() if start else 0
    depth = 0
    text = note
    for k in range(at, len(note)):
        depth += (note[k] == "(") - (note[k] == ")")
        if depth <= 0 and _END.match(note, k):
            text = note[:k]
            break
    if len(text) <= LONGEST:
        return text
    return text[: LONGEST - 2].rsplit(" ", 1)[0].rstrip(",(") + " …"


def _weight(note: str) -> int:
    said = note.lower()
    return next((k for k, words in enumerate(FIRST) if words in said), len(FIRST))
