"""What the quantities cost: all rates low, likely or high at once, and drawn one by one."""

import zlib
from collections.abc import Mapping, Sequence

import numpy as np

from packpale.earthworks.model import Item
from packpale.site import Array

RATES, ROCK, WATER, ELEVATION, OVER_DIG, INSIDE_ROCK, INSIDE_WATER = range(7)
"""Streams of random numbers."""


def total_cost(items: Sequence[Item]) -> dict[str, float]:
    """Total price in the run's currency with all rates ``low``, ``likely`` or ``high`` at once."""
    return {
        name: sum(item.quantity * item.rate[k] for item in items) for k, name in enumerate(("low", "likely", "high"))
    }


def generator(seed: int, whose: str, stream: int) -> np.random.Generator:
    """Random numbers for one purpose of a plot, or of a cause that all plots share: the same whatever else there is."""
    # crc32 is the same in every process, which hash() is not.
    return np.random.default_rng([seed, zlib.crc32(whose.encode()), stream])


def drawn_prices(
    items: Sequence[Item], quantities: Mapping[str, Array], *, draws: int, seed: int
) -> tuple[Array, dict[str, Array]]:
    """Total price of each draw, shape (draws,), and each item's drawn rate, by its key.

    Each rate is triangular between its low and high with the peak at likely and independent of the others; in truth
    rates rise and fall together to some degree, so the real spread is wider. The same rate is drawn on every plot,
    since the same people build whichever is chosen. ``quantities`` holds drawn quantities of items by key, shape
    (draws,); the other items have their own quantity in every draw.
    """
    prices = np.zeros(draws)
    rates: dict[str, Array] = {}
    for item in items:
        rates[item.key] = triangular(generator(seed, item.key, RATES).random(draws), *item.rate)
        prices += quantities.get(item.key, item.quantity) * rates[item.key]
    return prices, rates


def triangular(share: Array, low: float, likely: float, high: float) -> Array:
    """Value below which the given share (0 to 1) of a triangular distribution lies; ``low`` may equal ``high``."""
    width = high - low
    rising = low + np.sqrt(share * width * (likely - low))
    falling = high - np.sqrt((1 - share) * width * (high - likely))
    return np.where(share * width < likely - low, rising, falling)
