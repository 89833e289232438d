"""How sure the ranking is, for the first page: usual places as sketches, and what would turn the first two round."""

from collections.abc import Iterator

from packpale.review.model import RankedPlot, Ranking
from packpale.review.report.charts import HAIR, INK, add, drawing, markup
from packpale.settings import RankingCriterion

WIDTH, PAD, MIDDLE = 240.0, 12.0, 11.0
"""Width of a row's sketch, room beside its first and last place, and half its height. [px]"""
NAMES: dict[RankingCriterion, str] = {
    "land": "suitability of the land",
    "space": "size",
    "price": "price for each unit of area",
}
"""What the criteria are called on the pages."""


def place_sketch(place: RankedPlot, last: int) -> str:
    """A row of places from the first, left, to the last: usual ones as a box, those with any weights as a line."""

    def at(one: int) -> float:
        return PAD + (WIDTH - 2 * PAD) * (one - 1) / max(last - 1, 1)

    def ends(places: tuple[int, int] | None) -> tuple[float, float]:
        best, worst = places or (1, 1)
        return at(best) - 5, at(worst) + 5

    svg = drawing(WIDTH, 2 * MIDDLE)
    left, right = ends(place.usual_places)
    widest, farthest = ends(place.usual_places_any)
    add(svg, "line", x1=PAD, x2=WIDTH - PAD, y1=MIDDLE, y2=MIDDLE, stroke=HAIR)
    add(svg, "line", x1=widest, x2=farthest, y1=MIDDLE, y2=MIDDLE, stroke=INK, stroke_width=2.0)
    add(svg, "rect", x=left, y=MIDDLE - 6, width=right - left, height=12.0, fill="#e2c9a4", stroke=INK)
    add(svg, "circle", cx=at(place.rank or 1), cy=MIDDLE, r=3.5, fill="#8f1233")
    return markup(svg).replace("<svg ", f'<svg width="{WIDTH:.0f}" height="{2 * MIDDLE:.0f}" aria-hidden="true" ', 1)


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
        needed = way.needed or 0.0
        verb = "rise above" if needed > way.weight else "fall below"
        yield f"that of {NAMES[way.criterion]} would have to {verb} {needed:.3g} (it is {way.weight:g})."
    without = [NAMES[o.criterion] for o in ranking.overtaking if o.needed is None]
    if without:
        yield f"No weight of {' or '.join(without)} alone brings it about."
