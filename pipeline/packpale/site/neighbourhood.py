"""The order in which plots are taken, so that those that share blocks of a raster come one after the other."""

from collections.abc import Iterable

from packpale.site.model import Plot

_STEPS = 1 << 16


def near_after_near(plots: Iterable[Plot]) -> list[Plot]:
    """The plots along a curve through the plane that stays in one quarter of it before it goes to the next.

    By the middles of their bounds, in a square that holds all; of equal places in the order given.

    References
    ----------
    .. [1] G. M. Morton, "A computer oriented geodetic data base and a new technique in file sequencing", IBM, 1966.
    """
    listed = list(plots)
    if not listed:
        return []
    bounds = [plot.outline.bounds for plot in listed]
    middles = [((west + east) / 2, (south + north) / 2) for west, south, east, north in bounds]
    x0, y0 = min(x for x, _ in middles), min(y for _, y in middles)
    side = max(max(x for x, _ in middles) - x0, max(y for _, y in middles) - y0) or 1.0
    steps = [tuple(int((v - v0) / side * (_STEPS - 1)) for v, v0 in ((x, x0), (y, y0))) for x, y in middles]
    order = sorted(range(len(listed)), key=lambda i: _interleaved(steps[i][0], steps[i][1]))
    return [listed[i] for i in order]


def _interleaved(x: int, y: int) -> int:
    """The bits of both numbers by turns, those of y first."""
    return sum(((x >> bit & 1) << 2 * bit) | ((y >> bit & 1) << 2 * bit + 1) for bit in range(_STEPS.bit_length() - 1))
