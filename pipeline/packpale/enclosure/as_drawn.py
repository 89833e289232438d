"""What has to be said of a fence line that was given instead of fitted: it is used as it is, good or not."""

import math
from collections.abc import Iterable, Sequence

import numpy as np
import shapely

from packpale.enclosure.drawn import DrawnLine
from packpale.land.model import Land
from packpale.settings import Project
from packpale.site.model import Site

WORTH_SAYING_M = 0.05
"""Length of line outside its limits from which it is mentioned. [m]"""


def drawn_lines(site: Site, project: Project) -> tuple[DrawnLine, ...]:
    """The plot's lines as given; a corner is what turns by more than panels can take without a strut."""
    most = project.fence.max_panel_deflection_deg
    return tuple(DrawnLine.from_polygon(shape, corner_deg=most) for shape in site.fence_lines)


def notes_on(lines: Sequence[DrawnLine], site: Site, land: Land, project: Project) -> tuple[str, ...]:
    """One sentence for each thing a reader must know, pack by pack."""
    notes: list[str] = []
    wanted = project.enclosure.packs
    if len(lines) < wanted:
        notes.append(f"{len(lines)} of {wanted} enclosures are drawn on this plot.")
    for number, line in enumerate(lines, start=1):
        name = f"Pack {number}"
        notes += _where_it_lies(name, line, site, land, project)
        notes += _corners(name, line)
        notes += _narrow(name, line, project)
        for other_number, other in enumerate(lines[: number - 1], start=1):
            gap = line.polygon().distance(other.polygon())
            if gap < project.enclosure.separation_m:
                notes.append(
                    f"The fence lines of packs {other_number} and {number} are {gap:.1f} m apart; "
                    f"enclosure.separation_m is {project.enclosure.separation_m:g} m."
                )
    return tuple(notes)


def _where_it_lies(name: str, line: DrawnLine, site: Site, land: Land, project: Project) -> list[str]:
    polygon = line.polygon()
    ring = polygon.exterior
    outside = ring.difference(site.outline).length
    if outside > WORTH_SAYING_M:
        return [f"{name}: {outside:.0f} m of the drawn line lie outside the plot."]
    no_go = [limit for limit in land.limits if not limit.may_lie_inside]
    said = []
    under = ring.difference(land.enclosable).length
    if under > WORTH_SAYING_M:
        named = _largest((ring.intersection(limit.area).length, "m", limit.name) for limit in no_go)
        said.append(
            f"{name}: {under:.0f} of {line.perimeter:.0f} m of the drawn line lie on no-go ground{named}; "
            "it is used as it is."
        )
    enclosed = polygon.difference(land.enclosable).area
    if enclosed > WORTH_SAYING_M:
        named = _largest((polygon.intersection(limit.area).area, "m2", limit.name) for limit in no_go)
        said.append(f"{name}: the drawn line encloses {enclosed:.0f} m2 of no-go ground{named}; it is used as it is.")
    strip = project.trench.outside_strip_m
    beyond = line.outline_at(strip).difference(polygon).difference(land.enclosable).area
    if not said and beyond > WORTH_SAYING_M:
        said.append(
            f"{name}: the drawn line keeps off no-go ground, but {beyond:.0f} m2 of the strip that digging "
            f"needs do not; it takes {strip:.1f} m outside the line."
        )
    return said


def _largest(held: Iterable[tuple[float, str, str]]) -> str:
    """The three that take most, in brackets: amount, its unit, and what holds there."""
    most = sorted((h for h in held if h[0] > WORTH_SAYING_M), key=lambda h: -h[0])[:3]
    return f" ({'; '.join(f'{amount:.0f} {unit}: {name}' for amount, unit, name in most)})" if most else ""


def _corners(name: str, line: DrawnLine) -> list[str]:
    turns = np.abs(np.degrees(line.turns))
    sharp = turns > line.corner_deg
    if not sharp.any():
        return []
    i = int(np.argmax(turns))
    chainage = math.fsum(np.hypot(*np.diff(line.points[: i + 1], axis=0).T)) if i else 0.0
    many = int(sharp.sum())
    return [
        f"{name}: the drawn line has {many} {'corner' if many == 1 else 'corners'} of more than {line.corner_deg:g} "
        f"degrees, the sharpest of {turns[i]:.0f} at chainage {chainage:.0f} m; animals pace along straight sides, and "
        "climb and dig in corners (common practice, no source): round them where you can."
    ]


def _narrow(name: str, line: DrawnLine, project: Project) -> list[str]:
    """Where the ground dug from one stretch of fence reaches that of another."""
    inside, outside = project.trench.inside_strip_m, project.trench.outside_strip_m
    left = line.outline_at(-inside, 0.01)
    if left.is_empty or len(shapely.get_parts(left)) > 1:
        return [
            f"{name}: the enclosed ground is narrower than twice the {inside:.1f} m that digging needs inside; "
            "volumes count ground there twice."
        ]
    grown = line.outline_at(outside, 0.01)
    if shapely.get_rings(grown).size > 1:
        return [
            f"{name}: the drawn line comes within twice the {outside:.1f} m that digging needs outside it of itself; "
            "volumes count ground there twice."
        ]
    return []
