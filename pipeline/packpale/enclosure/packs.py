"""Several eggs a set distance apart: the smallest as large as possible, then the sum."""

from shapely.geometry import MultiPolygon, Polygon

from packpale.enclosure.fit import fit_largest
from packpale.enclosure.model import Fit


def fit_packs(
    area: Polygon | MultiPolygon,
    n: int,
    separation: float,
    *,
    clearance: float = 0.0,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float = 0.0,
) -> tuple[Fit, ...]:
    """Up to ``n`` eggs at least ``separation`` [m] apart; fewer where no more fit."""
    fits: list[Fit] = []
    left = area
    for _ in range(n):
        fit = fit_largest(left, clearance=clearance, taper=taper, aspect=aspect, min_radius=min_radius)
        if fit is None:
            break
        fits.append(fit)
        # The next egg's own strip must not count twice against the separation.
        left = left.difference(fit.egg.polygon(0.01).buffer(max(separation - clearance, 0.0) + 0.02))
    return tuple(fits)
