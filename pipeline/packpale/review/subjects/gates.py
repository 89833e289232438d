"""The gate sheet: every leaf of every gate."""

import math
from collections.abc import Iterable

from packpale.earthworks.gates import GateLeaf
from packpale.review.subjects.field import BOTH, PACK, PAGE, PLOT, Field, Subject
from packpale.values.notes import Value, phrase
from packpale.values.quantity import Quantity


def widest_open(leaves: Iterable[GateLeaf]) -> GateLeaf:
    """The leaf with the greatest gap below it, those whose gap is not known last."""
    return max(leaves, key=lambda g: -1.0 if math.isnan(g.gap) else g.gap)


def _name(g: GateLeaf) -> Value:
    return phrase("{gate}, {place}, leaf {leaf}", gate=g.gate, place=g.place, leaf=g.leaf)


def _room(g: GateLeaf) -> Value:
    width = Quantity(g.spare_width, "dimension")
    if math.isnan(g.spare_length):
        return phrase("{width} wider than the vehicle; no airlock", width=width)
    length = Quantity(g.spare_length, "dimension")
    return phrase("{width} wider, {length} longer than vehicle and leaf", width=width, length=length)


GATE_LEAVES = Subject(
    "gate_leaves",
    "A leaf of a gate",
    "Point",
    (
        PLOT,
        PACK,
        Field("gate", "Gate", "number of it", "gate", _name, shown=BOTH),
        Field("place", "Where it stands", "text", "place"),
        Field("leaf", "Leaf, seen from outside from left to right", "number of it", "leaf"),
        Field("chainage_m", "Chainage", "length", "chainage", shown=BOTH),
        Field("leaf_width_m", "Leaf wide", "dimension", "width", shown=BOTH),
        Field("leaf_height_m", "Leaf high", "dimension", "height", shown=BOTH),
        Field("lowest_ground_m", "Lowest ground below it", "dimension", "lowest"),
        Field("highest_ground_m", "Highest ground below it", "dimension", "highest"),
        Field("highest_in_swing_m", "Highest ground on its way", "dimension", "highest_in_swing"),
        Field("sill_top_m", "Top of the sill", "dimension", "sill_top"),
        Field("underside_m", "Level of its lower edge", "dimension", "underside", shown=BOTH, unknown="not known"),
        Field("gap_m", "Greatest gap below it", "dimension", "gap", shown=BOTH, unknown="not known"),
        Field("below", "Below it", "text", "below", shown=BOTH),
        Field("swing", "Opens", "text", "swing", shown=BOTH),
        Field("spare_width_m", "Room for the vehicle", "dimension", "spare_width", _room, shown=PAGE),
        Field("spare_length_m", "Airlock longer than vehicle and leaf", "dimension", "spare_length"),
    ),
    "earthworks.gates",
)
