"""What becomes of the cut: volumes in the ground, loose on the heap, and compacted in the trench again."""

from dataclasses import dataclass

import numpy as np

from packpale.site import Array


@dataclass(frozen=True)
class Bulking:
    """Balance of one trench. [m3]"""

    cut_loose: float
    """All that was dug, loose."""
    backfill_compacted: float
    """What fills the trench to the ground line: the volume of the cut. The mesh takes no room worth counting."""
    import_compacted: float
    """Part of the backfill that the trench's own soil cannot make."""
    surplus_loose: float
    """What is left over, loose: rock, and soil beyond the backfill."""
    surplus_soil_loose: float
    """The part of it that is soil."""


def bulk(
    *,
    cut: float,
    rock: float,
    soil_swell: float,
    soil_shrink: float,
    rock_swell: float,
    soft_rock: float = 0.0,
    soft_rock_swell: float = 0.0,
) -> Bulking:
    """Balance the cut against the backfill.

    ``cut``, ``rock`` (a part of it) and ``soft_rock`` (a part of the rock) are bank volumes [m3]; soil is the rest.
    Swell and shrink are fractions of the bank volume::

        loose     = bank (1 + swell)
        compacted = bank (1 - shrink)

    Soil goes back first. Broken rock cuts and abrades mesh, so none of it is used as backfill: it is all surplus.
    What the soil, compacted, lacks to fill the trench has to be brought in. With a shrink above 0 soil alone
    never fills its own trench.

    Raises ValueError if rock is negative or more than the cut, or if a factor is out of range.
    """
    if not 0 <= soft_rock <= rock <= cut:
        raise ValueError(f"rock must be a part of the cut, got {rock=} m3, {soft_rock=} m3, of {cut=} m3")
    if not (min(soil_swell, rock_swell, soft_rock_swell) >= 0 and 0 <= soil_shrink < 1):
        raise ValueError(f"no such factors: {soil_swell=}, {soil_shrink=}, {rock_swell=}, {soft_rock_swell=}")
    imported, soil_left = soil_balance(cut, rock, soil_shrink=soil_shrink)
    rock_loose = soft_rock * (1 + soft_rock_swell) + (rock - soft_rock) * (1 + rock_swell)
    soil_left_loose = float(soil_left) * (1 + soil_swell)
    return Bulking(
        cut_loose=(cut - rock) * (1 + soil_swell) + rock_loose,
        backfill_compacted=cut,
        import_compacted=float(imported),
        surplus_loose=soil_left_loose + rock_loose,
        surplus_soil_loose=soil_left_loose,
    )


def soil_balance(cut: Array | float, rock: Array | float, *, soil_shrink: float) -> tuple[Array, Array]:
    """Fill to bring in [m3 compacted] and soil left over [m3 bank], as ``bulk`` has them; any shape."""
    soil = np.asarray(cut - rock, float)
    used = np.minimum(soil, np.asarray(cut) / (1 - soil_shrink))
    return np.maximum(0.0, cut - used * (1 - soil_shrink)), soil - used
