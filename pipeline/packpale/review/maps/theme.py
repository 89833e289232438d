"""One coloured picture of a plot's map: classes of values, their colours and their words.

Every ramp grows steadily darker or lighter, so that it can be read without telling hues apart and in grey print.
"""

import itertools
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from packpale.review.class_picture import Classes, ramp
from packpale.review.map_styles import Room
from packpale.review.words.quantities import ROUND
from packpale.site import Cells

SLOPE_RAMP = ("#fdf6d8", "#f0b860", "#b5502a", "#4a1420")
WATER_RAMP = ("#f2f6ee", "#8fc6cf", "#2f78a8", "#12284f")
DIG_RAMP = ("#2b1d33", "#7a3f6d", "#d98a6a", "#fbeecb")
SCORE_RAMP = ("#2c1e52", "#2f6488", "#3fa07f", "#e9e36a")
HEIGHT_RAMP = ("#23402f", "#6f7f3f", "#cdb271", "#f8f3e3")
PIT_RAMP = ("#f7f4ea", "#d9c3a5", "#8c6d5a", "#33272f")
DISTINCT = ("#0072b2", "#e69f00", "#009e73", "#cc79a7", "#56b4e9", "#d55e00", "#f0e442", "#8c6d46")
"""Colours told apart by most people with a colour vision deficiency: M. Okabe and K. Ito, Color Universal Design
(2008), without black, and one brown of our own."""
SEVERAL = "#3a3a3a"


def as_they_are(cells: Cells) -> Cells:
    return cells


@dataclass(frozen=True)
class Theme:
    """One coloured picture: ``values`` fall into classes between ascending ``edges``, one colour and text for each.

    A class without colour is not painted. ``legend`` lists the classes to explain, by number from 0.
    """

    # Values are made from the cells when they are drawn: those of all themes at once would need much memory.

    key: str
    group: Room
    title: str
    explanation: str
    cells: npt.NDArray[Any]
    edges: tuple[float, ...]
    colours: tuple[str, ...]
    texts: tuple[str, ...]
    mean: bool = True
    """Whether values may be averaged where a pixel covers several cells."""
    read: Callable[[npt.NDArray[Any]], Cells] = as_they_are
    """From ``cells`` to values, cell by cell."""

    @property
    def values(self) -> Cells:
        return self.read(self.cells)

    def classes(self, values: Cells) -> Classes:
        """Number of the class of each value, from 1; 0 where there is no value."""
        return np.where(np.isnan(values), 0, np.digitize(values, self.edges) + 1).astype(np.uint8)

    def legend(self) -> list[tuple[str, str]]:
        """Colour and text of every painted class."""
        return [(c, t) for c, t in zip(self.colours, self.texts, strict=True) if c]


def categories(
    key: str,
    group: Room,
    title: str,
    explanation: str,
    *,
    cells: npt.NDArray[np.int8],
    named: Sequence[tuple[int, str]],
    last: str | None = None,
) -> Theme:
    """Picture of the numbers in ``named``, each in a colour of its own; ``last`` is the colour of the last of them.

    Cells hold numbers from -1 up; what is not in ``named`` is not painted.
    """
    colours = [DISTINCT[k % len(DISTINCT)] for k, _ in named]
    if last:
        colours[-1] = last
    # The number -1 comes last.
    places = np.full(max((k for k, _ in named), default=-1) + 2, np.nan)
    for place, (k, _) in enumerate(named):
        places[k] = place
    return Theme(
        key,
        group,
        title,
        explanation,
        cells,
        tuple(k + 0.5 for k in range(len(named) - 1)),
        tuple(colours) or ("",),
        tuple(text for _, text in named) or ("",),
        mean=False,
        read=lambda numbers: places[np.minimum(numbers, len(places) - 1)],
    )


def spans(
    edges: Iterable[float],
    colours: Sequence[str],
    say: Callable[[float], str],
    remark: Callable[[float, float], str] = lambda _low, _high: "",
    *,
    bare: int = 0,
) -> tuple[tuple[float, ...], tuple[str, ...], tuple[str, ...]]:
    """Edges in order, and a colour along the ramp and a text for each class below, between and above them.

    ``say`` words an edge, ``remark`` what is added to the class between two of them. The ``bare`` lowest classes are
    not painted.
    """
    at = sorted(set(edges))
    said = [say(edge) for edge in at]
    texts = [f"under {said[0]}", *(f"{a} to {b}" for a, b in itertools.pairwise(said)), f"over {said[-1]}"]
    classes = itertools.pairwise([-math.inf, *at, math.inf])
    return (
        tuple(at),
        ("",) * bare + tuple(ramp(colours, len(texts) - bare)),
        tuple(text + remark(low, high) for text, (low, high) in zip(texts, classes, strict=True)),
    )


def ends(lowest: str, highest: str) -> Callable[[float, float], str]:
    """A remark on the lowest class and one on the highest."""

    def remark(low: float, high: float) -> str:
        if low == -math.inf:
            return lowest
        return highest if high == math.inf else ""

    return remark


def even_edges(low: float, high: float, *, most: int = 8) -> list[float]:
    """Up to ``most`` multiples of a round step (1, 2 or 5 times a power of ten) between low and high, one at least."""
    step = next(s for s in ROUND if s >= 0.01 and high / s - low / s < most)
    first, last = math.floor(low / step) + 1, math.ceil(high / step) - 1
    return [round(k * step, 2) for k in range(first, max(last, first) + 1)]
