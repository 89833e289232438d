"""What is told of a fence line that runs over limits."""

from collections.abc import Sequence

from packpale.enclosure.over_limits import Stretch
from packpale.land.model import Limit
from packpale.values.notes import Note, Phrase, Value, listed, phrase
from packpale.values.quantity import Quantity, Span, given

_MOST = 4
"""Stretches of a kind that a note lists, the longest ones; the map and the layer have them all."""


def over_limits_note(
    number: int, stretches: Sequence[Stretch], total: float, perimeter: float, *, limits: Sequence[Limit], share: float
) -> Note | None:
    """Where the line of a pack runs over which limit; None where it does not.

    ``total`` is the length over limits, each metre once, of ``perimeter`` [m]; ``share`` is what the settings allow.
    """
    if total <= 0:
        return None
    names = {limit.kind: limit.name for limit in limits}
    kinds = sorted({s.kind for s in stretches}, key=lambda kind: -_length(stretches, kind))
    values: dict[str, Value] = {
        "length": Quantity(total, "length"),
        "all": Quantity(perimeter, "length"),
        "share": Quantity(total / perimeter, "share"),
        "where": listed((_where(stretches, kind, names[kind]) for kind in kinds), "; "),
    }
    more = ""
    if total > share * perimeter * (1 + 1e-9):
        more = "{setting:enclosure.line_over_limits} allows {allowed}. "
        values["allowed"] = given(share, "share")
    return Note(
        "line over limits",
        "{length} of {all} of the fence line run over limits ({share})",
        f"{more}The strip has to be dug by hand or made good there: {{where}}.",
        values,
        (number,),
        size=total,
    )


def _length(stretches: Sequence[Stretch], kind: str) -> float:
    return sum(s.length_m for s in stretches if s.kind == kind)


def _where(stretches: Sequence[Stretch], kind: str, name: Phrase) -> Phrase:
    own = sorted((s for s in stretches if s.kind == kind), key=lambda s: -s.length_m)
    named = sorted(own[:_MOST], key=lambda s: s.from_m)
    values: dict[str, Value] = {
        "name": name,
        "length": Quantity(_length(stretches, kind), "length"),
        "places": tuple(Span(s.from_m, s.to_m, "length") for s in named),
    }
    if len(own) > _MOST:
        return Phrase("{name}, {length} (chainage {places} and {more} shorter)", {**values, "more": len(own) - _MOST})
    return phrase("{name}, {length} (chainage {places})", **values)
