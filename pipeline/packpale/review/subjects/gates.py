"""The gate sheet: every leaf of every gate."""

import math
from collections.abc import Callable

from packpale.earthworks.gates import GateLeaf
from packpale.review.subjects.field import PACK, PLOT, Field, Subject
from packpale.values.notes import Value, phrase
from packpale.values.quantity import Quantity

Told = Callable[[GateLeaf], Value | None]


def _name(g: GateLeaf) -> Value:
    return phrase("{gate}, {place}, leaf {leaf}", gate=g.gate, place=g.place, leaf=g.leaf)


def _known(value: float) -> Value:
    return "not known" if math.isnan(value) else Quantity(value, "dimension")


def _sill(g: GateLeaf) -> Value | None:
    return None if math.isnan(g.sill_top) else Quantity(g.sill_top, "dimension")


def _room(g: GateLeaf) -> Value:
    width = Quantity(g.spare_width, "dimension")
    if math.isnan(g.spare_length):
        return phrase("{width} wider than the vehicle; no airlock", width=width)
    length = Quantity(g.spare_length, "dimension")
    return phrase("{width} wider, {length} longer than vehicle and leaf", width=width, length=length)


def _of(name: str) -> Callable[[GateLeaf], float]:
    return lambda g: getattr(g, name)


GATE_LEAVES = Subject(
    "gate_leaves",
    "A leaf of a gate",
    "Point",
    (
        PLOT,
        PACK,
        Field("gate", "Gate", "number of it", lambda g: g.gate, _name, popup=True, page=True),
        Field("place", "Where it stands", "text", lambda g: g.place),
        Field("leaf", "Leaf, seen from outside from left to right", "number of it", lambda g: g.leaf),
        Field("chainage_m", "Chainage", "length", _of("chainage"), popup=True, page=True),
        Field("leaf_width_m", "Leaf wide", "dimension", _of("width"), popup=True, page=True),
        Field("leaf_height_m", "Leaf high", "dimension", _of("height"), popup=True, page=True),
        Field("lowest_ground_m", "Lowest ground below it", "dimension", _of("lowest")),
        Field("highest_ground_m", "Highest ground below it", "dimension", _of("highest")),
        Field("highest_in_swing_m", "Highest ground on its way", "dimension", _of("highest_in_swing")),
        Field("sill_top_m", "Top of the sill", "dimension", _of("sill_top"), _sill),
        Field(
            "underside_m",
            "Level of its lower edge",
            "dimension",
            _of("underside"),
            lambda g: _known(g.underside),
            popup=True,
            page=True,
        ),
        Field(
            "gap_m", "Greatest gap below it", "dimension", _of("gap"), lambda g: _known(g.gap), popup=True, page=True
        ),
        Field("below", "Below it", "text", lambda g: g.below, popup=True, page=True),
        Field("swing", "Opens", "text", lambda g: g.swing, popup=True, page=True),
        Field("spare_width_m", "Room for the vehicle", "dimension", _of("spare_width"), _room, page=True),
        Field("spare_length_m", "Airlock longer than vehicle and leaf", "dimension", _of("spare_length")),
    ),
    lambda result, _project: result.earthworks.gates if result.earthworks else (),
)
