"""What becomes of the cut: volumes in the ground, loose on the heap, and compacted in the trench again."""

from dataclasses import dataclass


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


def bulk(*, cut: float, rock: float, soil_swell: float, soil_shrink: float, rock_swell: float) -> Bulking:
    """Balance the cut against the backfill.

    ``cut`` and ``rock`` (a part of it) are bank volumes [m3]; soil is the rest. Swell and shrink are fractions of the
    bank volume::

        loose     = bank (1 + swell)
        compacted = bank (1 - shrink)

    Soil goes back first. Broken rock cuts and abrades mesh, so none of it is used as backfill: it is all surplus.
    What the soil, compacted, lacks to fill the trench has to be brought in. With a shrink above 0 soil alone
    never fills its own trench.

    Raises ValueError if rock is negative or more than the cut, or if a factor is out of range.
    """
    if not 0 <= rock <= cut:
        raise ValueError(f"rock must be a part of the cut, got {rock=} m3 of {cut=} m3")
    if not (soil_swell >= 0 and rock_swell >= 0 and 0 <= soil_shrink < 1):
        raise ValueError(f"no such factors: {soil_swell=}, {soil_shrink=}, {rock_swell=}")
    soil = cut - rock
    soil_used = min(soil, cut / (1 - soil_shrink))
    return Bulking(
        cut_loose=soil * (1 + soil_swell) + rock * (1 + rock_swell),
        backfill_compacted=cut,
        import_compacted=max(0.0, cut - soil_used * (1 - soil_shrink)),
        surplus_loose=(soil - soil_used) * (1 + soil_swell) + rock * (1 + rock_swell),
    )
