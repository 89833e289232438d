"""Trees, boulders and the like that stand beside a fence, and what they leave of its height."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely

from packpale.enclosure.model import Pack
from packpale.settings import CheckSettings, Project
from packpale.site import Site
from packpale.values.notes import Note, phrase
from packpale.values.quantity import Quantity, given

CHORD_ERROR_M = 0.001
"""Largest distance between a fence line and the polygon that distances are taken from. [m]"""

ON_THE_LINE_M = 0.005
"""What stands nearer reaches over the fence line. [m]"""
Side = Literal["outside", "inside", "on the line"]


@dataclass(frozen=True)
class ClimbingAid:
    """One thing near one fence line."""

    pack: int
    number: int
    """In the order of the things in the plot's window, from 1."""
    chainage: float
    """Where the fence is nearest. [m]"""
    distance: float
    """In plan, 0 where it reaches over the line. [m]"""
    outside: bool
    """On which side the most of it stands."""
    height: float
    """Above the ground it stands on; NaN where it is not given. [m]"""
    left: float
    """Height of the fence's top above the thing's; negative where that is higher, NaN where it is not known. [m]"""
    x: float
    y: float
    """Its point nearest to the fence."""

    @property
    def side(self) -> Side:
        """In words."""
        if self.distance < ON_THE_LINE_M:
            return "on the line"
        return "outside" if self.outside else "inside"


def climbing_aids(site: Site, pack: Pack, project: Project) -> tuple[ClimbingAid, ...]:
    """Everything that stands within checks.tree_distance_m of one pack's fence, along the line."""
    area = pack.line.polygon(CHORD_ERROR_M)
    ring, found = area.exterior, []
    for number, thing in enumerate(site.standing, 1):
        distance = float(ring.distance(thing.geometry))
        if distance > project.checks.tree_distance_m:
            continue
        at_fence, at_thing = shapely.get_coordinates(shapely.shortest_line(ring, thing.geometry))
        foot, ground = (float(site.grid.bilinear(site.elevation, *place)) for place in (at_fence, at_thing))
        # The polygon's chords are shorter than the line by less than a millimetre in a metre; chainage is the line's.
        along = float(shapely.line_locate_point(ring, shapely.Point(at_fence), normalized=True))
        middle = thing.geometry.centroid
        found.append(
            ClimbingAid(
                pack=pack.number,
                number=number,
                chainage=along * pack.line.perimeter,
                distance=distance,
                outside=not area.contains(middle),
                height=thing.height,
                left=foot + project.fence.height_m - ground - thing.height,
                x=float(at_thing[0]),
                y=float(at_thing[1]),
            )
        )
    return tuple(sorted(found, key=lambda aid: (aid.chainage, aid.number)))


def weakening(aid: ClimbingAid, project: Project) -> bool:
    """Whether a thing takes more than checks.climb_loss_m from the fence, or may do so: its height is not known."""
    return bool(np.isnan(aid.left)) or aid.left < project.fence.height_m - project.checks.climb_loss_m


def aid_notes(found: Sequence[ClimbingAid], project: Project) -> list[Note]:
    """What a reader must know of them, pack by pack."""
    notes, checks = [], project.checks
    for pack in dict.fromkeys(aid.pack for aid in found):
        weak = [aid for aid in found if aid.pack == pack and weakening(aid, project)]
        if weak:
            notes.append(_note(pack, weak, checks))
    return notes


def _note(pack: int, weak: Sequence[ClimbingAid], checks: CheckSettings) -> Note:
    things = "{count} trees, boulders or other things stand"
    if len(weak) == 1:
        things = "{count} tree, boulder or other thing stands"
    nearest = min(weak, key=lambda aid: aid.distance)
    chainage = Quantity(nearest.chainage, "length")
    place = phrase("on the line, chainage {chainage}", chainage=chainage)
    if nearest.side != "on the line":
        away = Quantity(nearest.distance, "dimension")
        place = phrase("{away} {side}, chainage {chainage}", away=away, side=nearest.side, chainage=chainage)
    left = min((aid.left for aid in weak if not np.isnan(aid.left)), default=None)
    height = phrase("")
    if left is not None:
        highest = phrase("; the highest leaves {left} of its height", left=Quantity(left, "dimension"))
        height = highest if left > 0 else phrase("; one is higher than it")
    return Note(
        "thing to climb",
        f"{things} within {{distance}} of the fence",
        "The nearest is {place}{height}: take away what helps a climber, raise the fence there or move the line.",
        {
            "count": len(weak),
            "distance": given(checks.tree_distance_m, "dimension"),
            "place": place,
            "height": height,
        },
        (pack,),
        nearest.chainage,
        len(weak),
    )
