"""What stands along a fence line that a crew must not overlook, by chainage: one list for plan and long profile.

Letters and numbers are those of the ring that says whether the line holds, with the services beside them.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import shapely

from packpale.enclosure.model import Pack
from packpale.review.model import PlotResult
from packpale.review.subjects.holds import places
from packpale.settings import Project

CHORD_ERROR_M = 0.01
"""Largest distance between a fence line and the polygon that crossings with services are taken from. [m]"""
SERVICE = "X"
"""Letter of a service that passes under the line."""
WORDS = {
    "G": "gate",
    "W": "water crosses",
    SERVICE: "service crosses",
    "U": "shortest ways under the mesh",
    "O": "fence lowest over the ground",
    "T": "thing that lowers the fence",
}
"""Letter of each kind of mark, and what it says; none is the letter of a stake but G, which has no number there."""


@dataclass(frozen=True)
class Mark:
    """One place on a line."""

    letter: str
    number: int
    chainage: float
    """[m]"""

    @property
    def label(self) -> str:
        return f"{self.letter}{self.number}"


def marks(result: PlotResult, project: Project, pack: Pack) -> list[Mark]:
    """All marks of a pack's line."""
    found: list[tuple[str, int, float]] = [
        (p.letter, p.number, p.chainage) for p in places(result, project, pack) if p.letter in WORDS
    ]
    found += [(SERVICE, k, chainage) for k, chainage in enumerate(sorted(_services(result, pack)), 1)]
    return [Mark(*one) for one in found]


def _services(result: PlotResult, pack: Pack) -> Iterator[float]:
    """Chainages at which mapped services pass under the line. [m]"""
    ring = pack.line.polygon(CHORD_ERROR_M).exterior
    for service in result.site.features.get("services", ()):
        for part in shapely.get_parts(ring.intersection(service)):
            if not part.is_empty:
                share = shapely.line_locate_point(ring, part.centroid, normalized=True)
                yield float(share) * pack.line.perimeter
