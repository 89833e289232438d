"""Memory that is free inside a process goes back to the machine, where the C library has a way to do so."""

import ctypes
import functools
import sys
from collections.abc import Callable


def give_back() -> None:
    """Give back what is free.

    Else each stage of a plot leaves its share of holes behind, and a worker grows to the sum of all stages instead of
    the largest. Takes milliseconds; without effect where the C library is none that can (it is GNU's).
    """
    if trim := _malloc_trim():
        trim(0)


@functools.cache
def _malloc_trim() -> Callable[[int], int] | None:
    if sys.platform != "linux":
        return None
    try:
        trim: Callable[[int], int] = ctypes.CDLL(None).malloc_trim
    except (OSError, AttributeError):
        return None
    return trim
