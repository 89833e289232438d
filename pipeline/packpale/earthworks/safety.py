"""What published rules for people in trenches ask for along the line. Local codes and a competent person decide.

29 CFR 1926 Subpart P is the rule of one country, taken here because its limits are numbers. It asks for walls that
are sloped, shored or shielded from 5 ft of depth, and below that too wherever a competent person finds signs of a
cave-in; other countries know no depth that is safe by law.
"""

import math

from packpale.earthworks.model import Stretch, TrenchSafety
from packpale.earthworks.stretches import stretches, total, where
from packpale.earthworks.volume import CutSections
from packpale.enclosure.model import Pack
from packpale.settings import BulkingSettings, PlantSettings, TrenchSettings
from packpale.site import Array
from packpale.values.notes import Note, Value
from packpale.values.quantity import Quantity, given, printed

PROTECTION_DEPTH = printed(5, "ft")
"""From here a trench wall not in stable rock is sloped, shored or shielded: 29 CFR 1926.652(a)(1)."""
EGRESS_DEPTH = printed(4, "ft")
"""From here a trench needs a ladder or ramp within LATERAL_TRAVEL of anybody in it: 29 CFR 1926.651(c)(2)."""
LATERAL_TRAVEL = printed(25, "ft")
"""The way to the next ladder or ramp is no longer than this: the same."""
SPOIL_SETBACK = printed(2, "ft")
"""Spoil and machines keep this far from the edge: 29 CFR 1926.651(j)(2)."""
SIDE_SLOPES = {"A": 0.75, "B": 1.0, "C": 1.5, "unknown": 1.5}
"""Steepest side slope allowed, run per unit of rise, for trenches under 20 ft: 29 CFR 1926 Subpart P App. B, Table
B-1; soil that nobody has classified: 1926.652(b)(1)."""


def trench_safety(
    pack: Pack,
    cuts: CutSections,
    heights: Array,
    over_dug: Array,
    water_over_bottom: Array,
    *,
    trench: TrenchSettings,
    bulking: BulkingSettings,
    plant: PlantSettings,
) -> TrenchSafety:
    """Lengths of one pack's trench to which the rules apply, ladders, spoil and side slope.

    Depth is that of ``wall_heights``: from the higher edge of the cut to the bottom beside it, as drawn (``heights``)
    and if the machine digs deeper by what is set (``over_dug``), both of shape (stations,) [m]. A depth of exactly the
    limit is as deep as it. ``water_over_bottom``, shape (stations,), is positive where the trench stands
    in water [m]: there soil counts as Type C whatever was set (Subpart P App. A).
    """
    step = pack.alignment.step

    def along(limit: float, depth: Array) -> tuple[Stretch, ...]:
        # Half a millimetre for rounding of metres and feet.
        return stretches(depth >= limit - 0.0005, depth, step=step)

    egress = along(EGRESS_DEPTH.si, over_dug)
    wet = stretches(water_over_bottom > 0, water_over_bottom, step=step)
    width = spoil_width(float(cuts.cut[:, 0].max()) * (1 + bulking.soil_swell), side_slope=plant.mound_slope)
    asked = SIDE_SLOPES[trench.soil_type]
    return TrenchSafety(
        pack=pack.number,
        deepest=float(heights.max()),
        protection=along(PROTECTION_DEPTH.si, heights),
        egress=along(EGRESS_DEPTH.si, heights),
        protection_with_over_dig=along(PROTECTION_DEPTH.si, over_dug),
        egress_with_over_dig=egress,
        ladders=sum(ladders(s.length) for s in egress),
        spoil_width=width,
        spoil_strip=SPOIL_SETBACK.si + width,
        spoil_strip_two_sides=SPOIL_SETBACK.si + width / math.sqrt(2),
        working_strip=trench.working_strip_m,
        soil_type=trench.soil_type,
        side_slope=trench.side_slope,
        side_slope_asked=max(asked, SIDE_SLOPES["C"]) if wet else asked,
        wet_length=total(wet),
        over_dig=trench.over_dig_m,
    )


def ladders(length: float) -> int:
    """Ladders along a stretch so that nobody walks more than LATERAL_TRAVEL to the next one. [m]"""
    return math.ceil(length / (2 * LATERAL_TRAVEL.si) - 1e-9)


def spoil_width(area: float, *, side_slope: float) -> float:
    """Width of a heap of triangular section and given area [m2], its sides running ``side_slope`` per rise. [m]

    A = b h / 2 and h = b / (2 n) give b = 2 sqrt(n A).
    """
    return 2 * math.sqrt(side_slope * area)


def safety_notes(found: TrenchSafety) -> list[Note]:
    """What whoever digs must know."""
    packs = (found.pack,)
    notes = []
    for drawn, over_dug, limit, clause, duty in (
        (
            found.protection,
            found.protection_with_over_dig,
            PROTECTION_DEPTH,
            "29 CFR 1926.652(a)(1)",
            "walls not in stable rock are sloped, shored or shielded, and a way out is kept within {way_out}",
        ),
        (
            found.egress,
            found.egress_with_over_dig,
            EGRESS_DEPTH,
            "29 CFR 1926.651(c)(2)",
            "a ladder or ramp is kept within {way_out} of anybody in the trench",
        ),
    ):
        rule: dict[str, Value] = {"limit": limit, "way_out": LATERAL_TRAVEL, "clause": clause}
        if drawn:
            notes.append(
                Note(
                    "deep trench",
                    "the trench is {limit} deep or more over {length}",
                    "It is so {where}, and at most {deepest}, from the higher edge of the cut to the bottom beside it; "
                    f"there {duty} ({{clause}}, a rule of the United States; your rules may differ).",
                    {
                        **rule,
                        "length": Quantity(total(drawn), "length"),
                        "where": where(drawn),
                        "deepest": Quantity(found.deepest, "dimension"),
                    },
                    packs,
                    size=total(drawn),
                )
            )
            # Where walls are protected a way out is asked for as well.
            break
        if over_dug:
            notes.append(
                Note(
                    "deep if over-dug",
                    "dug {over_dig} deeper than drawn, the trench is {limit} deep or more over {length}",
                    f"It is so {{where}}, from the higher edge of the cut to the bottom beside it; there {duty} "
                    "({clause}, a rule of the United States; your rules may differ).",
                    {
                        **rule,
                        "over_dig": given(found.over_dig, "dimension"),
                        "length": Quantity(total(over_dug), "length"),
                        "where": where(over_dug),
                    },
                    packs,
                    size=total(over_dug),
                )
            )
    if found.too_steep:
        kind = "soil that nobody has classified" if found.soil_type == "unknown" else f"soil of Type {found.soil_type}"
        wet = ", which counts as Type C where the trench stands in water" if found.wet_length else ""
        notes.append(
            Note(
                "walls too steep",
                "the walls are set steeper, at {set}:1 (run to rise), than the rule allows",
                "For {soil}, 29 CFR 1926 Subpart P, a rule of the United States, allows nothing steeper than {asked}:1 "
                "at that depth; your rules may differ.",
                {
                    "set": given(found.side_slope, "number"),
                    "soil": f"{kind}{wet}",
                    "asked": given(found.side_slope_asked, "number"),
                },
                packs,
            )
        )
    if found.strip_too_narrow:
        notes.append(
            Note(
                "no room for spoil",
                "the {strip} kept free beside the dig are too narrow for the spoil",
                "Kept {setback} from the edge (29 CFR 1926.651(j)(2), a rule of the United States; your rules may "
                "differ) and heaped, it takes {needed} on one side or {needed_twice} on each of two. Carry it off as "
                "it is dug, dig and fill by stretches, or raise {setting:trench.working_strip_m}.",
                {
                    "strip": given(found.working_strip, "dimension"),
                    "setback": SPOIL_SETBACK,
                    "needed": Quantity(found.spoil_strip, "dimension"),
                    "needed_twice": Quantity(found.spoil_strip_two_sides, "dimension"),
                },
                packs,
                size=found.spoil_strip,
            )
        )
    return notes
