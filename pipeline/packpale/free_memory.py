"""What a process holds of memory: what is free goes back to the machine, what stays is not looked through for waste."""

import ctypes
import functools
import gc
import sys
from collections.abc import Callable
from typing import ParamSpec, TypeVar

OBJECTS_BETWEEN_SEARCHES = 50_000
"""Geometries, rows of tables and texts of pages are made by the ten thousand and hardly ever hold each other."""
ROOM_FOR_CALLS = 65_536
"""Room that a call asks for itself; as much again is left for those below it. [words of 8 bytes]"""

P = ParamSpec("P")
T = TypeVar("T")


def give_back() -> None:
    """Give back what is free.

    Else each stage of a plot leaves its share of holes behind, and a worker grows to the sum of all stages instead of
    the largest. Takes milliseconds; without effect where the C library is none that can (it is GNU's).
    """
    if trim := _malloc_trim():
        trim(0)


def search_seldom() -> None:
    """Search less often for objects that only hold each other; before much is loaded, since little of that is waste."""
    gc.set_threshold(OBJECTS_BETWEEN_SEARCHES)


def look_past_what_stays() -> None:
    """Leave everything there is now out of all later searches for objects that only hold each other.

    The compiler alone makes some hundred thousand objects that live as long as the process: a tenth of the time of a
    run went into looking through them over and over.
    """
    search_seldom()
    if gc.get_freeze_count():
        # The first time there is little but what was loaded, and looking through that is what is to be saved.
        gc.collect()
    gc.freeze()


def with_room_for_calls(function: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> T:
    """Call a function so that the frames of all calls below it lie in one piece of memory.

    CPython since 3.11 maps 16 kB for the frames of calls and unmaps them on the way back (``push_chunk`` in its
    Python/pystate.c). A loop at such a depth that its calls cross the end does both each time: an eighth of what
    compiling took. The piece is made as large as the frame that does not fit asks for.
    """
    return function(*args, **kwargs)


with_room_for_calls.__code__ = with_room_for_calls.__code__.replace(co_stacksize=ROOM_FOR_CALLS)


@functools.cache
def _malloc_trim() -> Callable[[int], int] | None:
    if sys.platform != "linux":
        return None
    try:
        trim: Callable[[int], int] = ctypes.CDLL(None).malloc_trim
    except (OSError, AttributeError):
        return None
    return trim
