"""Signs that an elevation model is not the bare, whole ground: roofs and trees, pits, stripes, missing ground at one
value.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from packpale.site.grid import Array
from packpale.values.notes import Note
from packpale.values.quantity import Quantity, given

FINE_CELL_M = 5.0
"""Cells up to this size show single trees, roofs and pits; in larger ones steep ground looks the same. [m]"""
STEEPEST = 1.75
"""Rise per metre between two neighbouring cells, about 60 degrees, that little bare ground has."""
MOST_STEEP = 0.005
"""Part of all pairs of neighbours that may be steeper; the edges of a few trees or one house are more."""
PIT_M = 1.0
"""A single cell this much below, or above, all its neighbours is an error of the model. [m]"""
STRIPE_M = 0.03
"""Rows that as a whole lie off their neighbours by more than this, up and down in turn, are stripes. [m]"""
CERTAIN = 4.0
"""Stripes vary from row to row this many times as much as rough ground by itself."""
LEAST_STRIPED = 0.25
"""Part of the rows that lie off their neighbours, from which it is no row of terraces or banks."""
LEAST_ROW = 40
"""Cells of a row, or column, from which its middle value tells more than its noise."""
CELLS_AT_ONCE, LEAST_ROWS_AT_ONCE = 250_000, 64
"""Cells, and rows at least, that are looked at at a time."""
GAP_M = 50.0
"""Ground that lies at one single value, this far below all other ground, is missing and not land. [m]"""


@dataclass
class Signs:
    """What the pieces of one plot's ground have shown so far."""

    cell: float
    """Side of the cells looked at. [m]"""
    pairs: int = 0
    steep: int = 0
    pits: int = 0
    stripes: float = 0.0

    def look(self, z: Array) -> None:
        """Take in a piece of ground, NaN where none is; cells of one plot and its bounds, rows from north to south."""
        if self.cell > FINE_CELL_M:
            return
        # Some rows at a time: what is worked out takes many times the memory of the ground itself.
        high = max(LEAST_ROWS_AT_ONCE, CELLS_AT_ONCE // z.shape[1])
        for top in range(0, z.shape[0], high):
            self._look(z[top : top + high])

    def _look(self, z: Array) -> None:
        if min(z.shape) < 3:
            return
        for axis in (0, 1):
            rise = np.abs(np.diff(z, axis=axis))
            self.pairs += int(np.isfinite(rise).sum())
            self.steep += int((rise > STEEPEST * self.cell).sum())
            self.stripes = max(self.stripes, _stripes(z if axis == 0 else z.T))
        self.pits += _lone_cells(z)

    def notes(self, name: str) -> Iterator[Note]:
        """What to know of the ground, with what to do."""
        if self.pairs and self.steep > MOST_STEEP * self.pairs:
            yield Note(
                "not the bare earth",
                "{file} looks like a surface with trees and roofs, not like bare earth",
                "{share} of the steps between its cells are steeper than {angle}; use the bare-earth model (DTM) of "
                "the same place.",
                {
                    "file": name,
                    "share": Quantity(self.steep / self.pairs, "share"),
                    "angle": Quantity(math.degrees(math.atan(STEEPEST)), "slope"),
                },
            )
        if self.pits:
            yield Note(
                "errors of the ground",
                "single cells of {file} stick out of the ground",
                f"{{pits}} {'cell lies' if self.pits == 1 else 'cells lie'} more than {{off}} below or above all "
                "neighbours, as errors of scanning do; ponds and volumes there are wrong: ask for a corrected model, "
                "or use a larger {setting:land.cell_m}.",
                {"file": name, "pits": self.pits, "off": given(PIT_M, "dimension")},
                size=self.pits,
            )
        if self.stripes:
            yield Note(
                "errors of the ground",
                "rows or columns of {file} lie up and down in turn, as stripes of scanning do",
                "They do by about {off}; slopes and ponds follow them: use a larger {setting:land.cell_m}, or another "
                "model.",
                {"file": name, "off": Quantity(self.stripes, "dimension")},
            )


def _lone_cells(z: Array) -> int:
    """Cells that lie PIT_M below or above all eight neighbours."""
    middle = z[1:-1, 1:-1]
    low, high = np.full(middle.shape, np.inf), np.full(middle.shape, -np.inf)
    rows, cols = z.shape
    for r in range(3):
        for c in range(3):
            if (r, c) != (1, 1):
                other = z[r : rows - 2 + r, c : cols - 2 + c]
                # A missing neighbour tells nothing: NaN goes through both.
                low, high = np.minimum(low, other), np.maximum(high, other)
    return int(((low - middle > PIT_M) | (middle - high > PIT_M)).sum())


def _stripes(z: Array) -> float:
    """How far rows lie off both neighbours, up and down in turn [m]; 0 if they do not.

    The middle value of each row's second differences leaves out what single places are like. Hills bend over many
    rows, so that neighbouring rows bend alike; stripes bend opposite ways.
    """
    if z.shape[1] < LEAST_ROW or z.shape[0] < 8:
        return 0.0
    bend = z[2:] - 2 * z[1:-1] + z[:-2]
    enough = np.isfinite(bend).sum(axis=1) >= LEAST_ROW
    if not enough.any():
        return 0.0
    first, last = int(np.argmax(enough)), int(len(enough) - np.argmax(enough[::-1]))
    if not enough[first:last].all() or last - first < 6:
        return 0.0
    bend = bend[first:last]
    middle = np.nanmedian(bend, axis=1)
    spread = float(np.std(middle))
    # What a row's middle value varies by itself, from the middle absolute deviation of normally spread errors.
    deviation = 1.4826 * np.nanmedian(np.abs(bend - middle[:, None]), axis=1)
    by_itself = float(np.median(1.25 * deviation / np.sqrt(np.isfinite(bend).sum(axis=1))))
    if spread <= CERTAIN * by_itself:
        return 0.0
    # Second differences of steps are two to four times the step.
    if spread <= 2 * STRIPE_M or (np.abs(middle) > STRIPE_M).mean() < LEAST_STRIPED:
        return 0.0
    alike = float(np.corrcoef(middle[:-1], middle[1:])[0, 1])
    return spread / 2 if alike < -0.2 else 0.0


@dataclass
class Lowest:
    """The lowest value met so far, how often it is there, and the lowest above it. [m]"""

    value: float = np.inf
    count: int = 0
    next: float = np.inf

    def look(self, known: Array) -> None:
        """Take in more values, all finite."""
        if not known.size:
            return
        low = float(known.min())
        rest = known[known > low]
        count, above = int(known.size - rest.size), float(rest.min()) if rest.size else np.inf
        if low < self.value:
            self.value, self.count, self.next = low, count, min(above, self.value)
        elif low == self.value:
            self.count, self.next = self.count + count, min(above, self.next)
        else:
            self.next = min(low, self.next)

    @property
    def is_plateau(self) -> bool:
        """Whether it lies so far below everything else that it is missing ground and no land."""
        return np.isfinite(self.next) and self.next - self.value >= GAP_M
