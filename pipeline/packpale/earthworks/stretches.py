"""Parts of a closed fence line along which something holds, by chainage."""

import numpy as np

from packpale.earthworks.model import Stretch
from packpale.site import Array, Mask
from packpale.values.notes import Phrase, phrase
from packpale.values.quantity import Span


def stretches(
    holds: Mask, values: Array, *, step: float, largest: bool = True, first: float = 0.0
) -> tuple[Stretch, ...]:
    """Runs of stations for which ``holds``, in the order of the line; a run through its beginning is one.

    Each station stands for ``step`` metres centred on it, station 0 at chainage ``first`` [m]. ``worst`` is the
    largest (or smallest) of ``values`` along the run. If all stations hold, the one stretch is the whole line, from
    ``first`` round to ``first`` again. Lengths in metres.
    """
    n = holds.size
    if holds.all():
        return (Stretch(first, first, n * step, float(values.max() if largest else values.min())),) if n else ()
    begins = np.flatnonzero(holds & ~np.roll(holds, 1))
    ends = np.flatnonzero(holds & ~np.roll(holds, -1))
    # The run through the beginning ends before it starts.
    if ends.size and ends[0] < begins[0]:
        ends = np.roll(ends, -1)
    out = []
    for i, j in zip(begins, ends, strict=True):
        run = np.arange(i, j + 1 if j >= i else j + 1 + n) % n
        worst = values[run].max() if largest else values[run].min()
        perimeter = n * step
        start, end = first + (i - 0.5) * step, first + (j + 0.5) * step
        out.append(Stretch(float(start % perimeter), float(end % perimeter), float(run.size * step), float(worst)))
    return tuple(sorted(out, key=lambda s: s.start))


def total(found: tuple[Stretch, ...]) -> float:
    """Length of them together. [m]"""
    return float(sum(s.length for s in found))


def where(found: tuple[Stretch, ...], most: int = 4) -> Phrase:
    """Where they are: chainages from and to, of the longest few."""
    if len(found) == 1 and found[0].start == found[0].end:
        return phrase("all the way round")
    named = sorted(sorted(found, key=lambda s: -s.length)[:most], key=lambda s: s.start)
    places = tuple(Span(s.start, s.end, "length") for s in named)
    left = len(found) - len(named)
    if left:
        return phrase("at chainage {places} and {left} shorter", places=places, left=left)
    return phrase("at chainage {places}", places=places)
