"""What stands along a fence line that a crew must not overlook, by chainage: one list for plan and long profile."""

from collections.abc import Iterator
from dataclasses import dataclass

import shapely

from packpale.enclosure.model import Pack
from packpale.review.model import PlotResult
from packpale.review.subjects.crossings import crossings

CHORD_ERROR_M = 0.01
"""Largest distance between a fence line and the polygon that crossings with services are taken from. [m]"""
WORDS = {
    "G": "gate",
    "X": "water crosses",
    "S": "service crosses",
    "T": "tree or boulder near",
    "U": "shortest way under the mesh",
    "J": "fence lowest over the ground",
}
"""Letter of each kind of mark, and what it says; none is the letter of a stake but G, which has no number there."""


@dataclass(frozen=True)
class Mark:
    """One place on a line."""

    letter: str
    number: int
    """Among those of its letter, along the line."""
    chainage: float
    """[m]"""
    x: float
    y: float
    """Where it stands: on the line, but for what stands near it."""

    @property
    def label(self) -> str:
        return f"{self.letter}{self.number}"


def marks(result: PlotResult, pack: Pack) -> list[Mark]:
    """All marks of a pack's line, kind by kind, each along the line; a gate has the number that it has elsewhere."""
    gates = zip(pack.gates.chainage.tolist(), pack.gates.x.tolist(), pack.gates.y.tolist(), strict=True)
    found = [Mark("G", k, *gate) for k, gate in enumerate(gates, 1)]
    others: dict[str, list[tuple[float, float, float]]] = {
        "X": [(c.chainage, c.x, c.y) for c in crossings(result) if c.pack == pack.number],
        "S": list(_services(result, pack)),
    }
    if result.care is not None:
        others["T"] = [(a.chainage, a.x, a.y) for a in result.care.aids if a.pack == pack.number]
        weakest = [d.weakest_chainage for d in result.care.dig_out if d.pack == pack.number]
        lowest = [c.weakest_chainage for c in result.care.climbs if c.pack == pack.number]
        for letter, chainages in (("U", weakest), ("J", lowest)):
            at = [pack.line.points_at(s) for s in chainages]
            others[letter] = [(s, float(p.x), float(p.y)) for s, p in zip(chainages, at, strict=True)]
    for letter, places in others.items():
        found += [Mark(letter, k, *place) for k, place in enumerate(sorted(places), 1)]
    return found


def _services(result: PlotResult, pack: Pack) -> Iterator[tuple[float, float, float]]:
    """Where mapped services pass under the line."""
    ring = pack.line.polygon(CHORD_ERROR_M).exterior
    for service in result.site.features.get("services", ()):
        for part in shapely.get_parts(ring.intersection(service)):
            if part.is_empty:
                continue
            middle = part.centroid
            share = shapely.line_locate_point(ring, middle, normalized=True)
            yield float(share) * pack.line.perimeter, middle.x, middle.y
