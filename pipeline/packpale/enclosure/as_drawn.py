"""What has to be said of a fence line that was given instead of fitted: it is used as it is, good or not."""

import math
from collections.abc import Iterable, Sequence

import numpy as np
import shapely

from packpale.enclosure.drawn import DrawnLine
from packpale.enclosure.egg import Egg
from packpale.land.model import Land
from packpale.settings import Project
from packpale.site.model import EGG_COLUMNS, GivenLine, Site
from packpale.values.notes import Note, Phrase, listed, phrase
from packpale.values.quantity import Kind, Quantity, given

SAME_LINE_M = 0.05
"""How far the corners of a line may lie from an egg that is meant to be the same line: chords and rounding. [m]"""
WORTH_SAYING_M = 0.05
"""Length of line outside its limits from which it is mentioned. [m]"""


def given_lines(site: Site, project: Project) -> tuple[DrawnLine | Egg, ...]:
    """The plot's lines as given: an egg where the figures beside a line make just that line, else as it is drawn.

    A corner of a drawn line is what turns by more than panels can take without a strut.
    """
    most = project.fence.max_panel_deflection_deg
    return tuple(_egg(line) or DrawnLine.from_polygon(line.outline, corner_deg=most) for line in site.fence_lines)


def _egg(line: GivenLine) -> Egg | None:
    """The egg that the figures beside a line make; None where there are none, or the line is another one."""
    if line.egg is None:
        return None
    try:
        egg = Egg(*(line.egg[name] for name in EGG_COLUMNS))
    except ValueError:
        return None
    x, y = shapely.get_coordinates(line.outline.exterior).T
    apart = np.abs(egg.distance(x, y)).max()
    # All corners on the egg, and chords between them that leave it as little.
    same = apart <= SAME_LINE_M and abs(egg.area - line.outline.area) <= SAME_LINE_M * egg.perimeter
    return egg if same else None


def notes_on(lines: Sequence[DrawnLine | Egg], site: Site, land: Land, project: Project) -> tuple[Note, ...]:
    """Each thing a reader must know, pack by pack."""
    notes: list[Note] = []
    wanted = project.enclosure.packs
    if len(lines) < wanted:
        notes.append(
            Note(
                "fewer enclosures",
                "{drawn} of {wanted} enclosures are drawn on this plot",
                values={"drawn": len(lines), "wanted": wanted},
            )
        )
    for number, line in enumerate(lines, start=1):
        notes += _where_it_lies(number, line, site, land, project)
        if isinstance(line, DrawnLine):
            notes += _corners(number, line)
            if site.fence_lines[number - 1].egg is not None:
                notes.append(
                    Note(
                        "figures of another line",
                        "the figures beside the line given do not make that line",
                        "The line is used as it is drawn, by its corners. If the figures are right, take the file in "
                        "which nobody has moved the line.",
                        packs=(number,),
                    )
                )
        notes += _narrow(number, line, project)
        for other_number, other in enumerate(lines[: number - 1], start=1):
            gap = line.polygon().distance(other.polygon())
            if gap < project.enclosure.separation_m:
                notes.append(
                    Note(
                        "packs too near",
                        "the fence lines drawn are {gap} apart",
                        "{setting:enclosure.separation_m} is {separation}.",
                        {
                            "gap": Quantity(gap, "dimension"),
                            "separation": given(project.enclosure.separation_m, "dimension"),
                        },
                        (other_number, number),
                        size=-gap,
                    )
                )
    return tuple(notes)


def _where_it_lies(number: int, line: DrawnLine | Egg, site: Site, land: Land, project: Project) -> list[Note]:
    polygon = line.polygon()
    ring = polygon.exterior
    outside = ring.difference(site.outline).length
    packs = (number,)
    if outside > WORTH_SAYING_M:
        return [
            Note(
                "line leaves the plot",
                "{length} of the drawn line lie outside the plot",
                values={"length": Quantity(outside, "length")},
                packs=packs,
                size=outside,
            )
        ]
    no_go = [limit for limit in land.limits if not limit.may_lie_inside]
    said = []
    under = ring.difference(land.enclosable).length
    if under > WORTH_SAYING_M:
        held = [(ring.intersection(limit.area).length, limit.name) for limit in no_go]
        said.append(
            Note(
                "line on no-go ground",
                "{length} of {all} of the drawn line lie on no-go ground",
                "It is used as it is. What rules that ground out: {limits}.",
                {
                    "length": Quantity(under, "length"),
                    "all": Quantity(line.perimeter, "length"),
                    "limits": _largest(held, "length"),
                },
                packs,
                size=under,
            )
        )
    enclosed = polygon.difference(land.enclosable).area
    if enclosed > WORTH_SAYING_M:
        held = [(polygon.intersection(limit.area).area, limit.name) for limit in no_go]
        said.append(
            Note(
                "no-go ground inside",
                "the drawn line encloses {area} of no-go ground",
                "It is used as it is. What rules that ground out: {limits}.",
                {"area": Quantity(enclosed, "surface"), "limits": _largest(held, "surface")},
                packs,
                size=enclosed,
            )
        )
    strip = project.trench.outside_strip_m
    beyond = line.outline_at(strip).difference(polygon).difference(land.enclosable).area
    if not said and beyond > WORTH_SAYING_M:
        said.append(
            Note(
                "strip on no-go ground",
                "the drawn line keeps off no-go ground, but {area} of the strip that digging needs do not",
                "It takes {strip} outside the line.",
                {"area": Quantity(beyond, "surface"), "strip": Quantity(strip, "dimension")},
                packs,
                size=beyond,
            )
        )
    return said


def _largest(held: Iterable[tuple[float, Phrase]], kind: Kind) -> Phrase:
    """The three that take most, each with its amount."""
    most = sorted((h for h in held if h[0] > WORTH_SAYING_M), key=lambda h: -h[0])[:3]
    amounts = (phrase("{amount} {limit}", amount=Quantity(amount, kind), limit=name) for amount, name in most)
    return listed(amounts, "; ")


def _corners(number: int, line: DrawnLine) -> list[Note]:
    turns = np.abs(np.degrees(line.turns))
    sharp = turns > line.corner_deg
    if not sharp.any():
        return []
    i = int(np.argmax(turns))
    chainage = math.fsum(np.hypot(*np.diff(line.points[: i + 1], axis=0).T)) if i else 0.0
    many = int(sharp.sum())
    return [
        Note(
            "corners",
            f"the drawn line has {{many}} {'corner' if many == 1 else 'corners'} of more than {{limit}}, "
            "the sharpest of {sharpest}",
            "That is at chainage {chainage}; animals pace along straight sides, and climb and dig in corners (common "
            "practice, no source): round them where you can.",
            {
                "many": many,
                "limit": given(line.corner_deg, "bearing"),
                "sharpest": Quantity(float(turns[i]), "bearing"),
                "chainage": Quantity(chainage, "length"),
            },
            (number,),
            chainage,
            many,
        )
    ]


def _narrow(number: int, line: DrawnLine | Egg, project: Project) -> list[Note]:
    """Where the ground dug from one stretch of fence reaches that of another."""
    inside, outside = project.trench.inside_strip_m, project.trench.outside_strip_m
    left = line.outline_at(-inside, 0.01)
    twice = "Volumes count ground there twice."
    if left.is_empty or len(shapely.get_parts(left)) > 1:
        return [
            Note(
                "line close to itself",
                "the enclosed ground is narrower than twice the {strip} that digging needs inside",
                twice,
                {"strip": Quantity(inside, "dimension")},
                (number,),
            )
        ]
    grown = line.outline_at(outside, 0.01)
    if shapely.get_rings(grown).size > 1:
        return [
            Note(
                "line close to itself",
                "the drawn line comes within twice the {strip} that digging needs outside it of itself",
                twice,
                {"strip": Quantity(outside, "dimension")},
                (number,),
            )
        ]
    return []
