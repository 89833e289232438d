"""What the quantities cost: all rates low, likely or high at once, and drawn one by one."""

import zlib
from collections.abc import Mapping, Sequence

import numpy as np

from packpale.earthworks.model import Item
from packpale.site import Array


def total_cost(items: Sequence[Item]) -> dict[str, float]:
    """Total price in the run's currency with all rates ``low``, ``likely`` or ``high`` at once."""
    return {
        name: sum(item.quantity * item.rate[k] for item in items) for k, name in enumerate(("low", "likely", "high"))
    }


def generator(seed: int, plot_id: str, stream: int) -> np.random.Generator:
    """Random numbers of one plot for one purpose: the same whichever other plots and purposes there are."""
    # crc32 is the same in every process, which hash() is not.
    return np.random.default_rng([seed, zlib.crc32(plot_id.encode()), stream])


def drawn_prices(
    items: Sequence[Item], quantities: Mapping[str, Array], *, draws: int, random: np.random.Generator
) -> tuple[Array, dict[str, Array]]:
    """Total price of each draw, shape (draws,), and each item's drawn rate, by its key.

    Each rate is triangular between its low and high with the peak at likely and independent of the others; in truth
    rates rise and fall together to some degree, so the real spread is wider. ``quantities`` holds drawn quantities
    of items by key, shape (draws,); the other items have their own quantity in every draw.
    """
    prices = np.zeros(draws)
    rates: dict[str, Array] = {}
    for item in items:
        rates[item.key] = triangular(random.random(draws), *item.rate)
        prices += quantities.get(item.key, item.quantity) * rates[item.key]
    return prices, rates


def triangular(share: Array, low: float, likely: float, high: float) -> Array:
    """Value below which the given share (0 to 1) of a triangular distribution lies; ``low`` may equal ``high``."""
    width = high - low
    rising = low + np.sqrt(share * width * (likely - low))
    falling = high - np.sqrt((1 - share) * width * (high - likely))
    return np.where(share * width < likely - low, rising, falling)
