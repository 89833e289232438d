"""The searches that a menu is made from, on one plot: ground, ranges and prices brought together once."""

from collections.abc import Callable
from dataclasses import dataclass, field

from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import Shapes
from packpale.enclosure.fit_line import largest
from packpale.enclosure.line_ground import LineCost, LineGround
from packpale.enclosure.line_search import Labour, Round, Search
from packpale.enclosure.model import Fit
from packpale.enclosure.place_line import place_line

FEW = Labour(
    160,
    (
        Round(200, (0.1, 0.01), (0.5, 0.1), (6.0, 30.0), samples=60.0, kept=12),
        Round(1000, (0.05, 0.002), (0.3, 0.02), (20.0, 80.0), samples=120.0, kept=5),
    ),
    200,
    again=300,
)
"""What the menu spends on each of its lines: a tenth of what is spent on the line that is built."""
SOME = Labour(
    150,
    (
        Round(600, (0.1, 0.01), (0.5, 0.1), (6.0, 30.0), samples=80.0, kept=24),
        Round(2000, (0.05, 0.002), (0.3, 0.02), (20.0, 80.0), samples=120.0, kept=10),
    ),
    300,
    again=600,
)
"""What it spends on the largest for each share, of which there are several only where the ground is rough."""
MORE = Labour(
    400,
    (
        Round(400, (0.1, 0.01), (0.5, 0.1), (6.0, 30.0), samples=80.0, kept=40),
        Round(2000, (0.05, 0.002), (0.3, 0.02), (20.0, 80.0), samples=160.0, kept=14),
    ),
    400,
    again=600,
)
"""What it spends once more on a size of which that finds none."""


@dataclass
class PricedLines:
    """The searches of ``alternatives.Lines``. What one of them finds, the next ones begin from."""

    on: Search
    cost: LineCost
    found: list[Egg] = field(default_factory=list)
    """Lines found so far or known before, whatever share they keep."""

    @classmethod
    def prepared(cls, ground: LineGround, shapes: Shapes, cost: LineCost) -> "PricedLines | None":
        """None where no-go ground leaves no room."""
        on = Search.on(ground, shapes)
        return None if on is None else cls(on, cost)

    def largest(self, share: float) -> Fit | None:
        """As ``alternatives.Lines`` has it, the others too."""
        known = next((e for e in self._by(lambda e: -e.area) if self.holds(e, share)), None)
        egg = largest(self.on, share, SOME, known)
        if egg is None:
            return None
        self.found.append(egg)
        return Fit(egg, self.on.bound, 0.0)

    def cheapest(self, area: float, share: float) -> Egg | None:
        shapes = self.on.shapes
        # The nearest in size are most like it.
        known = self._by(lambda e: abs(e.area - area))[:4]
        for labour in (FEW, MORE):
            fit = place_line(
                self.on.ground,
                share,
                area,
                self.cost,
                taper=shapes.taper,
                aspect=shapes.aspect,
                min_radius=shapes.min_radius,
                labour=labour,
                on=self.on,
                known=known,
            )
            if fit is not None:
                self.found.append(fit.egg)
                return fit.egg
        return None

    def _by(self, order: Callable[[Egg], float]) -> list[Egg]:
        return sorted(self.found, key=order)

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
