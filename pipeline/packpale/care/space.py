"""How much ground each animal has, beside the least that others have published."""

from collections.abc import Sequence
from dataclasses import dataclass

from packpale.enclosure.model import Pack
from packpale.units import FOOT_M
from packpale.values.notes import Note, Value, listed, phrase
from packpale.values.quantity import Quantity


@dataclass(frozen=True)
class LeastArea:
    """A published least area: so much for the first animals, more for each further one."""

    source: str
    animals: str
    first: int
    """Animals for which the area is."""
    area: float
    """[m2]"""
    more: float
    """For each further one. [m2]"""

    def of(self, animals: int) -> float:
        """Least area for so many animals. [m2]"""
        return self.area + max(animals - self.first, 0) * self.more


FT2 = FOOT_M**2
LEAST_AREAS = (
    LeastArea("Michigan, MCL 287.1006(1)(f)", "wolf-dog crosses", 1, 900 * FT2, 450 * FT2),
    LeastArea("Ohio Administrative Code 901:1-4-03", "hyenas", 2, 400 * FT2, 200 * FT2),
    LeastArea("Victoria (Australia), dingo licence conditions 2016, second-hand", "dingos", 2, 30.0, 10.0),
)
"""All of them for pens, not for land on which a pack lives its own life."""


def space_notes(packs: Sequence[Pack], animals: int | None) -> list[Note]:
    """Ground for each animal of every pack; nothing where their number is not set."""
    if animals is None:
        return []
    asked: list[Value] = [
        phrase("{area} (" + least.source + ", for " + least.animals + ")", area=Quantity(least.of(animals), "surface"))
        for least in LEAST_AREAS
    ]
    return [
        Note(
            "ground for each animal",
            "{animals} animals have {each} each",
            "Published least areas for as many together, made for pens of other animals: {asked}. None was found for "
            "wolves on land of their own.",
            {
                "animals": animals,
                "each": Quantity(pack.line.area / animals, "area"),
                "asked": listed(asked, ", "),
            },
            (pack.number,),
            size=animals / pack.line.area,
        )
        for pack in packs
    ]
