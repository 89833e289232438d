"""How sure the ranking is, for the first page: usual places as bars, and what would turn the first two round."""

from collections.abc import Iterator
from dataclasses import dataclass

from packpale.review.model import Overtaking, RankedPlot, Ranking
from packpale.settings import RankingCriterion

WIDTH, PAD = 240.0, 12.0
"""Width of a row's chart, and room beside its first and last place. [px]"""
NAMES: dict[RankingCriterion, str] = {
    "land": "suitability of the land",
    "space": "size",
    "price": "price for each unit of area",
}
"""What the criteria are called on the pages."""


@dataclass(frozen=True)
class PlaceBar:
    """One plot's usual places, drawn from left (first) to right (last). [px]"""

    place: RankedPlot
    bar: tuple[float, float]
    """Ends with weights around the chosen ones."""
    line: tuple[float, float]
    """Ends with any weights."""
    dot: float
    """Place with the weights as chosen."""


def place_bars(ranking: Ranking) -> list[PlaceBar]:
    """One row for each plot on which an enclosure fits."""
    rows = [r for r in ranking.rows if r.rank is not None and r.usual_places and r.usual_places_any]

    def at(place: float) -> float:
        return PAD + (WIDTH - 2 * PAD) * (place - 1) / max(len(rows) - 1, 1)

    def ends(places: tuple[int, int] | None) -> tuple[float, float]:
        best, worst = places or (1, 1)
        return at(best) - 5, at(worst) + 5

    return [PlaceBar(r, ends(r.usual_places), ends(r.usual_places_any), at(r.rank or 1)) for r in rows]


def places_text(places: tuple[int, int] | None) -> str:
    """Places from the best to the worst."""
    if places is None:
        return ""
    best, worst = places
    return str(best) if best == worst else f"{best} to {worst}"


def overtaking_sentences(ranking: Ranking) -> Iterator[str]:
    """What would have to be weighed otherwise for the second plot to overtake the first."""
    if not ranking.overtaking:
        return
    first, second = ranking.rows[0].plot_id, ranking.rows[1].plot_id
    ways = [o for o in ranking.overtaking if o.needed is not None]
    if not ways:
        yield f"No other weight of any one criterion puts {second} before {first}."
        return
    yield f"For {second} to overtake {first}, one weight would have to change, the others as they are:"
    for way in ways:
        yield _way(way)
    without = [NAMES[o.criterion] for o in ranking.overtaking if o.needed is None]
    if without:
        yield f"No weight of {' or '.join(without)} alone brings it about."


def _way(way: Overtaking) -> str:
    needed = way.needed or 0.0
    verb = "rise above" if needed > way.weight else "fall below"
    return f"that of {NAMES[way.criterion]} would have to {verb} {needed:.3g} (it is {way.weight:g})."
