"""What the quantities cost: all rates low, likely or high at once, and the spread if they vary on their own."""

import zlib
from collections.abc import Sequence

import numpy as np

from packpale.earthworks.model import Item
from packpale.site import Array


def total_cost(items: Sequence[Item], *, draws: int, seed: int, plot_id: str) -> dict[str, float]:
    """Total price in the run's currency: ``low``, ``likely``, ``high``, and ``p10``, ``p50``, ``p90``.

    The first three take all rates at once at that end. The percentiles come from ``draws`` random sets of rates,
    each rate triangular between its low and high with the peak at likely and independent of the others; in truth
    rates rise and fall together to some degree, so the real spread is wider. The same seed and plot give the same
    draws, whichever other plots there are.
    """
    totals = {
        name: sum(item.quantity * item.rate[k] for item in items) for k, name in enumerate(("low", "likely", "high"))
    }
    # crc32 is the same in every process, which hash() is not.
    generator = np.random.default_rng([seed, zlib.crc32(plot_id.encode())])
    drawn = np.zeros(draws)
    for item in items:
        drawn += item.quantity * triangular(generator.random(draws), *item.rate)
    p10, p50, p90 = np.quantile(drawn, (0.1, 0.5, 0.9))
    return totals | {"p10": float(p10), "p50": float(p50), "p90": float(p90)}


def triangular(share: Array, low: float, likely: float, high: float) -> Array:
    """Value below which the given share (0 to 1) of a triangular distribution lies; ``low`` may equal ``high``."""
    width = high - low
    rising = low + np.sqrt(share * width * (likely - low))
    falling = high - np.sqrt((1 - share) * width * (high - likely))
    return np.where(share * width < likely - low, rising, falling)
