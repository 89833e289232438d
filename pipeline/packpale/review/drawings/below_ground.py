"""Rock and the water table as profile and sections show them: by dash and by sign, where both are one line too."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from packpale.review.drawings import pens
from packpale.review.drawings.sheet import Box, Sheet
from packpale.site import Array

ROCK_SIGN_MM, WATER_SIGN_MM = 2.5, 16.0
"""From one sign of rock, or of water, to the next."""


@dataclass(frozen=True)
class BelowGround:
    """What lies below the ground, as a line with signs along it."""

    name: str
    colour: str
    dash: tuple[float, ...]
    signs: Callable[[Sheet, Array, Array, Box], None]

    def draw(self, sheet: Sheet, x: Array, y: Array, box: Box, *, name: str = "") -> bool:
        """The line from left to right within a box; says whether any of it lies above the box's lower edge."""
        if seen := bool((y > box[1]).any()):
            sheet.line(x, y, width=pens.MEDIUM, colour=self.colour, dash=self.dash, clip=box, name=name)
            self.signs(sheet, x, y, box)
        return seen

    def sample(self, sheet: Sheet, x: float, y: float, wide: float) -> None:
        """It in a legend."""
        self.draw(sheet, np.array([x, x + wide]), np.array([y + 0.9] * 2), (x, y - 1.0, x + wide, y + 3.0))


def _strokes(sheet: Sheet, x: Array, y: Array, box: Box) -> None:
    """Short slanting strokes below the rock's surface."""
    for at in np.arange(x[0] + 2.0, x[-1], ROCK_SIGN_MM):
        foot = float(np.interp(at, x, y))
        sheet.line([at, at - 0.9], [foot, foot - 1.2], width=0.25, colour=ROCK.colour, clip=box)


def _triangles(sheet: Sheet, x: Array, y: Array, box: Box) -> None:
    """Small triangles that stand on the water table with their tip."""
    for at in np.arange(x[0] + 6.0, x[-1], WATER_SIGN_MM):
        tip = float(np.interp(at, x, y))
        sheet.fill([at, at - 0.8, at + 0.8], [tip + 0.2, tip + 1.5, tip + 1.5], colour=WATER.colour, clip=box)


ROCK = BelowGround("rock", "#6f5a3c", pens.DASHED, _strokes)
WATER = BelowGround("water", "#1f6f8b", pens.DOTTED, _triangles)
