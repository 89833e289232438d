"""What is told of a fence line that runs over limits."""

from collections.abc import Sequence

from packpale.enclosure.over_limits import Stretch
from packpale.land.model import Limit

_MOST = 4
"""Stretches of a kind that a sentence lists, the longest ones; the map and the layer have them all."""


def over_limits_note(
    number: int, stretches: Sequence[Stretch], total: float, perimeter: float, *, limits: Sequence[Limit], share: float
) -> str | None:
    """Where the line of a pack runs over which limit; None where it does not.

    ``total`` is the length over limits, each metre once, of ``perimeter`` [m]; ``share`` is what the settings allow.
    """
    if total <= 0:
        return None
    words = {limit.kind: limit.name for limit in limits}
    kinds = sorted({s.kind for s in stretches}, key=lambda kind: -_length(stretches, kind))
    parts = [f"{words[kind]}, {_length(stretches, kind):.0f} m: {_where(stretches, kind)}" for kind in kinds]
    allowed = ""
    if total > share * perimeter * (1 + 1e-9):
        allowed = f"; enclosure.line_over_limits allows {100 * share:g} %"
    return (
        f"Pack {number}: {total:.0f} of {perimeter:.0f} m of the fence line run over limits "
        f"({100 * total / perimeter:.0f} %{allowed}), where the strip has to be dug by hand or made good: "
        f"{'; '.join(parts)}."
    )


def _length(stretches: Sequence[Stretch], kind: str) -> float:
    return sum(s.length_m for s in stretches if s.kind == kind)


def _where(stretches: Sequence[Stretch], kind: str) -> str:
    own = sorted((s for s in stretches if s.kind == kind), key=lambda s: -s.length_m)
    named = sorted(own[:_MOST], key=lambda s: s.from_m)
    more = f" and {len(own) - _MOST} shorter" if len(own) > _MOST else ""
    return "chainage " + ", ".join(f"{s.from_m:.0f} to {s.to_m:.0f} m" for s in named) + more
