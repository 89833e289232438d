"""What a fence is worth against climbing and jumping where the ground beside it rises, and where trees stand near."""

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from packpale.earthworks.model import Stretch
from packpale.earthworks.stretches import stretches, total, where
from packpale.enclosure.model import Alignment, Pack
from packpale.settings import Project
from packpale.site import Array, Mask, Site
from packpale.values.notes import Note
from packpale.values.quantity import Quantity, given

STEP_M = 0.1
"""Distance between the points that stand for the ground beside the fence, at most. [m]"""


@dataclass(frozen=True)
class Climb:
    """One pack's fence against climbing; arrays of shape (stations,)."""

    pack: int
    inside: Array
    """Height of the fence's top above the highest ground near it, inside; NaN where that is not known. [m]"""
    outside: Array
    """The same, outside."""
    weakest_chainage: float
    """Where the fence is lowest from inside, the first of equals. [m]"""
    least: float
    """Its height there; NaN if it is known nowhere. [m]"""
    banks_inside: tuple[Stretch, ...]
    """Where ground inside takes more than climb_loss_m from the height; the worst is the least height. [m]"""
    banks_outside: tuple[Stretch, ...]
    """The same for ground outside."""
    near_trees: tuple[Stretch, ...]
    """Where woodland stands within tree_distance_m; the worst is the least distance. [m]"""


def effective_height(line: Alignment, site: Site, *, height: float, distance: float, outward: float) -> Array:
    """Height of the fence's top above the highest ground within ``distance``, shape (stations,). [m]

    ``outward`` is 1 for the ground outside and -1 for that inside, looked at on the line's normal at each station, the
    foot of the fence included: never more than ``height``. The overhang is left out. NaN where elevation is missing.
    """
    offsets = outward * np.linspace(0, distance, max(int(np.ceil(distance / STEP_M)), 1) + 1)
    x = line.x[:, None] + line.outward[:, :1] * offsets
    y = line.y[:, None] + line.outward[:, 1:] * offsets
    ground = site.grid.bilinear(site.elevation, x, y)
    ground[:, 0] = line.ground
    return np.asarray(height - (ground.max(axis=1) - line.ground), float)


def climb(site: Site, pack: Pack, project: Project) -> Climb:
    """What the ground on both sides and woodland leave of one pack's fence."""
    checks, line, height = project.checks, pack.alignment, project.fence.height_m
    sides = [
        effective_height(line, site, height=height, distance=checks.climb_distance_m, outward=outward)
        for outward in (-1.0, 1.0)
    ]
    low = [_runs(side < height - checks.climb_loss_m, side, line) for side in sides]
    trees = tree_distance(line, site.features.get("woodland", ()))
    inside, outside = sides
    known = not np.isnan(inside).all()
    # Rounded, so that on level ground the last digits decide nothing.
    weakest = int(np.nanargmin(inside.round(6))) if known else 0
    return Climb(
        pack=pack.number,
        inside=inside,
        outside=outside,
        weakest_chainage=float(line.chainage[weakest]),
        least=float(inside[weakest]),
        banks_inside=low[0],
        banks_outside=low[1],
        near_trees=_runs(trees <= checks.tree_distance_m, trees, line),
    )


def tree_distance(line: Alignment, woodland: tuple[BaseGeometry, ...]) -> Array:
    """Distance in plan from each station to the nearest wood, 0 in it, infinite without any. [m]"""
    points = shapely.points(line.x, line.y)
    away = [shapely.distance(wood, points) for wood in woodland if not wood.is_empty]
    return np.asarray(np.min(away, axis=0) if away else np.full(line.x.size, np.inf), float)


def climb_notes(found: tuple[Climb, ...], project: Project) -> list[Note]:
    """What a reader must know of climbing, pack by pack."""
    checks, notes = project.checks, []
    for c in found:
        packs, reach = (c.pack,), given(checks.climb_distance_m, "dimension")
        for side, banks in (("inside", c.banks_inside), ("outside", c.banks_outside)):
            if banks:
                notes.append(
                    Note(
                        "bank to climb from",
                        "high ground {side} leaves only {least} of the fence's {height} at the worst place",
                        "It stands too high within {reach} of the fence over {length}, {where}: cut the bank back, "
                        "raise the fence there or move the line.",
                        {
                            "side": side,
                            "height": given(project.fence.height_m, "dimension"),
                            "least": Quantity(min(b.worst for b in banks), "dimension"),
                            "reach": reach,
                            "length": Quantity(total(banks), "length"),
                            "where": where(banks),
                        },
                        packs,
                        size=total(banks),
                    )
                )
        if c.near_trees:
            notes.append(
                Note(
                    "wood beside the fence",
                    "woodland stands within {distance} of the fence over {length}",
                    "It does {where}: leaning stems and branches help a climber, and what falls opens the fence. Have "
                    "the trees looked at.",
                    {
                        "distance": given(checks.tree_distance_m, "dimension"),
                        "length": Quantity(total(c.near_trees), "length"),
                        "where": where(c.near_trees),
                    },
                    packs,
                    size=total(c.near_trees),
                )
            )
        unknown = int((np.isnan(c.inside) | np.isnan(c.outside)).sum())
        if unknown:
            notes.append(
                Note(
                    "bank not known",
                    "at {few} of {stations} stations the ground within {reach} of the fence is not known everywhere",
                    "Banks there are missed.",
                    {"few": unknown, "stations": c.inside.size, "reach": reach},
                    packs,
                    size=unknown,
                )
            )
    return notes


def _runs(holds: Mask, values: Array, line: Alignment) -> tuple[Stretch, ...]:
    return stretches(holds, values, step=line.step, largest=False, first=float(line.chainage[0]))
