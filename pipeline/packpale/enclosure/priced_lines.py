"""The searches that a menu is made from, on one plot: ground, ranges and prices brought together once."""

from dataclasses import dataclass, field

from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import Shapes
from packpale.enclosure.fit_line import largest
from packpale.enclosure.line_ground import LineCost, LineGround
from packpale.enclosure.line_search import Labour, Round, Search
from packpale.enclosure.model import Fit
from packpale.enclosure.place_line import place_line

FEW = Labour(
    40,
    (
        Round(1200, (0.1, 0.01), (0.5, 0.1), (3.0, 15.0), samples=100.0, kept=8),
        Round(4000, (0.05, 0.002), (0.3, 0.02), (6.0, 40.0), samples=160.0, kept=3),
    ),
    400,
)
"""What the menu spends on each of its lines: a tenth of what is spent on the line that is built."""


@dataclass
class PricedLines:
    """The searches of ``alternatives.Lines``. What one of them finds, the next ones begin from."""

    on: Search
    cost: LineCost
    found: list[tuple[float, Egg]] = field(default_factory=list)
    """Lines found so far or known before, each with the share that it keeps."""

    @classmethod
    def prepared(cls, ground: LineGround, shapes: Shapes, cost: LineCost) -> "PricedLines | None":
        """None where no-go ground leaves no room."""
        on = Search.on(ground, shapes)
        return None if on is None else cls(on, cost)

    def largest(self, share: float) -> Fit | None:
        """As ``alternatives.Lines`` has it, the others too."""
        known = max((e for s, e in self.found if s <= share), key=lambda egg: egg.area, default=None)
        egg = largest(self.on, share, FEW, known)
        if egg is None:
            return None
        self.found.append((share, egg))
        return Fit(egg, self.on.bound, 0.0)

    def cheapest(self, area: float, share: float) -> Egg | None:
        shapes = self.on.shapes
        # The nearest in size are most like it.
        known = sorted((e for s, e in self.found if s <= share), key=lambda egg: abs(egg.area - area))[:4]
        fit = place_line(
            self.on.ground,
            share,
            area,
            self.cost,
            taper=shapes.taper,
            aspect=shapes.aspect,
            min_radius=shapes.min_radius,
            labour=FEW,
            on=self.on,
            known=known,
        )
        if fit is None:
            return None
        self.found.append((share, fit.egg))
        return fit.egg

    def over(self, egg: Egg) -> float:
        return self.on.over_m(egg)

    def holds(self, egg: Egg, share: float) -> bool:
        return egg.small_radius >= self.on.shapes.min_radius and self.on.allows(egg, share)

    @property
    def least_area(self) -> float:
        """Without a least radius that of a small end of a metre, smaller than anybody would build."""
        taper, aspect = self.on.shapes.taper[1], self.on.shapes.aspect[0]
        radius = max(self.on.shapes.min_radius, 1.0) * (1 + 1e-6)
        return Egg.from_shape(taper, aspect, big_radius=radius / taper).area
