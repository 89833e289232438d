"""Memory that is free inside the process goes back to the machine."""

import gc
import platform
import sys
import weakref
from pathlib import Path

import pytest

from packpale.free_memory import OBJECTS_BETWEEN_SEARCHES, give_back, look_past_what_stays, with_room_for_calls

PART, PARTS = 64_000, 1_000
"""Each too small for pages of its own, so that what lies above a kept one cannot go by itself. [bytes]"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="only GNU's C library has a call for it")
def test_holes_between_what_is_kept_are_given_back():
    parts = [bytearray(PART) for _ in range(PARTS)]
    kept = parts[-1]
    del parts
    before = _resident()
    give_back()
    assert before - _resident() > PART * PARTS / 2
    assert len(kept) == PART


@pytest.mark.skipif(sys.platform == "win32", reason="pages of memory are counted otherwise there")
def test_at_no_depth_do_calls_map_memory_over_and_over():
    # Without room, at some depth the next call but one crosses the end of a piece of memory for frames, each time anew.
    assert with_room_for_calls(lambda: max(_pages_at(depth) for depth in range(100))) < CALLS / 10


CALLS = 200


def _pages_at(depth: int) -> int:
    """Pages of memory that are used for the first time while ``CALLS`` calls are made from so many calls down."""
    if depth:
        return _pages_at(depth - 1)
    import resource  # not on Windows

    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    for _ in range(CALLS):
        _calls_once_more()
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before


def _calls_once_more() -> None:
    _nothing()


def _nothing() -> None:
    pass


def _resident() -> int:
    """Memory of this process that is in use on the machine. [bytes]"""
    status = Path("/proc/self/status").read_text(encoding="utf-8")
    return int(status.split("VmRSS:")[1].split()[0]) * 1024


class Holder:
    """Holds itself, so that only a search finds that nobody else does."""

    def __init__(self) -> None:
        self.itself = self


def test_what_stays_is_left_out_of_searches_and_what_comes_after_is_not():
    thresholds = gc.get_threshold()
    try:
        gc.set_threshold(700)
        look_past_what_stays()
        assert gc.get_threshold()[0] == OBJECTS_BETWEEN_SEARCHES
        frozen = gc.get_freeze_count()
        assert frozen > len(gc.get_objects()) / 2
        later = weakref.ref(Holder())
        assert later() is not None
        gc.collect()
        assert later() is None
    finally:
        gc.unfreeze()
        gc.set_threshold(*thresholds)
