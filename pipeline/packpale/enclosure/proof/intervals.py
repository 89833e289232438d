"""Interval arithmetic on arrays: every operation encloses all results its operands allow, up to rounding.

Rounding is not directed; whoever uses the result widens it by far more than a few units of the last digit.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Self

import numpy as np

from packpale.site.grid import Array


@dataclass(frozen=True)
class Interval:
    """All numbers from ``lo`` to ``hi``, elementwise; the two arrays have one shape."""

    lo: Array
    hi: Array

    @classmethod
    def exact(cls, value: float | Array) -> Self:
        """The interval that holds one number."""
        number = np.asarray(value, float)
        return cls(number, number)

    def __add__(self, other: "Interval | float") -> "Interval":
        b = _interval(other)
        return Interval(self.lo + b.lo, self.hi + b.hi)

    def __neg__(self) -> "Interval":
        return Interval(-self.hi, -self.lo)

    def __sub__(self, other: "Interval | float") -> "Interval":
        return self + -_interval(other)

    def __rsub__(self, other: float) -> "Interval":
        return -self + other

    def __mul__(self, other: "Interval | float") -> "Interval":
        b = _interval(other)
        if b.lo is b.hi:
            first, second = self.lo * b.lo, self.hi * b.lo
            return Interval(np.minimum(first, second), np.maximum(first, second))
        # The arrays are large: as few new ones as may be.
        first, second = self.lo * b.lo, self.lo * b.hi
        lo, hi = np.minimum(first, second), _into(second, np.maximum, first, second)
        third, fourth = _into(first, np.multiply, self.hi, b.lo), self.hi * b.hi
        least, most = np.minimum(third, fourth), _into(fourth, np.maximum, third, fourth)
        return Interval(_into(lo, np.minimum, lo, least), _into(hi, np.maximum, hi, most))

    __radd__ = __add__
    __rmul__ = __mul__

    def __truediv__(self, other: "Interval | float") -> "Interval":
        return self * _interval(other).reciprocal()

    def __rtruediv__(self, other: float) -> "Interval":
        return self.reciprocal() * other

    def reciprocal(self) -> "Interval":
        """1 / x; everything where the interval holds zero."""
        holds_zero = (self.lo <= 0) & (self.hi >= 0)
        with np.errstate(divide="ignore"):
            lo, hi = 1 / self.hi, 1 / self.lo
        return Interval(np.where(holds_zero, -np.inf, lo), np.where(holds_zero, np.inf, hi))

    def square(self) -> "Interval":
        """Product of x with itself, never negative."""
        lo, hi = self.lo**2, self.hi**2
        inside = (self.lo < 0) & (self.hi > 0)
        return Interval(np.where(inside, 0.0, np.minimum(lo, hi)), np.maximum(lo, hi))

    def rising(self, function: Callable[[Array], Array]) -> "Interval":
        """Image under a function that nowhere falls on the interval."""
        return Interval(function(self.lo), function(self.hi))

    def falling(self, function: Callable[[Array], Array]) -> "Interval":
        """Image under a function that nowhere rises on the interval."""
        return Interval(function(self.hi), function(self.lo))

    def clipped(self, low: Array, high: Array) -> "Interval":
        """Ends moved into [low, high]."""
        return Interval(np.clip(self.lo, low, high), np.clip(self.hi, low, high))

    def hull(self, other: "Interval", where: np.ndarray) -> "Interval":
        """The smallest interval that holds both where asked for, this one elsewhere."""
        return Interval(
            np.where(where, np.minimum(self.lo, other.lo), self.lo),
            np.where(where, np.maximum(self.hi, other.hi), self.hi),
        )


def _into(room: Array, function: np.ufunc, a: Array, b: Array) -> Array:
    """``function(a, b)``, written over ``room``, which nobody needs any more, where that has the shape."""
    fits = isinstance(room, np.ndarray) and room.shape == np.broadcast_shapes(np.shape(a), np.shape(b))
    result: Array = function(a, b, out=room) if fits else function(a, b)
    return result


def _interval(value: Interval | float) -> Interval:
    return value if isinstance(value, Interval) else Interval.exact(value)
